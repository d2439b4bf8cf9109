//! A DPX file read straight into analysis planes, a few rows at a time: on a 2K scan that spares two arrays as large as
//! the file, and the pages that the system would have to clear for them.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use super::{HEADER_BYTES, Layout};
use crate::frame::{codes_an_integer, split};
use crate::header::{Format, sniff};
use crate::picture::Picture;
use crate::{Plane, Transfer};

/// Stored rows read at once: few enough that they stay in the fast cache until they are planes.
const ROWS: usize = 16;

/// The planes of a plain DPX file: integer codes of one, three or four channels, red first, in rows of their own.
/// `None` for any other file and any fault, which the general road reads or names.
pub(crate) fn picture(path: &Path) -> Option<Picture> {
    let mut file = File::open(path).ok()?;
    let length = file.metadata().ok()?.len();
    let mut start = Vec::with_capacity(HEADER_BYTES);
    file.by_ref().take(HEADER_BYTES as u64).read_to_end(&mut start).ok()?;
    if sniff(&start) != Some(Format::Dpx) {
        return None;
    }
    let layout = Layout::parse(&start, length).ok()?;
    let (width, height, channels) = (layout.width, layout.height, layout.components);
    let in_rows = layout.row_samples == width * channels;
    if layout.reversed || !in_rows || !matches!(channels, 1 | 3 | 4) || layout.transfer == Transfer::Linear {
        return None;
    }
    let colours = if channels == 1 { 1 } else { 3 };
    let mut planes: Vec<Plane> = (0..colours).map(|_| Plane::new(width, height)).collect();
    let (row_bytes, scale) = (layout.packing.row_bytes(layout.row_samples), codes_an_integer(layout.depth));
    let mut samples = vec![0u16; layout.row_samples];
    let mut bytes = Vec::new();
    for first in (0..height).step_by(ROWS) {
        let rows = ROWS.min(height - first);
        bytes.resize((rows - 1) * layout.stride + row_bytes, 0);
        file.seek(SeekFrom::Start((layout.start + first * layout.stride) as u64)).ok()?;
        file.read_exact(&mut bytes).ok()?;
        for k in 0..rows {
            layout.packing.unpack_row(&bytes[k * layout.stride..][..row_bytes], layout.big_endian, &mut samples);
            put_row(&samples, channels, scale, &mut planes, first + k);
        }
    }
    Some(Picture { width, height, channels, planes })
}

/// One row of samples as codes, into row `y` of the planes.
fn put_row(samples: &[u16], channels: usize, scale: f32, planes: &mut [Plane], y: usize) {
    let code = |sample: u16| f32::from(sample) * scale;
    match planes {
        [red, green, blue] => {
            let (red, green, blue) = (red.row_mut(y), green.row_mut(y), blue.row_mut(y));
            if channels == 3 {
                split(samples.as_chunks::<3>().0, red, green, blue, code);
            } else {
                split(samples.as_chunks::<4>().0, red, green, blue, code);
            }
        }
        [grey] => {
            for (sample, grey) in samples.iter().zip(grey.row_mut(y)) {
                *grey = code(*sample);
            }
        }
        _ => {}
    }
}
