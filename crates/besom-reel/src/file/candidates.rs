//! `candidates/FIRST-LAST.cand`: what the detector found in one chunk of frames.

use std::path::{Path, PathBuf};

use besom_detect::Candidate;

use crate::error::ReelError;

/// What the detector found in one chunk of frames; one immutable file.
#[derive(Clone, Debug, PartialEq)]
pub struct Chunk {
    /// Which detection of the reel this is. Where chunks overlap, the higher generation's frame counts.
    pub generation: u32,
    /// SHA-256 of everything that changes a result: settings, grain, the detector's version; not the chunking.
    pub fingerprint: [u8; 32],
    /// Pixels a row; masks lie inside.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// First scan.
    pub first: u64,
    /// Last scan, itself included.
    pub last: u64,
    /// Every scan that was looked at, in order, with its candidates (none is a result too).
    pub frames: Vec<(u64, Vec<Candidate>)>,
}

/// Writes a chunk into the reel folder's `candidates/` and says where. Replaces a chunk of the same range in one step.
pub fn write(folder: &Path, chunk: &Chunk) -> Result<PathBuf, ReelError> {
    let _ = (folder, chunk);
    Err(ReelError::request("not built yet"))
}

/// Reads one chunk. Everything is checked: no file content makes this panic or allocate more than the file justifies.
pub fn read(path: &Path) -> Result<Chunk, ReelError> {
    let _ = path;
    Err(ReelError::request("not built yet"))
}

/// The chunk files of a reel folder, sorted by name; none when nothing was detected yet.
pub fn list(folder: &Path) -> Result<Vec<PathBuf>, ReelError> {
    let _ = folder;
    Ok(Vec::new())
}

/// The generation that the next detection of this reel folder gets: 1 above the highest on disk.
pub fn next_generation(folder: &Path) -> Result<u32, ReelError> {
    let _ = folder;
    Ok(1)
}
