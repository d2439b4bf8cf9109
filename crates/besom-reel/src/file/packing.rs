//! Whole numbers and texts packed into bytes, and unpacked again with every length checked first.

/// Bytes being written.
#[derive(Default)]
pub(super) struct Packer {
    pub(super) bytes: Vec<u8>,
}

impl Packer {
    /// A whole number in base 128, least digits first, the top bit saying that more follow (LEB128).
    pub(super) fn number(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.bytes.push(value as u8 | 0x80);
            value >>= 7;
        }
        self.bytes.push(value as u8);
    }

    /// The four bytes of a float, low byte first: comes back exactly.
    pub(super) fn float(&mut self, value: f32) {
        self.bytes.extend_from_slice(&value.to_bits().to_le_bytes());
    }

    /// Length, then UTF-8.
    pub(super) fn text(&mut self, text: &str) {
        self.number(text.len() as u64);
        self.bytes.extend_from_slice(text.as_bytes());
    }
}

/// Bytes being read; every call answers `None` where the bytes do not hold what is asked for.
pub(super) struct Unpacker<'a> {
    rest: &'a [u8],
}

impl<'a> Unpacker<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    /// True once all is read.
    pub(super) const fn is_at_end(&self) -> bool {
        self.rest.is_empty()
    }

    pub(super) fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.rest.split_at_checked(count)?;
        self.rest = rest;
        Some(taken)
    }

    pub(super) fn byte(&mut self) -> Option<u8> {
        self.take(1)?.first().copied()
    }

    pub(super) fn number(&mut self) -> Option<u64> {
        let mut value = 0u64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            let digit = u64::from(byte & 0x7f);
            // The tenth digit has room for one bit only.
            if shift == 63 && digit > 1 {
                return None;
            }
            value |= digit << shift;
            if byte & 0x80 == 0 {
                return Some(value);
            }
        }
        None
    }

    pub(super) fn small(&mut self) -> Option<u32> {
        u32::try_from(self.number()?).ok()
    }

    /// A count of things that take at least `least_bytes` each: never more than the remaining bytes can hold, so that
    /// room can be reserved for it.
    pub(super) fn count(&mut self, least_bytes: usize) -> Option<usize> {
        let count = usize::try_from(self.number()?).ok()?;
        (count <= self.rest.len() / least_bytes.max(1)).then_some(count)
    }

    pub(super) fn float(&mut self) -> Option<f32> {
        let bytes: [u8; 4] = self.take(4)?.try_into().ok()?;
        Some(f32::from_bits(u32::from_le_bytes(bytes)))
    }

    pub(super) fn text(&mut self) -> Option<&'a str> {
        let length = self.count(1)?;
        std::str::from_utf8(self.take(length)?).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn numbers_come_back(value in any::<u64>(), shift in 0u32..64) {
            let mut packer = Packer::default();
            packer.number(value >> shift);
            let mut unpacker = Unpacker::new(&packer.bytes);
            prop_assert_eq!(unpacker.number(), Some(value >> shift));
            prop_assert!(unpacker.is_at_end());
        }
    }

    #[test]
    fn numbers_that_are_cut_or_too_long_are_refused() {
        for bad in [&[][..], &[0x80], &[0xff; 10], &[0xff; 11]] {
            assert_eq!(Unpacker::new(bad).number(), None);
        }
        assert_eq!(Unpacker::new(&[200, 1, 0]).count(1), None, "200 things do not fit into one byte");
    }
}
