//! The header's end, the table of chunk offsets, and the chunks as byte ranges.

use std::ops::Range;

use crate::error::Fault;

/// First byte after the attributes of a single-part file.
pub(super) fn header_end(bytes: &[u8], length: u64) -> Result<usize, Fault> {
    let cut = || Fault::truncated(bytes.len() as u64 + 1, length);
    // Magic number and version come before the attributes.
    let mut at = 8;
    loop {
        let name = text_end(bytes, at).ok_or_else(cut)?;
        if name == at {
            return Ok(at + 1);
        }
        let kind = text_end(bytes, name + 1).ok_or_else(cut)?;
        let size: [u8; 4] = bytes.get(kind + 1..kind + 5).and_then(|b| b.try_into().ok()).ok_or_else(cut)?;
        let size = usize::try_from(i32::from_le_bytes(size))
            .map_err(|_| Fault::damaged("one of its attributes has a negative size"))?;
        at = kind + 5 + size;
    }
}

/// Place of the zero that ends the text at `at`.
fn text_end(bytes: &[u8], at: usize) -> Option<usize> {
    bytes.get(at..)?.iter().position(|b| *b == 0).map(|n| at + n)
}

/// The chunks a table of offsets points to, in the table's order.
pub(super) fn spans(bytes: &[u8], table: Range<usize>, tiled: bool) -> Result<Vec<Range<usize>>, Fault> {
    let end = table.end;
    let entries = bytes.get(table).ok_or_else(|| Fault::truncated(end as u64, bytes.len() as u64))?;
    let before = if tiled { 16 } else { 4 };
    let mut spans = Vec::with_capacity(entries.len() / 8);
    for entry in entries.as_chunks::<8>().0 {
        let start = u64::from_le_bytes(*entry);
        if start < end as u64 {
            return Err(Fault::damaged("its table of blocks is incomplete"));
        }
        let cut = || Fault::truncated(start.saturating_add(before + 4), bytes.len() as u64);
        let start = usize::try_from(start).map_err(|_| cut())?;
        let sized = start.checked_add(before as usize).ok_or_else(cut)?;
        let size: [u8; 4] =
            bytes.get(sized..sized.saturating_add(4)).and_then(|b| b.try_into().ok()).ok_or_else(cut)?;
        let size = usize::try_from(i32::from_le_bytes(size))
            .map_err(|_| Fault::damaged("one of its blocks has a negative size"))?;
        let stop = sized + 4 + size;
        if stop > bytes.len() {
            return Err(Fault::truncated(stop as u64, bytes.len() as u64));
        }
        spans.push(start..stop);
    }
    let mut sorted: Vec<_> = spans.iter().collect();
    sorted.sort_unstable_by_key(|span| span.start);
    if sorted.windows(2).any(|pair| pair[1].start < pair[0].end) {
        return Err(Fault::damaged("some of its blocks share bytes"));
    }
    Ok(spans)
}

/// The file with some chunks replaced: everything between chunks is copied, the table of offsets rewritten.
pub(super) fn spliced(
    bytes: &[u8],
    table: Range<usize>,
    spans: &[Range<usize>],
    replaced: impl Fn(usize) -> Option<Vec<u8>>,
) -> Vec<u8> {
    let mut order: Vec<usize> = (0..spans.len()).collect();
    order.sort_unstable_by_key(|index| spans[*index].start);
    let mut out = Vec::with_capacity(bytes.len());
    let mut copied = 0;
    let mut offsets = vec![0u64; spans.len()];
    for index in order {
        let span = &spans[index];
        out.extend_from_slice(&bytes[copied..span.start]);
        offsets[index] = out.len() as u64;
        match replaced(index) {
            Some(chunk) => out.extend_from_slice(&chunk),
            None => out.extend_from_slice(&bytes[span.clone()]),
        }
        copied = span.end;
    }
    out.extend_from_slice(&bytes[copied..]);
    for (place, offset) in out[table].as_chunks_mut::<8>().0.iter_mut().zip(offsets) {
        *place = offset.to_le_bytes();
    }
    out
}
