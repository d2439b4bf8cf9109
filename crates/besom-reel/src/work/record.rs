//! The record of what a repair changed: `exports/repairs.ron`, and the same as a table in `exports/repairs.csv`.
//!
//! It stands beside the journal, not in it: the journal says what was decided, the record says what was done about it,
//! with which pixels and from which frames. `verify` trusts it only as far as the reel's decisions bear it out.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use besom_scan::{Rect, Run, RunMask, write};
use serde::{Deserialize, Serialize};

use crate::error::ReelError;

/// The version that this Besom writes, and the newest it reads.
const VERSION: u64 = 1;

/// One filled candidate.
#[derive(Clone, Debug, PartialEq)]
pub struct RepairEntry {
    /// The candidate's place in its frame's list when it was repaired.
    pub index: u32,
    /// The smallest rectangle around the candidate.
    pub bounds: Rect,
    /// Its kind, in the word that tables use.
    pub kind: String,
    /// What the fill was taken from, in words.
    pub method: String,
    /// Scans that gave pixels.
    pub sources: Vec<u64>,
    /// Mean difference between fill and frame on the rim around the hole, in codes; `None` when there was no rim.
    pub rim_error: Option<f32>,
    /// Predicted error inside, grain included, in codes; `None` when it could not be told.
    pub predicted_error: Option<f32>,
    /// The pixels that the fill was allowed to change.
    pub mask: RunMask,
}

/// The repairs of a reel, frame by frame. A frame that was written without a repair has an empty list.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RepairRecord {
    /// Entries by scan number.
    pub frames: BTreeMap<u64, Vec<RepairEntry>>,
}

#[derive(Deserialize)]
struct VersionOnly {
    version: u64,
}

#[derive(Serialize, Deserialize)]
struct FrameFile {
    frame: u64,
    repairs: Vec<EntryFile>,
}

#[derive(Serialize, Deserialize)]
struct EntryFile {
    index: u32,
    /// Left, top, right, bottom; the last two outside.
    bounds: (i32, i32, i32, i32),
    kind: String,
    method: String,
    sources: Vec<u64>,
    rim_error: Option<f32>,
    predicted_error: Option<f32>,
    /// Row, first column, first column outside.
    mask: Vec<(u32, u32, u32)>,
}

#[derive(Deserialize)]
struct RecordFile {
    #[allow(dead_code)]
    version: u64,
    frames: Vec<FrameFile>,
}

impl From<&RepairEntry> for EntryFile {
    fn from(e: &RepairEntry) -> Self {
        Self {
            index: e.index,
            bounds: (e.bounds.x0, e.bounds.y0, e.bounds.x1, e.bounds.y1),
            kind: e.kind.clone(),
            method: e.method.clone(),
            sources: e.sources.clone(),
            rim_error: e.rim_error,
            predicted_error: e.predicted_error,
            mask: e.mask.runs().iter().map(|r| (r.y, r.x0, r.x1)).collect(),
        }
    }
}

impl From<EntryFile> for RepairEntry {
    fn from(e: EntryFile) -> Self {
        let (x0, y0, x1, y1) = e.bounds;
        Self {
            index: e.index,
            bounds: Rect::new(x0, y0, x1, y1),
            kind: e.kind,
            method: e.method,
            sources: e.sources,
            rim_error: e.rim_error,
            predicted_error: e.predicted_error,
            mask: RunMask::from_runs(e.mask.into_iter().map(|(y, x0, x1)| Run { y, x0, x1 }).collect()),
        }
    }
}

impl RepairRecord {
    /// Where the record of a reel folder is.
    pub fn path(reel: &Path) -> PathBuf {
        reel.join("exports").join("repairs.ron")
    }

    /// Reads the record; an empty one when nothing was repaired yet.
    ///
    /// # Errors
    /// When the file cannot be read, is damaged, or was written by a newer Besom.
    pub fn read(reel: &Path) -> Result<Self, ReelError> {
        let path = Self::path(reel);
        let text = match fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(error) => return Err(ReelError::access(&path, "it cannot be read", &error)),
        };
        let damaged =
            |e: ron::error::SpannedError| ReelError::damaged(&path, format!("the record of repairs is damaged: {e}"));
        // A newer file may hold fields this version does not know: its version is read first, alone.
        let version = ron::from_str::<VersionOnly>(&text).map_err(damaged)?.version;
        if version > VERSION {
            return Err(ReelError::newer(&path, version, VERSION));
        }
        let file: RecordFile = ron::from_str(&text).map_err(damaged)?;
        let entries = |f: FrameFile| (f.frame, f.repairs.into_iter().map(RepairEntry::from).collect());
        Ok(Self { frames: file.frames.into_iter().map(entries).collect() })
    }

    /// Writes the record and its table into the reel folder, each in one step.
    ///
    /// # Errors
    /// When `exports/` cannot be written to.
    pub fn write(&self, reel: &Path) -> Result<PathBuf, ReelError> {
        let path = Self::path(reel);
        let folder = reel.join("exports");
        fs::create_dir_all(&folder).map_err(|e| ReelError::access(&folder, "it cannot be made", &e))?;
        write::write_atomically(&path, self.ron(&path)?.as_bytes())?;
        write::write_atomically(&folder.join("repairs.csv"), self.csv().as_bytes())?;
        Ok(path)
    }

    /// One frame a line, so that versions of the file can be compared with any tool.
    fn ron(&self, path: &Path) -> Result<String, ReelError> {
        let mut text = format!("(version:{VERSION},frames:[\n");
        for (frame, entries) in &self.frames {
            let line = FrameFile { frame: *frame, repairs: entries.iter().map(EntryFile::from).collect() };
            let line = ron::to_string(&line).map_err(|e| ReelError::damaged(path, e))?;
            let _ = writeln!(text, "{line},");
        }
        text.push_str("])\n");
        Ok(text)
    }

    /// RFC 4180, one line a repair.
    fn csv(&self) -> String {
        let mut text = String::from(
            "frame,candidate,left,top,width,height,kind,method,sources,rim_error,predicted_error,pixels\r\n",
        );
        for (frame, entries) in &self.frames {
            for e in entries {
                let sources: Vec<String> = e.sources.iter().map(u64::to_string).collect();
                let number = |value: Option<f32>| value.map_or_else(String::new, |v| format!("{v:.2}"));
                let _ = write!(
                    text,
                    "{frame},{},{},{},{},{},{},{},{},{},{},{}\r\n",
                    e.index,
                    e.bounds.x0,
                    e.bounds.y0,
                    e.bounds.width(),
                    e.bounds.height(),
                    e.kind,
                    e.method,
                    sources.join(" "),
                    number(e.rim_error),
                    number(e.predicted_error),
                    e.mask.area()
                );
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn record() -> RepairRecord {
        let entry = RepairEntry {
            index: 3,
            bounds: Rect::new(10, 20, 14, 22),
            kind: "dust".into(),
            method: "from the frames on both sides".into(),
            sources: vec![86399, 86401],
            rim_error: Some(7.5),
            predicted_error: None,
            mask: RunMask::from_rect(&Rect::new(9, 19, 15, 23)),
        };
        RepairRecord { frames: BTreeMap::from([(86400, vec![entry]), (86401, Vec::new())]) }
    }

    #[test]
    fn a_record_comes_back_as_it_was_written() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(RepairRecord::read(folder.path()).unwrap(), RepairRecord::default());
        record().write(folder.path()).unwrap();
        assert_eq!(RepairRecord::read(folder.path()).unwrap(), record());
        let csv = fs::read_to_string(folder.path().join("exports/repairs.csv")).unwrap();
        assert_eq!(
            csv.lines().nth(1).unwrap(),
            "86400,3,10,20,4,2,dust,from the frames on both sides,86399 86401,7.50,,24"
        );
    }

    #[test]
    fn newer_and_damaged_records_are_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("exports")).unwrap();
        for (text, reason) in [("(version:2,pages:[])", "newer Besom"), ("(version:1,fra", "damaged"), ("", "damaged")]
        {
            fs::write(RepairRecord::path(folder.path()), text).unwrap();
            let error = RepairRecord::read(folder.path()).unwrap_err().to_string();
            assert!(error.contains("repairs.ron") && error.contains(reason), "{error}");
        }
    }
}
