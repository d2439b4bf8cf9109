//! Compressed strips and tiles, expanded: LZW, Deflate and PackBits, with horizontal differencing undone.
//!
//! TIFF 6.0 sections 9 (PackBits), 13 (LZW) and 14 (differencing); Deflate after Adobe's technical note of 2002.
//! Files written before TIFF 6.0 hold LZW codes with the lowest bit first and widen their codes one entry later;
//! such a stream is known by its first code, as its clear code begins with a zero byte (common practice of readers).

use std::io::Read;

use crate::error::Fault;

/// A compression that loses nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Method {
    Lzw,
    Deflate,
    PackBits,
}

impl Method {
    /// Expands one strip or tile to exactly `size` bytes.
    pub(super) fn expand(self, stored: &[u8], size: usize) -> Result<Vec<u8>, Fault> {
        let expanded = match self {
            Self::Lzw => lzw(stored, size),
            Self::Deflate => deflate(stored, size),
            Self::PackBits => pack_bits(stored, size),
        };
        match expanded {
            Some(bytes) if bytes.len() == size => Ok(bytes),
            _ => Err(Fault::damaged("its compressed picture is damaged or cut short")),
        }
    }
}

/// Adds up the differences of one row; `step` is the number of samples from a pixel to the next.
pub(super) fn undo_differences(row: &mut [u8], bits: u8, big_endian: bool, step: usize) {
    if bits == 8 {
        for at in step..row.len() {
            row[at] = row[at].wrapping_add(row[at - step]);
        }
        return;
    }
    let units = row.as_chunks_mut::<2>().0;
    let read = |unit: [u8; 2]| if big_endian { u16::from_be_bytes(unit) } else { u16::from_le_bytes(unit) };
    for at in step..units.len() {
        let sum = read(units[at]).wrapping_add(read(units[at - step]));
        units[at] = if big_endian { sum.to_be_bytes() } else { sum.to_le_bytes() };
    }
}

fn deflate(stored: &[u8], size: usize) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    flate2::read::ZlibDecoder::new(stored).take(size as u64).read_to_end(&mut out).ok()?;
    Some(out)
}

fn pack_bits(stored: &[u8], size: usize) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    let mut rest = stored;
    while out.len() < size {
        let (head, tail) = rest.split_first()?;
        match *head as i8 {
            -128 => rest = tail,
            count @ 0.. => {
                let (literal, tail) = tail.split_at_checked(count as usize + 1)?;
                out.extend_from_slice(literal);
                rest = tail;
            }
            count => {
                let (byte, tail) = tail.split_first()?;
                out.resize(out.len() + 1 + usize::from(count.unsigned_abs()), *byte);
                rest = tail;
            }
        }
    }
    out.truncate(size);
    Some(out)
}

const CLEAR: usize = 256;
const END: usize = 257;
const MOST_CODES: usize = 4096;

/// The strings of an LZW stream: each is an earlier one and a byte more.
struct Strings {
    before: Vec<u16>,
    last: Vec<u8>,
    length: Vec<u16>,
}

impl Strings {
    fn new() -> Self {
        let mut strings = Self { before: Vec::new(), last: Vec::new(), length: Vec::new() };
        strings.clear();
        strings
    }

    fn clear(&mut self) {
        self.before.clear();
        self.before.resize(END + 1, 0);
        self.last = (0..=END).map(|code| code as u8).collect();
        self.length.clear();
        self.length.resize(END + 1, 1);
    }

    fn push(&mut self, before: usize, last: u8) {
        if self.last.len() < MOST_CODES {
            self.before.push(before as u16);
            self.last.push(last);
            self.length.push(self.length[before] + 1);
        }
    }

    /// Appends the string of `code` and returns its first byte.
    fn append(&self, mut code: usize, out: &mut Vec<u8>) -> u8 {
        let start = out.len();
        let length = usize::from(self.length[code]);
        out.resize(start + length, 0);
        for place in out[start..].iter_mut().rev() {
            *place = self.last[code];
            code = usize::from(self.before[code]);
        }
        out[start]
    }
}

fn lzw(stored: &[u8], size: usize) -> Option<Vec<u8>> {
    let old = stored.first() == Some(&0) && stored.get(1).is_some_and(|b| b & 1 == 1);
    let early = usize::from(!old);
    let mut strings = Strings::new();
    let mut out = Vec::new();
    let mut previous: Option<usize> = None;
    let (mut held, mut count) = (0u32, 0u32);
    let mut bytes = stored.iter();
    while out.len() < size {
        // TIFF widens its codes one entry early: the string of code 511 is never coded in 9 bits.
        let width = (usize::BITS - (strings.last.len() + early).leading_zeros()).clamp(9, 12);
        while count < width {
            let byte = u32::from(*bytes.next()?);
            held = if old { held | byte << count } else { held << 8 | byte };
            count += 8;
        }
        let code = if old {
            let code = held & ((1 << width) - 1);
            held >>= width;
            code
        } else {
            held >> (count - width) & ((1 << width) - 1)
        } as usize;
        count -= width;
        match code {
            CLEAR => {
                strings.clear();
                previous = None;
                continue;
            }
            END => break,
            _ => {}
        }
        match previous {
            None if code < CLEAR => out.push(code as u8),
            Some(before) if code < strings.last.len() => {
                let first = strings.append(code, &mut out);
                strings.push(before, first);
            }
            Some(before) if code == strings.last.len() => {
                let first = strings.append(before, &mut out);
                out.push(first);
                strings.push(before, first);
            }
            _ => return None,
        }
        previous = Some(code);
    }
    // A string may reach beyond the strip's end.
    out.truncate(size);
    Some(out)
}
