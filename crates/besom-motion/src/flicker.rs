//! Flicker: the slow change of level between frames, as one gain and a smooth field of offsets.
//!
//! A change of light adds to log codes and multiplies gamma or linear ones, and ageing and printing do some of both: so gain
//! and offset are both measured (van Roosmalen, Lagendijk and Biemond, IEEE TCSVT 9(7), 1999). Without the gain 3 % of flicker on
//! gamma codes left thirty codes between a frame's whites and its blacks. It is used for the comparison only; no picture is
//! changed by it.

use besom_scan::Plane;
use rayon::prelude::*;

use crate::order::middle;

/// A gain, and offsets on a coarse lattice, read bilinearly.
#[derive(Clone, Debug, PartialEq)]
pub struct Flicker {
    gain: f32,
    cell: usize,
    offsets: Plane,
}

/// Differences beyond this many codes from the block's present level are dirt or motion, not flicker.
const CLIP: f32 = 24.0;

impl Flicker {
    /// No change of level.
    pub fn none() -> Self {
        Self { gain: 1.0, cell: 1 << 20, offsets: Plane::new(1, 1) }
    }

    /// Measures the gain of `current` against the compensated reference ([`gain`]) and then what [`Flicker::with_gain`] does.
    pub fn measure(current: &Plane, compensated: &Plane) -> Self {
        Self::with_gain(current, compensated, gain(current, compensated, (0, 0)))
    }

    /// Measures the level of `current` against the compensated reference times `gain` in blocks of about 1/16 of the frame's
    /// width (at least 32 pixels), with large differences clipped, and smooths it over the neighbouring blocks. Every fourth row
    /// is read.
    pub fn with_gain(current: &Plane, compensated: &Plane, gain: f32) -> Self {
        let cell = (current.width() / 16).max(32);
        let (columns, rows) = (current.width().div_ceil(cell), current.height().div_ceil(cell));
        let mut raw = Plane::new(columns, rows);
        raw.as_mut_slice().par_chunks_mut(columns).enumerate().for_each(|(r, line)| {
            let mut scratch = Vec::new();
            for (c, out) in line.iter_mut().enumerate() {
                *out = block_level((current, compensated), gain, c * cell, r * cell, cell, &mut scratch);
            }
        });
        // The median of 3x3 blocks holds against one that a moving object fills; the binomial mean makes steps smooth.
        let steady = crate::pyramid::median3(&raw);
        let offsets = Plane::from_fn(columns, rows, |c, r| {
            let mut sum = 0.0;
            for (j, wj) in [(-1, 0.25), (0, 0.5), (1, 0.25)] {
                for (i, wi) in [(-1, 0.25), (0, 0.5), (1, 0.25)] {
                    sum += wi * wj * steady.clamped(c as i32 + i, r as i32 + j);
                }
            }
            sum
        });
        Self { gain, cell, offsets }
    }

    /// What the reference is multiplied by before the offsets are added.
    pub fn gain(&self) -> f32 {
        self.gain
    }

    /// Codes to add to the reference, times the gain, at a scan position.
    pub fn at(&self, x: f32, y: f32) -> f32 {
        let cell = self.cell as f32;
        crate::interpolate::sample_with_gradient(&self.offsets, (x + 0.5) / cell - 0.5, (y + 0.5) / cell - 0.5).0
    }

    /// Mean offset over the frame, in codes.
    pub fn mean(&self) -> f32 {
        let values = self.offsets.as_slice();
        values.iter().sum::<f32>() / values.len().max(1) as f32
    }

    /// A compensated reference brought to the level of `current`.
    pub fn levelled(current: &Plane, mut compensated: Plane) -> Plane {
        Self::measure(current, &compensated).level(&mut compensated);
        compensated
    }

    /// Brings a plane to the level: its samples times the gain, and the field added.
    pub fn level(&self, plane: &mut Plane) {
        let width = plane.width();
        // Where each place of the row lies between the lattice's columns; the same for all rows.
        let last = self.offsets.width() as i32 - 1;
        let places: Vec<(usize, usize, f32)> = (0..=width.div_ceil(STEP))
            .map(|k| {
                let u = ((k * STEP) as f32 + 0.5) / self.cell as f32 - 0.5;
                let low = u.floor();
                ((low as i32).clamp(0, last) as usize, (low as i32 + 1).clamp(0, last) as usize, u - low)
            })
            .collect();
        plane.as_mut_slice().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
            let v = (y as f32 + 0.5) / self.cell as f32 - 0.5;
            let low = v.floor();
            let tall = self.offsets.height() as i32 - 1;
            let (top, bottom) = (low as i32, low as i32 + 1);
            let (top, bottom) = (top.clamp(0, tall) as usize, bottom.clamp(0, tall) as usize);
            level_row(row, self.gain, &places, self.offsets.row(top), self.offsets.row(bottom), v - low);
        });
    }
}

/// The field is smooth over a cell of 32 pixels and more: straight pieces of this many are within a hundredth of a code.
const STEP: usize = 16;

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn level_row(row: &mut [f32], gain: f32, places: &[(usize, usize, f32)], top: &[f32], bottom: &[f32], down: f32) {
    let mut left = between(places[0], top, bottom, down);
    for (piece, place) in row.chunks_mut(STEP).zip(&places[1..]) {
        let right = between(*place, top, bottom, down);
        let slope = (right - left) / STEP as f32;
        if let Ok(piece) = <&mut [f32; STEP]>::try_from(&mut *piece) {
            for (i, v) in piece.iter_mut().enumerate() {
                *v = gain * *v + (left + slope * i as f32);
            }
        } else {
            for (i, v) in piece.iter_mut().enumerate() {
                *v = gain * *v + (left + slope * i as f32);
            }
        }
        left = right;
    }
}

#[allow(clippy::inline_always)]
#[inline(always)]
fn between((low, high, t): (usize, usize, f32), top: &[f32], bottom: &[f32], down: f32) -> f32 {
    (top[low] * (1.0 - t) + top[high] * t) * (1.0 - down) + (bottom[low] * (1.0 - t) + bottom[high] * t) * down
}

/// Sums are taken in this many interleaved parts, in a fixed order.
const LANES: usize = 16;

/// The level of one block; `scratch` holds its differences.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn block_level(
    (current, compensated): (&Plane, &Plane),
    gain: f32,
    x0: usize,
    y0: usize,
    cell: usize,
    scratch: &mut Vec<f32>,
) -> f32 {
    let (x1, y1) = ((x0 + cell).min(current.width()), (y0 + cell).min(current.height()));
    scratch.clear();
    for y in (y0..y1).step_by(4) {
        let (a, b) = (&current.row(y)[x0..x1], &compensated.row(y)[x0..x1]);
        scratch.extend(a.iter().zip(b).map(|(a, b)| a - gain * b));
    }
    let mut level = 0.0f32;
    // The first pass is open to a large change of exposure; the later ones shed what does not belong.
    for clip in [400.0, 2.0 * CLIP, CLIP] {
        let mut lanes = [0.0f32; LANES];
        let whole = scratch.chunks_exact(LANES);
        let rest: f32 = whole.remainder().iter().map(|d| (d - level).clamp(-clip, clip)).sum();
        for differences in whole {
            for (lane, d) in lanes.iter_mut().zip(differences) {
                *lane += (d - level).clamp(-clip, clip);
            }
        }
        level += (lanes.iter().sum::<f32>() + rest) / (scratch.len() as f32).max(1.0);
    }
    level
}

/// Levels are held against each other in means of this many pixels of a row: finer detail is where motion and sharpness differ.
const PIECE: usize = 16;
/// Levels are sorted into so many bins of this many codes.
const LEVELS: usize = 16;
const LEVEL: f32 = 64.0;
/// Fewer pieces than this in a bin say nothing about it.
const FEWEST: usize = 8;
/// No bin counts for more than this share of all pieces: a wall or a sky is one level, however large.
const LARGEST: f32 = 0.1;
/// Levels that spread by less than this many codes (standard deviation) tell no gain from an offset.
const SPREAD: f32 = 25.0;
/// A bin this many codes off the line is not of it: something moved, or was uncovered.
const ODD: f32 = 4.0;
/// Gains beyond this are no flicker.
const LARGEST_GAIN: f32 = 1.3;

/// The gain from `reference` to `current`, whose pixel `(x, y)` stands at `(x, y) + moved` there; 1 where it cannot be told.
///
/// Differences are gathered by the mean of both frames, so that noise in one does not flatten the line through them (Altman and
/// Bland, The Statistician 32(3):307-317, 1983, from memory).
pub fn gain(current: &Plane, reference: &Plane, moved: (i32, i32)) -> f32 {
    let bins = gathered(current, reference, moved);
    let all: usize = bins.iter().map(Vec::len).sum();
    let most = (LARGEST * all as f32).max(1.0);
    let levels: Vec<[f32; 3]> = bins
        .iter()
        .filter(|bin| bin.len() >= FEWEST)
        .map(|bin| {
            let mean = bin.iter().map(|(level, _)| level).sum::<f32>() / bin.len() as f32;
            [mean, middle_mean(bin), (bin.len() as f32).min(most)]
        })
        .collect();
    let Some(first) = line(&levels) else { return 1.0 };
    // Once more without what lies off the line.
    let weighed = |&[x, y, w]: &[f32; 3]| {
        let off = ((y - first.at(x)) / ODD).abs();
        [x, y, if off > 1.0 { w / (off * off) } else { w }]
    };
    let Some(line) = line(&levels.iter().map(weighed).collect::<Vec<_>>()) else { return 1.0 };
    let half = 0.5 * line.slope;
    if half.abs() < 0.5 { ((1.0 + half) / (1.0 - half)).clamp(1.0 / LARGEST_GAIN, LARGEST_GAIN) } else { 1.0 }
}

/// Mean of both frames and difference of the first from the second, of pieces of every fourth row, by level.
fn gathered(current: &Plane, reference: &Plane, (dx, dy): (i32, i32)) -> Vec<Vec<(f32, f32)>> {
    let mut bins = vec![Vec::new(); LEVELS];
    let (width, height) = (current.width() as i64, current.height() as i64);
    let (dx, dy) = (i64::from(dx), i64::from(dy));
    for y in (0..height).step_by(4) {
        let Some(there) = usize::try_from(y + dy).ok().filter(|row| *row < reference.height()) else { continue };
        let (row, there) = (current.row(y as usize), reference.row(there));
        for x in (0..=width - PIECE as i64).step_by(PIECE) {
            let Ok(start) = usize::try_from(x + dx) else { continue };
            let (Some(a), Some(b)) = (row.get(x as usize..x as usize + PIECE), there.get(start..start + PIECE)) else {
                continue;
            };
            let mean = |piece: &[f32]| piece.iter().sum::<f32>() / PIECE as f32;
            let (a, b) = (mean(a), mean(b));
            let level = 0.5 * (a + b);
            bins[((level / LEVEL) as usize).min(LEVELS - 1)].push((level, a - b));
        }
    }
    bins
}

/// The mean of a bin's differences that lie within two standard deviations of their median, which dirt and what moved do not:
/// the deviation is taken from the median one (1.4826 times it for a normal distribution).
fn middle_mean(bin: &[(f32, f32)]) -> f32 {
    let mut all: Vec<f32> = bin.iter().map(|(_, d)| *d).collect();
    let median = middle(&mut all);
    let mut apart: Vec<f32> = all.iter().map(|d| (d - median).abs()).collect();
    let reach = 2.0 * (1.4826 * middle(&mut apart)).max(0.5);
    let (sum, count) = bin
        .iter()
        .map(|(_, d)| *d)
        .filter(|d| (d - median).abs() <= reach)
        .fold((0.0f32, 0.0f32), |(s, n), d| (s + d, n + 1.0));
    sum / count.max(1.0)
}

/// A straight line.
struct Line {
    at_zero: f32,
    slope: f32,
}

impl Line {
    fn at(&self, x: f32) -> f32 {
        self.at_zero + self.slope * x
    }
}

/// The line of least squares through points with weights (x, y, weight); `None` when they spread too little.
fn line(points: &[[f32; 3]]) -> Option<Line> {
    let sum = |of: &dyn Fn(&[f32; 3]) -> f32| points.iter().map(|p| p[2] * of(p)).sum::<f32>();
    let all = sum(&|_| 1.0);
    if all <= 0.0 {
        return None;
    }
    let (mx, my) = (sum(&|p| p[0]) / all, sum(&|p| p[1]) / all);
    let spread = sum(&|p| (p[0] - mx) * (p[0] - mx)) / all;
    if spread < SPREAD * SPREAD {
        return None;
    }
    let slope = sum(&|p| (p[0] - mx) * (p[1] - my)) / all / spread;
    Some(Line { at_zero: my - slope * mx, slope })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blocks_level_is_that_of_its_definition() {
        let mut s = 11u32;
        let mut noise = |_, _| {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (s >> 24) as f32 * 0.5
        };
        let (a, b) = (Plane::from_fn(75, 50, &mut noise), Plane::from_fn(75, 50, &mut noise));
        for (x0, y0) in [(0, 0), (32, 0), (64, 32)] {
            let mut level = 0.0f64;
            for clip in [400.0, 48.0, 24.0] {
                let (mut sum, mut count) = (0.0f64, 0.0f64);
                for y in (y0..(y0 + 32).min(50)).step_by(4) {
                    for x in x0..(x0 + 32).min(75) {
                        sum += (f64::from(a.at(x, y)) - 1.02 * f64::from(b.at(x, y)) - level).clamp(-clip, clip);
                        count += 1.0;
                    }
                }
                level += sum / count;
            }
            let fast = block_level((&a, &b), 1.02, x0, y0, 32, &mut Vec::new());
            approx::assert_abs_diff_eq!(f64::from(fast), level, epsilon = 1e-3);
        }
    }

    #[test]
    fn levelling_adds_the_field() {
        let offsets = Plane::from_fn(4, 3, |x, y| (3 * x + 5 * y) as f32);
        let flicker = Flicker { gain: 1.0, cell: 32, offsets };
        let mut plane = Plane::new(117, 80);
        flicker.level(&mut plane);
        for (x, y) in [(0, 0), (16, 3), (64, 40), (112, 79), (48, 60)] {
            approx::assert_abs_diff_eq!(plane.at(x, y), flicker.at(x as f32, y as f32), epsilon = 1e-3);
        }
        for (x, y) in [(7, 9), (93, 50), (116, 79)] {
            approx::assert_abs_diff_eq!(plane.at(x, y), flicker.at(x as f32, y as f32), epsilon = 0.8);
        }
    }
}
