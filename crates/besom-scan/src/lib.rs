//! Film scans: the image vocabulary of the whole project, image sequences, exact reading and patch-writing.
//!
//! Four things that never mix: the codecs (one file a format), the sequence and its reader, the image in memory
//! ([`Plane`], [`Rect`], [`RunMask`], [`Frame`]), and the cache. Nothing here knows of defects, decisions or windows,
//! and nothing here ever writes into a folder of scans.
#![forbid(unsafe_code)]
// Counting pixels of a small test plane needs no crate for it.
#![cfg_attr(test, allow(clippy::naive_bytecount))]

pub mod mask;
pub mod plane;
pub mod progress;
pub mod rect;

pub mod cache;
mod curve;
pub mod dpx;
pub mod error;
mod exr;
pub mod frame;
pub mod header;
pub mod picture;
mod png;
pub mod scan;
pub mod sequence;
mod tiff;
pub mod verify;
pub mod write;

pub use cache::FrameCache;
pub use error::{ErrorKind, ScanError};
pub use frame::{Encoding, Frame, Samples, Transfer};
pub use header::{Format, Guarantee, Header, read_header};
pub use mask::{Run, RunMask};
pub use picture::Picture;
pub use plane::Plane;
pub use progress::{Progress, Silent};
pub use rect::Rect;
pub use scan::{SampleEdit, Scan};
pub use sequence::{Sequence, SequenceFrame};
