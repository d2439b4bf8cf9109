//! The proof that a repaired file differs from its source only where it may.

use std::path::Path;

use sha2::{Digest, Sha256};

use crate::RunMask;
use crate::error::ScanError;
use crate::scan::Scan;

/// What a comparison found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Comparison {
    /// Bytes with a changed bit that belongs to no sample of an allowed pixel. For files whose picture is compressed:
    /// changed bytes outside the compressed blocks that hold allowed pixels.
    pub bytes_changed_outside: u64,
    /// Decoded samples that differ, compared as bits.
    pub samples_changed: u64,
    /// Of these, samples of pixels that were not allowed to change.
    pub samples_changed_outside: u64,
    /// The first thing that is wrong, as a clause; `None` when the repair is proved.
    pub first_offence: Option<String>,
    /// SHA-256 of the source, in hexadecimal.
    pub source_sha256: String,
    /// SHA-256 of the repaired file, in hexadecimal.
    pub repaired_sha256: String,
}

impl Comparison {
    /// True when nothing outside the allowed pixels changed.
    pub fn proved(&self) -> bool {
        self.first_offence.is_none() && self.bytes_changed_outside == 0 && self.samples_changed_outside == 0
    }
}

/// Reads both files afresh and compares them: bytes as far as the format's [`Guarantee`](crate::Guarantee) goes, and all decoded
/// samples as bits. Pixels of `allowed` may differ, nothing else may.
///
/// # Errors
/// When one of the files cannot be read or decoded.
pub fn compare(source: &Path, repaired: &Path, allowed: &RunMask) -> Result<Comparison, ScanError> {
    let source = Scan::read(source)?;
    let repaired = Scan::read(repaired)?;
    let mut offence = None;
    let bytes_changed_outside = source.bytes_changed_outside(&repaired, allowed, &mut offence)?;
    let (samples_changed, samples_changed_outside) = samples(&source, &repaired, allowed, &mut offence);
    Ok(Comparison {
        bytes_changed_outside,
        samples_changed,
        samples_changed_outside,
        first_offence: offence,
        source_sha256: sha256(source.bytes()),
        repaired_sha256: sha256(repaired.bytes()),
    })
}

/// SHA-256 in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    let digits = Sha256::digest(bytes).into_iter().flat_map(|byte| [byte >> 4, byte & 15]);
    digits.map(|digit| char::from(b"0123456789abcdef"[usize::from(digit)])).collect()
}

/// Changed samples, all and outside `allowed`.
fn samples(source: &Scan, repaired: &Scan, allowed: &RunMask, offence: &mut Option<String>) -> (u64, u64) {
    let (a, b) = (source.frame(), repaired.frame());
    let same = a.width == b.width && a.height == b.height && a.channels == b.channels && a.encoding == b.encoding;
    if !same || std::mem::discriminant(&a.samples) != std::mem::discriminant(&b.samples) {
        let all = a.samples.len() as u64;
        offence.get_or_insert_with(|| "size, channels or depth differ".to_owned());
        return (all, all);
    }
    let (mut changed, mut outside) = (0, 0);
    for index in 0..a.samples.len() {
        if a.samples.bits(index) == b.samples.bits(index) {
            continue;
        }
        changed += 1;
        let (pixel, channel) = (index / a.channels, index % a.channels);
        let (x, y) = (pixel % a.width, pixel / a.width);
        if !allowed.contains(x as u32, y as u32) {
            outside += 1;
            offence
                .get_or_insert_with(|| format!("sample {channel} at column {x}, row {y} changed outside the repairs"));
        }
    }
    (changed, outside)
}

/// Compares the bytes of a file in which every byte is promised, given the bits that may change.
pub(crate) fn bytes_outside(source: &[u8], repaired: &[u8], free: &[u8], offence: &mut Option<String>) -> u64 {
    let mut count = 0;
    for (at, ((a, b), free)) in source.iter().zip(repaired).zip(free).enumerate() {
        if (a ^ b) & !free != 0 {
            count += 1;
            offence.get_or_insert_with(|| format!("byte {at} changed outside the repairs"));
        }
    }
    if source.len() != repaired.len() {
        count += source.len().abs_diff(repaired.len()) as u64;
        offence.get_or_insert_with(|| format!("the length changed from {} to {} bytes", source.len(), repaired.len()));
    }
    count
}
