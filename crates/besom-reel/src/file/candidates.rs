//! `candidates/FIRST-LAST.cand`: what the detector found in one chunk of frames.
//!
//! All numbers are little-endian. The head is 100 bytes:
//!
//! | at | what |
//! | --- | --- |
//! | 0 | `BESOMCND` |
//! | 8 | version, u16; then 2 bytes of zero |
//! | 12 | generation, u32 |
//! | 16 | fingerprint of the settings, 32 bytes (SHA-256) |
//! | 48 | width, height, u32 each |
//! | 56 | first and last scan, u64 each |
//! | 72 | body's size when inflated, u64 |
//! | 80 | body's size in the file, u64 |
//! | 88 | CRC-32 of the body in the file, u32 |
//! | 92 | zero, u32 |
//! | 96 | CRC-32 of bytes 0 to 95, u32 |
//!
//! The body is deflated. It holds the distinct reason texts, then each scan with its candidates. Whole numbers are
//! LEB128, floats are four bytes; a mask is a count of runs, each as the step down from the row before, the step right
//! (from the left edge in a new row, else from the end of the run before) and the length.

use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use besom_detect::Candidate;
use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;

use super::replace;
use crate::error::ReelError;

mod body;

/// The version that this Besom writes, and the newest that it reads.
pub const VERSION: u16 = 1;

const MAGIC: &[u8; 8] = b"BESOMCND";
const HEAD: usize = 100;

/// Deflate cannot shrink by more than this (RFC 1951: at best 258 bytes for two bits, 1032 to 1, rounded up).
const BEST_RATIO: u64 = 1040;

/// What the detector found in one chunk of frames; one immutable file.
#[derive(Clone, Debug, PartialEq)]
pub struct Chunk {
    /// Which detection of the reel this is. Where chunks overlap, the higher generation's frame counts.
    pub generation: u32,
    /// SHA-256 of everything that changes a result: settings, grain, the detector's version; not the chunking.
    pub fingerprint: [u8; 32],
    /// Pixels a row; masks lie inside.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// First scan.
    pub first: u64,
    /// Last scan, itself included.
    pub last: u64,
    /// Every scan that was looked at, in order, with its candidates (none is a result too).
    pub frames: Vec<(u64, Vec<Candidate>)>,
}

/// What the head of a chunk says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChunkHead {
    /// See [`Chunk::generation`].
    pub generation: u32,
    /// See [`Chunk::fingerprint`].
    pub fingerprint: [u8; 32],
    /// Pixels a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// First scan.
    pub first: u64,
    /// Last scan, itself included.
    pub last: u64,
    inflated: u64,
    deflated: u64,
    body_crc: u32,
}

/// The folder of the chunks.
pub fn folder_in(folder: &Path) -> PathBuf {
    folder.join("candidates")
}

/// Writes a chunk into the reel folder's `candidates/` and says where. Replaces a chunk of the same range in one step.
///
/// # Errors
/// A chunk whose frames are out of order or outside its range, or whose masks leave the frame, is refused.
pub fn write(folder: &Path, chunk: &Chunk) -> Result<PathBuf, ReelError> {
    let path = folder_in(folder).join(format!("{:07}-{:07}.cand", chunk.first, chunk.last));
    let bytes = encode(chunk).ok_or_else(|| {
        ReelError::request(format!("{}: frames out of order, or a mask outside the frame", path.display()))
    })?;
    replace(&path, &bytes)?;
    Ok(path)
}

/// Reads one chunk. Everything is checked: no file content makes this panic or allocate more than the file justifies.
pub fn read(path: &Path) -> Result<Chunk, ReelError> {
    let bytes = std::fs::read(path).map_err(|e| ReelError::access(path, "it cannot be read", &e))?;
    decode(path, &bytes)
}

/// Reads the head of one chunk: what it covers and which settings made it, without its candidates.
pub fn read_head(path: &Path) -> Result<ChunkHead, ReelError> {
    let failed = |e: std::io::Error| ReelError::access(path, "it cannot be read", &e);
    let mut head = Vec::with_capacity(HEAD);
    std::fs::File::open(path).map_err(failed)?.take(HEAD as u64).read_to_end(&mut head).map_err(failed)?;
    decode_head(path, &head)
}

/// The chunk files of a reel folder, sorted by name; none when nothing was detected yet.
pub fn list(folder: &Path) -> Result<Vec<PathBuf>, ReelError> {
    super::list_files(&folder_in(folder), "cand")
}

/// The generation that the next detection of this reel folder gets: 1 above the highest on disk. Chunks that cannot be
/// read count for nothing.
pub fn next_generation(folder: &Path) -> Result<u32, ReelError> {
    let highest = list(folder)?.iter().filter_map(|p| read_head(p).ok()).map(|h| h.generation).max();
    Ok(highest.unwrap_or(0).saturating_add(1))
}

fn encode(chunk: &Chunk) -> Option<Vec<u8>> {
    let body = body::pack(chunk)?;
    let mut deflater = DeflateEncoder::new(Vec::new(), Compression::new(6));
    // Writing into a Vec cannot fail.
    deflater.write_all(&body).ok()?;
    let deflated = deflater.finish().ok()?;
    let mut bytes = Vec::with_capacity(HEAD + deflated.len());
    bytes.extend_from_slice(MAGIC);
    bytes.extend_from_slice(&u32::from(VERSION).to_le_bytes());
    bytes.extend_from_slice(&chunk.generation.to_le_bytes());
    bytes.extend_from_slice(&chunk.fingerprint);
    bytes.extend_from_slice(&chunk.width.to_le_bytes());
    bytes.extend_from_slice(&chunk.height.to_le_bytes());
    for number in [chunk.first, chunk.last, body.len() as u64, deflated.len() as u64] {
        bytes.extend_from_slice(&number.to_le_bytes());
    }
    bytes.extend_from_slice(&crc32fast::hash(&deflated).to_le_bytes());
    bytes.extend_from_slice(&[0; 4]);
    bytes.extend_from_slice(&crc32fast::hash(&bytes).to_le_bytes());
    bytes.extend_from_slice(&deflated);
    Some(bytes)
}

fn decode_head(path: &Path, bytes: &[u8]) -> Result<ChunkHead, ReelError> {
    let damaged = |reason: &str| ReelError::damaged(path, reason);
    let head = bytes.get(..HEAD).ok_or_else(|| damaged("it is too short to be a candidate file"))?;
    if !head.starts_with(MAGIC) {
        return Err(damaged("it is not a candidate file"));
    }
    let u32_at = |at: usize| head.get(at..at + 4).and_then(|b| b.try_into().ok()).map_or(0, u32::from_le_bytes);
    let u64_at = |at: usize| head.get(at..at + 8).and_then(|b| b.try_into().ok()).map_or(0, u64::from_le_bytes);
    // The version is looked at before the checksum: a newer head may be laid out in another way.
    let version = u32_at(8) & 0xffff;
    if version > u32::from(VERSION) {
        return Err(ReelError::newer(path, u64::from(version), u64::from(VERSION)));
    }
    if u32_at(96) != crc32fast::hash(head.get(..96).unwrap_or_default()) {
        return Err(damaged("its head does not match its checksum"));
    }
    Ok(ChunkHead {
        generation: u32_at(12),
        fingerprint: head.get(16..48).and_then(|b| b.try_into().ok()).unwrap_or_default(),
        width: u32_at(48),
        height: u32_at(52),
        first: u64_at(56),
        last: u64_at(64),
        inflated: u64_at(72),
        deflated: u64_at(80),
        body_crc: u32_at(88),
    })
}

fn decode(path: &Path, bytes: &[u8]) -> Result<Chunk, ReelError> {
    let damaged = |reason: &str| ReelError::damaged(path, reason);
    let head = decode_head(path, bytes)?;
    let body = bytes.get(HEAD..).unwrap_or_default();
    if body.len() as u64 != head.deflated {
        return Err(damaged("it is cut short or too long"));
    }
    if crc32fast::hash(body) != head.body_crc {
        return Err(damaged("its body does not match its checksum"));
    }
    if head.inflated > head.deflated.saturating_mul(BEST_RATIO) {
        return Err(damaged("it claims more data than it can hold"));
    }
    let mut unpacked = Vec::new();
    let inflated = DeflateDecoder::new(body).take(head.inflated + 1).read_to_end(&mut unpacked);
    if inflated.is_err() || unpacked.len() as u64 != head.inflated {
        return Err(damaged("its body cannot be inflated"));
    }
    let frames = body::unpack(&unpacked, &head).ok_or_else(|| damaged("its body makes no sense"))?;
    let ChunkHead { generation, fingerprint, width, height, first, last, .. } = head;
    Ok(Chunk { generation, fingerprint, width, height, first, last, frames })
}

#[cfg(test)]
mod tests;
