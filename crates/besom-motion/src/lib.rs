//! Motion between frames: flicker, weave, dense motion and compensation. Knows nothing of defects.
//!
//! ```
//! use besom_motion::{Pyramid, Vector, compensate, estimate_field};
//! use besom_scan::Plane;
//! let scene = |x: f32, y: f32| 500.0 + 90.0 * (x * 0.2).sin() + 70.0 * (y * 0.23 + x * 0.05).cos();
//! let current = Plane::from_fn(96, 80, |x, y| scene(x as f32, y as f32));
//! let reference = Plane::from_fn(96, 80, |x, y| scene(x as f32 - 3.0, y as f32 + 1.5));
//! let field = estimate_field(&Pyramid::new(&current), &Pyramid::new(&reference));
//! assert!(field.at(48.0, 40.0).distance(Vector::new(3.0, -1.5)) < 0.1);
//! let seen = compensate(&reference, &field);
//! assert!((seen.at(48, 40) - current.at(48, 40)).abs() < 3.0);
//! ```
#![forbid(unsafe_code)]

pub mod around;
pub mod compensate;
pub mod field;
pub mod flicker;
mod grid;
pub mod interpolate;
pub mod order;
mod patch;
pub mod pyramid;
pub mod reconcile;
pub mod search;
mod spread;
pub mod sums;
pub mod vector;

pub use compensate::{compensate, compensate_into};
pub use field::MotionField;
pub use flicker::Flicker;
pub use pyramid::Pyramid;
pub use reconcile::reconcile;
pub use search::estimate_field;
pub use sums::Sums;
pub use vector::Vector;
