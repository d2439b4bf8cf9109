//! How samples are packed into bytes, words and bit streams.

/// A packing, free of where rows begin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Packing {
    /// 8-bit samples; byte order does not matter.
    Bytes,
    /// A 16-bit unit a sample of `bits` bits, which stands `shift` bits up.
    Shorts {
        /// Padding bits below the sample.
        shift: u8,
        /// Bits of the sample.
        bits: u8,
    },
    /// Three 10-bit samples a 32-bit word; the n-th of a word stands `shifts[n]` bits up.
    Words {
        /// Bits below the first, second and third sample.
        shifts: [u8; 3],
    },
    /// 32-bit words as one stream of bits, lowest first: sample i at bit i * bits, across words.
    Stream {
        /// Bits of a sample.
        bits: u8,
    },
}

const TEN: u32 = 0x3FF;

impl Packing {
    /// Bytes of a row of `samples`, padded to a 32-bit word as the standard has it.
    pub(super) fn padded_row_bytes(self, samples: u128) -> u128 {
        self.unpadded_bytes(samples).next_multiple_of(4)
    }

    /// Bytes of `samples` without padding beyond what the packing's own unit needs.
    pub(super) fn unpadded_bytes(self, samples: u128) -> u128 {
        match self {
            Self::Bytes => samples,
            Self::Shorts { .. } => samples * 2,
            Self::Words { .. } => samples.div_ceil(3) * 4,
            Self::Stream { bits } => (samples * u128::from(bits)).div_ceil(32) * 4,
        }
    }

    /// [`unpadded_bytes`](Self::unpadded_bytes) of a row that is known to fit the file.
    pub(super) fn row_bytes(self, samples: usize) -> usize {
        self.unpadded_bytes(samples as u128) as usize
    }

    /// Unpacks a row of exactly [`row_bytes`](Self::row_bytes) bytes.
    pub(super) fn unpack_row(self, row: &[u8], big_endian: bool, out: &mut [u16]) {
        // The byte order is chosen outside the loops so that each inner loop is branch-free.
        match (self, big_endian) {
            (Self::Bytes, _) => {
                for (sample, byte) in out.iter_mut().zip(row) {
                    *sample = u16::from(*byte);
                }
            }
            (Self::Shorts { shift, bits }, true) => shorts(row, u16::from_be_bytes, shift, bits, out),
            (Self::Shorts { shift, bits }, false) => shorts(row, u16::from_le_bytes, shift, bits, out),
            (Self::Words { shifts }, true) => words(row, u32::from_be_bytes, shifts, out),
            (Self::Words { shifts }, false) => words(row, u32::from_le_bytes, shifts, out),
            (Self::Stream { bits }, true) => stream(row, u32::from_be_bytes, bits, out),
            (Self::Stream { bits }, false) => stream(row, u32::from_le_bytes, bits, out),
        }
    }

    /// Replaces sample `index` of the row that begins at `row[0]`, leaving every other bit; `None` when it is outside.
    pub(super) fn put(self, row: &mut [u8], big_endian: bool, index: usize, value: u32) -> Option<()> {
        match self {
            Self::Bytes => *row.get_mut(index)? = value as u8,
            Self::Shorts { shift, bits } => {
                let mask = (u32::MAX >> (32 - u32::from(bits))) << shift;
                let unit: &mut [u8; 2] = row.get_mut(index * 2..index * 2 + 2)?.try_into().ok()?;
                let old = u32::from(if big_endian { u16::from_be_bytes(*unit) } else { u16::from_le_bytes(*unit) });
                let new = (old & !mask | (value << shift) & mask) as u16;
                *unit = if big_endian { new.to_be_bytes() } else { new.to_le_bytes() };
            }
            Self::Words { shifts } => {
                put_in_word(row, big_endian, index / 3, TEN << shifts[index % 3], value << shifts[index % 3])?;
            }
            Self::Stream { bits } => {
                let at = index * usize::from(bits);
                let (word, shift) = (at / 32, at % 32);
                let mask = (u64::MAX >> (64 - u32::from(bits))) << shift;
                let value = u64::from(value) << shift;
                put_in_word(row, big_endian, word, mask as u32, value as u32)?;
                if mask >> 32 != 0 {
                    put_in_word(row, big_endian, word + 1, (mask >> 32) as u32, (value >> 32) as u32)?;
                }
            }
        }
        Some(())
    }
}

/// Replaces the masked bits of one 32-bit word.
fn put_in_word(row: &mut [u8], big_endian: bool, word: usize, mask: u32, value: u32) -> Option<()> {
    let unit: &mut [u8; 4] = row.get_mut(word * 4..word * 4 + 4)?.try_into().ok()?;
    let old = if big_endian { u32::from_be_bytes(*unit) } else { u32::from_le_bytes(*unit) };
    let new = old & !mask | value & mask;
    *unit = if big_endian { new.to_be_bytes() } else { new.to_le_bytes() };
    Some(())
}

fn shorts(row: &[u8], read: impl Fn([u8; 2]) -> u16, shift: u8, bits: u8, out: &mut [u16]) {
    let mask = u16::MAX >> (16 - u16::from(bits));
    for (sample, unit) in out.iter_mut().zip(row.as_chunks::<2>().0) {
        *sample = read(*unit) >> shift & mask;
    }
}

fn words(row: &[u8], read: impl Fn([u8; 4]) -> u32, shifts: [u8; 3], out: &mut [u16]) {
    let [first, second, third] = shifts;
    let units = row.as_chunks::<4>().0;
    let (whole, rest) = out.as_chunks_mut::<3>();
    for (samples, unit) in whole.iter_mut().zip(units) {
        let word = read(*unit);
        *samples = [(word >> first & TEN) as u16, (word >> second & TEN) as u16, (word >> third & TEN) as u16];
    }
    if let Some(unit) = units.get(whole.len()) {
        let word = read(*unit);
        for (sample, shift) in rest.iter_mut().zip(shifts) {
            *sample = (word >> shift & TEN) as u16;
        }
    }
}

fn stream(row: &[u8], read: impl Fn([u8; 4]) -> u32, bits: u8, out: &mut [u16]) {
    let mask = u16::MAX >> (16 - u16::from(bits));
    let (mut held, mut count) = (0u64, 0u8);
    let mut units = row.as_chunks::<4>().0.iter();
    for sample in out {
        if count < bits {
            held |= u64::from(units.next().map_or(0, |unit| read(*unit))) << count;
            count += 32;
        }
        *sample = held as u16 & mask;
        held >>= bits;
        count -= bits;
    }
}
