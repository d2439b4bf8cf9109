//! Defect detection: grain, cuts, candidates, confidence and risk.
//!
//! A candidate of frame n is a pure function of frames n-2 to n+2, its shot and the settings: no state is carried along
//! the reel, so threads, chunks and machines give byte-identical results. Nothing here knows of files.
#![forbid(unsafe_code)]

pub mod candidate;
pub mod grain;
pub mod trees;

pub use candidate::{Candidate, Kind, Origin, Polarity, Risk};
pub use grain::Grain;
