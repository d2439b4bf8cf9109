//! The first directory of a TIFF file: tags and their values, read with bounds (TIFF 6.0, section 2; BigTIFF as the
//! format's maintainers published it: 64-bit offsets and counts, magic 43).

use std::collections::BTreeMap;
use std::io::{Read, Seek, SeekFrom};

use crate::error::Fault;

/// Larger directories are refused: a real one has some dozens of tags.
const MOST_TAGS: u64 = 4096;

/// Where one tag's values are.
#[derive(Clone, Debug)]
struct Entry {
    kind: u16,
    count: u64,
    at: u64,
}

/// The first directory, and what is needed to read its values.
pub(super) struct Directory<'a, R> {
    file: &'a mut R,
    length: u64,
    pub(super) big_endian: bool,
    /// True when another page follows.
    pub(super) more_pages: bool,
    entries: BTreeMap<u16, Entry>,
}

impl<'a, R: Read + Seek> Directory<'a, R> {
    /// Reads the tags of the first page of a file of `length` bytes.
    pub(super) fn read(file: &'a mut R, length: u64) -> Result<Self, Fault> {
        let mut directory = Self { file, length, big_endian: false, more_pages: false, entries: BTreeMap::new() };
        let magic = directory.bytes::<4>(0)?;
        directory.big_endian = magic[0] == b'M';
        let big = magic[2] == 43 || magic[3] == 43;
        let (start, count, first, size) = if big {
            let start = directory.number(8, 8)?;
            (start, directory.number(start, 8)?, start.saturating_add(8), 20)
        } else {
            let start = directory.number(4, 4)?;
            (start, directory.number(start, 2)?, start.saturating_add(2), 12)
        };
        if start == 0 || count == 0 || count > MOST_TAGS {
            return Err(Fault::damaged("its directory of tags is not usable"));
        }
        for index in 0..count {
            let at = first + index * size;
            let tag = directory.number(at, 2)? as u16;
            let kind = directory.number(at + 2, 2)? as u16;
            let (values, place) =
                if big { (directory.number(at + 4, 8)?, at + 12) } else { (directory.number(at + 4, 4)?, at + 8) };
            let bytes = u128::from(values) * u128::from(width(kind));
            let inline = if big { 8 } else { 4 };
            let at = if bytes <= inline { place } else { directory.number(place, inline as usize)? };
            // The first of two equal tags counts, as in other readers.
            directory.entries.entry(tag).or_insert(Entry { kind, count: values, at });
        }
        let next = directory.number(first + count * size, if big { 8 } else { 4 }).unwrap_or(0);
        directory.more_pages = next != 0;
        Ok(directory)
    }

    /// True when the tag is there.
    pub(super) fn has(&self, tag: u16) -> bool {
        self.entries.contains_key(&tag)
    }

    /// The first value of a tag as a whole number, or `default` without the tag.
    pub(super) fn value(&mut self, tag: u16, default: u64) -> Result<u64, Fault> {
        Ok(self.values(tag, 1)?.and_then(|v| v.first().copied()).unwrap_or(default))
    }

    /// Up to `most` values of a tag as whole numbers; `None` without the tag.
    pub(super) fn values(&mut self, tag: u16, most: u64) -> Result<Option<Vec<u64>>, Fault> {
        let Some(entry) = self.entries.get(&tag).cloned() else { return Ok(None) };
        let size = match entry.kind {
            1 | 3 | 4 | 16 => width(entry.kind),
            // Offsets of sub-directories.
            13 => 4,
            _ => return Err(Fault::damaged(format!("its tag {tag} is no whole number"))),
        };
        let count = entry.count.min(most);
        let end = u128::from(entry.at) + u128::from(count) * u128::from(size);
        if end > u128::from(self.length) {
            return Err(Fault::truncated(u64::try_from(end).unwrap_or(u64::MAX), self.length));
        }
        // Bounded by the file's length, so this cannot ask for more memory than the file takes.
        let mut raw = vec![0u8; (count * size) as usize];
        self.fill(entry.at, &mut raw)?;
        Ok(Some(raw.chunks_exact(size as usize).map(|b| self.whole(b)).collect()))
    }

    /// Printable text of a tag.
    pub(super) fn text(&mut self, tag: u16) -> Option<String> {
        let entry = self.entries.get(&tag).filter(|e| e.kind == 2)?.clone();
        let mut raw = vec![0u8; entry.count.min(1024) as usize];
        self.fill(entry.at, &mut raw).ok()?;
        let used = raw.split(|b| *b == 0).next().unwrap_or_default();
        let text: String =
            String::from_utf8_lossy(used).chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let text = text.trim();
        (!text.is_empty()).then(|| text.to_owned())
    }

    fn number(&mut self, at: u64, size: usize) -> Result<u64, Fault> {
        let mut raw = [0u8; 8];
        let raw = &mut raw[..size.min(8)];
        self.fill(at, raw)?;
        Ok(self.whole(raw))
    }

    fn bytes<const N: usize>(&mut self, at: u64) -> Result<[u8; N], Fault> {
        let mut raw = [0u8; N];
        self.fill(at, &mut raw)?;
        Ok(raw)
    }

    fn whole(&self, raw: &[u8]) -> u64 {
        let step = |value: u64, byte: &u8| value << 8 | u64::from(*byte);
        if self.big_endian { raw.iter().fold(0, step) } else { raw.iter().rev().fold(0, step) }
    }

    fn fill(&mut self, at: u64, into: &mut [u8]) -> Result<(), Fault> {
        let needed = at.saturating_add(into.len() as u64);
        let short = Fault::truncated(needed, self.length);
        if needed > self.length {
            return Err(short);
        }
        let read = self.file.seek(SeekFrom::Start(at)).and_then(|_| self.file.read_exact(into));
        read.map_err(|_| short)
    }
}

/// Bytes of one value of a field type; unknown types count as bytes.
fn width(kind: u16) -> u64 {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 | 16 | 17 | 18 => 8,
        _ => 1,
    }
}
