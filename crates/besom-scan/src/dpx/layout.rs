//! Where in the file every sample lies: the header's claims, checked against the file's real length.

use super::packing::Packing;
use super::{GENERIC_BYTES, facts};
use crate::error::Fault;
use crate::header::{Format, Guarantee, Header};
use crate::{SampleEdit, Samples, Transfer};

/// Reads header fields in the file's byte order.
#[derive(Clone, Copy)]
pub(super) struct Fields<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) big_endian: bool,
}

impl Fields<'_> {
    pub(super) fn u8(&self, at: usize) -> Option<u8> {
        self.bytes.get(at).copied()
    }

    pub(super) fn u16(&self, at: usize) -> Option<u16> {
        let b: [u8; 2] = self.bytes.get(at..at + 2)?.try_into().ok()?;
        Some(if self.big_endian { u16::from_be_bytes(b) } else { u16::from_le_bytes(b) })
    }

    pub(super) fn u32(&self, at: usize) -> Option<u32> {
        let b: [u8; 4] = self.bytes.get(at..at + 4)?.try_into().ok()?;
        Some(if self.big_endian { u32::from_be_bytes(b) } else { u32::from_le_bytes(b) })
    }

    /// A 32-bit number that the writer did not leave undefined.
    pub(super) fn stated(&self, at: usize) -> Option<u32> {
        self.u32(at).filter(|v| *v != u32::MAX)
    }
}

/// How the samples of one file lie.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Layout {
    pub(super) big_endian: bool,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) components: usize,
    pub(crate) depth: u8,
    pub(crate) transfer: Transfer,
    pub(super) packing: Packing,
    /// True when the file stores alpha, blue, green, red.
    pub(super) reversed: bool,
    /// Byte of the first sample.
    pub(super) start: usize,
    /// Bytes from one stored row to the next.
    pub(super) stride: usize,
    /// Samples of one stored row. A file whose rows are not padded at all is one long stored row.
    pub(super) row_samples: usize,
    pub(super) warnings: Vec<String>,
}

/// The part of an image element that decides how it is read.
struct Element {
    width: u64,
    height: u64,
    components: u64,
    depth: u8,
    reversed: bool,
}

impl Layout {
    /// Reads the fixed header in `bytes` (at least its generic part) of a file of `length` bytes.
    pub(crate) fn parse(bytes: &[u8], length: u64) -> Result<Self, Fault> {
        let big_endian = bytes.starts_with(b"SDPX");
        let fields = Fields { bytes, big_endian };
        if bytes.len() < GENERIC_BYTES {
            return Err(Fault::damaged(format!("its DPX header needs {GENERIC_BYTES} bytes, the file holds {length}")));
        }
        let mut warnings = Vec::new();
        let element = element(&fields, &mut warnings)?;
        let declared = packing(&fields, element.depth, element.components)?;
        let place = place(&fields, &element, declared, length, &mut warnings)?;
        Ok(Self {
            big_endian,
            width: element.width as usize,
            height: element.height as usize,
            components: element.components as usize,
            depth: element.depth,
            transfer: transfer(&fields, element.depth, &mut warnings),
            packing: place.packing,
            reversed: element.reversed,
            start: place.start as usize,
            stride: place.stride as usize,
            row_samples: place.row_samples as usize,
            warnings,
        })
    }

    /// The facts of the file; `bytes` as for [`parse`](Self::parse).
    pub(crate) fn header(&self, bytes: &[u8]) -> Header {
        Header {
            width: self.width,
            height: self.height,
            channels: self.components,
            bits: self.depth,
            float: false,
            transfer: self.transfer,
            format: Format::Dpx,
            guarantee: Guarantee::EveryByte,
            facts: facts::facts(self, bytes),
        }
    }

    /// All samples, red or grey first in each pixel.
    pub(crate) fn unpack(&self, bytes: &[u8]) -> Result<Samples, Fault> {
        let count = self.width * self.height * self.components;
        let rows = count / self.row_samples.max(1);
        let needed = self.start + rows.saturating_sub(1) * self.stride + self.packing.row_bytes(self.row_samples);
        let pixels = bytes.get(self.start..needed);
        let Some(pixels) = pixels else { return Err(Fault::truncated(needed as u64, bytes.len() as u64)) };
        let row_bytes = self.packing.row_bytes(self.row_samples);
        let stored = (0..rows).map(|y| &pixels[y * self.stride..y * self.stride + row_bytes]);
        if self.depth == 8 {
            let mut samples = Vec::with_capacity(count);
            stored.for_each(|row| samples.extend_from_slice(row));
            if self.reversed {
                samples.chunks_exact_mut(self.components).for_each(<[u8]>::reverse);
            }
            return Ok(Samples::U8(samples));
        }
        let mut samples = vec![0u16; count];
        for (row, out) in stored.zip(samples.chunks_exact_mut(self.row_samples)) {
            self.packing.unpack_row(row, self.big_endian, out);
        }
        if self.reversed {
            samples.chunks_exact_mut(self.components).for_each(<[u16]>::reverse);
        }
        Ok(Samples::U16(samples))
    }

    /// The file with the edited samples' bits replaced; the bits that pad words are never touched.
    pub(crate) fn patched(&self, bytes: &[u8], edits: &[SampleEdit]) -> Result<Vec<u8>, Fault> {
        let mut out = bytes.to_vec();
        for edit in edits {
            let (row, index) = self.stored(edit.x as usize, edit.y as usize, usize::from(edit.channel));
            let at = self.start + row * self.stride;
            out.get_mut(at..)
                .and_then(|row| self.packing.put(row, self.big_endian, index, edit.bits))
                .ok_or_else(|| Fault::edit("a sample to change lies outside the file"))?;
        }
        Ok(out)
    }

    /// Sets, in `mask` (as long as the file, zeros), every bit that belongs to a sample of these pixels.
    pub(crate) fn mark_bits(&self, mask: &mut [u8], pixels: impl Iterator<Item = (u32, u32)>) {
        for (x, y) in pixels.filter(|(x, y)| (*x as usize) < self.width && (*y as usize) < self.height) {
            for channel in 0..self.components {
                let (row, index) = self.stored(x as usize, y as usize, channel);
                if let Some(row) = mask.get_mut(self.start + row * self.stride..) {
                    let _ = self.packing.put(row, self.big_endian, index, u32::MAX);
                }
            }
        }
    }

    /// Stored row, and index in it, of a sample.
    fn stored(&self, x: usize, y: usize, channel: usize) -> (usize, usize) {
        let component = if self.reversed { self.components - 1 - channel } else { channel };
        let index = (y * self.width + x) * self.components + component;
        (index / self.row_samples, index % self.row_samples)
    }
}

/// Image element 0.
fn element(fields: &Fields, warnings: &mut Vec<String>) -> Result<Element, Fault> {
    let missing = || Fault::damaged("its header is incomplete");
    // All ones mean "not encrypted"; zero is what writers leave that never thought of encryption.
    if fields.stated(660).is_some_and(|key| key != 0) {
        return Err(Fault::unsupported("it is encrypted, which Besom does not read"));
    }
    let elements = fields.u16(770).ok_or_else(missing)?;
    match elements {
        1 => {}
        0 | u16::MAX => warnings.push("the header counts no image elements; one is assumed".to_owned()),
        2..=8 => warnings.push(format!("the file has {elements} image elements; only the first is read and repaired")),
        _ => return Err(Fault::damaged(format!("its header claims {elements} image elements; 8 is the most"))),
    }
    let (width, height) = (fields.u32(772).ok_or_else(missing)?, fields.u32(776).ok_or_else(missing)?);
    if width == 0 || height == 0 || width == u32::MAX || height == u32::MAX {
        return Err(Fault::damaged("its header gives the picture no size"));
    }
    if fields.u32(780) == Some(1) {
        return Err(Fault::unsupported("its samples are signed, which Besom does not read"));
    }
    match fields.u16(806) {
        Some(0 | u16::MAX) => {}
        Some(1) => return Err(Fault::unsupported("its pixels are run-length encoded, which Besom does not read")),
        _ => return Err(Fault::unsupported("its header names an unknown pixel encoding")),
    }
    let descriptor = fields.u8(800).ok_or_else(missing)?;
    let (components, reversed) = match descriptor {
        1..=3 if elements >= 3 => {
            return Err(Fault::unsupported(
                "it keeps red, green and blue as separate elements, which Besom does not read",
            ));
        }
        0..=4 | 6 | 8 => (1, false),
        50 => (3, false),
        51 => (4, false),
        52 => (4, true),
        7 | 100..=103 => {
            return Err(Fault::unsupported("its pixels are colour differences (CbCr), which Besom does not read"));
        }
        other => return Err(Fault::unsupported(format!("its pixels are of kind {other}, which Besom does not read"))),
    };
    let depth = fields.u8(803).ok_or_else(missing)?;
    if !matches!(depth, 8 | 10 | 12 | 16) {
        return Err(Fault::unsupported(format!("its samples have {depth} bits; Besom reads 8, 10, 12 and 16")));
    }
    Ok(Element { width: width.into(), height: height.into(), components, depth, reversed })
}

/// The packing the header declares.
fn packing(fields: &Fields, depth: u8, components: u64) -> Result<Packing, Fault> {
    let code = fields.u16(804).unwrap_or(u16::MAX);
    let packing = match (depth, code) {
        (8, _) => Packing::Bytes,
        (16, _) => Packing::Shorts { shift: 0, bits: 16 },
        (_, 0) => Packing::Stream { bits: depth },
        (10, 1 | 2) => {
            // One component: the first pixel stands in the low bits. Observed by two independent readers alike.
            let low = if code == 1 { 2 } else { 0 };
            let shifts = if components == 1 { [low, low + 10, low + 20] } else { [low + 20, low + 10, low] };
            Packing::Words { shifts }
        }
        (12, 1) => Packing::Shorts { shift: 4, bits: 12 },
        (12, 2) => Packing::Shorts { shift: 0, bits: 12 },
        (_, other) => {
            return Err(Fault::unsupported(format!("its {depth}-bit samples use the unknown packing {other}")));
        }
    };
    Ok(packing)
}

/// Where the pixels are, and how their rows are spaced.
struct Place {
    packing: Packing,
    start: u64,
    stride: u64,
    row_samples: u64,
}

/// Tries the header's offsets and the known row conventions until one fits the file's real length.
fn place(
    fields: &Fields,
    element: &Element,
    declared: Packing,
    length: u64,
    warnings: &mut Vec<String>,
) -> Result<Place, Fault> {
    let possible = |v: &u32| *v as usize >= GENERIC_BYTES;
    let own = fields.stated(808).filter(possible);
    let general = fields.stated(4).filter(possible);
    let Some(first) = own.or(general) else {
        return Err(Fault::damaged("its header does not say where the pixels begin"));
    };
    let mut shortest = None;
    for start in [own, general].into_iter().flatten() {
        match rows(fields, element, declared, u64::from(start), length, warnings) {
            Ok(place) => {
                if own != Some(start) {
                    warnings
                        .push("the image element's data offset is unusable; the file's general offset is used".into());
                } else if general.is_some_and(|g| g != start) {
                    warnings.push("the two data offsets disagree; the image element's own is used".into());
                }
                return Ok(place);
            }
            Err(needed) => shortest = Some(shortest.map_or(needed, |s: u128| s.min(needed))),
        }
    }
    let needed = shortest.unwrap_or_else(|| u128::from(first));
    Err(Fault::truncated(u64::try_from(needed).unwrap_or(u64::MAX), length))
}

/// The row convention that fits the file with pixels at `start`, or the length the padded convention needs.
///
/// The standard breaks to the next 32-bit word at each line; some writers do not, and some announce end-of-line
/// padding they do not write. The standard's way is preferred whenever it fits. Another way is taken only when it
/// uses the file up exactly, or the header's own file size says that nothing is missing: else a file cut short by a
/// few bytes would be read askew instead of refused.
fn rows(
    fields: &Fields,
    element: &Element,
    declared: Packing,
    start: u64,
    length: u64,
    warnings: &mut Vec<String>,
) -> Result<Place, u128> {
    let row = u128::from(element.width) * u128::from(element.components);
    let height = u128::from(element.height);
    let padding = u128::from(fields.stated(812).unwrap_or(0));
    let held = u128::from(length.saturating_sub(start));
    let complete = fields.stated(16).map(u64::from) == Some(length);
    let end_padding = u128::from(fields.stated(816).unwrap_or(0));
    let padded = declared.padded_row_bytes(row);
    // The last row's end-of-line padding may be missing.
    let total = |stride: u128| stride * (height - 1) + padded;
    let exactly = |size: u128| held == size || (end_padding > 0 && held == size + end_padding);
    let place =
        |packing: Packing, stride: u128| Place { packing, start, stride: stride as u64, row_samples: row as u64 };

    if declared == (Packing::Stream { bits: 10 }) && padding == 0 {
        // Ten-bit files that declare themselves packed but hold one word a pixel are common, and 6 % longer.
        let shifts = if element.components == 1 { [2, 12, 22] } else { [22, 12, 2] };
        let filled = Packing::Words { shifts };
        let stride = filled.padded_row_bytes(row);
        if stride != padded && exactly(stride * height) {
            warnings.push("the header declares packed samples, the file's length says filled words (method A)".into());
            return Ok(place(filled, stride));
        }
    }
    if held >= total(padded + padding) {
        return Ok(place(declared, padded + padding));
    }
    if padding > 0 && held >= padded * height && (complete || exactly(padded * height)) {
        warnings.push("the announced end-of-line padding is not there".into());
        return Ok(place(declared, padded));
    }
    let unpadded = declared.unpadded_bytes(row * height);
    // A header that announces the padded length is evidence for a cut file, not for another convention.
    let announced = fields.stated(16).map(u128::from) == Some(u128::from(start) + padded * height);
    if held >= unpadded && (complete || (exactly(unpadded) && !announced)) {
        warnings.push("rows are not padded to 32-bit words".into());
        let row_samples = (row * height) as u64;
        return Ok(Place { packing: declared, start, stride: unpadded as u64, row_samples });
    }
    Err(u128::from(start) + total(padded + padding))
}

/// What the codes stand for. Undefined is common: ten and twelve bits then are film logs, the others video.
fn transfer(fields: &Fields, depth: u8, warnings: &mut Vec<String>) -> Transfer {
    match fields.u8(801) {
        Some(1) => Transfer::PrintingDensity,
        Some(2) => Transfer::Linear,
        Some(3 | 13) => Transfer::Log,
        Some(4..=10) => Transfer::Video,
        _ => {
            let assumed = if matches!(depth, 10 | 12) { Transfer::Log } else { Transfer::Video };
            warnings.push(format!("the header does not say what the codes stand for; {assumed} is assumed"));
            assumed
        }
    }
}
