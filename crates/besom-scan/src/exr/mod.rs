//! OpenEXR, one part of scan lines or tiles with half or single float samples.
//!
//! Read through the `exr` crate's block interface. A repair copies the header and every chunk without a repair byte
//! for byte, compresses the others again, and writes a new table of chunk offsets: re-encoding through any library
//! would reorder attributes. File layout after the OpenEXR project's "OpenEXR file layout" document.

mod chunks;
mod picture;

use std::io::{Cursor, Read, Seek, SeekFrom};

pub(crate) use picture::Layout;

use crate::error::Fault;
use crate::{Encoding, Frame, Header, Transfer};

/// Reads the header without the pixels.
pub(crate) fn read_header<R: Read + Seek>(file: &mut R, length: u64) -> Result<Header, Fault> {
    // The attributes come first and are small; a large preview picture is the largest known one.
    const HEADER_LIMIT: u64 = 16 << 20;
    let mut start = Vec::new();
    let read = file.seek(SeekFrom::Start(0)).and_then(|_| file.take(HEADER_LIMIT.min(length)).read_to_end(&mut start));
    read.map_err(|e| Fault { kind: crate::ErrorKind::System, reason: format!("it cannot be read ({e})") })?;
    Layout::parse(&start, length).map(|layout| layout.header())
}

/// Reads a whole OpenEXR file.
pub(crate) fn decode(bytes: &[u8]) -> Result<(Header, Frame, Layout), Fault> {
    let layout = Layout::parse(bytes, bytes.len() as u64)?;
    let samples = layout.unpack(bytes)?;
    let header = layout.header();
    let frame = Frame {
        width: header.width,
        height: header.height,
        channels: header.channels,
        samples,
        encoding: Encoding { bits: header.bits, transfer: Transfer::Linear },
    };
    Ok((header, frame, layout))
}

/// The metadata as the crate reads it.
fn metadata(bytes: &[u8]) -> Result<exr_crate::meta::MetaData, Fault> {
    guarded(|| exr_crate::meta::MetaData::read_from_buffered(Cursor::new(bytes), false))
}

use ::exr as exr_crate;

/// Runs a part of the crate on bytes from outside. Its errors become faults, and so do its panics: some of its
/// arithmetic is not checked against damaged files.
fn guarded<T>(work: impl FnOnce() -> exr_crate::error::Result<T>) -> Result<T, Fault> {
    match std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(error)) => Err(Fault::damaged(format!("its OpenEXR data is not usable ({error})"))),
        Err(_) => Err(Fault::damaged("its OpenEXR data contradicts itself")),
    }
}
