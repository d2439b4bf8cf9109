//! Reading one scan for analysis.

use std::path::Path;

use besom_detect::Prepared;
use besom_scan::{Picture, Plane, Scan};

use crate::model::info::ReelInfo;

/// Why a scan of another size cannot take part: a clause without the file's name.
fn same_size(scan: (usize, usize, usize), (width, height, channels): (usize, usize, usize)) -> Result<(), String> {
    if scan == (width, height, channels) {
        return Ok(());
    }
    let (w, h, c) = scan;
    Err(format!("it is {w}x{h} with {c} channels, where the reel is {width}x{height} with {channels}"))
}

/// Reads a scan's planes.
///
/// # Errors
/// A clause that says why it cannot take part, without the file's name.
pub(super) fn planes(path: &Path, size: (usize, usize, usize)) -> Result<Vec<Plane>, String> {
    let picture = Picture::read(path).map_err(|e| e.reason().to_owned())?;
    same_size((picture.width, picture.height, picture.channels), size)?;
    Ok(picture.planes)
}

/// Reads a scan and prepares it for motion and detection.
///
/// # Errors
/// A clause that says why, without the file's name.
pub(super) fn prepared(path: &Path, size: (usize, usize, usize)) -> Result<Prepared, String> {
    prepared_from(planes(path, size)?)
}

/// Prepares a decoded scan.
///
/// # Errors
/// As [`prepared`].
pub(super) fn prepared_of(scan: &Scan, size: (usize, usize, usize)) -> Result<Prepared, String> {
    let frame = scan.frame();
    same_size((frame.width, frame.height, frame.channels), size)?;
    prepared_from(frame.analysis())
}

fn prepared_from(planes: Vec<Plane>) -> Result<Prepared, String> {
    Prepared::new(planes).ok_or_else(|| "it holds no picture".to_owned())
}

/// Width, height and channels of a reel's scans.
pub(super) const fn size_of(info: &ReelInfo) -> (usize, usize, usize) {
    (info.width, info.height, info.channels)
}
