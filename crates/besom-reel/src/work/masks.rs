//! Defect masks as pictures, for other tools.

use std::fs;
use std::path::Path;

use besom_scan::{Plane, Progress, RunMask, write};
use image::ImageEncoder as _;
use image::codecs::png::PngEncoder;
use rayon::prelude::*;

use crate::error::ReelError;
use crate::reel::Reel;

use super::walk::batch_size;
use super::{infrared, stop_if_cancelled};

/// Which candidates a mask shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum WhichMasks {
    /// All of sufficient confidence, whatever was decided.
    #[default]
    Candidates,
    /// The accepted ones, without what protected regions cover: what a repair may change.
    Accepted,
}

/// Which masks to write.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MaskOptions {
    /// Which candidates are white.
    pub which: WhichMasks,
    /// Lowest confidence, 0 to 1. Without it, candidates are those at or above their shot's sensitivity, and accepted ones
    /// are all of them.
    pub min_confidence: Option<f32>,
}

/// What was written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MasksReport {
    /// Masks written, one a scan that has been looked at.
    pub frames: usize,
    /// Candidates in them.
    pub candidates: usize,
    /// White pixels.
    pub pixels: u64,
}

/// Writes one 8-bit grey PNG a scan into `to`: 255 on the chosen candidates, 0 elsewhere, the scan's size, the scan's name
/// with the ending `.png`. Scans that have not been looked at get none.
///
/// # Errors
/// When the target is the scans' folder or inside it, when a file cannot be written, or when cancelled.
pub fn masks(reel: &Path, to: &Path, options: &MaskOptions, progress: &dyn Progress) -> Result<MasksReport, ReelError> {
    let reel = Reel::open_to_read(reel)?;
    let info = reel.info();
    write::check_target(&info.scans_folder(reel.folder()), to)?;
    infrared::check_target(info, reel.folder(), to)?;
    fs::create_dir_all(to).map_err(|e| ReelError::access(to, "it cannot be made", &e))?;
    let entries: Vec<_> = reel.frames().iter().filter(|entry| reel.detected(entry.number)).collect();
    progress.begin("Writing masks", entries.len() as u64);
    let mut report = MasksReport::default();
    for batch in entries.chunks(batch_size(info.width * info.height)) {
        stop_if_cancelled(progress)?;
        let write = |entry: &&&crate::model::info::FrameEntry| {
            let chosen = chosen(&reel, entry.number, options);
            let mask = RunMask::from_runs(chosen.iter().flat_map(|mask| mask.runs().iter().copied()).collect());
            let mask = match options.which {
                WhichMasks::Candidates => mask,
                WhichMasks::Accepted => mask.minus(&reel.protected_mask(entry.number)),
            };
            let mut plane = Plane::<u8>::new(info.width, info.height);
            mask.paint(&mut plane, u8::MAX);
            let target = to.join(entry.path.file_name().unwrap_or_default()).with_extension("png");
            write::write_atomically(&target, &png(&target, &plane)?)?;
            Ok::<_, ReelError>((chosen.len(), mask.area()))
        };
        let answers: Vec<_> = batch.iter().collect::<Vec<_>>().par_iter().map(write).collect();
        for answer in answers {
            let (candidates, pixels) = answer?;
            report.frames += 1;
            report.candidates += candidates;
            report.pixels += pixels as u64;
            progress.advance(1);
        }
    }
    Ok(report)
}

fn chosen<'a>(reel: &'a Reel, frame: u64, options: &MaskOptions) -> Vec<&'a RunMask> {
    let sensitivity = reel.shot_of(frame).map_or(0.0, |shot| reel.sensitivity(shot.index));
    match options.which {
        WhichMasks::Candidates => {
            let lowest = options.min_confidence.unwrap_or(sensitivity);
            let some = |c: &&besom_detect::Candidate| c.confidence >= lowest && !c.mask.is_empty();
            reel.candidates(frame).iter().filter(some).map(|c| &c.mask).collect()
        }
        WhichMasks::Accepted => {
            let lowest = options.min_confidence.unwrap_or(0.0);
            reel.accepted(frame)
                .into_iter()
                .filter(|(_, c, _)| c.confidence >= lowest)
                .map(|(_, c, _)| &c.mask)
                .collect()
        }
    }
}

fn png(target: &Path, plane: &Plane<u8>) -> Result<Vec<u8>, ReelError> {
    let mut bytes = Vec::new();
    let (width, height) = (plane.width() as u32, plane.height() as u32);
    PngEncoder::new(&mut bytes)
        .write_image(plane.as_slice(), width, height, image::ExtendedColorType::L8)
        .map_err(|e| ReelError::damaged(target, format!("the mask cannot be written: {e}")))?;
    Ok(bytes)
}
