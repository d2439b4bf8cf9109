//! Starting a reel: what arrived, and is it whole?

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::ops::RangeInclusive;
use std::path::{Component, Path, PathBuf};

use besom_scan::{Progress, Sequence, write};

use crate::error::{ReelError, ReelErrorKind};
use crate::model::gauge::Gauge;
use crate::model::info::{Pattern, Problem, ReelInfo};
use crate::model::rate::Rate;
use crate::model::shot::Shot;
use crate::reel::Reel;

use super::headers::{self, Headers};
use super::infrared::{self, InfraredFrom};
use super::pixels;

/// What to do with scans that cannot be read or have another size than the rest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Damaged {
    /// Make no reel of them: a reel that is not whole should go back to the scanner first.
    #[default]
    Refuse,
    /// Leave them out, list them in the reel's problems, and let their neighbours do without them.
    LeaveOut,
}

/// What a person can say about a reel when it is started.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StartOptions {
    /// The reel's name; without it, the reel folder's own name.
    pub name: Option<String>,
    /// Frames a second; without it, what the headers say, and 24 when they say nothing.
    pub rate: Option<Rate>,
    /// Film gauge; without it, 35 mm 4-perf.
    pub gauge: Option<Gauge>,
    /// What to do with damaged scans.
    pub damaged: Damaged,
    /// Where the scans' infrared is; without it, what their headers name.
    pub infrared: Option<InfraredFrom>,
}

/// What the survey found.
#[derive(Clone, Debug, PartialEq)]
pub struct StartReport {
    /// The reel folder that was made.
    pub reel: PathBuf,
    /// The facts as the reel holds them, problems included.
    pub info: ReelInfo,
    /// Scans found.
    pub frames: usize,
    /// Numbers between the first and the last scan that have none.
    pub gaps: Vec<RangeInclusive<u64>>,
    /// Shots found.
    pub shots: Vec<Shot>,
    /// Things to know that are no problem of one scan, one sentence each.
    pub notes: Vec<String>,
}

/// Makes the reel folder `reel` for the scans at `scans`: a folder, one file of the sequence, or a `name.####.dpx` pattern.
///
/// Headers are read first, then every scan once for the cuts and some again for the grain. The scans' folder is only read.
///
/// # Errors
/// When there is no clear sequence, when a scan is damaged (see [`Damaged`]), when the reel folder is already there or
/// would lie inside the scans' folder, or when it cannot be written. Nothing is left behind then.
pub fn start(
    scans: &Path,
    reel: &Path,
    options: &StartOptions,
    progress: &dyn Progress,
) -> Result<StartReport, ReelError> {
    let sequence = Sequence::discover(scans)?;
    refuse_taken(reel)?;
    write::check_target(&sequence.folder, reel)?;
    let mut headers = headers::survey(&sequence, progress)?;
    refuse_damaged(&sequence, &headers.problems, options.damaged)?;
    let found = infrared::find(options.infrared.as_ref(), &sequence, reel, &headers.common, progress)?;
    let size = (headers.common.width, headers.common.height, headers.common.channels);
    let survey = pixels::survey(&sequence, size, &mut headers.problems, progress)?;
    refuse_damaged(&sequence, &headers.problems, options.damaged)?;

    let mut info = facts(&sequence, reel, options, &headers)?;
    if let Some(found) = &found {
        let folder = found.folder().map_or(Ok(PathBuf::new()), |folder| scans_as_seen_from(reel, folder))?;
        info.infrared = Some(infrared::judge(found, folder, &sequence, &headers.problems, &survey.shots, progress)?);
    }
    Reel::create(reel, &info, &survey.shots)?;
    let mut notes = notes(&sequence, &headers, &survey.shots);
    notes.extend(found.into_iter().flat_map(|found| found.notes));
    let frames = sequence.frames.len();
    Ok(StartReport { reel: reel.to_owned(), info, frames, gaps: sequence.gaps(), shots: survey.shots, notes })
}

fn refuse_taken(reel: &Path) -> Result<(), ReelError> {
    let taken = match fs::read_dir(reel) {
        Ok(mut entries) => entries.next().is_some(),
        Err(error) => error.kind() != std::io::ErrorKind::NotFound,
    };
    if taken {
        let reel = reel.display();
        let sentence = format!("{reel}: there is something of this name already; choose another reel folder");
        return Err(ReelError::new(ReelErrorKind::Request, sentence));
    }
    Ok(())
}

/// One sentence that names the first damaged scan and counts the others.
fn refuse_damaged(sequence: &Sequence, problems: &[(u64, String)], damaged: Damaged) -> Result<(), ReelError> {
    let Some((number, reason)) = problems.iter().min_by_key(|(number, _)| *number) else { return Ok(()) };
    if damaged == Damaged::LeaveOut && problems.len() < sequence.frames.len() {
        return Ok(());
    }
    let frame = sequence.frames.iter().find(|f| f.number == *number);
    let path = frame.map_or_else(|| sequence.folder.clone(), |f| f.path.clone());
    let mut sentence = format!("{}: {reason}", path.display());
    if problems.len() > 1 {
        let _ = write!(sentence, " ({} of {} scans cannot be used)", problems.len(), sequence.frames.len());
    }
    Err(ReelError::new(ReelErrorKind::Damaged, sentence))
}

fn facts(sequence: &Sequence, reel: &Path, options: &StartOptions, headers: &Headers) -> Result<ReelInfo, ReelError> {
    let (Some(first), Some(last)) = (sequence.frames.first(), sequence.frames.last()) else {
        let folder = sequence.folder.display();
        return Err(ReelError::new(ReelErrorKind::Request, format!("{folder}: there are no scans in it")));
    };
    let common = &headers.common;
    let pattern =
        Pattern { prefix: sequence.prefix.clone(), suffix: sequence.suffix.clone(), padding: sequence.padding };
    let name = options.name.clone().unwrap_or_else(|| name_of(reel));
    let scans = scans_as_seen_from(reel, &sequence.folder)?;
    let mut info = ReelInfo::new(&name, &scans, pattern, first.number, last.number, common.width, common.height);
    info.gaps = sequence.gaps().into_iter().map(|gap| (*gap.start(), *gap.end())).collect();
    info.channels = common.channels;
    info.format = common.format.to_string();
    info.guarantee = common.guarantee.to_string();
    info.bits = common.bits;
    info.transfer = common.transfer.to_string();
    info.rate = options.rate.or_else(|| header_rate(headers)).unwrap_or(Rate::FILM);
    info.gauge = options.gauge.unwrap_or_default();
    info.facts.clone_from(&common.facts);
    // A later reading may find another fault in the same scan: the first one told is enough.
    let problems: BTreeMap<u64, &String> = headers.problems.iter().rev().map(|(n, text)| (*n, text)).collect();
    info.problems = problems.into_iter().map(|(n, text)| Problem { frame: Some(n), text: text.clone() }).collect();
    Ok(info)
}

fn header_rate(headers: &Headers) -> Option<Rate> {
    headers.common.fact("Frame rate").and_then(|text| Rate::parse(text.split_whitespace().next().unwrap_or_default()))
}

fn name_of(reel: &Path) -> String {
    let name = reel.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    name.strip_suffix(".besom").map_or(name.clone(), str::to_owned)
}

/// The scans' folder as the reel remembers it: relative when both lie in one place that can be moved or mounted as a
/// whole (the reel folder's parent, or the folder above that), absolute otherwise.
fn scans_as_seen_from(reel: &Path, scans: &Path) -> Result<PathBuf, ReelError> {
    let absolute =
        |path: &Path| std::path::absolute(path).map_err(|e| ReelError::access(path, "it cannot be found", &e));
    let scans = fs::canonicalize(scans).map_err(|e| ReelError::access(scans, "it cannot be found", &e))?;
    let reel = absolute(reel)?;
    // The reel folder is not there yet, the nearest folder above it that is tells where it will really be.
    let Some(parent) = reel.parent().and_then(|p| fs::canonicalize(p).ok()) else { return Ok(scans) };
    for (steps, above) in parent.ancestors().take(2).enumerate() {
        let root = above.components().all(|c| matches!(c, Component::RootDir | Component::Prefix(_)));
        if !root && let Ok(rest) = scans.strip_prefix(above) {
            let climb: PathBuf = std::iter::repeat_n("..", steps + 1).collect();
            return Ok(climb.join(rest));
        }
    }
    Ok(scans)
}

fn notes(sequence: &Sequence, headers: &Headers, shots: &[Shot]) -> Vec<String> {
    let mut notes = Vec::new();
    if sequence.frames.len() == 1 {
        notes.push("there is one frame only, so it has no neighbours to be compared with or repaired from".to_owned());
    }
    for shot in shots.iter().filter(|shot| shot.first == shot.last && sequence.frames.len() > 1) {
        notes.push(format!("shot {} is one frame only ({}), it has no neighbours", shot.index + 1, shot.first));
    }
    for (warning, count) in &headers.warnings {
        notes.push(format!("{warning} (in {count} of {} scans)", sequence.frames.len()));
    }
    notes
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn scans_nearby_are_remembered_relatively() {
        let folder = tempfile::tempdir().unwrap();
        let root = fs::canonicalize(folder.path()).unwrap();
        fs::create_dir_all(root.join("job/scans/r2")).unwrap();
        fs::create_dir_all(root.join("other/deep")).unwrap();
        let scans = root.join("job/scans/r2");
        assert_eq!(scans_as_seen_from(&root.join("job/r2.besom"), &scans).unwrap(), Path::new("../scans/r2"));
        assert_eq!(scans_as_seen_from(&root.join("other/r2.besom"), &scans).unwrap(), Path::new("../../job/scans/r2"));
        assert_eq!(scans_as_seen_from(&root.join("other/deep/r2.besom"), &scans).unwrap(), scans);
    }

    #[test]
    fn a_reel_is_named_after_its_folder() {
        assert_eq!(name_of(Path::new("x/Skerry reel 2.besom")), "Skerry reel 2");
        assert_eq!(name_of(Path::new("skerry")), "skerry");
    }
}
