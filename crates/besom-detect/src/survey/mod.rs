//! What the survey measures from pixels: shot cuts and grain.

mod cuts;
mod grain;
mod look;
mod thumbnail;

pub use cuts::cuts;
pub use grain::{grain_of_looks, measure_grain};
pub use look::Look;
pub use thumbnail::Thumbnail;
