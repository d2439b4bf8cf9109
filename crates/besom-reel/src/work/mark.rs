//! Hand marks from pictures: what somebody painted elsewhere over what the detector missed.

use std::path::Path;

use besom_detect::components::connected;
use besom_scan::{Plane, Progress, RunMask, Scan, Sequence};

use crate::error::ReelError;
use crate::model::edit::{Edit, HandMark};
use crate::reel::Reel;

use super::stop_if_cancelled;

/// What was marked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MarkReport {
    /// Masks that were read, one a scan.
    pub frames: usize,
    /// Hand marks that were made.
    pub marks: usize,
    /// Their pixels.
    pub pixels: u64,
    /// Parts of a mask whose very pixels were marked by hand before; they are not marked twice.
    pub known: usize,
}

/// Makes a hand mark of every 8-connected part of the masks of a folder: pictures with the numbers and the size of the scans,
/// not zero in their first channel where something is marked, such as [`masks`](super::masks) writes. A scan without a
/// mask gets no mark.
///
/// All masks are read before the first mark is made, so a folder with a bad one changes nothing. Each mark is a record of the
/// artist's journal; those made before a cancellation stay, and marking again goes on after them.
///
/// # Errors
/// When a mask cannot be read, is of another size than the scans or belongs to none of them, when the journal cannot be
/// written, or when cancelled.
pub fn mark(reel: &mut Reel, folder: &Path, progress: &dyn Progress) -> Result<MarkReport, ReelError> {
    let sequence = Sequence::discover(folder)?;
    let mut found = Vec::with_capacity(sequence.frames.len());
    progress.begin("Reading masks", sequence.frames.len() as u64);
    for frame in &sequence.frames {
        stop_if_cancelled(progress)?;
        found.push((frame.number, read(reel, frame.number, &frame.path)?));
        progress.advance(1);
    }
    let mut report = MarkReport { frames: found.len(), ..MarkReport::default() };
    progress.begin("Marking", found.len() as u64);
    for (frame, mask) in found {
        for mask in connected(&mask) {
            stop_if_cancelled(progress)?;
            let mark = HandMark { frame, mask };
            if reel.is_marked(&mark) {
                report.known += 1;
                continue;
            }
            report.marks += 1;
            report.pixels += mark.mask.area() as u64;
            reel.record(Edit::HandMark(mark))?;
        }
        progress.advance(1);
    }
    Ok(report)
}

/// The marked pixels of a mask of the scan `number`.
fn read(reel: &Reel, number: u64, path: &Path) -> Result<RunMask, ReelError> {
    let about = |reason: String| ReelError::request(format!("{}: {reason}", path.display()));
    if reel.frames().iter().all(|entry| entry.number != number) {
        return Err(about(format!("the reel has no frame {number}")));
    }
    let scan = Scan::read(path)?;
    let (frame, info) = (scan.frame(), reel.info());
    if (frame.width, frame.height) != (info.width, info.height) {
        let (width, height) = (info.width, info.height);
        return Err(about(format!("it is {}x{}, the scans are {width}x{height}", frame.width, frame.height)));
    }
    let marked = |x: usize, y: usize| u8::from(frame.native_bits(x, y, 0) != 0);
    Ok(RunMask::from_plane(&Plane::from_fn(frame.width, frame.height, marked), 0, 0))
}
