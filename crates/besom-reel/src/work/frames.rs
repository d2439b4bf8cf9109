//! Reading one scan for analysis.

use std::path::Path;

use besom_detect::Prepared;
use besom_scan::{Plane, Scan};

use crate::model::info::ReelInfo;

/// The planes of a decoded scan, or why it cannot take part: a clause without the file's name.
pub(super) fn planes(scan: &Scan, size: (usize, usize, usize)) -> Result<Vec<Plane>, String> {
    let frame = scan.frame();
    let (width, height, channels) = size;
    if (frame.width, frame.height, frame.channels) != size {
        let (w, h, c) = (frame.width, frame.height, frame.channels);
        return Err(format!("it is {w}x{h} with {c} channels, where the reel is {width}x{height} with {channels}"));
    }
    Ok(frame.analysis())
}

/// Reads a scan and prepares it for motion and detection.
///
/// # Errors
/// A clause that says why, without the file's name.
pub(super) fn prepared(path: &Path, size: (usize, usize, usize)) -> Result<Prepared, String> {
    let scan = Scan::read(path).map_err(|e| e.reason().to_owned())?;
    prepared_of(&scan, size)
}

/// Prepares a decoded scan.
///
/// # Errors
/// As [`prepared`].
pub(super) fn prepared_of(scan: &Scan, size: (usize, usize, usize)) -> Result<Prepared, String> {
    Prepared::new(planes(scan, size)?).ok_or_else(|| "it holds no picture".to_owned())
}

/// Width, height and channels of a reel's scans.
pub(super) const fn size_of(info: &ReelInfo) -> (usize, usize, usize) {
    (info.width, info.height, info.channels)
}
