//! Files made for the tests, by code that shares nothing with the crate's own reading and writing.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use besom_scan::Scan;

/// A plain generator of repeatable numbers (an LCG with Knuth's MMIX constants).
pub struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as u32
    }

    pub fn below(&mut self, end: usize) -> usize {
        self.roll() as usize % end
    }
}

/// One DPX variant.
#[derive(Clone, Copy, Debug)]
pub struct Variant {
    pub depth: u8,
    pub packing: u16,
    pub big_endian: bool,
    pub components: usize,
    pub width: usize,
    pub height: usize,
    /// Rows broken to 32-bit words.
    pub padded: bool,
    /// Bytes after each row.
    pub line_padding: usize,
    /// Value of every bit that belongs to no sample.
    pub pad_bits: bool,
}

impl Variant {
    pub fn samples(&self) -> usize {
        self.width * self.height * self.components
    }

    /// Random codes of this depth.
    pub fn codes(&self, dice: &mut Dice) -> Vec<u32> {
        (0..self.samples()).map(|_| dice.roll() & ((1 << self.depth) - 1)).collect()
    }

    fn pad(&self) -> u32 {
        if self.pad_bits { u32::MAX } else { 0 }
    }

    fn word(&self, value: u32) -> [u8; 4] {
        if self.big_endian { value.to_be_bytes() } else { value.to_le_bytes() }
    }

    fn short(&self, value: u16) -> [u8; 2] {
        if self.big_endian { value.to_be_bytes() } else { value.to_le_bytes() }
    }

    /// The samples of a row (or of the whole file when rows run on), packed.
    fn row(&self, codes: &[u32]) -> Vec<u8> {
        match (self.depth, self.packing) {
            (8, _) => codes.iter().map(|c| *c as u8).collect(),
            (16, _) => codes.iter().flat_map(|c| self.short(*c as u16)).collect(),
            (12, 1) => codes.iter().flat_map(|c| self.short((c << 4 | self.pad() & 0xF) as u16)).collect(),
            (12, 2) => codes.iter().flat_map(|c| self.short((c | self.pad() & 0xF000) as u16)).collect(),
            (10, 1 | 2) => codes.chunks(3).flat_map(|three| self.word(self.filled(three))).collect(),
            _ => self.stream(codes),
        }
    }

    /// Three 10-bit samples in a word.
    fn filled(&self, three: &[u32]) -> u32 {
        let mut bits = [self.pad_bits; 32];
        let low = if self.packing == 1 { 2 } else { 0 };
        for (n, code) in three.iter().enumerate() {
            let third = if self.components == 1 { n } else { 2 - n };
            for bit in 0..10 {
                bits[low + third * 10 + bit] = code >> bit & 1 == 1;
            }
        }
        bits.iter().enumerate().fold(0, |word, (bit, set)| word | u32::from(*set) << bit)
    }

    /// One stream of bits, lowest first, cut into words.
    fn stream(&self, codes: &[u32]) -> Vec<u8> {
        let mut bits: Vec<bool> =
            codes.iter().flat_map(|code| (0..self.depth).map(move |bit| code >> bit & 1 == 1)).collect();
        bits.resize(bits.len().next_multiple_of(32), self.pad_bits);
        let word = |bits: &[bool]| bits.iter().enumerate().fold(0u32, |w, (bit, set)| w | u32::from(*set) << bit);
        bits.chunks(32).flat_map(|bits| self.word(word(bits))).collect()
    }

    pub fn put32(&self, file: &mut [u8], at: usize, value: u32) {
        file[at..at + 4].copy_from_slice(&self.word(value));
    }

    pub fn put16(&self, file: &mut [u8], at: usize, value: u16) {
        file[at..at + 2].copy_from_slice(&self.short(value));
    }

    /// The header of `offset` bytes, every unused field with a value of its own so that a stray write shows.
    pub fn header(&self, offset: usize, length: usize) -> Vec<u8> {
        let mut file: Vec<u8> = (0..offset).map(|at| (at * 7 % 251) as u8).collect();
        file[..4].copy_from_slice(if self.big_endian { b"SDPX" } else { b"XPDS" });
        self.put32(&mut file, 4, offset as u32);
        file[8..16].copy_from_slice(b"V2.0\0\0\0\0");
        self.put32(&mut file, 16, length as u32);
        self.put32(&mut file, 660, u32::MAX);
        self.put16(&mut file, 768, 0);
        self.put16(&mut file, 770, 1);
        self.put32(&mut file, 772, self.width as u32);
        self.put32(&mut file, 776, self.height as u32);
        self.put32(&mut file, 780, 0);
        file[800] = match self.components {
            1 => 6,
            3 => 50,
            _ => 51,
        };
        file[801] = 1;
        file[803] = self.depth;
        self.put16(&mut file, 804, self.packing);
        self.put16(&mut file, 806, 0);
        self.put32(&mut file, 808, offset as u32);
        self.put32(&mut file, 812, self.line_padding as u32);
        self.put32(&mut file, 816, 0);
        file
    }

    /// The pixels as stored.
    pub fn pixels(&self, codes: &[u32]) -> Vec<u8> {
        if !self.padded {
            return self.row(codes);
        }
        let pad = if self.pad_bits { 0xFF } else { 0 };
        let mut out = Vec::new();
        for row in codes.chunks(self.width * self.components) {
            let mut row = self.row(row);
            row.resize(row.len().next_multiple_of(4) + self.line_padding, pad);
            out.extend(row);
        }
        out
    }

    /// A whole file.
    pub fn file(&self, codes: &[u32]) -> Vec<u8> {
        let pixels = self.pixels(codes);
        let mut file = self.header(2048, 2048 + pixels.len());
        file.extend(pixels);
        file
    }
}

/// Decodes bytes under a name.
pub fn scan(bytes: Vec<u8>) -> Result<Scan, besom_scan::ScanError> {
    Scan::from_bytes(Path::new("skerry.dpx"), bytes)
}

/// A scan's samples as raw bits.
pub fn bits(scan: &Scan) -> Vec<u32> {
    let samples = &scan.frame().samples;
    (0..samples.len()).map(|i| samples.bits(i)).collect()
}

/// Writes bytes to a file of a folder.
pub fn store(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

/// A small PNG with text and a private chunk before and after the picture.
pub fn png_file(colour: png::ColorType, sixteen: bool, width: u32, height: u32) -> Vec<u8> {
    let mut dice = Dice(u64::from(width) + 9);
    let bytes = width * height * colour.samples() as u32 * if sixteen { 2 } else { 1 };
    let raw: Vec<u8> = (0..bytes).map(|_| dice.roll() as u8).collect();
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_color(colour);
    encoder.set_depth(if sixteen { png::BitDepth::Sixteen } else { png::BitDepth::Eight });
    encoder.add_text_chunk("Title".into(), "Lamps of Skerry Point".into()).unwrap();
    let mut writer = encoder.write_header().unwrap();
    writer.write_chunk(png::chunk::ChunkType(*b"skRy"), &[1, 2, 3]).unwrap();
    writer.write_image_data(&raw).unwrap();
    writer.write_chunk(png::chunk::ChunkType(*b"zzZz"), b"after the picture").unwrap();
    writer.finish().unwrap();
    out
}

/// A TIFF by the `tiff` crate's encoder.
pub fn tiff_file(compression: tiff::encoder::Compression, width: u32, height: u32) -> (Vec<u8>, Vec<u16>) {
    use tiff::encoder::{TiffEncoder, colortype};
    let mut dice = Dice(77);
    let codes: Vec<u16> = (0..width * height * 3).map(|i| (i / 3 * 50 + dice.roll() % 40) as u16).collect();
    let mut out = std::io::Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut out).unwrap().with_compression(compression);
    if compression != tiff::encoder::Compression::Uncompressed {
        encoder = encoder.with_predictor(tiff::encoder::Predictor::Horizontal);
    }
    let mut image = encoder.new_image::<colortype::RGB16>(width, height).unwrap();
    image.rows_per_strip(5).unwrap();
    image.write_data(&codes).unwrap();
    (out.into_inner(), codes)
}

/// An OpenEXR file by the `exr` crate's own writer: half RGBA with NaN, infinities and every exponent.
pub fn exr_file(
    compression: exr::prelude::Compression,
    width: usize,
    height: usize,
    tiles: bool,
) -> (Vec<u8>, Vec<u32>) {
    use exr::prelude::*;
    let sample = |x: usize, y: usize, c: usize| f16::from_bits(((x * 257 + y * 4099 + c * 21_001) % 65_536) as u16);
    let codes =
        (0..width * height * 4).map(|i| u32::from(sample(i / 4 % width, i / 4 / width, i % 4).to_bits())).collect();
    let pixels = SpecificChannels::rgba(|p: Vec2<usize>| {
        (sample(p.0, p.1, 0), sample(p.0, p.1, 1), sample(p.0, p.1, 2), sample(p.0, p.1, 3))
    });
    let blocks = if tiles { Blocks::Tiles(Vec2(16, 16)) } else { Blocks::ScanLines };
    let encoding = Encoding { compression, blocks, line_order: LineOrder::Increasing };
    let layer = Layer::new((width, height), LayerAttributes::named("skerry"), encoding, pixels);
    let mut out = std::io::Cursor::new(Vec::new());
    Image::from_layer(layer).write().non_parallel().to_buffered(&mut out).unwrap();
    (out.into_inner(), codes)
}

/// A 5x2 OpenEXR file of half red, green, blue and a fourth channel of this name, which holds 0x3000 + 3 * index as bits.
pub fn exr_file_with_fourth(name: &str) -> Vec<u8> {
    use exr::prelude::*;
    let channels: Vec<AnyChannel<FlatSamples>> = ["B", "G", name, "R"]
        .into_iter()
        .map(|n| {
            let samples = (0..10u16).map(|i| f16::from_bits(if n == name { 0x3000 + 3 * i } else { 0x3800 + i }));
            AnyChannel::new(n, FlatSamples::F16(samples.collect()))
        })
        .collect();
    let channels = AnyChannels::sort(channels.into_iter().collect());
    let encoding =
        Encoding { compression: Compression::ZIP16, blocks: Blocks::ScanLines, line_order: LineOrder::Increasing };
    let layer = Layer::new((5, 2), LayerAttributes::named("skerry"), encoding, channels);
    let mut out = std::io::Cursor::new(Vec::new());
    Image::from_layer(layer).write().non_parallel().to_buffered(&mut out).unwrap();
    out.into_inner()
}
