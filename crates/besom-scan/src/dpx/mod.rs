//! DPX (SMPTE ST 268-1), read and patched in place.
//!
//! Offsets, types and packings follow SMPTE 268M-1994 and -2003 as open readers implement them (the standard's own
//! text could not be read). Uncompressed 8-, 10-, 12- and 16-bit elements of one, three (RGB) and four (RGBA, ABGR)
//! components are read in every packing; anything else is refused by name. Headers in the wild are often wrong, so
//! the file's real length decides wherever two fields or conventions disagree, and each such case is a warning.

mod direct;
mod encode;
mod facts;
mod layout;
mod packing;

pub(crate) use direct::picture;
pub use encode::{Facts, encode};
pub(crate) use layout::Layout;

use crate::error::Fault;
use crate::{Encoding, Frame, Header};

/// Size of the fixed part of a header.
pub(crate) const HEADER_BYTES: usize = 2048;
/// Size of the generic part alone; some writers put pixels straight after it.
pub(crate) const GENERIC_BYTES: usize = 1664;

/// Reads a whole DPX file.
pub(crate) fn decode(bytes: &[u8]) -> Result<(Header, Frame, Layout), Fault> {
    let layout = Layout::parse(bytes, bytes.len() as u64)?;
    let samples = layout.unpack(bytes)?;
    let frame = Frame {
        width: layout.width,
        height: layout.height,
        channels: layout.components,
        samples,
        encoding: Encoding { bits: layout.depth, transfer: layout.transfer },
    };
    let header = layout.header(bytes);
    Ok((header, frame, layout))
}
