//! A plain DPX writer for the demo reel and for tests. Repairs never go through it: they patch the source.

use super::HEADER_BYTES;
use crate::{Frame, Samples, Transfer};

/// Header fields of a new file; empty or `None` means undefined.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// Name of the file, at most 99 bytes.
    pub file_name: String,
    /// The program that made it, at most 99 bytes.
    pub creator: String,
    /// The project, at most 199 bytes.
    pub project: String,
    /// Position of the frame in its sequence.
    pub frame_position: Option<u32>,
    /// Frames a second.
    pub frame_rate: Option<f32>,
    /// Hours, minutes, seconds, frames; each below 100.
    pub timecode: Option<[u8; 4]>,
}

/// Writes a DPX V2.0 file with 2048 bytes of header.
///
/// 10-bit frames are written as filled words (method A), 12-bit ones as 16-bit units (method A), 8- and 16-bit ones
/// plainly; rows are padded to 32-bit words. Half and single float frames have no place in DPX: their analysis codes
/// are written as 10-bit log. A frame of two channels loses its alpha.
pub fn encode(frame: &Frame, big_endian: bool, facts: &Facts) -> Vec<u8> {
    let components = if frame.channels == 2 { 1 } else { frame.channels };
    let codes = codes(frame, components);
    let bits = if matches!(frame.samples, Samples::F16(_) | Samples::F32(_)) { 10 } else { frame.encoding.bits };
    let mut writer = Writer { bytes: vec![0; HEADER_BYTES], big_endian };
    for row in codes.chunks(frame.width.max(1) * components) {
        writer.row(row, bits, components);
    }
    writer.header(frame, bits, components, facts);
    writer.bytes
}

/// Integer codes of the channels that are written.
fn codes(frame: &Frame, components: usize) -> Vec<u16> {
    let kept = |c: usize| c % frame.channels < components;
    match &frame.samples {
        Samples::U8(v) => v.iter().enumerate().filter(|(i, _)| kept(*i)).map(|(_, s)| u16::from(*s)).collect(),
        Samples::U16(v) => v.iter().enumerate().filter(|(i, _)| kept(*i)).map(|(_, s)| *s).collect(),
        Samples::F16(_) | Samples::F32(_) => {
            let planes = frame.analysis();
            let sample = |i: usize| {
                // Alpha is not in the analysis planes; an opaque one is written.
                let code = planes.get(i % components).map_or(1023.0, |p| p.as_slice()[i / components]);
                code.round().clamp(0.0, 1023.0) as u16
            };
            (0..frame.width * frame.height * components).map(sample).collect()
        }
    }
}

struct Writer {
    bytes: Vec<u8>,
    big_endian: bool,
}

impl Writer {
    fn row(&mut self, row: &[u16], bits: u8, components: usize) {
        match bits {
            8 => self.bytes.extend(row.iter().map(|s| *s as u8)),
            10 => {
                // The first sample stands highest, except that one-component pixels stand lowest first.
                let shifts = if components == 1 { [2, 12, 22] } else { [22, 12, 2] };
                for three in row.chunks(3) {
                    let word = three.iter().zip(shifts).fold(0u32, |w, (s, shift)| w | u32::from(*s & 0x3FF) << shift);
                    let word = if self.big_endian { word.to_be_bytes() } else { word.to_le_bytes() };
                    self.bytes.extend_from_slice(&word);
                }
            }
            _ => {
                let shift = 16 - bits.min(16);
                for sample in row {
                    let unit = sample << shift;
                    let unit = if self.big_endian { unit.to_be_bytes() } else { unit.to_le_bytes() };
                    self.bytes.extend_from_slice(&unit);
                }
            }
        }
        self.bytes.resize(self.bytes.len().next_multiple_of(4), 0);
    }

    fn u32(&mut self, at: usize, value: u32) {
        let value = if self.big_endian { value.to_be_bytes() } else { value.to_le_bytes() };
        self.bytes[at..at + 4].copy_from_slice(&value);
    }

    fn u16(&mut self, at: usize, value: u16) {
        let value = if self.big_endian { value.to_be_bytes() } else { value.to_le_bytes() };
        self.bytes[at..at + 2].copy_from_slice(&value);
    }

    /// Text, cut so that at least one zero ends it.
    fn text(&mut self, at: usize, length: usize, text: &str) {
        let text = &text.as_bytes()[..text.len().min(length - 1)];
        self.bytes[at..at + text.len()].copy_from_slice(text);
    }

    fn header(&mut self, frame: &Frame, bits: u8, components: usize, facts: &Facts) {
        self.undefined();
        let size = self.bytes.len() as u32;
        self.bytes[..4].copy_from_slice(if self.big_endian { b"SDPX" } else { b"XPDS" });
        self.u32(4, HEADER_BYTES as u32);
        self.text(8, 8, "V2.0");
        self.u32(16, size);
        self.u32(20, 1);
        self.u32(24, 1664);
        self.u32(28, 384);
        self.u32(32, 0);
        self.text(36, 100, &facts.file_name);
        self.text(160, 100, &facts.creator);
        self.text(260, 200, &facts.project);
        self.u16(768, 0);
        self.u16(770, 1);
        self.u32(772, frame.width as u32);
        self.u32(776, frame.height as u32);
        self.element(frame, bits, components);
        if let Some(position) = facts.frame_position {
            self.u32(1712, position);
        }
        if let Some(rate) = facts.frame_rate {
            self.u32(1724, rate.to_bits());
            self.u32(1940, rate.to_bits());
        }
        if let Some(timecode) = facts.timecode {
            let decimal = timecode.map(|part| part / 10 % 10 * 16 + part % 10);
            self.u32(1920, u32::from_be_bytes(decimal));
            // With a timecode the user bits beside it are stated too: none.
            self.u32(1924, 0);
        }
    }

    /// Image element 0.
    fn element(&mut self, frame: &Frame, bits: u8, components: usize) {
        let transfer = match (frame.encoding.transfer, &frame.samples) {
            (_, Samples::F16(_) | Samples::F32(_)) | (Transfer::Log, _) => 3,
            (Transfer::PrintingDensity, _) => 1,
            (Transfer::Video, _) => 6,
            (Transfer::Linear, _) => 2,
        };
        self.u32(780, 0);
        self.u32(784, 0);
        self.u32(792, (1u32 << bits.min(16)) - 1);
        self.bytes[800] = match components {
            1 => 6,
            3 => 50,
            _ => 51,
        };
        self.bytes[801] = transfer;
        self.bytes[802] = transfer;
        self.bytes[803] = bits;
        self.u16(804, u16::from(matches!(bits, 10 | 12)));
        self.u16(806, 0);
        self.u32(808, HEADER_BYTES as u32);
        self.u32(812, 0);
        self.u32(816, 0);
    }

    /// Fills every number with the standard's "undefined" (all ones); text and reserved bytes stay zero.
    fn undefined(&mut self) {
        const NUMBERS: [(usize, usize); 7] =
            [(660, 664), (768, 780), (1408, 1432), (1620, 1644), (1712, 1732), (1920, 1931), (1932, 1972)];
        for (from, to) in NUMBERS {
            self.bytes[from..to].fill(0xFF);
        }
        for element in 0..8 {
            let at = 780 + 72 * element;
            self.bytes[at..at + 40].fill(0xFF);
        }
    }
}
