//! A scan in memory: its decoded frame beside the bytes it came from, so that a repair can change just those bytes.

use std::path::{Path, PathBuf};

use crate::error::{ErrorKind, Fault, ScanError};
use crate::header::{Format, Guarantee, Header, sniff, unknown_format};
use crate::{Encoding, Frame, RunMask, dpx, exr, png, tiff, verify};

/// One sample to change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SampleEdit {
    /// Column.
    pub x: u32,
    /// Row.
    pub y: u32,
    /// Channel, 0 is red or grey.
    pub channel: u8,
    /// The new sample as raw bits: an integer code, or the bit pattern of a float.
    pub bits: u32,
}

/// A decoded file.
#[derive(Clone, Debug)]
pub struct Scan {
    path: PathBuf,
    bytes: Vec<u8>,
    header: Header,
    frame: Frame,
    layout: Layout,
}

/// Where a format keeps its samples.
#[derive(Clone, Debug)]
enum Layout {
    Dpx(dpx::Layout),
    Tiff(tiff::Layout),
    Exr(Box<exr::Layout>),
    Png,
}

impl Scan {
    /// Reads and decodes one file.
    ///
    /// # Errors
    /// When the file cannot be read, is of an unknown or refused kind, is damaged or cut short.
    pub fn read(path: &Path) -> Result<Self, ScanError> {
        let bytes = std::fs::read(path).map_err(|e| ScanError::system(path, "it cannot be read", &e))?;
        Self::from_bytes(path, bytes)
    }

    /// Decodes a file's bytes; `path` only names it.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn from_bytes(path: &Path, bytes: Vec<u8>) -> Result<Self, ScanError> {
        let decoded = match sniff(&bytes) {
            Some(Format::Dpx) => dpx::decode(&bytes).map(|(h, f, l)| (h, f, Layout::Dpx(l))),
            Some(Format::Tiff) => tiff::decode(&bytes).map(|(h, f, l)| (h, f, Layout::Tiff(l))),
            Some(Format::OpenExr) => exr::decode(&bytes).map(|(h, f, l)| (h, f, Layout::Exr(Box::new(l)))),
            Some(Format::Png) => png::decode(&bytes).map(|(h, f)| (h, f, Layout::Png)),
            None => Err(unknown_format(bytes.is_empty())),
        };
        let (header, frame, layout) = decoded.map_err(|fault| fault.of(path))?;
        Ok(Self { path: path.to_owned(), bytes, header, frame, layout })
    }

    /// The file this came from.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The decoded picture.
    pub fn frame(&self) -> &Frame {
        &self.frame
    }

    /// What the file says about itself.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// The file format.
    pub fn format(&self) -> Format {
        self.header.format
    }

    /// What a repair leaves untouched.
    pub fn guarantee(&self) -> Guarantee {
        self.header.guarantee
    }

    /// The file's bytes as read.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Memory held, in bytes.
    pub fn memory(&self) -> usize {
        let sample = match self.frame.samples {
            crate::Samples::U8(_) => 1,
            crate::Samples::U16(_) | crate::Samples::F16(_) => 2,
            crate::Samples::F32(_) => 4,
        };
        self.bytes.len() + self.frame.samples.len() * sample + size_of::<Self>()
    }

    /// The bytes of the file with these samples changed and nothing else (see [`Guarantee`]). Of two edits of one
    /// sample the later wins. Without edits the result is the source, byte for byte.
    ///
    /// # Errors
    /// When an edit lies outside the frame or its value outside the sample's range, or the file is read-only.
    pub fn patched(&self, edits: &[SampleEdit]) -> Result<Vec<u8>, ScanError> {
        if edits.is_empty() {
            return Ok(self.bytes.clone());
        }
        if self.guarantee() == Guarantee::ReadOnly {
            let reason = format!("this kind of {} can be read but not repaired yet", self.format());
            return Err(ScanError::new(ErrorKind::Unsupported, &self.path, reason));
        }
        let result = self.check(edits).and_then(|()| match &self.layout {
            Layout::Dpx(layout) => layout.patched(&self.bytes, edits),
            Layout::Tiff(layout) => layout.patched(&self.bytes, edits),
            Layout::Exr(layout) => layout.patched(&self.bytes, edits),
            Layout::Png => png::patched(&self.bytes, &self.frame, edits),
        });
        result.map_err(|fault| fault.of(&self.path))
    }

    /// Bytes of `repaired` that differ from this file and may not, as far as the format's guarantee goes.
    pub(crate) fn bytes_changed_outside(
        &self,
        repaired: &Self,
        allowed: &RunMask,
        offence: &mut Option<String>,
    ) -> Result<u64, ScanError> {
        let mut free = vec![0u8; self.bytes.len()];
        match &self.layout {
            Layout::Dpx(layout) => layout.mark_bits(&mut free, allowed.pixels()),
            // A compressed TIFF is read-only: none of its bits is marked.
            Layout::Tiff(layout) => layout.mark_bits(&mut free, allowed.pixels()),
            Layout::Exr(layout) => {
                let count = layout.changed_outside(&self.bytes, &repaired.bytes, allowed, offence);
                return count.map_err(|fault| fault.of(&repaired.path));
            }
            Layout::Png => {
                let count = png::changed_outside(&self.bytes, &repaired.bytes, offence);
                return count.map_err(|fault| fault.of(&repaired.path));
            }
        }
        Ok(verify::bytes_outside(&self.bytes, &repaired.bytes, &free, offence))
    }

    /// Every edit inside the frame and the sample's range.
    fn check(&self, edits: &[SampleEdit]) -> Result<(), Fault> {
        let Frame { width, height, channels, encoding: Encoding { bits, .. }, .. } = self.frame;
        for edit in edits {
            let (x, y, c) = (edit.x as usize, edit.y as usize, usize::from(edit.channel));
            if x >= width || y >= height || c >= channels {
                let (x, y) = (edit.x, edit.y);
                return Err(Fault::edit(format!("there is no sample {c} at column {x}, row {y} to change")));
            }
            if bits < 32 && edit.bits >> bits != 0 {
                return Err(Fault::edit(format!("the value {} does not fit a sample of {bits} bits", edit.bits)));
            }
        }
        Ok(())
    }
}
