//! What a DPX header says beside the layout, for people. Undefined fields are left out.

use super::HEADER_BYTES;
use super::layout::{Fields, Layout};
use super::packing::Packing;
use crate::header::WARNING;

/// Name and value of every stated fact, in the header's order, warnings last.
pub(super) fn facts(layout: &Layout, bytes: &[u8]) -> Vec<(String, String)> {
    let fields = Fields { bytes, big_endian: layout.big_endian };
    let mut facts = Vec::new();
    let mut add = |name: &str, value: Option<String>| {
        facts.extend(value.map(|value| (name.to_owned(), value)));
    };
    add("Version", text(&fields, 8, 8));
    add("Byte order", Some(if layout.big_endian { "big endian" } else { "little endian" }.to_owned()));
    add("Packing", Some(packing_name(layout.packing)));
    add("Transfer", Some(layout.transfer.to_string()));
    add("File name", text(&fields, 36, 100));
    add("Created", text(&fields, 136, 24));
    add("Creator", text(&fields, 160, 100));
    add("Project", text(&fields, 260, 200));
    add("Copyright", text(&fields, 460, 200));
    add("Orientation", fields.u16(768).filter(|o| !matches!(*o, 0 | u16::MAX)).map(|o| o.to_string()));
    add("Source file", text(&fields, 1432, 100));
    add("Input device", text(&fields, 1556, 32));
    add("Input device serial number", text(&fields, 1588, 32));
    // Some writers begin the pixels at 1664: there is no industry header then, and reading one would read pixels.
    if layout.start >= HEADER_BYTES && bytes.len() >= HEADER_BYTES {
        add("Key code", key_code(&fields));
        add("Film format", text(&fields, 1680, 32));
        add("Frame position", fields.stated(1712).map(|v| v.to_string()));
        add("Sequence length", fields.stated(1716).map(|v| v.to_string()));
        add("Frame rate", frame_rate(&fields, 1940).or_else(|| frame_rate(&fields, 1724)));
        add("Frame identification", text(&fields, 1732, 32));
        add("Slate", text(&fields, 1764, 100));
        add("Timecode", timecode(&fields));
    }
    facts.extend(layout.warnings.iter().map(|w| (WARNING.to_owned(), w.clone())));
    facts
}

fn packing_name(packing: Packing) -> String {
    match packing {
        Packing::Bytes => "bytes",
        Packing::Stream { .. } => "packed",
        Packing::Shorts { bits: 16, .. } => "16-bit units",
        Packing::Shorts { shift: 0, .. } => "filled, method B",
        Packing::Words { shifts } if shifts.contains(&0) => "filled, method B",
        Packing::Shorts { .. } | Packing::Words { .. } => "filled, method A",
    }
    .to_owned()
}

/// A text field up to its first zero; bytes that are not printable ASCII become "?". All-0xFF means undefined.
fn text(fields: &Fields, at: usize, length: usize) -> Option<String> {
    let field = fields.bytes.get(at..at + length)?;
    let used = field.split(|b| *b == 0).next().unwrap_or_default();
    if used.iter().all(|b| *b == 0xFF) {
        return None;
    }
    let shown: String =
        used.iter().map(|b| if b.is_ascii_graphic() || *b == b' ' { char::from(*b) } else { '?' }).collect();
    let shown = shown.trim();
    (!shown.is_empty()).then(|| shown.to_owned())
}

/// The edge code's digits: manufacturer, type, prefix, count and the offset in perforations.
fn key_code(fields: &Fields) -> Option<String> {
    let part = |at, length| text(fields, at, length).filter(|t| t.bytes().all(|b| b.is_ascii_alphanumeric()));
    let (prefix, count) = (part(1670, 6)?, part(1676, 4)?);
    let maker = part(1664, 2).unwrap_or_default();
    let stock = part(1666, 2).unwrap_or_default();
    let offset = part(1668, 2).map(|o| format!("+{o}")).unwrap_or_default();
    Some(format!("{maker} {stock} {prefix} {count}{offset}").trim().to_owned())
}

/// Frames a second. Undefined rates are NaN or infinite, and one writer stored infinity's bits as a number.
fn frame_rate(fields: &Fields, at: usize) -> Option<String> {
    let rate = f32::from_bits(fields.u32(at)?);
    (rate > 0.0 && rate < 1000.0).then(|| {
        let text = format!("{rate:.3}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    })
}

/// Binary-coded decimal hours, minutes, seconds, frames; zero is what writers leave who have no timecode.
fn timecode(fields: &Fields) -> Option<String> {
    let code = fields.stated(1920).filter(|c| *c != 0)?;
    let parts = code.to_be_bytes();
    let decimal = parts.iter().all(|p| p >> 4 < 10 && p & 15 < 10);
    let [hours, minutes, seconds, frames] = parts;
    decimal.then(|| format!("{hours:02x}:{minutes:02x}:{seconds:02x}:{frames:02x}"))
}
