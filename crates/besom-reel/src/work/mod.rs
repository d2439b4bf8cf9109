//! Long jobs over a reel folder: start, detect, repair, verify, masks. Used by the commands and the window alike.
//!
//! They move frames and look at no pixel value themselves: what a pixel means is the business of the crates below. Every
//! job takes a [`Progress`], through which it can be stopped at any frame; a stopped or failed job leaves no file
//! half-written. Results are byte-identical for any number of threads.

use besom_detect::Model;
use besom_scan::{Progress, ScanError};

use crate::error::{ReelError, ReelErrorKind};

mod assemble;
mod detect;
mod fills;
mod frames;
mod headers;
mod infrared;
mod mark;
mod masks;
mod oddities;
mod pixels;
mod places;
mod record;
mod repair;
mod start;
mod verify;
mod walk;

pub use assemble::{AssembleReport, assemble};
pub use detect::{DetectOptions, DetectReport, detect};
pub use infrared::InfraredFrom;
pub use mark::{MarkReport, mark};
pub use masks::{MaskOptions, MasksReport, WhichMasks, masks};
pub use record::{RepairEntry, RepairRecord};
pub use repair::{RepairOptions, RepairReport, SecondLook, repair};
pub use start::{Damaged, StartOptions, StartReport, start};
pub use verify::{VerifyReport, verify};

impl From<ScanError> for ReelError {
    fn from(error: ScanError) -> Self {
        // A scan's error ends with a full stop, a reel's does not.
        Self::new(ReelErrorKind::Access, error.to_string().trim_end_matches('.'))
    }
}

fn stop_if_cancelled(progress: &dyn Progress) -> Result<(), ReelError> {
    if progress.cancelled() {
        return Err(ReelError::new(ReelErrorKind::Cancelled, "stopped by request"));
    }
    Ok(())
}

/// The detector's trained judgement.
fn model() -> Result<Model, ReelError> {
    Model::built_in().map_err(|e| {
        ReelError::new(ReelErrorKind::Damaged, format!("the built-in confidence model cannot be used: {e}"))
    })
}
