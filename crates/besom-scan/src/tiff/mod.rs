//! TIFF (revision 6.0, and BigTIFF), read to native samples; uncompressed files are patched in place.
//!
//! Uncompressed files of 8 to 16 bits (and half or single floats), in strips or tiles, chunky or planar, are read by
//! our own walk, because patching needs the place of every sample anyway. Files compressed with LZW, Deflate or PackBits
//! are read the same way after expanding, and are read-only. Only the first page is read.

mod directory;
mod expand;
mod layout;

use std::io::{Cursor, Read, Seek};

pub(crate) use layout::Layout;

use crate::error::Fault;
use crate::{Encoding, Frame, Header};

/// Reads the header without the pixels.
pub(crate) fn read_header<R: Read + Seek>(file: &mut R, length: u64) -> Result<Header, Fault> {
    Layout::parse(file, length).map(|layout| layout.header())
}

/// Reads a whole TIFF file.
pub(crate) fn decode(bytes: &[u8]) -> Result<(Header, Frame, Layout), Fault> {
    let layout = Layout::parse(&mut Cursor::new(bytes), bytes.len() as u64)?;
    let samples = layout.unpack(bytes)?;
    let header = layout.header();
    let frame = Frame {
        width: header.width,
        height: header.height,
        channels: header.channels,
        samples,
        encoding: Encoding { bits: header.bits, transfer: header.transfer },
    };
    Ok((header, frame, layout))
}
