//! Which channels are the picture, and how their samples lie in the blocks.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use std::ops::Range;

use half::f16;
use rayon::prelude::*;

use super::exr_crate::block::UncompressedBlock;
use super::exr_crate::block::chunk::Chunk;
use super::exr_crate::compression::Compression;
use super::exr_crate::meta::attribute::{ChannelList, SampleType};
use super::exr_crate::meta::{BlockDescription, MetaData};
use super::{chunks, guarded, metadata};
use crate::error::Fault;
use crate::header::{Format, Guarantee, Header, WARNING};
use crate::{RunMask, SampleEdit, Samples, Transfer};

/// No lossless codec of the format shrinks a picture further: DEFLATE's 1032 to 1, twice over for safety.
const MOST_SHRINKAGE: u128 = 2064;

/// How the samples of one file lie.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    meta: MetaData,
    /// The table of chunk offsets.
    table: Range<usize>,
    tiled: bool,
    width: usize,
    height: usize,
    /// Place in the file's channel list of red, green, blue, and infrared or alpha (or grey, and one of these).
    picks: Vec<usize>,
    single: bool,
    facts: Vec<(String, String)>,
}

impl Layout {
    /// Reads the attributes in `bytes`, the start of a file of `length` bytes.
    pub(crate) fn parse(bytes: &[u8], length: u64) -> Result<Self, Fault> {
        // Version 2 with flags: 0x200 one tiled part, 0x800 deep, 0x1000 several parts.
        let flags = bytes.get(5).copied().unwrap_or(0);
        if flags & 0x10 != 0 {
            return Err(Fault::unsupported("it has several parts, which Besom does not read"));
        }
        if flags & 0x08 != 0 {
            return Err(Fault::unsupported(
                "its pixels are deep (several samples at one place), which Besom does not read",
            ));
        }
        let meta = metadata(bytes)?;
        let Some(header) = meta.headers.first().filter(|_| meta.headers.len() == 1) else {
            return Err(Fault::unsupported("it has several parts, which Besom does not read"));
        };
        if header.deep {
            return Err(Fault::unsupported(
                "its pixels are deep (several samples at one place), which Besom does not read",
            ));
        }
        if header.channels.list.iter().any(|c| (c.sampling.0, c.sampling.1) != (1, 1)) {
            return Err(Fault::unsupported(
                "some of its channels are stored smaller than the picture (subsampled), which Besom does not read",
            ));
        }
        if header.channels.list.iter().any(|c| !header.compression.is_lossless_for(c.sample_type)) {
            let reason =
                format!("its compression ({}) loses detail, so it cannot be repaired exactly", header.compression);
            return Err(Fault::unsupported(reason));
        }
        let tiled = match header.blocks {
            BlockDescription::ScanLines => false,
            BlockDescription::Tiles(tiles) => {
                if tiles.level_mode != super::exr_crate::meta::attribute::LevelMode::Singular {
                    return Err(Fault::unsupported(
                        "it holds the picture in several sizes (mip levels), which Besom does not read",
                    ));
                }
                true
            }
        };
        let (picks, single) = picks(&header.channels)?;
        let (width, height) = (header.layer_size.0, header.layer_size.1);
        let start = chunks::header_end(bytes, length)?;
        let end = start as u128 + header.chunk_count as u128 * 8;
        let raw = width as u128 * height as u128 * header.channels.bytes_per_pixel as u128;
        let least = if header.compression == Compression::Uncompressed { raw } else { raw.div_ceil(MOST_SHRINKAGE) };
        if width == 0 || height == 0 {
            return Err(Fault::damaged("its header gives the picture no size"));
        }
        if end + least > u128::from(length) {
            return Err(Fault::truncated(u64::try_from(end + least).unwrap_or(u64::MAX), length));
        }
        let facts = facts(header, picks.len());
        Ok(Self { table: start..end as usize, tiled, width, height, picks, single, facts, meta })
    }

    /// The facts of the file.
    pub(crate) fn header(&self) -> Header {
        let plain = self.meta.headers.first().is_some_and(|h| h.compression == Compression::Uncompressed);
        Header {
            width: self.width,
            height: self.height,
            channels: self.picks.len(),
            bits: if self.single { 32 } else { 16 },
            float: true,
            transfer: Transfer::Linear,
            format: Format::OpenExr,
            guarantee: if plain { Guarantee::EveryByte } else { Guarantee::UntouchedBlocks },
            facts: self.facts.clone(),
        }
    }

    fn channels(&self) -> Option<&ChannelList> {
        self.meta.headers.first().map(|h| &h.channels)
    }

    /// All samples of the picked channels.
    pub(crate) fn unpack(&self, bytes: &[u8]) -> Result<Samples, Fault> {
        let spans = chunks::spans(bytes, self.table.clone(), self.tiled)?;
        let blocks: Vec<_> = spans.par_iter().map(|span| self.block(bytes, span)).collect::<Result<_, _>>()?;
        let mut seen = BTreeSet::new();
        let mut area = 0;
        for block in &blocks {
            seen.insert((block.index.pixel_position.1, block.index.pixel_position.0));
            area += block.index.pixel_size.area();
        }
        if seen.len() != blocks.len() || area != self.width * self.height {
            return Err(Fault::damaged("its blocks do not make up the whole picture"));
        }
        Ok(if self.single {
            Samples::F32(self.gather(&blocks, |b: [u8; 4]| f32::from_ne_bytes(b))?)
        } else {
            Samples::F16(self.gather(&blocks, |b: [u8; 2]| f16::from_bits(u16::from_ne_bytes(b)))?)
        })
    }

    fn gather<T: Copy + Default, const N: usize>(
        &self,
        blocks: &[UncompressedBlock],
        make: impl Fn([u8; N]) -> T,
    ) -> Result<Vec<T>, Fault> {
        let count = self.picks.len();
        let mut samples = vec![T::default(); self.width * self.height * count];
        for block in blocks {
            let rows = BlockRows::new(self, block)?;
            let (x, y) = (block.index.pixel_position.0, block.index.pixel_position.1);
            for row in 0..rows.height {
                let first = ((y + row) * self.width + x) * count;
                for (channel, pick) in self.picks.iter().enumerate() {
                    let line = rows.line(row, *pick);
                    let line = block.data.get(line).ok_or_else(short_block)?;
                    let target = samples.get_mut(first..first + rows.width * count).ok_or_else(short_block)?;
                    for (pixel, unit) in target.chunks_exact_mut(count).zip(line.as_chunks::<N>().0) {
                        pixel[channel] = make(*unit);
                    }
                }
            }
        }
        Ok(samples)
    }

    /// Reads and expands the chunk at `span`.
    fn block(&self, bytes: &[u8], span: &Range<usize>) -> Result<UncompressedBlock, Fault> {
        let raw = bytes.get(span.clone()).unwrap_or_default();
        let block = guarded(|| {
            let chunk = Chunk::read(&mut Cursor::new(raw), &self.meta)?;
            UncompressedBlock::decompress_chunk(chunk, &self.meta, false)
        })?;
        let (position, size) = (block.index.pixel_position, block.index.pixel_size);
        if position.0 + size.0 > self.width || position.1 + size.1 > self.height {
            return Err(Fault::damaged("one of its blocks lies outside the picture"));
        }
        Ok(block)
    }

    /// Width and height of a block before the picture's edge cuts it.
    fn block_size(&self) -> (usize, usize) {
        self.meta.headers.first().map_or((1, 1), |h| {
            let size = h.max_block_pixel_size();
            (size.0.max(1), size.1.max(1))
        })
    }

    /// Column and row of blocks that holds a pixel.
    fn block_of(&self, x: usize, y: usize) -> (usize, usize) {
        let (width, height) = self.block_size();
        (y / height, x / width)
    }

    /// The file with the edited samples: chunks with edits compressed again, all else copied.
    pub(crate) fn patched(&self, bytes: &[u8], edits: &[SampleEdit]) -> Result<Vec<u8>, Fault> {
        let spans = chunks::spans(bytes, self.table.clone(), self.tiled)?;
        let mut wanted: BTreeMap<(usize, usize), Vec<&SampleEdit>> = BTreeMap::new();
        for edit in edits {
            wanted.entry(self.block_of(edit.x as usize, edit.y as usize)).or_default().push(edit);
        }
        let mut replaced = BTreeMap::new();
        for (index, span) in spans.iter().enumerate() {
            let Some(edits) = self.place(bytes, span).and_then(|place| wanted.remove(&place)) else { continue };
            replaced.insert(index, self.edited_chunk(bytes, span, &edits)?);
        }
        if !wanted.is_empty() {
            return Err(Fault::damaged("the block of a sample to change is missing"));
        }
        Ok(chunks::spliced(bytes, self.table.clone(), &spans, |index| replaced.get(&index).cloned()))
    }

    fn edited_chunk(&self, bytes: &[u8], span: &Range<usize>, edits: &[&SampleEdit]) -> Result<Vec<u8>, Fault> {
        let mut block = self.block(bytes, span)?;
        let rows = BlockRows::new(self, &block)?;
        let position = block.index.pixel_position;
        for edit in edits {
            let (x, y) = (edit.x as usize - position.0, edit.y as usize - position.1);
            let pick = *self.picks.get(usize::from(edit.channel)).ok_or_else(short_block)?;
            let (line, size) = (rows.line(y, pick), if self.single { 4 } else { 2 });
            let sample =
                block.data.get_mut(line.start + x * size..line.start + (x + 1) * size).ok_or_else(short_block)?;
            if self.single {
                sample.copy_from_slice(&edit.bits.to_ne_bytes());
            } else {
                sample.copy_from_slice(&(edit.bits as u16).to_ne_bytes());
            }
        }
        guarded(|| {
            let mut out = Vec::new();
            block.compress_to_chunk(&self.meta.headers)?.write(&mut out, self.meta.headers.len())?;
            // The crate writes the part number only for several parts, which are refused above.
            Ok(out)
        })
    }

    /// Column and row of blocks of a chunk, from its own coordinates; `None` when they make no sense.
    fn place(&self, bytes: &[u8], span: &Range<usize>) -> Option<(usize, usize)> {
        let field = |n: usize| {
            let at = span.start + 4 * n;
            bytes.get(at..at + 4)?.try_into().ok().map(i32::from_le_bytes)
        };
        if self.tiled {
            return Some((usize::try_from(field(1)?).ok()?, usize::try_from(field(0)?).ok()?));
        }
        let top = self.meta.headers.first()?.own_attributes.layer_position.1;
        let y = usize::try_from(i64::from(field(0)?) - i64::from(top)).ok()?;
        Some((y / self.block_size().1, 0))
    }

    /// Bytes of another file that differ and may not: outside the chunks everything but the table of offsets; chunks
    /// without an allowed pixel whole; of the others every sample that is not a picked channel of an allowed pixel.
    pub(crate) fn changed_outside(
        &self,
        source: &[u8],
        repaired: &[u8],
        allowed: &RunMask,
        offence: &mut Option<String>,
    ) -> Result<u64, Fault> {
        let before = chunks::spans(source, self.table.clone(), self.tiled)?;
        let after = chunks::spans(repaired, self.table.clone(), self.tiled)?;
        let mut count = differing(&source[..self.table.start], repaired.get(..self.table.start).unwrap_or_default());
        if count > 0 {
            offence.get_or_insert_with(|| "the header changed".to_owned());
        }
        let touched: BTreeSet<_> = allowed.pixels().map(|(x, y)| self.block_of(x as usize, y as usize)).collect();
        for (index, (a, b)) in before.iter().zip(&after).enumerate() {
            if source[a.clone()] == repaired[b.clone()] {
                continue;
            }
            let own = self.place(source, a);
            let found = if own.is_some_and(|place| touched.contains(&place)) && own == self.place(repaired, b) {
                self.block_changed_outside(&self.block(source, a)?, &self.block(repaired, b)?, allowed)?
            } else {
                differing(&source[a.clone()], &repaired[b.clone()]).max(1)
            };
            if found > 0 {
                count += found;
                offence.get_or_insert_with(|| format!("block {index} changed outside the repairs"));
            }
        }
        Ok(count)
    }

    fn block_changed_outside(
        &self,
        a: &UncompressedBlock,
        b: &UncompressedBlock,
        allowed: &RunMask,
    ) -> Result<u64, Fault> {
        if a.index != b.index || a.data.len() != b.data.len() {
            return Ok(a.data.len().max(1) as u64);
        }
        let rows = BlockRows::new(self, a)?;
        let (x0, y0) = (a.index.pixel_position.0, a.index.pixel_position.1);
        let mut count = 0;
        for row in 0..rows.height {
            for channel in 0..rows.sizes.len() {
                let (line, size) = (rows.line(row, channel), rows.sizes[channel]);
                let (old, new) = (a.data.get(line.clone()), b.data.get(line));
                let (Some(old), Some(new)) = (old, new) else { return Err(short_block()) };
                for (x, (old, new)) in old.chunks(size).zip(new.chunks(size)).enumerate() {
                    let free = self.picks.contains(&channel) && allowed.contains((x0 + x) as u32, (y0 + row) as u32);
                    if !free {
                        count += differing(old, new);
                    }
                }
            }
        }
        Ok(count)
    }
}

/// The lines of one block: for each row, one line of samples a channel, in the file's channel order.
struct BlockRows {
    width: usize,
    height: usize,
    /// Bytes of a sample of each channel.
    sizes: Vec<usize>,
    pixel: usize,
}

impl BlockRows {
    fn new(layout: &Layout, block: &UncompressedBlock) -> Result<Self, Fault> {
        let channels = layout.channels().ok_or_else(short_block)?;
        let sizes = channels.list.iter().map(|c| c.sample_type.bytes_per_sample()).collect();
        let size = block.index.pixel_size;
        Ok(Self { width: size.0, height: size.1, sizes, pixel: channels.bytes_per_pixel })
    }

    /// Bytes of the line of `channel` in `row`.
    fn line(&self, row: usize, channel: usize) -> Range<usize> {
        let before: usize = self.sizes[..channel].iter().sum();
        let start = (row * self.pixel + before) * self.width;
        start..start + self.sizes[channel] * self.width
    }
}

fn short_block() -> Fault {
    Fault::damaged("one of its blocks is shorter than its header says")
}

/// Number of bytes that differ, extra ones counted.
fn differing(a: &[u8], b: &[u8]) -> u64 {
    a.iter().zip(b).filter(|(a, b)| a != b).count() as u64 + a.len().abs_diff(b.len()) as u64
}

/// The name of a channel of infrared (common practice; the format reserves no name for it).
const INFRARED: &str = "IR";

/// The picture's channels by name, with infrared or else alpha last, and whether they are single floats.
fn picks(channels: &ChannelList) -> Result<(Vec<usize>, bool), Fault> {
    let find = |name: &str| channels.list.iter().position(|c| c.name.to_string() == name);
    let mut picks = match (find("R"), find("G"), find("B"), find("Y")) {
        (Some(r), Some(g), Some(b), _) => vec![r, g, b],
        (_, _, _, Some(y)) => vec![y],
        _ if channels.list.len() == 1 => vec![0],
        _ => return Err(Fault::unsupported("it has no channels named R, G and B, nor Y")),
    };
    let kind = |index: usize| channels.list.get(index).map(|c| c.sample_type);
    let first = picks.first().and_then(|p| kind(*p));
    if picks.iter().any(|p| kind(*p) != first) {
        return Err(Fault::unsupported("its colour channels differ in kind, which Besom does not read"));
    }
    if first == Some(SampleType::U32) {
        return Err(Fault::unsupported("its samples are whole numbers, not floats"));
    }
    picks.extend(find(INFRARED).or_else(|| find("A")).filter(|a| kind(*a) == first));
    Ok((picks, first == Some(SampleType::F32)))
}

fn facts(header: &super::exr_crate::meta::header::Header, picked: usize) -> Vec<(String, String)> {
    let names: Vec<String> = header.channels.list.iter().map(|c| c.name.to_string()).collect();
    let mut facts =
        vec![("Compression".to_owned(), header.compression.to_string()), ("Channels".to_owned(), names.join(", "))];
    let (window, display) = (header.own_attributes.layer_position, header.shared_attributes.display_window);
    let whole = window == display.position && header.layer_size == display.size;
    if !whole {
        facts.push(("Data window".to_owned(), format!("begins at column {}, row {}", window.0, window.1)));
    }
    if let Some(owner) = &header.own_attributes.owner {
        facts.push(("Owner".to_owned(), owner.to_string()));
    }
    if let Some(comments) = &header.own_attributes.comments {
        facts.push(("Comments".to_owned(), comments.to_string()));
    }
    if picked.is_multiple_of(2) && names.iter().any(|name| name == INFRARED) {
        facts.push(("Infrared".to_owned(), format!("channel {INFRARED}")));
    }
    if header.channels.list.len() > picked {
        facts.push((WARNING.to_owned(), "the other channels are kept as they are and not looked at".to_owned()));
    }
    facts
}
