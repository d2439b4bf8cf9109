//! Where in a TIFF file every sample lies.

use std::io::{Read, Seek};

use half::f16;
use rayon::prelude::*;

use super::directory::Directory;
use super::expand::{Method, undo_differences};
use crate::error::Fault;
use crate::header::{Format, Guarantee, Header, WARNING};
use crate::{SampleEdit, Samples, Transfer};

/// DEFLATE's limit of 1032 to 1 (see `png.rs`); LZW with 12-bit codes stays below 2600 to 1.
const MOST_SHRINKAGE: u128 = 2600;

/// How the samples of one file lie. Strips are tiles as wide as the picture.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Layout {
    big_endian: bool,
    width: usize,
    height: usize,
    channels: usize,
    bits: u8,
    float: bool,
    transfer: Transfer,
    planar: bool,
    compression: Option<Compression>,
    tile_width: usize,
    tile_height: usize,
    offsets: Vec<u64>,
    /// Stored bytes of each strip or tile; empty for uncompressed files, which are as long as their pixels.
    sizes: Vec<u64>,
    facts: Vec<(String, String)>,
}

/// How the strips or tiles of a compressed file are stored.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Compression {
    method: Method,
    /// True when samples are stored as differences from the pixel before (TIFF 6.0, section 14).
    differences: bool,
}

/// A run of samples that stand side by side in the file: one row of one tile (of one plane).
struct Segment {
    /// First column of the frame, row, and number of pixels.
    x: usize,
    y: usize,
    pixels: usize,
    /// Channel of a planar file, else 0.
    plane: usize,
    /// First byte.
    at: usize,
}

impl Layout {
    /// Reads the tags of a file of `length` bytes and refuses what is not read here.
    pub(crate) fn parse<R: Read + Seek>(file: &mut R, length: u64) -> Result<Self, Fault> {
        let mut tags = Directory::read(file, length)?;
        let (width, height) = (tags.value(256, 0)?, tags.value(257, 0)?);
        if width == 0 || height == 0 || width > i32::MAX as u64 || height > i32::MAX as u64 {
            return Err(Fault::damaged("its header gives the picture no usable size"));
        }
        let (channels, bits, float) = samples(&mut tags)?;
        let compression = tags.value(259, 1)?;
        let method = method(compression)?;
        let differences = differences(&mut tags, method, bits, float)?;
        let (linear, white_is_zero) = photometric(&mut tags, float)?;
        let planar = match tags.value(284, 1)? {
            1 => false,
            2 => channels > 1,
            other => return Err(Fault::damaged(format!("its header names the unknown plane order {other}"))),
        };
        if tags.value(266, 1)? == 2 {
            return Err(Fault::unsupported("the bits of its bytes stand in reverse order, which Besom does not read"));
        }
        let (tile_width, tile_height, places, sizes) = match tags.value(322, 0)? {
            0 => (width, tags.value(278, height)?.clamp(1, height), 273, 279),
            // Early writers listed their tiles under the strips' tags.
            tile_width => {
                let (places, sizes) = if tags.has(324) { (324, 325) } else { (273, 279) };
                (tile_width, tags.value(323, 0)?, places, sizes)
            }
        };
        if tile_height == 0 || tile_width > i32::MAX as u64 || tile_height > i32::MAX as u64 {
            return Err(Fault::damaged("its strips or tiles have no usable size"));
        }
        let tiles =
            width.div_ceil(tile_width) * height.div_ceil(tile_height) * if planar { channels as u64 } else { 1 };
        let offsets = tags.values(places, tiles)?.unwrap_or_default();
        if offsets.len() as u64 != tiles {
            let reason = format!("its header lists {} of {tiles} strips or tiles", offsets.len());
            return Err(Fault::damaged(reason));
        }
        let sizes = if method.is_some() { tags.values(sizes, tiles)?.unwrap_or_default() } else { Vec::new() };
        if method.is_some() && sizes.len() as u64 != tiles {
            return Err(Fault::damaged(format!(
                "its header gives the size of {} of {tiles} strips or tiles",
                sizes.len()
            )));
        }
        let layout = Self {
            big_endian: tags.big_endian,
            width: width as usize,
            height: height as usize,
            channels,
            bits,
            float,
            transfer: if linear { Transfer::Linear } else { Transfer::Video },
            planar,
            compression: method.map(|method| Compression { method, differences }),
            tile_width: tile_width as usize,
            tile_height: tile_height as usize,
            offsets,
            sizes,
            facts: facts(&mut tags, compression, planar, white_is_zero)?,
        };
        layout.check_room(length)?;
        Ok(layout)
    }

    /// Refuses a picture that the file cannot hold, and strips that share bytes.
    fn check_room(&self, length: u64) -> Result<(), Fault> {
        if self.compression.is_some() {
            let (row, tiles) = (self.row_bytes() as u128, self.offsets.len() as u128);
            let stored: u128 = self.sizes.iter().map(|s| u128::from(*s)).sum();
            // The last strip may be shorter than the others.
            let raw = row * self.tile_height as u128 * (tiles - 1).max(1);
            if stored > u128::from(length) || raw > (stored * MOST_SHRINKAGE).max(u128::from(length)) {
                let reason =
                    format!("its header claims {} x {} pixels, more than its data can hold", self.width, self.height);
                return Err(Fault { kind: crate::ErrorKind::Truncated, reason });
            }
            return Ok(());
        }
        let row = self.row_bytes() as u128;
        let mut spans: Vec<(u128, u128)> = Vec::with_capacity(self.offsets.len());
        let (across, down) = (self.across(), self.height.div_ceil(self.tile_height));
        for (index, offset) in self.offsets.iter().enumerate() {
            let first = index / across % down * self.tile_height;
            let rows = self.tile_height.min(self.height - first) as u128;
            spans.push((u128::from(*offset), u128::from(*offset) + rows * row));
        }
        let end = spans.iter().map(|(_, end)| *end).max().unwrap_or(0);
        if end > u128::from(length) {
            return Err(Fault::truncated(u64::try_from(end).unwrap_or(u64::MAX), length));
        }
        spans.sort_unstable();
        if spans.windows(2).any(|pair| pair[1].0 < pair[0].1) {
            return Err(Fault::damaged("some of its strips or tiles share bytes"));
        }
        Ok(())
    }

    /// The facts of the file.
    pub(crate) fn header(&self) -> Header {
        Header {
            width: self.width,
            height: self.height,
            channels: self.channels,
            bits: self.bits,
            float: self.float,
            transfer: self.transfer,
            format: Format::Tiff,
            guarantee: if self.compression.is_some() { Guarantee::ReadOnly } else { Guarantee::EveryByte },
            facts: self.facts.clone(),
        }
    }

    /// Number of samples.
    fn samples(&self) -> usize {
        self.width * self.height * self.channels
    }

    fn across(&self) -> usize {
        self.width.div_ceil(self.tile_width)
    }

    /// Samples a pixel within one tile.
    fn together(&self) -> usize {
        if self.planar { 1 } else { self.channels }
    }

    /// Bytes of one row of a tile; rows begin at whole bytes.
    fn row_bytes(&self) -> usize {
        (self.tile_width * self.together() * usize::from(self.bits)).div_ceil(8)
    }

    /// First byte of row `y` of tile column `column` in a plane.
    fn row_start(&self, column: usize, y: usize, plane: usize) -> usize {
        let down = self.height.div_ceil(self.tile_height);
        let tile = (plane * down + y / self.tile_height) * self.across() + column;
        let offset = self.offsets.get(tile).map_or(usize::MAX, |o| *o as usize);
        offset.saturating_add(y % self.tile_height * self.row_bytes())
    }

    fn segments(&self) -> impl Iterator<Item = Segment> + '_ {
        let planes = if self.planar { self.channels } else { 1 };
        (0..planes).flat_map(move |plane| {
            (0..self.height).flat_map(move |y| {
                (0..self.across()).map(move |column| {
                    let x = column * self.tile_width;
                    let pixels = self.tile_width.min(self.width - x);
                    Segment { x, y, pixels, plane, at: self.row_start(column, y, plane) }
                })
            })
        })
    }

    /// All samples.
    pub(crate) fn unpack(&self, bytes: &[u8]) -> Result<Samples, Fault> {
        if let Some(compression) = self.compression {
            let (layout, expanded) = self.expanded(bytes, compression)?;
            return layout.unpack(&expanded);
        }
        let big = self.big_endian;
        Ok(match (self.bits, self.float) {
            (8, _) => Samples::U8(self.gather(bytes, |row, out| out.copy_from_slice(&row[..out.len()]))?),
            (16, false) => Samples::U16(self.gather(bytes, |row, out| pairs(row, big, out, |v| v))?),
            (16, true) => Samples::F16(self.gather(bytes, |row, out| pairs(row, big, out, f16::from_bits))?),
            (32, _) => Samples::F32(self.gather(bytes, |row, out: &mut [f32]| {
                for (sample, unit) in out.iter_mut().zip(row.as_chunks::<4>().0) {
                    let bits = if big { u32::from_be_bytes(*unit) } else { u32::from_le_bytes(*unit) };
                    *sample = f32::from_bits(bits);
                }
            })?),
            (bits, _) => Samples::U16(self.gather(bytes, |row, out: &mut [u16]| bit_stream(row, bits, out))?),
        })
    }

    /// The same picture uncompressed: tile after tile, and the layout of those bytes.
    fn expanded(&self, bytes: &[u8], compression: Compression) -> Result<(Self, Vec<u8>), Fault> {
        let row = self.row_bytes();
        let (across, down) = (self.across(), self.height.div_ceil(self.tile_height));
        // A last strip holds only the rows there are; tiles are always whole.
        let strips = self.tile_width == self.width;
        let rows = |tile: usize| {
            let first = tile / across % down * self.tile_height;
            if strips { self.tile_height.min(self.height - first) } else { self.tile_height }
        };
        let tiles: Vec<Vec<u8>> = (0..self.offsets.len())
            .into_par_iter()
            .map(|tile| {
                let (start, size) = (self.offsets[tile] as usize, self.sizes[tile] as usize);
                let end = start.saturating_add(size);
                let stored = bytes.get(start..end).ok_or_else(|| Fault::truncated(end as u64, bytes.len() as u64))?;
                let whole = rows(tile) * row;
                // A single tile as wide as the picture looks like a strip; it may hold more rows than the picture.
                let mut expanded = compression.method.expand(stored, whole)?;
                if compression.differences {
                    for line in expanded.chunks_mut(row) {
                        undo_differences(line, self.bits, self.big_endian, self.together());
                    }
                }
                Ok(expanded)
            })
            .collect::<Result<_, Fault>>()?;
        let mut layout = Self { compression: None, sizes: Vec::new(), ..self.clone() };
        let mut at = 0;
        for (offset, tile) in layout.offsets.iter_mut().zip(&tiles) {
            *offset = at;
            at += tile.len() as u64;
        }
        Ok((layout, tiles.concat()))
    }

    /// Collects the segments' samples; `unpack` fills a slice from a segment's bytes.
    fn gather<T: Copy + Default>(&self, bytes: &[u8], unpack: impl Fn(&[u8], &mut [T])) -> Result<Vec<T>, Fault> {
        let mut samples = vec![T::default(); self.samples()];
        let mut plane_row = vec![T::default(); if self.planar { self.tile_width.min(self.width) } else { 0 }];
        for segment in self.segments() {
            let count = segment.pixels * self.together();
            let size = (count * usize::from(self.bits)).div_ceil(8);
            let end = segment.at.saturating_add(size);
            let row = bytes.get(segment.at..end).ok_or_else(|| Fault::truncated(end as u64, bytes.len() as u64))?;
            let first = (segment.y * self.width + segment.x) * self.channels;
            if self.planar {
                let part = &mut plane_row[..count];
                unpack(row, part);
                for (pixel, sample) in samples[first..].chunks_mut(self.channels).zip(part) {
                    pixel[segment.plane] = *sample;
                }
            } else {
                unpack(row, &mut samples[first..first + count]);
            }
        }
        Ok(samples)
    }

    /// The file with the edited samples' bits replaced.
    pub(crate) fn patched(&self, bytes: &[u8], edits: &[SampleEdit]) -> Result<Vec<u8>, Fault> {
        let mut out = bytes.to_vec();
        for edit in edits {
            self.put(&mut out, (edit.x as usize, edit.y as usize), usize::from(edit.channel), edit.bits)
                .ok_or_else(|| Fault::edit("a sample to change lies outside the file"))?;
        }
        Ok(out)
    }

    /// Sets, in `mask` (as long as the file, zeros), every bit that belongs to a sample of these pixels.
    pub(crate) fn mark_bits(&self, mask: &mut [u8], pixels: impl Iterator<Item = (u32, u32)>) {
        if self.compression.is_some() {
            return;
        }
        for (x, y) in pixels.map(|(x, y)| (x as usize, y as usize)).filter(|(x, y)| *x < self.width && *y < self.height)
        {
            for channel in 0..self.channels {
                let _ = self.put(mask, (x, y), channel, u32::MAX);
            }
        }
    }

    fn put(&self, out: &mut [u8], (x, y): (usize, usize), channel: usize, value: u32) -> Option<()> {
        let (plane, inner) = if self.planar { (channel, 0) } else { (0, channel) };
        let start = self.row_start(x / self.tile_width, y, plane);
        let index = x % self.tile_width * self.together() + inner;
        let row = out.get_mut(start..)?;
        match self.bits {
            8 => *row.get_mut(index)? = value as u8,
            16 => {
                let value = value as u16;
                let value = if self.big_endian { value.to_be_bytes() } else { value.to_le_bytes() };
                row.get_mut(index * 2..index * 2 + 2)?.copy_from_slice(&value);
            }
            32 => {
                let value = if self.big_endian { value.to_be_bytes() } else { value.to_le_bytes() };
                row.get_mut(index * 4..index * 4 + 4)?.copy_from_slice(&value);
            }
            bits => {
                let bits = usize::from(bits);
                for bit in 0..bits {
                    let at = index * bits + bit;
                    let byte = row.get_mut(at / 8)?;
                    let mask = 0x80u8 >> (at % 8);
                    *byte = if value >> (bits - 1 - bit) & 1 == 1 { *byte | mask } else { *byte & !mask };
                }
            }
        }
        Some(())
    }
}

/// Sixteen-bit samples in the file's byte order.
fn pairs<T>(row: &[u8], big_endian: bool, out: &mut [T], make: impl Fn(u16) -> T) {
    let units = row.as_chunks::<2>().0;
    if big_endian {
        out.iter_mut().zip(units).for_each(|(sample, unit)| *sample = make(u16::from_be_bytes(*unit)));
    } else {
        out.iter_mut().zip(units).for_each(|(sample, unit)| *sample = make(u16::from_le_bytes(*unit)));
    }
}

/// Samples of 10, 12 or 14 bits, highest bit first, whatever the file's byte order.
fn bit_stream(row: &[u8], bits: u8, out: &mut [u16]) {
    let mask = u16::MAX >> (16 - u16::from(bits));
    let (mut held, mut count) = (0u32, 0u8);
    let mut bytes = row.iter();
    for sample in out {
        while count < bits {
            held = held << 8 | u32::from(bytes.next().copied().unwrap_or(0));
            count += 8;
        }
        count -= bits;
        *sample = (held >> count) as u16 & mask;
    }
}

/// Samples a pixel, bits of each, and whether they are floats.
fn samples<R: Read + Seek>(tags: &mut Directory<R>) -> Result<(usize, u8, bool), Fault> {
    let channels = tags.value(277, 1)?;
    if !(1..=4).contains(&channels) {
        return Err(Fault::unsupported(format!("its pixels have {channels} samples; Besom reads 1 to 4")));
    }
    let depths = tags.values(258, channels)?.unwrap_or_else(|| vec![1]);
    let bits = depths.first().copied().unwrap_or(1);
    if depths.iter().any(|d| *d != bits) {
        return Err(Fault::unsupported("its channels differ in depth, which Besom does not read"));
    }
    let float = match tags.value(339, 1)? {
        1 | 4 => false,
        3 => true,
        _ => return Err(Fault::unsupported("its samples are signed or complex, which Besom does not read")),
    };
    if !matches!((bits, float), (8 | 10 | 12 | 14 | 16, false) | (16 | 32, true)) {
        let kind = if float { "floats" } else { "integers" };
        return Err(Fault::unsupported(format!("its samples are {kind} of {bits} bits, which Besom does not read")));
    }
    Ok((channels as usize, bits as u8, float))
}

/// How strips are compressed; `None` for not at all.
fn method(compression: u64) -> Result<Option<Method>, Fault> {
    match compression {
        1 => Ok(None),
        5 => Ok(Some(Method::Lzw)),
        8 | 32946 => Ok(Some(Method::Deflate)),
        32773 => Ok(Some(Method::PackBits)),
        6 | 7 | 34892 => {
            Err(Fault::unsupported("its picture is JPEG-compressed with loss, which Besom does not touch"))
        }
        other => Err(Fault::unsupported(format!("its picture uses compression {other}, which Besom does not read"))),
    }
}

/// Whether samples are stored as differences. The tag means nothing in an uncompressed file.
fn differences<R: Read + Seek>(
    tags: &mut Directory<R>,
    method: Option<Method>,
    bits: u8,
    float: bool,
) -> Result<bool, Fault> {
    match tags.value(317, 1)? {
        _ if method.is_none() => Ok(false),
        1 => Ok(false),
        2 if matches!(bits, 8 | 16) && !float => Ok(true),
        other => Err(Fault::unsupported(format!("its picture uses predictor {other}, which Besom does not read"))),
    }
}

/// Whether codes are linear light, and whether zero is white.
fn photometric<R: Read + Seek>(tags: &mut Directory<R>, float: bool) -> Result<(bool, bool), Fault> {
    match tags.value(262, 1)? {
        0 => Ok((float, true)),
        1 | 2 => Ok((float, false)),
        34892 => Ok((true, false)),
        3 => Err(Fault::unsupported("its pixels are palette numbers, which Besom does not read")),
        5 => Err(Fault::unsupported("its pixels are ink amounts (CMYK), which Besom does not read")),
        6 | 8..=10 => Err(Fault::unsupported("its pixels are colour differences, which Besom does not read")),
        other => Err(Fault::unsupported(format!("its pixels are of kind {other}, which Besom does not read"))),
    }
}

fn facts<R: Read + Seek>(
    tags: &mut Directory<R>,
    compression: u64,
    planar: bool,
    white_is_zero: bool,
) -> Result<Vec<(String, String)>, Fault> {
    let mut facts = Vec::new();
    let mut add = |name: &str, value: String| facts.push((name.to_owned(), value));
    add("Byte order", if tags.big_endian { "big endian" } else { "little endian" }.to_owned());
    let name = match compression {
        1 => "none",
        5 => "LZW",
        32773 => "PackBits",
        _ => "Deflate",
    };
    add("Compression", name.to_owned());
    add("Samples", if planar { "plane by plane" } else { "pixel by pixel" }.to_owned());
    let orientation = tags.value(274, 1)?;
    if orientation != 1 {
        add("Orientation", orientation.to_string());
    }
    for (tag, name) in [(269, "Document"), (270, "Description"), (305, "Creator"), (306, "Created")] {
        if let Some(text) = tags.text(tag) {
            add(name, text);
        }
    }
    if white_is_zero {
        add(WARNING, "zero is white in this file; codes are taken as they are".to_owned());
    }
    if tags.more_pages {
        add(WARNING, "the file has several pages; only the first is read and repaired".to_owned());
    }
    Ok(facts)
}
