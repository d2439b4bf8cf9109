//! Flicker: the slow change of level between frames, as a smooth field of offsets.
//!
//! An additive field on log or gamma codes is a multiplicative one in light, which is how lamps, ageing and printing
//! change a picture (van Roosmalen, Lagendijk and Biemond, IEEE TCSVT 9(7), 1999, use gain and offset; on log codes the gain
//! is the offset). It is used for the comparison only; no picture is changed by it.

use besom_scan::Plane;

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
    /// (at least 32 pixels), with large differences clipped, and smooths it over the neighbouring blocks.
    pub fn measure(current: &Plane, compensated: &Plane) -> Self {
        let cell = (current.width() / 16).max(32);
        let (columns, rows) = (current.width().div_ceil(cell), current.height().div_ceil(cell));
        let raw = Plane::from_fn(columns, rows, |c, r| block_level(current, compensated, c * cell, r * cell, cell));
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

    /// Adds the field to a plane.
    pub fn level(&self, plane: &mut Plane) {
        use rayon::prelude::*;
        const STEP: usize = 16;
        let width = plane.width();
        plane.as_mut_slice().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
            // The field is smooth over `cell` pixels: straight pieces of 16 are within a hundredth of a code.
            let mut left = self.at(0.0, y as f32);
            for (k, piece) in row.chunks_mut(STEP).enumerate() {
                let right = self.at(((k + 1) * STEP) as f32, y as f32);
                let slope = (right - left) / STEP as f32;
                for (i, v) in piece.iter_mut().enumerate() {
                    *v += left + slope * i as f32;
                }
                left = right;
            }
        });
    }
}

fn block_level(current: &Plane, compensated: &Plane, x0: usize, y0: usize, cell: usize) -> f32 {
    let (x1, y1) = ((x0 + cell).min(current.width()), (y0 + cell).min(current.height()));
    let mut level = 0.0f32;
    // The first pass is open to a large change of exposure; the later ones shed what does not belong.
    for clip in [400.0, 2.0 * CLIP, CLIP] {
        let (mut sum, mut count) = (0.0f32, 0.0f32);
        for y in (y0..y1).step_by(2) {
            let (a, b) = (&current.row(y)[x0..x1], &compensated.row(y)[x0..x1]);
            for (a, b) in a.iter().zip(b).step_by(2) {
                sum += (a - b - level).clamp(-clip, clip);
                count += 1.0;
            }
        }
        level += sum / count.max(1.0);
    }
    level
}
