//! Flicker: the slow change of level between frames, as a smooth field of offsets.
//!
//! An additive field on log or gamma codes is a multiplicative one in light, which is how lamps, ageing and printing
//! change a picture (van Roosmalen, Lagendijk and Biemond, IEEE TCSVT 9(7), 1999, use gain and offset; on log codes the gain
//! is the offset). It is used for the comparison only; no picture is changed by it.

use besom_scan::Plane;
use rayon::prelude::*;

/// Offsets on a coarse lattice, read bilinearly.
#[derive(Clone, Debug, PartialEq)]
pub struct Flicker {
    cell: usize,
    offsets: Plane,
}

/// Differences beyond this many codes from the block's present level are dirt or motion, not flicker.
const CLIP: f32 = 24.0;

impl Flicker {
    /// No change of level.
    pub fn none() -> Self {
        Self { cell: 1 << 20, offsets: Plane::new(1, 1) }
    }

    /// Measures the level of `current` against the compensated reference in blocks of about 1/16 of the frame's width
    /// (at least 32 pixels), with large differences clipped, and smooths it over the neighbouring blocks. Every fourth row
    /// is read.
    pub fn measure(current: &Plane, compensated: &Plane) -> Self {
        let cell = (current.width() / 16).max(32);
        let (columns, rows) = (current.width().div_ceil(cell), current.height().div_ceil(cell));
        let mut raw = Plane::new(columns, rows);
        raw.as_mut_slice().par_chunks_mut(columns).enumerate().for_each(|(r, line)| {
            let mut scratch = Vec::new();
            for (c, out) in line.iter_mut().enumerate() {
                *out = block_level(current, compensated, c * cell, r * cell, cell, &mut scratch);
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
        Self { cell, offsets }
    }

    /// Codes to add to the reference at a scan position.
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

    /// Adds the field to a plane.
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
            level_row(row, &places, self.offsets.row(top), self.offsets.row(bottom), v - low);
        });
    }
}

/// The field is smooth over a cell of 32 pixels and more: straight pieces of this many are within a hundredth of a code.
const STEP: usize = 16;

#[multiversion::multiversion(targets("x86_64+avx2"))]
fn level_row(row: &mut [f32], places: &[(usize, usize, f32)], top: &[f32], bottom: &[f32], down: f32) {
    let mut left = between(places[0], top, bottom, down);
    for (piece, place) in row.chunks_mut(STEP).zip(&places[1..]) {
        let right = between(*place, top, bottom, down);
        let slope = (right - left) / STEP as f32;
        if let Ok(piece) = <&mut [f32; STEP]>::try_from(&mut *piece) {
            for (i, v) in piece.iter_mut().enumerate() {
                *v += left + slope * i as f32;
            }
        } else {
            for (i, v) in piece.iter_mut().enumerate() {
                *v += left + slope * i as f32;
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
#[multiversion::multiversion(targets("x86_64+avx2"))]
fn block_level(current: &Plane, compensated: &Plane, x0: usize, y0: usize, cell: usize, scratch: &mut Vec<f32>) -> f32 {
    let (x1, y1) = ((x0 + cell).min(current.width()), (y0 + cell).min(current.height()));
    scratch.clear();
    for y in (y0..y1).step_by(4) {
        let (a, b) = (&current.row(y)[x0..x1], &compensated.row(y)[x0..x1]);
        scratch.extend(a.iter().zip(b).map(|(a, b)| a - b));
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
                        sum += (f64::from(a.at(x, y)) - f64::from(b.at(x, y)) - level).clamp(-clip, clip);
                        count += 1.0;
                    }
                }
                level += sum / count;
            }
            let fast = block_level(&a, &b, x0, y0, 32, &mut Vec::new());
            approx::assert_abs_diff_eq!(f64::from(fast), level, epsilon = 1e-3);
        }
    }

    #[test]
    fn levelling_adds_the_field() {
        let offsets = Plane::from_fn(4, 3, |x, y| (3 * x + 5 * y) as f32);
        let flicker = Flicker { cell: 32, offsets };
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
