//! Film scans: the image vocabulary of the whole project, image sequences, exact reading and patch-writing.
//!
//! Four things that never mix: the codecs (one file a format), the sequence and its reader, the image in memory
//! ([`Plane`], [`Rect`], [`RunMask`], frames), and the cache. Nothing here knows of defects, decisions or windows,
//! and nothing here ever writes into a folder of scans.
#![forbid(unsafe_code)]

pub mod mask;
pub mod plane;
pub mod progress;
pub mod rect;

pub use mask::{Run, RunMask};
pub use plane::Plane;
pub use progress::{Progress, Silent};
pub use rect::Rect;
