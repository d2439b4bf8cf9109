//! Defect detection: grain, cuts, candidates, confidence and risk.
//!
//! A candidate of frame n is a pure function of frames n-2 to n+2, its shot and the settings: no state is carried along
//! the reel, so threads, chunks and machines give byte-identical results. Nothing here knows of files.
#![forbid(unsafe_code)]

mod beside_lines;
pub mod candidate;
mod cells;
pub mod colour;
pub mod components;
pub mod context;
pub mod detect;
pub mod evidence;
pub mod features;
pub mod gate;
pub mod grain;
pub mod groups;
pub mod infrared;
mod levels;
pub mod likeness;
pub mod lines;
pub mod link;
pub mod model;
mod nearby;
mod outline;
mod own_frame;
pub mod prepare;
mod range;
mod reasons;
mod spares;
mod splice;
pub mod survey;
pub mod sway;
pub mod trees;
pub mod whole;

pub use candidate::{Candidate, DEFAULT_SENSITIVITY, Kind, Origin, Polarity, Risk};
pub use detect::{Settings, Suspects, Window, detect, detect_in, suspects};
pub use grain::Grain;
pub use groups::{Group, GroupKind, groups};
pub use infrared::Infrared;
pub use model::Model;
pub use prepare::Prepared;
pub use spares::Spares;
pub use trees::{Trees, TreesError};
