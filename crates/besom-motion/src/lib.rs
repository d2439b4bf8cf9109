//! Motion between frames: flicker, weave, dense motion and compensation. Knows nothing of defects.
#![forbid(unsafe_code)]

pub mod around;
pub mod interpolate;
pub mod vector;

pub use vector::Vector;
