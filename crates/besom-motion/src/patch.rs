//! One patch of 8x8 samples: its match by inverse-compositional least squares.
//!
//! The patch search follows Kroeger, Timofte, Dai and Van Gool, "Fast optical flow using dense inverse search" (ECCV 2016,
//! arXiv 1603.03590, section 2.1; Baker and Matthews 2004 for the inverse composition), with differences clipped so that
//! dirt, grain and the other side of a motion edge count little.

// Inner loops are inlined into the callers that are compiled for several processor levels.
#![allow(clippy::inline_always)]
// Loops over the lanes of several arrays at once, as the processor does them.
#![allow(clippy::needless_range_loop)]

use crate::Vector;
use crate::order::{least, most};
use crate::pyramid::{Level, MARGIN};

/// Side of a patch in samples.
pub(crate) const SIDE: usize = 8;
const AREA: usize = SIDE * SIDE;
/// Cells of 2x2 samples in a patch.
pub(crate) const CELLS: usize = AREA / 4;

/// One row of a patch: what the loops below put into one register.
type Row = [f32; SIDE];
/// Current minus reference, sample by sample.
pub(crate) type Differences = [Row; SIDE];

/// A patch of the current frame with all that a search needs.
pub(crate) struct Template {
    samples: [Row; SIDE],
    gradient_x: [Row; SIDE],
    gradient_y: [Row; SIDE],
    inverse: [f32; 3],
    /// Structure tensor `[xx, xy, yy]`: sums of products of the gradients less their means, and less what grain makes of a
    /// flat patch. What the patch has to hold on to in each direction.
    pub(crate) tensor: [f32; 3],
    x: f32,
    y: f32,
}

/// What a displacement leaves: mean absolute difference after levelling, and the level.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Residue {
    /// Mean absolute clipped difference in codes.
    pub(crate) error: f32,
    /// Current minus reference, mean in codes.
    pub(crate) level: f32,
}

/// Steps shorter than this many samples end a search.
const LEAST_STEP: f32 = 0.01;

/// Differences beyond this many codes count as this many: a patch half covered by dirt is still found by the other half.
const CLIP: f32 = 60.0;

impl Template {
    /// The patch whose top left sample is `(x, y)` of `level`; `grain` is the mean squared gradient that grain alone makes there.
    #[inline(always)]
    pub(crate) fn new(level: &Level, x: usize, y: usize, grain: f32) -> Self {
        let plane = level.padded();
        let mut t = Self {
            samples: [[0.0; SIDE]; SIDE],
            gradient_x: [[0.0; SIDE]; SIDE],
            gradient_y: [[0.0; SIDE]; SIDE],
            inverse: [0.0; 3],
            tensor: [0.0; 3],
            x: x as f32,
            y: y as f32,
        };
        let stride = plane.width();
        let start = (y + MARGIN - 1) * stride + x + MARGIN - 1;
        let all = &plane.as_slice()[start..start + (SIDE + 1) * stride + SIDE + 2];
        for j in 0..SIDE {
            let up = &all[j * stride..j * stride + SIDE + 2];
            let row = &all[(j + 1) * stride..(j + 1) * stride + SIDE + 2];
            let down = &all[(j + 2) * stride..(j + 2) * stride + SIDE + 2];
            for i in 0..SIDE {
                t.samples[j][i] = row[i + 1];
                t.gradient_x[j][i] = 0.5 * (row[i + 2] - row[i]);
                t.gradient_y[j][i] = 0.5 * (down[i + 1] - up[i + 1]);
            }
        }
        // The level is estimated with the motion: gradients are taken against their mean.
        let (mean_x, mean_y) = (sum(&t.gradient_x) / AREA as f32, sum(&t.gradient_y) / AREA as f32);
        let (mut xx, mut xy, mut yy) = ([0.0f32; SIDE], [0.0f32; SIDE], [0.0f32; SIDE]);
        for j in 0..SIDE {
            for i in 0..SIDE {
                let (gx, gy) = (t.gradient_x[j][i] - mean_x, t.gradient_y[j][i] - mean_y);
                (t.gradient_x[j][i], t.gradient_y[j][i]) = (gx, gy);
                xx[i] += gx * gx;
                xy[i] += gx * gy;
                yy[i] += gy * gy;
            }
        }
        let (xx, xy, yy) = (across(xx), across(xy), across(yy));
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

    /// What is left at a displacement, and the differences themselves.
    #[inline(always)]
    pub(crate) fn residue(&self, level: &Level, v: Vector) -> (Residue, Differences) {
        let differences = differences(&self.samples, level, self.x + v.dx, self.y + v.dy);
        let mean = sum(&differences) / AREA as f32;
        (Residue { error: clipped_deviation(&differences, mean) / AREA as f32, level: mean }, differences)
    }

    /// Up to `steps` least-squares steps from `start`, whose residue and differences are known; the result is never
    /// farther than a patch from where it began and never worse.
    #[inline(always)]
    pub(crate) fn refine(
        &self,
        level: &Level,
        start: Vector,
        (before, mut differences): (Residue, Differences),
        steps: usize,
    ) -> (Vector, Residue) {
        let (mut best, mut best_residue) = (start, before);
        let (mut v, mut mean) = (start, before.level);
        for _ in 0..steps {
            let limit = (2.5 * best_residue.error).max(4.0);
            let (mut bx, mut by) = ([0.0f32; SIDE], [0.0f32; SIDE]);
            for j in 0..SIDE {
                for i in 0..SIDE {
                    let rest = least(most(differences[j][i] - mean, -limit), limit);
                    bx[i] += self.gradient_x[j][i] * rest;
                    by[i] += self.gradient_y[j][i] * rest;
                }
            }
            let (bx, by) = (across(bx), across(by));
            let (sx, sy) = (self.inverse[0] * bx + self.inverse[1] * by, self.inverse[1] * bx + self.inverse[2] * by);
            // A step that is too small to see is not worth another look.
            if sx * sx + sy * sy < LEAST_STEP * LEAST_STEP {
                break;
            }
            v = Vector::new(v.dx + sx, v.dy + sy);
            // Written so that a vector that is not a number stops the search too.
            if v.distance(start).partial_cmp(&(SIDE as f32)) != Some(std::cmp::Ordering::Less) {
                break;
            }
            let residue;
            (residue, differences) = self.residue(level, v);
            mean = residue.level;
            if residue.error < best_residue.error {
                (best, best_residue) = (v, residue);
            }
        }
        (best, best_residue)
    }
}

/// Samples minus the reference patch at `(x, y)`, bilinear between samples; places beyond the margin are held at it.
#[inline(always)]
fn differences(samples: &[Row; SIDE], level: &Level, x: f32, y: f32) -> Differences {
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
    let mut out = [[0.0; SIDE]; SIDE];
    for j in 0..SIDE {
        let top = &all[j * stride..=j * stride + SIDE];
        let low = &all[(j + 1) * stride..=(j + 1) * stride + SIDE];
        for i in 0..SIDE {
            out[j][i] = samples[j][i] - (a * top[i] + b * top[i + 1] + c * low[i] + d * low[i + 1]);
        }
    }
    out
}

/// Mean absolute clipped difference in each cell of 2x2 samples of the patch at `(x, y)` displaced by `v`, after
/// levelling, row by row.
#[inline(always)]
pub(crate) fn cells(current: &Level, x: usize, y: usize, reference: &Level, v: Vector) -> [f32; CELLS] {
    let mut samples = [[0.0; SIDE]; SIDE];
    for (j, out) in samples.iter_mut().enumerate() {
        out.copy_from_slice(&current.padded().row(y + MARGIN + j)[x + MARGIN..x + MARGIN + SIDE]);
    }
    let differences = differences(&samples, reference, x as f32 + v.dx, y as f32 + v.dy);
    let mean = sum(&differences) / AREA as f32;
    let mut cells = [0.0; CELLS];
    for j in 0..SIDE / 2 {
        let mut pairs = [0.0f32; SIDE];
        for i in 0..SIDE {
            pairs[i] = least((differences[2 * j][i] - mean).abs(), CLIP)
                + least((differences[2 * j + 1][i] - mean).abs(), CLIP);
        }
        for i in 0..SIDE / 2 {
            cells[j * SIDE / 2 + i] = 0.25 * (pairs[2 * i] + pairs[2 * i + 1]);
        }
    }
    cells
}

#[inline(always)]
fn sum(rows: &[Row; SIDE]) -> f32 {
    let mut lanes = [0.0f32; SIDE];
    for row in rows {
        for i in 0..SIDE {
            lanes[i] += row[i];
        }
    }
    across(lanes)
}

#[inline(always)]
fn clipped_deviation(rows: &[Row; SIDE], mean: f32) -> f32 {
    let mut lanes = [0.0f32; SIDE];
    for row in rows {
        for i in 0..SIDE {
            lanes[i] += least((row[i] - mean).abs(), CLIP);
        }
    }
    across(lanes)
}

/// The sum of a register, by halves: three additions deep instead of seven.
///
/// The black box keeps the compiler from tearing the sums before it into pairs to suit these few additions; it has no
/// say in the result.
#[inline(always)]
fn across(lanes: Row) -> f32 {
    let l = std::hint::black_box(lanes);
    ((l[0] + l[4]) + (l[2] + l[6])) + ((l[1] + l[5]) + (l[3] + l[7]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pyramid::Pyramid;
    use besom_scan::Plane;

    fn frame(seed: u32) -> Pyramid {
        let mut s = seed;
        Pyramid::new(&Plane::from_fn(60, 50, |x, y| {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            300.0 + 90.0 * (x as f32 * 0.3).sin() + 60.0 * (y as f32 * 0.4).cos() + (s >> 26) as f32
        }))
    }

    /// Differences after levelling by their definition: bilinear reading of the repeated border, in double precision.
    fn plain(a: &Pyramid, b: &Pyramid, x: usize, y: usize, v: Vector) -> (f64, Vec<f64>) {
        let at =
            |level: &Level, x: i32, y: i32| f64::from(level.padded().clamped(x + MARGIN as i32, y + MARGIN as i32));
        let (a, b) = (&a.levels()[0], &b.levels()[0]);
        let mut differences = Vec::new();
        for j in 0..SIDE {
            for i in 0..SIDE {
                let (px, py) = (f64::from(x as f32 + v.dx) + i as f64, f64::from(y as f32 + v.dy) + j as f64);
                let (fx, fy) = (px.floor() as i32, py.floor() as i32);
                let (tx, ty) = (px - px.floor(), py - py.floor());
                let top = at(b, fx, fy) * (1.0 - tx) + at(b, fx + 1, fy) * tx;
                let low = at(b, fx, fy + 1) * (1.0 - tx) + at(b, fx + 1, fy + 1) * tx;
                differences.push(at(a, (x + i) as i32, (y + j) as i32) - top * (1.0 - ty) - low * ty);
            }
        }
        let mean = differences.iter().sum::<f64>() / 64.0;
        (mean, differences.iter().map(|d| (d - mean).abs().min(f64::from(CLIP))).collect())
    }

    #[test]
    fn what_a_displacement_leaves_is_what_its_definition_says() {
        let (a, b) = (frame(3), frame(4));
        for (x, y) in [(0, 0), (20, 17), (52, 42)] {
            let template = Template::new(&a.levels()[0], x, y, 2.0);
            for v in [Vector::default(), Vector::new(2.25, -3.5), Vector::new(-6.1, 4.8)] {
                let (mean, left) = plain(&a, &b, x, y, v);
                let (residue, _) = template.residue(&b.levels()[0], v);
                approx::assert_abs_diff_eq!(f64::from(residue.level), mean, epsilon = 1e-2);
                approx::assert_abs_diff_eq!(f64::from(residue.error), left.iter().sum::<f64>() / 64.0, epsilon = 1e-2);
                let cells = cells(&a.levels()[0], x, y, &b.levels()[0], v);
                for (k, cell) in cells.iter().enumerate() {
                    let at = (k / 4) * 2 * SIDE + (k % 4) * 2;
                    let expected = 0.25 * (left[at] + left[at + 1] + left[at + SIDE] + left[at + SIDE + 1]);
                    approx::assert_abs_diff_eq!(f64::from(*cell), expected, epsilon = 1e-2);
                }
            }
        }
    }

    #[test]
    fn refining_never_leaves_more_than_it_began_with() {
        let (a, b) = (frame(5), frame(6));
        for (x, y) in [(0, 0), (12, 9), (31, 28), (52, 42)] {
            let template = Template::new(&a.levels()[0], x, y, 2.0);
            for start in [Vector::default(), Vector::new(1.5, -2.0)] {
                let before = template.residue(&b.levels()[0], start);
                let (v, after) = template.refine(&b.levels()[0], start, before, 5);
                assert!(after.error <= before.0.error);
                assert!(v.distance(start) < SIDE as f32);
                assert_eq!(template.residue(&b.levels()[0], v).0.error, after.error);
            }
        }
    }
}
