//! PNG, 8 and 16 bits, read to native samples; repaired by encoding the picture again between the file's own chunks.
//!
//! Chunk layout after the PNG specification (W3C, third edition), sections 5 and 11. Every chunk that is not IDAT is
//! copied with its CRC, byte for byte and in its place, so text, calibration and private chunks survive.

use std::io::{Cursor, Read, Seek, SeekFrom};
use std::ops::Range;

use ::png as codec;

use crate::error::Fault;
use crate::header::{Format, Guarantee, Header};
use crate::{Encoding, Frame, SampleEdit, Samples, Transfer};

/// DEFLATE cannot shrink data more than about 1032 to 1 (a symbol of one bit stands for at most 258 bytes).
const MOST_SHRINKAGE: u128 = 1032;
const SIGNATURE_BYTES: u64 = 8;

/// One chunk: its type and its bytes with length and CRC.
struct Chunk {
    name: [u8; 4],
    span: Range<u64>,
}

/// What a walk over the chunks finds.
struct Outline {
    chunks: Vec<Chunk>,
    width: u32,
    height: u32,
    bits: u8,
    channels: usize,
    linear: bool,
}

impl Outline {
    fn header(&self) -> Header {
        let mut names: Vec<String> = Vec::new();
        for chunk in self.chunks.iter().filter(|c| c.name[0].is_ascii_lowercase()) {
            let name = chunk.name.map(char::from).iter().collect::<String>();
            if !names.contains(&name) {
                names.push(name);
            }
        }
        let kind = ["grey", "grey and alpha", "RGB", "RGBA"].get(self.channels - 1).unwrap_or(&"");
        let mut facts = vec![("Samples".to_owned(), (*kind).to_owned())];
        if !names.is_empty() {
            facts.push(("Other chunks".to_owned(), names.join(", ")));
        }
        Header {
            width: self.width as usize,
            height: self.height as usize,
            channels: self.channels,
            bits: self.bits,
            float: false,
            transfer: if self.linear { Transfer::Linear } else { Transfer::Video },
            format: Format::Png,
            guarantee: Guarantee::AllButPixelStream,
            facts,
        }
    }
}

/// Reads the header without the pixels.
pub(crate) fn read_header<R: Read + Seek>(file: &mut R, length: u64) -> Result<Header, Fault> {
    outline(file, length).map(|outline| outline.header())
}

/// Walks the chunks and refuses what the rest of this module does not handle.
fn outline<R: Read + Seek>(file: &mut R, length: u64) -> Result<Outline, Fault> {
    let mut chunks = Vec::new();
    let mut ihdr = [0u8; 13];
    let (mut linear, mut srgb) = (false, false);
    let mut at = SIGNATURE_BYTES;
    loop {
        let mut start = [0u8; 8];
        read_at(file, at, length, &mut start)?;
        let [l0, l1, l2, l3, name @ ..] = start;
        let end = at + 12 + u64::from(u32::from_be_bytes([l0, l1, l2, l3]));
        if end > length {
            return Err(Fault::truncated(end, length));
        }
        match &name {
            b"IHDR" => read_at(file, at + 8, length, &mut ihdr)?,
            b"gAMA" => {
                let mut gamma = [0u8; 4];
                read_at(file, at + 8, length, &mut gamma)?;
                linear = u32::from_be_bytes(gamma) == 100_000;
            }
            b"sRGB" => srgb = true,
            b"acTL" => return Err(Fault::unsupported("it is an animated PNG, which Besom does not read")),
            _ => {}
        }
        if chunks.is_empty() && &name != b"IHDR" {
            return Err(Fault::damaged("its first chunk is not IHDR"));
        }
        chunks.push(Chunk { name, span: at..end });
        at = end;
        if &name == b"IEND" {
            break;
        }
    }
    let [w0, w1, w2, w3, h0, h1, h2, h3, bits, colour, _, _, interlace] = ihdr;
    let (width, height) = (u32::from_be_bytes([w0, w1, w2, w3]), u32::from_be_bytes([h0, h1, h2, h3]));
    let channels = channels(bits, colour, interlace)?;
    if width == 0 || height == 0 {
        return Err(Fault::damaged("its header gives the picture no size"));
    }
    let outline = Outline { chunks, width, height, bits, channels, linear: linear && !srgb };
    outline.check_room()?;
    Ok(outline)
}

impl Outline {
    /// Refuses a picture larger than its compressed bytes could ever hold.
    fn check_room(&self) -> Result<(), Fault> {
        let stored: u64 = self.idat().map(|c| c.span.end - c.span.start - 12).sum();
        let raw =
            (u128::from(self.width) * self.channels as u128 * u128::from(self.bits / 8) + 1) * u128::from(self.height);
        if raw > u128::from(stored) * MOST_SHRINKAGE {
            let reason =
                format!("its header claims {} x {} pixels, far more than its data can hold", self.width, self.height);
            return Err(Fault { kind: crate::ErrorKind::Truncated, reason });
        }
        Ok(())
    }

    fn idat(&self) -> impl Iterator<Item = &Chunk> {
        self.chunks.iter().filter(|c| &c.name == b"IDAT")
    }
}

fn channels(bits: u8, colour: u8, interlace: u8) -> Result<usize, Fault> {
    if interlace != 0 {
        return Err(Fault::unsupported("it is an interlaced PNG, which Besom does not read"));
    }
    if !matches!(bits, 8 | 16) {
        return Err(Fault::unsupported(format!("its samples have {bits} bits; Besom reads PNG of 8 and 16 bits")));
    }
    match colour {
        0 => Ok(1),
        2 => Ok(3),
        3 => Err(Fault::unsupported("its pixels are palette numbers, which Besom does not read")),
        4 => Ok(2),
        6 => Ok(4),
        other => Err(Fault::damaged(format!("its header names the unknown colour type {other}"))),
    }
}

fn read_at<R: Read + Seek>(file: &mut R, at: u64, length: u64, into: &mut [u8]) -> Result<(), Fault> {
    let short = |_| Fault::truncated(at + into.len() as u64, length);
    file.seek(SeekFrom::Start(at)).map_err(short)?;
    let needed = at + into.len() as u64;
    file.read_exact(into).map_err(|_| Fault::truncated(needed, length))
}

/// Reads a whole PNG file.
pub(crate) fn decode(bytes: &[u8]) -> Result<(Header, Frame), Fault> {
    let outline = outline(&mut Cursor::new(bytes), bytes.len() as u64)?;
    let damaged = |e: codec::DecodingError| Fault::damaged(format!("its PNG data is damaged ({e})"));
    let mut decoder = codec::Decoder::new(Cursor::new(bytes));
    // The picture was checked against the file's length above; text chunks are not needed.
    decoder.set_limits(codec::Limits { bytes: usize::MAX });
    decoder.set_transformations(codec::Transformations::IDENTITY);
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    let mut reader = decoder.read_info().map_err(damaged)?;
    let size = reader.output_buffer_size().ok_or_else(|| Fault::damaged("its picture is too large"))?;
    let mut raw = vec![0u8; size];
    reader.next_frame(&mut raw).map_err(damaged)?;
    let count = outline.width as usize * outline.height as usize * outline.channels;
    let samples = if outline.bits == 8 {
        Samples::U8(raw)
    } else {
        Samples::U16(raw.as_chunks::<2>().0.iter().map(|pair| u16::from_be_bytes(*pair)).collect())
    };
    if samples.len() != count {
        return Err(Fault::damaged("its PNG data does not match its header"));
    }
    let header = outline.header();
    let frame = Frame {
        width: header.width,
        height: header.height,
        channels: header.channels,
        samples,
        encoding: Encoding { bits: header.bits, transfer: header.transfer },
    };
    Ok((header, frame))
}

/// The file with the edited samples: its picture encoded anew, every other chunk copied.
pub(crate) fn patched(bytes: &[u8], frame: &Frame, edits: &[SampleEdit]) -> Result<Vec<u8>, Fault> {
    let outline = outline(&mut Cursor::new(bytes), bytes.len() as u64)?;
    let picture = encode(&edited(frame, edits), &outline)?;
    let inner = self::outline(&mut Cursor::new(&picture), picture.len() as u64)?;
    let mut out = bytes.get(..SIGNATURE_BYTES as usize).unwrap_or_default().to_vec();
    let mut written = false;
    for chunk in &outline.chunks {
        if &chunk.name != b"IDAT" {
            out.extend_from_slice(cut(bytes, chunk));
        } else if !written {
            inner.idat().for_each(|idat| out.extend_from_slice(cut(&picture, idat)));
            written = true;
        }
    }
    // A file may go on after IEND; those bytes are not ours to drop.
    let end = outline.chunks.last().map_or(bytes.len(), |c| c.span.end as usize);
    out.extend_from_slice(bytes.get(end..).unwrap_or_default());
    Ok(out)
}

/// Bytes outside the compressed picture that differ in another file.
pub(crate) fn changed_outside(source: &[u8], repaired: &[u8], offence: &mut Option<String>) -> Result<u64, Fault> {
    let rest = |bytes: &[u8]| -> Result<Vec<u8>, Fault> {
        let outline = outline(&mut Cursor::new(bytes), bytes.len() as u64)?;
        let mut out = Vec::new();
        let mut at = 0;
        let mut picture = false;
        for chunk in outline.chunks.iter().filter(|c| &c.name == b"IDAT") {
            out.extend_from_slice(bytes.get(at..chunk.span.start as usize).unwrap_or_default());
            // The picture's place counts, the number of its chunks does not.
            if !picture {
                out.extend_from_slice(b"IDAT");
                picture = true;
            }
            at = chunk.span.end as usize;
        }
        out.extend_from_slice(bytes.get(at..).unwrap_or_default());
        Ok(out)
    };
    let (a, b) = (rest(source)?, rest(repaired)?);
    let count = a.iter().zip(&b).filter(|(a, b)| a != b).count() + a.len().abs_diff(b.len());
    if count > 0 {
        offence.get_or_insert_with(|| "something beside the compressed picture changed".to_owned());
    }
    Ok(count as u64)
}

fn cut<'a>(bytes: &'a [u8], chunk: &Chunk) -> &'a [u8] {
    bytes.get(chunk.span.start as usize..chunk.span.end as usize).unwrap_or_default()
}

/// The picture's bytes in PNG order with the edits made.
fn edited(frame: &Frame, edits: &[SampleEdit]) -> Vec<u8> {
    let index = |e: &SampleEdit| (e.y as usize * frame.width + e.x as usize) * frame.channels + usize::from(e.channel);
    match &frame.samples {
        Samples::U8(samples) => {
            let mut raw = samples.clone();
            for edit in edits {
                if let Some(sample) = raw.get_mut(index(edit)) {
                    *sample = edit.bits as u8;
                }
            }
            raw
        }
        Samples::U16(samples) => {
            let mut raw: Vec<u8> = samples.iter().flat_map(|s| s.to_be_bytes()).collect();
            for edit in edits {
                let at = index(edit) * 2;
                if let Some(sample) = raw.get_mut(at..at + 2) {
                    sample.copy_from_slice(&(edit.bits as u16).to_be_bytes());
                }
            }
            raw
        }
        Samples::F16(_) | Samples::F32(_) => Vec::new(),
    }
}

/// A bare PNG of the same header.
fn encode(raw: &[u8], outline: &Outline) -> Result<Vec<u8>, Fault> {
    let failed = |e: codec::EncodingError| Fault::damaged(format!("its picture cannot be encoded again ({e})"));
    let mut out = Vec::new();
    let mut encoder = codec::Encoder::new(&mut out, outline.width, outline.height);
    encoder.set_color(match outline.channels {
        1 => codec::ColorType::Grayscale,
        2 => codec::ColorType::GrayscaleAlpha,
        3 => codec::ColorType::Rgb,
        _ => codec::ColorType::Rgba,
    });
    encoder.set_depth(if outline.bits == 8 { codec::BitDepth::Eight } else { codec::BitDepth::Sixteen });
    encoder.set_compression(codec::Compression::Fast);
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(raw).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(out)
}
