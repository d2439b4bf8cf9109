//! The demo reel as files.

use std::path::{Path, PathBuf};

use besom_scan::dpx::Facts;
use besom_scan::write::write_atomically;
use besom_scan::{Progress, ScanError};

use super::{DemoReel, FIRST_NUMBER, FRAME_RATE, Settings, render};
use crate::ageing::files::{dpx_of, make, write_marks};

/// What is written, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parts {
    /// The scans alone, straight into the folder.
    Scans,
    /// The scans, and beside them the folders `truth` (label bits) and `belongs` (specks that belong).
    ScansAndTruth,
    /// The folders `scans`, `clean`, `truth` and `belongs`, as the scoring reads them.
    Clip,
}

/// Renders a reel into a folder, which is made if need be, and returns the number of frames written: fewer than asked
/// for when it was cancelled.
///
/// Scans are big-endian 10-bit DPX named `skerry_r2.0086400.dpx` and so on; truth and belongings 8-bit grey PNG of the
/// same names. The same settings give the same bytes.
///
/// # Errors
/// When a folder or file cannot be written.
pub fn write(to: &Path, settings: &Settings, parts: Parts, progress: &dyn Progress) -> Result<usize, ScanError> {
    let reel = render(settings);
    let folder = |name: &str| -> Result<PathBuf, ScanError> {
        let folder = to.join(name);
        make(&folder)?;
        Ok(folder)
    };
    let scans = if parts == Parts::Clip { folder("scans")? } else { folder("")? };
    let clean = if parts == Parts::Clip { Some(folder("clean")?) } else { None };
    let marks = if parts == Parts::Scans { None } else { Some((folder("truth")?, folder("belongs")?)) };
    progress.begin("Rendering the demo reel", settings.frames as u64);
    for number in 0..settings.frames {
        if progress.cancelled() {
            return Ok(number);
        }
        let Some(frame) = reel.frame(number) else { return Ok(number) };
        let name = file_name(number);
        let picture = format!("{name}.dpx");
        let facts = facts(&reel, number, &picture);
        write_atomically(&scans.join(&picture), &dpx_of(&frame.aged, &facts))?;
        if let Some(clean) = &clean {
            write_atomically(&clean.join(&picture), &dpx_of(&frame.clean, &facts))?;
        }
        if let Some((truth, belongs)) = &marks {
            write_marks(&truth.join(format!("{name}.png")), &frame.labels)?;
            write_marks(&belongs.join(format!("{name}.png")), &frame.belongs)?;
        }
        progress.advance(1);
    }
    Ok(settings.frames)
}

/// Name of a frame's files without the ending.
fn file_name(number: usize) -> String {
    format!("skerry_r2.{:07}", FIRST_NUMBER + number as u64)
}

/// What the header says of a frame.
fn facts(reel: &DemoReel, number: usize, picture: &str) -> Facts {
    debug_assert!(number < reel.settings().frames);
    let count = FIRST_NUMBER + number as u64;
    let rate = FRAME_RATE as u64;
    let part = |value: u64, limit: u64| (value % limit) as u8;
    Facts {
        file_name: picture.to_owned(),
        creator: "besom-proof".to_owned(),
        project: "Lamps of Skerry Point".to_owned(),
        frame_position: u32::try_from(number).ok(),
        frame_rate: Some(FRAME_RATE),
        timecode: Some([
            part(count / (3600 * rate), 24),
            part(count / (60 * rate), 60),
            part(count / rate, 60),
            part(count, rate),
        ]),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use besom_scan::{Scan, Sequence, Silent};

    use super::*;

    #[test]
    fn a_written_reel_is_one_sequence_with_its_names_and_time() {
        let folder = tempfile::tempdir().unwrap();
        let settings = Settings { width: 48, height: 36, frames: 6, seed: 3 };
        assert_eq!(write(folder.path(), &settings, Parts::ScansAndTruth, &Silent).unwrap(), 6);
        let sequence = Sequence::discover(folder.path()).unwrap();
        let numbers: Vec<u64> = sequence.frames.iter().map(|f| f.number).collect();
        assert_eq!(numbers, (86_400..86_406).collect::<Vec<_>>());
        let header = besom_scan::read_header(&folder.path().join("skerry_r2.0086405.dpx")).unwrap();
        let fact = |name: &str| header.facts.iter().find(|(n, _)| n == name).map(|(_, value)| value.clone());
        assert_eq!(fact("Project").as_deref(), Some("Lamps of Skerry Point"));
        assert_eq!(fact("Timecode").as_deref(), Some("01:00:00:05"));
        assert_eq!(fact("Frame position").as_deref(), Some("5"));
        let again = tempfile::tempdir().unwrap();
        write(again.path(), &settings, Parts::Clip, &Silent).unwrap();
        for (one, other) in [("skerry_r2.0086402.dpx", "scans"), ("truth/skerry_r2.0086402.png", ".")] {
            let first = std::fs::read(folder.path().join(one)).unwrap();
            assert!(first == std::fs::read(again.path().join(other).join(one)).unwrap(), "{one} differs");
        }
        assert!(again.path().join("clean/skerry_r2.0086400.dpx").exists());
    }

    #[test]
    fn the_committed_reel_is_what_this_code_renders() {
        let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-frames/skerry_r2.0086400.dpx");
        let scan = Scan::read(&committed).unwrap();
        let reel = render(&Settings::default());
        let frame = reel.frame(0).unwrap();
        assert!(scan.frame().analysis() == frame.aged, "frame 0 differs from the committed file");
        let name = "skerry_r2.0086400.dpx";
        assert!(dpx_of(&frame.aged, &facts(&reel, 0, name)) == std::fs::read(&committed).unwrap(), "bytes differ");
    }
}
