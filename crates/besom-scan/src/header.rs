//! What a file says about itself, known without decoding a pixel.

use std::fmt;
use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use crate::error::{ErrorKind, Fault, ScanError};
use crate::{Transfer, dpx, exr, png, tiff};

/// A file format Besom reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Format {
    /// SMPTE ST 268-1.
    Dpx,
    /// TIFF 6.0.
    Tiff,
    /// OpenEXR, scan lines.
    OpenExr,
    /// PNG, 8 or 16 bits.
    Png,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Dpx => "DPX",
            Self::Tiff => "TIFF",
            Self::OpenExr => "OpenEXR",
            Self::Png => "PNG",
        })
    }
}

/// How much of a file a repair leaves exactly as it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Guarantee {
    /// Every bit outside the repaired samples.
    EveryByte,
    /// The header and every compressed block without a repair; the others are compressed again without loss.
    UntouchedBlocks,
    /// Everything but the compressed picture, which is compressed again without loss.
    AllButPixelStream,
    /// The file can be read, not repaired.
    ReadOnly,
}

impl fmt::Display for Guarantee {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::EveryByte => "every bit outside the repaired samples stays as it is",
            Self::UntouchedBlocks => "the header and every block without a repair stay as they are",
            Self::AllButPixelStream => {
                "everything but the compressed picture stays as it is; every other sample is kept"
            }
            Self::ReadOnly => "this kind of file can be read but not repaired yet",
        })
    }
}

/// The facts of one file.
#[derive(Clone, Debug, PartialEq)]
pub struct Header {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Samples a pixel, 1 to 4.
    pub channels: usize,
    /// Bits of a sample: 8, 10, 12, 16, or 32 for single floats.
    pub bits: u8,
    /// True when samples are floats.
    pub float: bool,
    /// What the codes stand for.
    pub transfer: Transfer,
    /// The file format.
    pub format: Format,
    /// What a repair of this file leaves untouched.
    pub guarantee: Guarantee,
    /// Name and value of what else the header says, for people, in a fixed order. A fact named "Warning" is something
    /// odd that reading had to work around.
    pub facts: Vec<(String, String)>,
}

impl Header {
    /// The warnings among the facts.
    pub fn warnings(&self) -> impl Iterator<Item = &str> {
        self.facts.iter().filter(|(name, _)| name == WARNING).map(|(_, value)| value.as_str())
    }

    /// The value of the first fact of this name.
    pub fn fact(&self, name: &str) -> Option<&str> {
        self.facts.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
    }
}

/// The fact's name under which reading reports something odd.
pub(crate) const WARNING: &str = "Warning";

/// Tells the format by the first bytes; names and endings are never trusted.
pub(crate) fn sniff(start: &[u8]) -> Option<Format> {
    match start {
        [b'S', b'D', b'P', b'X', ..] | [b'X', b'P', b'D', b'S', ..] => Some(Format::Dpx),
        [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => Some(Format::Tiff),
        [0x76, 0x2F, 0x31, 0x01, ..] => Some(Format::OpenExr),
        [0x89, b'P', b'N', b'G', ..] => Some(Format::Png),
        _ => None,
    }
}

pub(crate) fn unknown_format(empty: bool) -> Fault {
    let reason = if empty { "it is empty" } else { "it is none of DPX, TIFF, OpenEXR and PNG" };
    Fault { kind: ErrorKind::UnknownFormat, reason: reason.to_owned() }
}

/// Reads the header of a scan without decoding pixels.
///
/// # Errors
/// When the file cannot be opened, is of an unknown or refused kind, or claims more pixels than it holds.
pub fn read_header(path: &Path) -> Result<Header, ScanError> {
    let unreadable = |e: std::io::Error| ScanError::system(path, "it cannot be read", &e);
    let mut file = File::open(path).map_err(unreadable)?;
    let length = file.metadata().map_err(unreadable)?.len();
    let mut start = Vec::with_capacity(dpx::HEADER_BYTES);
    file.by_ref().take(dpx::HEADER_BYTES as u64).read_to_end(&mut start).map_err(unreadable)?;
    file.seek(SeekFrom::Start(0)).map_err(unreadable)?;
    let format = sniff(&start).ok_or_else(|| unknown_format(start.is_empty()).of(path))?;
    let header = match format {
        Format::Dpx => dpx::Layout::parse(&start, length).map(|layout| layout.header(&start)),
        Format::Tiff => tiff::read_header(&mut BufReader::new(file), length),
        Format::OpenExr => exr::read_header(&mut BufReader::new(file), length),
        Format::Png => png::read_header(&mut BufReader::new(file), length),
    };
    header.map_err(|fault| fault.of(path))
}
