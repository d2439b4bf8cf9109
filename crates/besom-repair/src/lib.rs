//! Repair of accepted defects from adjacent frames, grain kept.
//!
//! One hole at a time. Motion is estimated again around the hole without its pixels ([`besom_motion::around`]), with several
//! hypotheses for each of the frames n-2 to n+2; every one is tried on the rim and against the others inside the hole. The
//! believed ones share the pixels by their expected error: low frequencies are their mean, levelled to the rim; grain comes
//! from one real frame. Where no neighbour can be read the hole is filled from the picture around, with grain made anew.
//!
//! ```
//! use besom_detect::Grain;
//! use besom_motion::Vector;
//! use besom_repair::{Choice, Job, Method, Prepared, Source, fill_prepared};
//! use besom_scan::{Plane, Rect, RunMask};
//!
//! let neighbour = [Plane::from_fn(64, 64, |x, y| (300 + 5 * x + 2 * y) as f32)];
//! let mut frame = neighbour.clone();
//! frame[0].set(30, 30, 0.0); // A speck of dust.
//! let (mask, clean) = (RunMask::from_rect(&Rect::new(29, 29, 32, 32)), Plane::<u8>::new(64, 64));
//! let still = |_: f32, _: f32| Vector::default();
//! let job = Job {
//!     planes: &frame,
//!     skip: &clean,
//!     mask: &mask,
//!     sources: &[Source { offset: 1, planes: &neighbour, skip: &clean, start: &still }],
//!     grain: &Grain::flat(1, 0.0),
//!     choice: Choice::Automatic,
//!     seed: 1,
//! };
//! let fill = fill_prepared(&job, &Prepared::new(&job));
//! assert_eq!(fill.method, Method::Next);
//! assert!((fill.values[0].at(1, 1) - 510.0).abs() < 0.1);
//! ```
//!
//! Where a large piece of dirt lets the picture through and more is promised by it, the picture's own detail is recovered
//! from under it. A long thin hole, a line scratch above all, is filled section by section, and what no neighbour shows of a hole goes on from
//! what the others gave.
//!
//! Limits: a spatial fill continues one piece of texture, not several.
#![forbid(unsafe_code)]

mod across;
mod choose;
mod compose;
mod fill;
mod grain_texture;
mod grow;
mod hole;
mod job;
mod level;
mod predict;
mod prepared;
mod resample;
mod rest;
mod sections;
mod spatial;
mod split;
mod through;
mod trial;
mod warp;

pub use fill::{fill, fill_prepared};
pub use grow::grown_mask;
pub use job::{Choice, Fill, Job, Method, Source};
pub use prepared::Prepared;
