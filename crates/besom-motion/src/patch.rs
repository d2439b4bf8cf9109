//! One patch of 8x8 samples: its match by inverse-compositional least squares.
//!
//! The patch search follows Kroeger, Timofte, Dai and Van Gool, "Fast optical flow using dense inverse search" (ECCV 2016,
//! arXiv 1603.03590, section 2.1; Baker and Matthews 2004 for the inverse composition), with differences clipped so that
//! dirt, grain and the other side of a motion edge count little.

// Inner loops are inlined into the callers that are compiled for several processor levels.
#![allow(clippy::inline_always)]

use crate::Vector;
use crate::pyramid::{Level, MARGIN};

/// Side of a patch in samples.
pub const SIDE: usize = 8;
const AREA: usize = SIDE * SIDE;
/// Cells of 2x2 samples in a patch.
pub const CELLS: usize = AREA / 4;

/// A patch of the current frame with all that a search needs.
pub struct Template {
    samples: [f32; AREA],
    gradient_x: [f32; AREA],
    gradient_y: [f32; AREA],
    inverse: [f32; 3],
    /// Structure tensor `[xx, xy, yy]`: sums of products of the gradients less their means, and less what grain makes of a
    /// flat patch. What the patch has to hold on to in each direction.
    pub tensor: [f32; 3],
    x: f32,
    y: f32,
}

/// What a displacement leaves: mean absolute difference after levelling, and the level.
#[derive(Clone, Copy, Debug)]
pub struct Residue {
    /// Mean absolute clipped difference in codes.
    pub error: f32,
    /// Current minus reference, mean in codes.
    pub level: f32,
}

/// Differences beyond this many codes count as this many: a patch half covered by dirt is still found by the other half.
const CLIP: f32 = 60.0;

impl Template {
    /// The patch whose top left sample is `(x, y)` of `level`; `grain` is the mean squared gradient that grain alone makes there.
    #[inline(always)]
    pub fn new(level: &Level, x: usize, y: usize, grain: f32) -> Self {
        let plane = level.padded();
        let mut t = Self {
            samples: [0.0; AREA],
            gradient_x: [0.0; AREA],
            gradient_y: [0.0; AREA],
            inverse: [0.0; 3],
            tensor: [0.0; 3],
            x: x as f32,
            y: y as f32,
        };
        let (px, py) = (x + MARGIN, y + MARGIN);
        for j in 0..SIDE {
            let (up, row, down) = (plane.row(py + j - 1), plane.row(py + j), plane.row(py + j + 1));
            let (up, row, down) = (&up[px..px + SIDE], &row[px - 1..=px + SIDE], &down[px..px + SIDE]);
            for i in 0..SIDE {
                t.samples[j * SIDE + i] = row[i + 1];
                t.gradient_x[j * SIDE + i] = 0.5 * (row[i + 2] - row[i]);
                t.gradient_y[j * SIDE + i] = 0.5 * (down[i] - up[i]);
            }
        }
        // The level is estimated with the motion: gradients are taken against their mean.
        let (mean_x, mean_y) = (lane_sum(&t.gradient_x) / AREA as f32, lane_sum(&t.gradient_y) / AREA as f32);
        let (mut xx, mut xy, mut yy) = ([0.0f32; SIDE], [0.0f32; SIDE], [0.0f32; SIDE]);
        for j in 0..SIDE {
            for i in 0..SIDE {
                let k = j * SIDE + i;
                let (gx, gy) = (t.gradient_x[k] - mean_x, t.gradient_y[k] - mean_y);
                (t.gradient_x[k], t.gradient_y[k]) = (gx, gy);
                xx[i] += gx * gx;
                xy[i] += gx * gy;
                yy[i] += gy * gy;
            }
        }
        let (xx, xy, yy) = (xx.iter().sum::<f32>(), xy.iter().sum::<f32>(), yy.iter().sum::<f32>());
        // What grain alone would make of a flat patch is no structure to hold on to.
        let (floor, noise) = (0.5 * AREA as f32, grain * AREA as f32);
        t.tensor = [(xx - noise).max(floor), xy, (yy - noise).max(floor)];
        if xy * xy > 0.98 * t.tensor[0] * t.tensor[2] {
            t.tensor[1] = xy.signum() * (0.98 * t.tensor[0] * t.tensor[2]).sqrt();
        }
        // Damping holds flat patches, and the flat direction of an edge, at their start.
        let damping = floor + noise;
        let (xx, yy) = (xx + damping, yy + damping);
        let det = xx * yy - xy * xy;
        t.inverse = [yy / det, -xy / det, xx / det];
        t
    }

    #[inline(always)]
    fn differences(&self, level: &Level, v: Vector) -> [f32; AREA] {
        differences(&self.samples, level, self.x + v.dx, self.y + v.dy)
    }

    /// What is left at a displacement.
    #[inline(always)]
    pub fn residue(&self, level: &Level, v: Vector) -> Residue {
        let differences = self.differences(level, v);
        let mean = lane_sum(&differences) / AREA as f32;
        Residue { error: clipped_deviation(&differences, mean) / AREA as f32, level: mean }
    }

    /// Up to `steps` least-squares steps from `start`; the result is never farther than a patch from where it began and
    /// never worse.
    #[inline(always)]
    pub fn refine(&self, level: &Level, start: Vector, before: Residue, steps: usize) -> (Vector, Residue) {
        let (mut best, mut best_residue) = (start, before);
        let mut v = start;
        let mut differences = self.differences(level, v);
        let mut mean = before.level;
        for _ in 0..steps {
            let limit = (2.5 * best_residue.error).max(4.0);
            let (mut bx, mut by) = ([0.0f32; SIDE], [0.0f32; SIDE]);
            for j in 0..SIDE {
                for i in 0..SIDE {
                    let k = j * SIDE + i;
                    let rest = (differences[k] - mean).clamp(-limit, limit);
                    bx[i] += self.gradient_x[k] * rest;
                    by[i] += self.gradient_y[k] * rest;
                }
            }
            let (bx, by) = (bx.iter().sum::<f32>(), by.iter().sum::<f32>());
            let (sx, sy) = (self.inverse[0] * bx + self.inverse[1] * by, self.inverse[1] * bx + self.inverse[2] * by);
            v = Vector::new(v.dx + sx, v.dy + sy);
            // Written so that a vector that is not a number stops the search too.
            if v.distance(start).partial_cmp(&(SIDE as f32)) != Some(std::cmp::Ordering::Less) {
                break;
            }
            differences = self.differences(level, v);
            mean = lane_sum(&differences) / AREA as f32;
            let residue = Residue { error: clipped_deviation(&differences, mean) / AREA as f32, level: mean };
            if residue.error < best_residue.error {
                (best, best_residue) = (v, residue);
            }
            if sx * sx + sy * sy < 1e-4 {
                break;
            }
        }
        (best, best_residue)
    }
}

/// Samples minus the reference patch at `(x, y)`, bilinear between samples; places beyond the margin are held at it.
#[inline(always)]
fn differences(samples: &[f32; AREA], level: &Level, x: f32, y: f32) -> [f32; AREA] {
    let low = 1.0 - MARGIN as f32;
    let x = x.clamp(low, (level.width() + MARGIN - SIDE - 2) as f32) + MARGIN as f32;
    let y = y.clamp(low, (level.height() + MARGIN - SIDE - 2) as f32) + MARGIN as f32;
    let (fx, fy) = (x.floor(), y.floor());
    let (tx, ty) = (x - fx, y - fy);
    let (a, b, c, d) = ((1.0 - tx) * (1.0 - ty), tx * (1.0 - ty), (1.0 - tx) * ty, tx * ty);
    let plane = level.padded();
    let stride = plane.width();
    let start = fy as usize * stride + fx as usize;
    let all = &plane.as_slice()[start..=start + SIDE * stride + SIDE];
    let mut out = [0.0; AREA];
    for j in 0..SIDE {
        let top = &all[j * stride..=j * stride + SIDE];
        let low = &all[(j + 1) * stride..=(j + 1) * stride + SIDE];
        for i in 0..SIDE {
            out[j * SIDE + i] = samples[j * SIDE + i] - (a * top[i] + b * top[i + 1] + c * low[i] + d * low[i + 1]);
        }
    }
    out
}

/// Mean absolute clipped difference in each cell of 2x2 samples of the patch at `(x, y)` displaced by `v`, after
/// levelling, row by row.
#[multiversion::multiversion(targets("x86_64+avx2"))]
pub fn cells(current: &Level, x: usize, y: usize, reference: &Level, v: Vector) -> [f32; CELLS] {
    let mut samples = [0.0; AREA];
    for (j, out) in samples.chunks_exact_mut(SIDE).enumerate() {
        out.copy_from_slice(&current.padded().row(y + MARGIN + j)[x + MARGIN..x + MARGIN + SIDE]);
    }
    let differences = differences(&samples, reference, x as f32 + v.dx, y as f32 + v.dy);
    let mean = lane_sum(&differences) / AREA as f32;
    let part = |k: usize| (differences[k] - mean).abs().min(CLIP);
    std::array::from_fn(|cell| {
        let at = (cell / 4) * 2 * SIDE + (cell % 4) * 2;
        0.25 * (part(at) + part(at + 1) + part(at + SIDE) + part(at + SIDE + 1))
    })
}

#[inline(always)]
fn lane_sum(values: &[f32; AREA]) -> f32 {
    let mut lanes = [0.0f32; SIDE];
    for row in values.chunks_exact(SIDE) {
        for (lane, v) in lanes.iter_mut().zip(row) {
            *lane += v;
        }
    }
    lanes.iter().sum()
}

#[inline(always)]
fn clipped_deviation(values: &[f32; AREA], mean: f32) -> f32 {
    let mut lanes = [0.0f32; SIDE];
    for row in values.chunks_exact(SIDE) {
        for (lane, v) in lanes.iter_mut().zip(row) {
            *lane += (v - mean).abs().min(CLIP);
        }
    }
    lanes.iter().sum()
}
