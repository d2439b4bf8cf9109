//! `reel.ron`: the facts about a reel.

use std::path::{Path, PathBuf};

use besom_detect::infrared::Likeness;
use serde::{Deserialize, Serialize};

use super::{parse_versioned, read_text, replace_ron};
use crate::error::ReelError;
use crate::model::gauge::Gauge;
use crate::model::info::{Pattern, Problem, ReelInfo};
use crate::model::infrared::{InfraredInfo, InfraredSource};
use crate::model::rate::Rate;

/// The newest version that this Besom reads. A reel without infrared is written as version 1, which older ones read too;
/// one with infrared is not, because an older one would search it without a word.
pub const VERSION: u64 = 2;
const WITHOUT_INFRARED: u64 = 1;

/// Most scans that a reel may name: over ten hours at 24 frames a second. A damaged file must not ask for more.
const MOST_FRAMES: u64 = 1_000_000;

#[derive(Serialize, Deserialize)]
struct ReelFile {
    version: u64,
    name: String,
    scans: ScansFile,
    width: u32,
    height: u32,
    channels: u8,
    bits: u8,
    format: String,
    guarantee: String,
    transfer: String,
    /// Frames and seconds: `(24, 1)`, `(24000, 1001)`.
    rate: (u32, u32),
    gauge: String,
    default_sensitivity: f32,
    facts: Vec<(String, String)>,
    problems: Vec<ProblemFile>,
    /// Since version 2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    infrared: Option<InfraredFile>,
}

#[derive(Serialize, Deserialize)]
struct InfraredFile {
    /// Folder, prefix, suffix and digits of a sequence of its own; `None` for a channel of the scans.
    sequence: Option<(String, String, String, u8)>,
    /// For each shot, its correlation with the picture, its contrast against it, and the depth of a detail of 100 codes.
    shots: Vec<Option<(f32, f32, f32)>>,
}

#[derive(Serialize, Deserialize)]
struct ScansFile {
    folder: String,
    prefix: String,
    suffix: String,
    padding: u8,
    first: u64,
    last: u64,
    gaps: Vec<(u64, u64)>,
}

#[derive(Serialize, Deserialize)]
struct ProblemFile {
    frame: Option<u64>,
    text: String,
}

fn path_in(folder: &Path) -> PathBuf {
    folder.join("reel.ron")
}

/// Writes the facts, replacing the file in one step.
pub fn write(folder: &Path, info: &ReelInfo) -> Result<(), ReelError> {
    let path = path_in(folder);
    let scans = text_of(&info.scans)?;
    let infrared = info.infrared.as_ref().map(infrared_to_file).transpose()?;
    let file = ReelFile {
        version: if infrared.is_some() { VERSION } else { WITHOUT_INFRARED },
        name: info.name.clone(),
        scans: ScansFile {
            folder: scans.to_owned(),
            prefix: info.pattern.prefix.clone(),
            suffix: info.pattern.suffix.clone(),
            padding: info.pattern.padding.min(20) as u8,
            first: info.first,
            last: info.last,
            gaps: info.gaps.clone(),
        },
        width: info.width as u32,
        height: info.height as u32,
        channels: info.channels as u8,
        bits: info.bits,
        format: info.format.clone(),
        guarantee: info.guarantee.clone(),
        transfer: info.transfer.clone(),
        rate: (info.rate.frames(), info.rate.seconds()),
        gauge: info.gauge.word().to_owned(),
        default_sensitivity: info.default_sensitivity,
        facts: info.facts.clone(),
        problems: info.problems.iter().map(|p| ProblemFile { frame: p.frame, text: p.text.clone() }).collect(),
        infrared,
    };
    from_file(&path, &file)?;
    replace_ron(&path, &file)
}

fn text_of(folder: &Path) -> Result<&str, ReelError> {
    let odd = || ReelError::request(format!("{}: the folder's name is not valid Unicode text", folder.display()));
    folder.to_str().ok_or_else(odd)
}

fn infrared_to_file(info: &InfraredInfo) -> Result<InfraredFile, ReelError> {
    let sequence = match &info.source {
        InfraredSource::Channel => None,
        InfraredSource::Sequence { folder, pattern: Pattern { prefix, suffix, padding } } => {
            Some((text_of(folder)?.to_owned(), prefix.clone(), suffix.clone(), (*padding).min(20) as u8))
        }
    };
    let shots = info.shots.iter().map(|s| s.map(|l| (l.correlation, l.contrast, l.depth))).collect();
    Ok(InfraredFile { sequence, shots })
}

fn infrared_from_file(path: &Path, file: &InfraredFile) -> Result<InfraredInfo, ReelError> {
    let damaged = |reason: &str| ReelError::damaged(path, reason);
    let source = match &file.sequence {
        None => InfraredSource::Channel,
        Some((_, prefix, suffix, padding)) if !plain_name(prefix) || !plain_name(suffix) || *padding > 20 => {
            return Err(damaged("its infrared's names hold a folder separator or more than 20 digits"));
        }
        Some((folder, prefix, suffix, padding)) => InfraredSource::Sequence {
            folder: PathBuf::from(folder),
            pattern: Pattern { prefix: prefix.clone(), suffix: suffix.clone(), padding: usize::from(*padding) },
        },
    };
    let numbers = file.shots.iter().flatten().flat_map(|(a, b, c)| [a, b, c]);
    if !numbers.copied().all(f32::is_finite) {
        return Err(damaged("its infrared's measures are not finite numbers"));
    }
    let likeness = |(correlation, contrast, depth)| Likeness { correlation, contrast, depth };
    Ok(InfraredInfo { source, shots: file.shots.iter().map(|s| s.map(likeness)).collect() })
}

/// No name of a file may lead out of its folder.
fn plain_name(part: &str) -> bool {
    !part.contains(['/', '\\', '\0'])
}

/// Reads the facts; refuses a folder from a newer Besom.
pub fn read(folder: &Path) -> Result<ReelInfo, ReelError> {
    let path = path_in(folder);
    if !path.is_file() {
        return Err(ReelError::request(format!("{}: it is not a reel folder (it has no reel.ron)", folder.display())));
    }
    from_file(&path, &parse_versioned(&path, &read_text(&path)?, VERSION)?)
}

fn from_file(path: &Path, file: &ReelFile) -> Result<ReelInfo, ReelError> {
    let damaged = |reason: &str| ReelError::damaged(path, reason);
    let scans = &file.scans;
    if scans.last < scans.first || scans.last - scans.first >= MOST_FRAMES {
        return Err(damaged("its first and last scan make no reel of 1 to 1,000,000 frames"));
    }
    let gaps_in_order = scans.gaps.iter().all(|g| scans.first < g.0 && g.0 <= g.1 && g.1 < scans.last)
        && scans.gaps.is_sorted_by(|a, b| a.1 < b.0);
    if !gaps_in_order {
        return Err(damaged("its gaps are out of order or outside the reel"));
    }
    // 65,535 is far above any film scanner and keeps every position inside an i32.
    if !(1..=65_535).contains(&file.width) || !(1..=65_535).contains(&file.height) {
        return Err(damaged("its frames are not between 1 and 65,535 pixels wide and high"));
    }
    if !plain_name(&scans.prefix) || !plain_name(&scans.suffix) || scans.padding > 20 {
        return Err(damaged("its scans' names hold a folder separator or more than 20 digits"));
    }
    if !(0.0..=1.0).contains(&file.default_sensitivity) {
        return Err(damaged("its default sensitivity is not between 0 and 1"));
    }
    Ok(ReelInfo {
        name: file.name.clone(),
        scans: PathBuf::from(&scans.folder),
        pattern: Pattern {
            prefix: scans.prefix.clone(),
            suffix: scans.suffix.clone(),
            padding: usize::from(scans.padding),
        },
        first: scans.first,
        last: scans.last,
        gaps: scans.gaps.clone(),
        width: file.width as usize,
        height: file.height as usize,
        channels: usize::from(file.channels),
        format: file.format.clone(),
        guarantee: file.guarantee.clone(),
        bits: file.bits,
        transfer: file.transfer.clone(),
        rate: Rate::new(file.rate.0, file.rate.1)
            .ok_or_else(|| damaged("its rate is not 1 to 1000 frames a second"))?,
        gauge: Gauge::from_word(&file.gauge).ok_or_else(|| damaged("it names a gauge that does not exist"))?,
        facts: file.facts.clone(),
        problems: file.problems.iter().map(|p| Problem { frame: p.frame, text: p.text.clone() }).collect(),
        infrared: file.infrared.as_ref().map(|i| infrared_from_file(path, i)).transpose()?,
        default_sensitivity: file.default_sensitivity,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::error::ReelErrorKind;

    fn skerry() -> ReelInfo {
        let pattern = Pattern { prefix: "lamps_r2_".into(), suffix: ".dpx".into(), padding: 7 };
        let mut info =
            ReelInfo::new("Lamps of Skerry Point, reel 2", Path::new("../scans"), pattern, 10, 40, 2048, 1556);
        info.gaps = vec![(12, 13), (20, 20)];
        info.default_sensitivity = 0.5;
        info.rate = Rate::new(24000, 1001).unwrap();
        info.gauge = Gauge::Mm16;
        info.facts = vec![("project".into(), "Lamps \"of\"\nSkerry (Point)".into())];
        info.problems = vec![Problem { frame: Some(14), text: "it is cut short".into() }];
        info
    }

    #[test]
    fn facts_come_back_as_they_were() {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), &skerry()).unwrap();
        assert_eq!(read(folder.path()).unwrap(), skerry());
    }

    #[test]
    fn infrared_comes_back_and_a_reel_without_it_stays_readable_by_older_versions() {
        let folder = tempfile::tempdir().unwrap();
        let text = || std::fs::read_to_string(folder.path().join("reel.ron")).unwrap();
        let mut info = skerry();
        write(folder.path(), &info).unwrap();
        assert!(text().contains("version: 1") && !text().contains("infrared"), "{}", text());
        let likeness = Likeness { correlation: 0.93, contrast: 0.88, depth: 12.5 };
        let pattern = Pattern { prefix: "lamps_ir.".into(), suffix: ".tif".into(), padding: 5 };
        for source in [InfraredSource::Channel, InfraredSource::Sequence { folder: PathBuf::from("../ir"), pattern }] {
            info.infrared = Some(InfraredInfo { source, shots: vec![Some(likeness), None] });
            write(folder.path(), &info).unwrap();
            assert!(text().contains("version: 2"));
            assert_eq!(read(folder.path()).unwrap(), info);
        }
        let good = text();
        for (from, to) in [("\"lamps_ir.\"", "\"../x\""), ("12.5", "NaN")] {
            assert!(good.contains(from), "{good}");
            std::fs::write(folder.path().join("reel.ron"), good.replace(from, to)).unwrap();
            assert_eq!(read(folder.path()).map_err(|e| e.kind()), Err(ReelErrorKind::Damaged), "{to}");
        }
    }

    #[test]
    fn a_newer_folder_is_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("reel.ron"), "(version: 3, rooms: {\"a\": Some([1, 2])}, odd: Thing(x: 1))")
            .unwrap();
        let error = read(folder.path()).unwrap_err();
        assert_eq!(error.kind(), ReelErrorKind::Newer);
        assert!(error.to_string().contains("reel.ron"), "{error}");
    }

    #[test]
    fn damaged_facts_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), &skerry()).unwrap();
        let path = folder.path().join("reel.ron");
        let good = std::fs::read_to_string(&path).unwrap();
        let cases = [
            ("last: 40", "last: 4000000000"),
            ("last: 40", "last: 9"),
            ("(12, 13)", "(13, 12)"),
            ("width: 2048", "width: 0"),
            ("prefix: \"lamps_r2_\"", "prefix: \"../../\""),
            ("rate: (24000, 1001)", "rate: (24000, 0)"),
            ("\"16mm\"", "\"17.5mm\""),
            ("default_sensitivity: 0.5", "default_sensitivity: NaN"),
        ];
        for (from, to) in cases {
            let bad = good.replace(from, to);
            assert_ne!(bad, good, "{from} is in the file");
            std::fs::write(&path, bad).unwrap();
            assert_eq!(read(folder.path()).map_err(|e| e.kind()), Err(ReelErrorKind::Damaged), "{to}");
        }
        std::fs::remove_file(&path).unwrap();
        assert!(read(folder.path()).unwrap_err().to_string().contains("not a reel folder"));
    }
}
