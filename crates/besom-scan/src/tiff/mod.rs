//! TIFF (revision 6.0, and BigTIFF), read to native samples; uncompressed files are patched in place.
//!
//! Uncompressed files of 8 to 16 bits (and half or single floats), in strips or tiles, chunky or planar, are read by
//! our own walk, because patching needs the place of every sample anyway. LZW, Deflate and PackBits are decoded by
//! the `tiff` crate and are read-only. Only the first page is read.

mod directory;
mod layout;

use std::io::{Cursor, Read, Seek};

use ::tiff as codec;
use half::f16;

pub(crate) use layout::Layout;

use crate::error::Fault;
use crate::{Encoding, Frame, Header, Samples};

/// Reads the header without the pixels.
pub(crate) fn read_header<R: Read + Seek>(file: &mut R, length: u64) -> Result<Header, Fault> {
    Layout::parse(file, length).map(|layout| layout.header())
}

/// Reads a whole TIFF file.
pub(crate) fn decode(bytes: &[u8]) -> Result<(Header, Frame, Layout), Fault> {
    let layout = Layout::parse(&mut Cursor::new(bytes), bytes.len() as u64)?;
    let samples = if layout.compressed { expand(bytes, &layout)? } else { layout.unpack(bytes)? };
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

/// Decodes a compressed picture.
fn expand(bytes: &[u8], layout: &Layout) -> Result<Samples, Fault> {
    let damaged = |e: codec::TiffError| Fault::damaged(format!("its compressed picture cannot be read ({e})"));
    let mut limits = codec::decoder::Limits::default();
    // The picture's size was checked against the file's length; the default limit stops at 4K scans.
    limits.decoding_buffer_size = usize::MAX;
    let mut decoder = codec::decoder::Decoder::new(Cursor::new(bytes)).map_err(damaged)?.with_limits(limits);
    let mut result = codec::decoder::DecodingResult::U8(Vec::new());
    decoder.read_image_to_buffer(&mut result).map_err(damaged)?;
    let samples = match result {
        codec::decoder::DecodingResult::U8(v) => Samples::U8(v),
        codec::decoder::DecodingResult::U16(v) => Samples::U16(v),
        codec::decoder::DecodingResult::F16(v) => Samples::F16(v.iter().map(|s| f16::from_bits(s.to_bits())).collect()),
        codec::decoder::DecodingResult::F32(v) => Samples::F32(v),
        _ => return Err(Fault::unsupported("its samples are of a kind Besom does not read when compressed")),
    };
    let samples = if layout.planar { interleaved(samples, layout) } else { samples };
    if samples.len() != layout.samples() {
        return Err(Fault::damaged("its compressed picture does not match its header"));
    }
    Ok(samples)
}

/// Samples that came plane after plane, pixel by pixel.
fn interleaved(samples: Samples, layout: &Layout) -> Samples {
    fn mix<T: Copy>(planes: &[T], channels: usize) -> Vec<T> {
        let pixels = planes.len() / channels.max(1);
        (0..pixels * channels).map(|i| planes[i % channels * pixels + i / channels]).collect()
    }
    match samples {
        Samples::U8(v) => Samples::U8(mix(&v, layout.channels)),
        Samples::U16(v) => Samples::U16(mix(&v, layout.channels)),
        Samples::F16(v) => Samples::F16(mix(&v, layout.channels)),
        Samples::F32(v) => Samples::F32(mix(&v, layout.channels)),
    }
}
