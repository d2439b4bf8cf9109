//! A frame as rows of bands, and how far each column stands out in them.

use besom_scan::Plane;
use rayon::prelude::*;

use crate::grain::Grain;

/// Rows averaged into one band. A slant of 5 degrees moves a line by 0.7 pixels in them, so a line shifts by one column at
/// most from band to band, and grain falls to about half.
pub const BAND: usize = 8;
/// Columns to either side over which it is measured what response is usual.
const AROUND: usize = 32;
/// Columns that share one measure of what is usual.
const BLOCK: usize = 16;
/// Least usual response in grain sigmas: what grain alone leaves in a band of film with little correlation. Without it a
/// field without grain would make a line of every rounding step.
const LEAST_USUAL: f32 = 0.15;
/// A band's response counts up to this, so that a speck which fills one or two bands makes no line.
pub(super) const CLIP: f32 = 4.0;
/// Halvings of the columns: cores of 1 to 3, 6, 12 and 24 columns, which find lines of 1 to about 30 pixels.
const SCALES: u32 = 4;

/// The mean of every whole band of [`BAND`] rows, channel by channel.
pub(crate) fn banded(planes: &[Plane]) -> Vec<Plane> {
    planes.iter().map(banded_plane).collect()
}

fn banded_plane(plane: &Plane) -> Plane {
    let (width, rows) = (plane.width(), plane.height() / BAND);
    let mut out = Plane::new(width, rows);
    out.as_mut_slice().par_chunks_mut(width.max(1)).enumerate().for_each(|(band, out)| {
        for y in band * BAND..(band + 1) * BAND {
            add(out, plane.row(y));
        }
        scale(out, 1.0 / BAND as f32);
    });
    out
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn add(out: &mut [f32], row: &[f32]) {
    for (out, v) in out.iter_mut().zip(row) {
        *out += v;
    }
}

fn scale(row: &mut [f32], by: f32) {
    for v in row {
        *v *= by;
    }
}

/// Bands averaged into one tall band, and the bands from one tall band to the next. Over so many rows the picture's texture
/// averages out while a faint upright line stays; a strongly slanted one is smeared and must be found in the bands.
const TALL: usize = 8;
pub(super) const TALL_STEP: usize = 4;

/// The tall bands of banded planes; none when there are fewer than [`TALL`] bands.
pub(super) fn tall(bands: &[Plane]) -> Vec<Plane> {
    let one = |plane: &Plane| {
        let (width, rows) = (plane.width(), (plane.height() + TALL_STEP).saturating_sub(TALL) / TALL_STEP);
        let mut out = Plane::new(width, rows);
        for row in 0..rows {
            for band in row * TALL_STEP..row * TALL_STEP + TALL {
                add(out.row_mut(row), plane.row(band));
            }
            scale(out.row_mut(row), 1.0 / TALL as f32);
        }
        out
    };
    bands.iter().map(one).collect()
}

/// Bands from the first band of a tall one to its middle.
pub(super) const TALL_MIDDLE: f32 = 0.5 * (TALL - 1) as f32;

/// From codes to grain sigmas above black: on this scale grain is equally strong at every density, so that differences
/// need no further measure.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Evened(Vec<Vec<f32>>);

impl Evened {
    pub(crate) fn new(grain: &Grain, channels: usize) -> Self {
        let table = |channel| {
            let mut sum = 0.0f32;
            let mut table = vec![0.0];
            for code in 0..1024 {
                sum += 1.0 / grain.channel_at(channel, code as f32 + 0.5).max(0.5);
                table.push(sum);
            }
            table
        };
        Self((0..channels).map(table).collect())
    }

    fn at(&self, channel: usize, code: f32) -> f32 {
        let table = &self.0[channel];
        let code = code.clamp(0.0, 1023.0);
        let low = code as usize;
        table[low] + (code - low as f32) * (table[low + 1] - table[low])
    }

    /// Banded planes on the evened scale.
    pub(crate) fn planes(&self, bands: &[Plane]) -> Vec<Plane> {
        let one = |(channel, plane): (usize, &Plane)| {
            let mut out = Plane::new(plane.width(), plane.height());
            let rows = out.as_mut_slice().par_chunks_mut(plane.width().max(1)).enumerate();
            rows.for_each(|(y, out)| {
                for (out, code) in out.iter_mut().zip(plane.row(y)) {
                    *out = self.at(channel, *code);
                }
            });
            out
        };
        bands.iter().enumerate().map(one).collect()
    }
}

/// Responses at one halving of the columns: how far a column stands out from both its sides, in units of what is usual
/// around, negative where it is darker.
pub(super) struct Scale {
    /// Scan pixels a column.
    pub(super) factor: usize,
    pub(super) response: Plane,
}

/// The responses of a frame's evened bands at all scales.
pub(super) fn scales(bands: &[Plane]) -> Vec<Scale> {
    let (width, rows) = bands.first().map_or((0, 0), |b| (b.width(), b.height()));
    let count = (0..SCALES).take_while(|s| width >> s >= AROUND).count();
    let mut made: Vec<Vec<f32>> = (0..count).map(|s| Vec::with_capacity((width >> s) * rows)).collect();
    for band in 0..rows {
        for (samples, responses) in made.iter_mut().zip(band_responses(bands, band, count)) {
            samples.extend_from_slice(&responses);
        }
    }
    made.into_iter()
        .enumerate()
        .map(|(s, samples)| {
            let response = Plane::from_vec(width >> s, rows, samples).unwrap_or_else(|| Plane::new(width >> s, rows));
            Scale { factor: 1 << s, response }
        })
        .collect()
}

/// One band's responses, scale by scale: the strongest of all channels, their mean, and all core widths.
fn band_responses(bands: &[Plane], band: usize, scales: usize) -> Vec<Vec<f32>> {
    let mut rows: Vec<Vec<f32>> = bands.iter().map(|plane| plane.row(band).to_vec()).collect();
    if rows.len() > 1 {
        let mut mean = rows[0].clone();
        for row in &rows[1..] {
            add(&mut mean, row);
        }
        scale(&mut mean, 1.0 / rows.len() as f32);
        rows.push(mean);
    }
    let mut scratch = Vec::new();
    (0..scales)
        .map(|scale| {
            if scale > 0 {
                rows = rows.iter().map(|row| halved(row)).collect();
            }
            let mut best = vec![0.0f32; rows[0].len()];
            for row in &rows {
                let means = means_of_three(row);
                for core in (if scale == 0 { 1 } else { 2 })..=3 {
                    scratch.clear();
                    scratch.resize(row.len(), 0.0);
                    respond(row, &means, core, &mut scratch);
                    keep_stronger(&scratch, LEAST_USUAL / ((1 << scale) as f32).sqrt(), &mut best);
                }
            }
            best
        })
        .collect()
}

fn halved(row: &[f32]) -> Vec<f32> {
    row.chunks_exact(2).map(|c| 0.5 * (c[0] + c[1])).collect()
}

/// The mean of each column and the two beside it; 0 for the first and the last.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn means_of_three(row: &[f32]) -> Vec<f32> {
    let mut means = vec![0.0f32; row.len()];
    for (mean, w) in means.iter_mut().skip(1).zip(row.windows(3)) {
        *mean = (w[0] + w[1] + w[2]) * (1.0 / 3.0);
    }
    means
}

/// The response of a core of 1, 2 or 3 columns: the smaller of its differences from both sides where these agree in sign,
/// zero where they do not. An edge of the picture has one like side and answers nothing.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn respond(row: &[f32], means: &[f32], core: usize, out: &mut [f32]) {
    const EDGE: usize = 6;
    let width = row.len();
    if width <= 2 * EDGE {
        return;
    }
    let count = width - 2 * EDGE;
    let at = |offset: i32| (EDGE as i32 + offset) as usize;
    // Sides of three columns, one column away from the core.
    let (l, r) = match core {
        1 => (at(-3), at(3)),
        2 => (at(-3), at(4)),
        _ => (at(-4), at(4)),
    };
    let (left, right) = (&means[l..l + count], &means[r..r + count]);
    let (here, next, mean) = (&row[at(0)..][..count], &row[at(1)..][..count], &means[at(0)..][..count]);
    let out = &mut out[EDGE..EDGE + count];
    match core {
        1 => (0..count).for_each(|i| out[i] = beyond_both(here[i], left[i], right[i])),
        2 => (0..count).for_each(|i| out[i] = beyond_both(0.5 * (here[i] + next[i]), left[i], right[i])),
        _ => (0..count).for_each(|i| out[i] = beyond_both(mean[i], left[i], right[i])),
    }
}

/// The smaller difference of `centre` from both sides where these agree in sign, else zero; without a branch.
#[allow(clippy::inline_always)]
#[inline(always)]
fn beyond_both(centre: f32, left: f32, right: f32) -> f32 {
    let (a, b) = (centre - left, centre - right);
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    let up = if low > 0.0 { low } else { 0.0 };
    let down = if high < 0.0 { high } else { 0.0 };
    up + down
}

/// Sum of the strengths of a block's responses.
// Inlined into the loop that is compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn sum_of(responses: &[f32]) -> f32 {
    responses.iter().fold(0.0, |sum, v| sum + v.abs())
}

/// Divides responses by what is usual around each column and keeps the stronger of them and `best`.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn keep_stronger(responses: &[f32], least: f32, best: &mut [f32]) {
    let (whole, rest) = responses.as_chunks::<BLOCK>();
    let mut sums: Vec<f32> = whole.iter().map(|block| sum_of(block)).collect();
    if !rest.is_empty() {
        sums.push(sum_of(rest));
    }
    let blocks = responses.chunks(BLOCK).zip(best.chunks_mut(BLOCK)).enumerate();
    for (b, (responses, best)) in blocks {
        let (first, last) = (b.saturating_sub(AROUND / BLOCK), (b + AROUND / BLOCK + 1).min(sums.len()));
        let columns = (last - first) * BLOCK;
        // Twice, because the responses of grain are zero half of the time.
        let usual = 2.0 * sums[first..last].iter().sum::<f32>() / columns as f32;
        let unit = 1.0 / if usual > least { usual } else { least };
        for (best, response) in best.iter_mut().zip(responses) {
            let value = response * unit;
            *best = if value.abs() > best.abs() { value } else { *best };
        }
    }
}
