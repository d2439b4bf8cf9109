//! Published detectors and simple fills, to be beaten in the same run.
//!
//! The rules work on neighbours that are already motion-compensated, so any optical flow can feed them: the project's
//! own, or one computed elsewhere and read from [`flow`] files.

pub mod fill;
pub mod flow;
pub mod rule;

pub use fill::Fill;
pub use flow::{Flow, FlowError};
pub use rule::Rule;

use besom_scan::Plane;

/// The mean of a picture's channels, on which the rules work; empty for a picture without channels.
pub fn channel_mean(planes: &[Plane]) -> Plane {
    let Some(first) = planes.first() else { return Plane::new(0, 0) };
    let share = 1.0 / planes.len() as f32;
    Plane::from_fn(first.width(), first.height(), |x, y| planes.iter().map(|p| p.at(x, y)).sum::<f32>() * share)
}
