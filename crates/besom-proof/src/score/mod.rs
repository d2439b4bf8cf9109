//! Scores: what was found, what was marked for nothing, whether confidence is honest, how good the repair is.
//!
//! One set of definitions for every figure the project states. Truth is a clean picture and, for each pixel, label bits
//! ([`crate::ageing::DUST`], [`crate::ageing::HAIR`], [`crate::ageing::LINE`]). An *object* is an 8-connected component of
//! four pixels or more. Scores of frames are added up with `merge`, in the order of the frames.

pub mod clip;
pub mod detection;
pub mod objects;
pub mod reliability;
pub mod repair;
pub mod ssim;

pub use clip::{ClipScore, score_folders};
pub use detection::{Detection, Recall, Truth, is_found};
pub use objects::{LEAST_PIXELS, near, objects};
pub use reliability::Reliability;
pub use repair::Repair;
pub use ssim::ssim;
