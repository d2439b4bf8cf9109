//! The files of a reel folder. Each has its own versioned types and hand-written conversions, so that the model can
//! change without changing a file that already exists.
//!
//! | file | module |
//! | --- | --- |
//! | `reel.ron` | [`reel`] |
//! | `shots.ron` | [`shots`] |
//! | `candidates/FIRST-LAST.cand` | [`candidates`] |
//! | `journal/ARTIST.ron` | [`journal`] |

pub mod candidates;
pub mod journal;
pub(crate) mod mask_text;
mod packing;
mod record_line;
pub mod reel;
pub mod shots;

use std::path::{Path, PathBuf};

use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::error::ReelError;

/// The one field that every version of every RON file has.
#[derive(Deserialize)]
struct Versioned {
    version: u64,
}

/// Parses a RON text of a known version; one from a newer Besom is refused by name before anything else is looked at.
fn parse_versioned<T: DeserializeOwned>(path: &Path, text: &str, known: u64) -> Result<T, ReelError> {
    let damaged = |e: ron::error::SpannedError| ReelError::damaged(path, format!("it cannot be read as RON: {e}"));
    let found = ron::from_str::<Versioned>(text).map_err(damaged)?.version;
    if found > known {
        return Err(ReelError::newer(path, found, known));
    }
    ron::from_str(text).map_err(damaged)
}

fn read_text(path: &Path) -> Result<String, ReelError> {
    let bytes = std::fs::read(path).map_err(|e| ReelError::access(path, "it cannot be read", &e))?;
    String::from_utf8(bytes).map_err(|_| ReelError::damaged(path, "it is not UTF-8 text"))
}

fn replace_ron<T: serde::Serialize>(path: &Path, value: &T) -> Result<(), ReelError> {
    let pretty = ron::ser::PrettyConfig::new().struct_names(false).compact_arrays(true);
    let mut text = ron::ser::to_string_pretty(value, pretty)
        .map_err(|e| ReelError::damaged(path, format!("it cannot be written as RON: {e}")))?;
    text.push('\n');
    replace(path, text.as_bytes())
}

/// Replaces a file in one step: a temporary file beside it, synced, renamed over it. Nothing is left on a failure.
fn replace(path: &Path, bytes: &[u8]) -> Result<(), ReelError> {
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    std::fs::create_dir_all(folder).map_err(|e| ReelError::access(folder, "it cannot be made", &e))?;
    Ok(besom_scan::write::write_atomically(path, bytes)?)
}

/// The files of a folder with an ending, sorted by name; none when there is no such folder. Hidden files (a half-made
/// temporary one of another process, say) are left out.
fn list_files(folder: &Path, ending: &str) -> Result<Vec<PathBuf>, ReelError> {
    let failed = |e: &std::io::Error| ReelError::access(folder, "it cannot be listed", e);
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(failed(&e)),
    };
    let mut paths = Vec::new();
    for entry in entries {
        let path = entry.map_err(|e| failed(&e))?.path();
        let hidden = path.file_name().is_none_or(|n| n.as_encoded_bytes().starts_with(b"."));
        if !hidden && path.extension().is_some_and(|e| e == ending) {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}
