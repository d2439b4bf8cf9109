//! Motion of a small area whose middle is not to be trusted: estimated from the pixels around a hole.
//!
//! The detector asks "does the neighbour, well aligned on the surroundings, really lack this mark?"; the repair asks
//! "which part of the neighbour belongs in this hole?". Both must not let the hole itself steer the answer.

// Loops over the lanes of several arrays at once, as the processor does them.
#![allow(clippy::needless_range_loop)]

use besom_scan::{Plane, Rect};

use crate::Vector;
use crate::interpolate::{cubic_weights, sample, sample_with_gradient};

/// How an area around a hole was found in a reference frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LocalMatch {
    /// Where the area stands in the reference.
    pub vector: Vector,
    /// Codes to add to the reference, times [`Search::gain`], so that its level is the current frame's.
    pub offset: f32,
    /// Mean absolute difference on the trusted pixels after alignment and levelling, in codes; infinite when there were
    /// fewer than [`FEWEST_PIXELS`].
    pub error: f32,
    /// Trusted pixels that were compared.
    pub pixels: usize,
}

/// With fewer trusted pixels than this an alignment says nothing.
pub const FEWEST_PIXELS: usize = 12;

/// How an area is looked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Search {
    /// Whole pixels around the start that are tried, along each axis.
    pub radius: i32,
    /// More trusted pixels than this add time, not accuracy: the window is then read on a coarser lattice.
    pub most_pixels: usize,
    /// A start that leaves no more than this many codes (mean absolute difference) is refined without a search.
    pub content: f32,
    /// What the reference's codes are multiplied by to be of the current frame's range ([`crate::flicker::gain`]).
    pub gain: f32,
}

impl Search {
    /// A search within `radius` pixels with the care that a repair deserves.
    pub const fn careful(radius: i32) -> Self {
        Self { radius, most_pixels: 640, content: 0.0, gain: 1.0 }
    }
}
/// Gauss-Newton steps after the whole-pixel search; the third changes the vector by under 0.02 pixel on film grain.
const STEPS: usize = 3;

/// The trusted pixels of a window, row by row: where they lie, and what is there, in the reference's codes.
struct Rim {
    x: Vec<i32>,
    y: Vec<i32>,
    values: Vec<f32>,
    /// All of them lie inside it.
    bounds: Rect,
    /// Those of a row stand a multiple of so many columns apart.
    step: usize,
}

impl Rim {
    fn gather(current: &Plane, skip: &Plane<u8>, window: Rect, most: usize, gain: f32) -> Self {
        let unit = 1.0 / gain;
        let r = window.intersect(&current.rect());
        let mut step = 1;
        while r.area() / (step * step) > most.max(FEWEST_PIXELS) {
            step += 1;
        }
        let room = r.area() / (step * step) + 1;
        let (mut xs, mut ys, mut values) =
            (Vec::with_capacity(room), Vec::with_capacity(room), Vec::with_capacity(room));
        for y in (r.y0..r.y1).step_by(step) {
            let (row, hidden) = (current.row(y as usize), skip.row(y as usize));
            // Alternate rows start half a step later so that the lattice does not fall in with vertical structure.
            let shift = if step > 1 && (y / step as i32) % 2 == 1 { step as i32 / 2 } else { 0 };
            for x in (r.x0 + shift..r.x1).step_by(step) {
                if hidden[x as usize] == 0 {
                    xs.push(x);
                    ys.push(y);
                    values.push(unit * row[x as usize]);
                }
            }
        }
        Self { x: xs, y: ys, values, bounds: r, step }
    }

    fn len(&self) -> usize {
        self.values.len()
    }

    fn pixels(&self) -> impl Iterator<Item = (i32, i32, f32)> + '_ {
        self.x.iter().zip(&self.y).zip(&self.values).map(|((x, y), value)| (*x, *y, *value))
    }

    /// Mean absolute difference after the mean difference is taken away, at a whole-pixel displacement.
    fn cost(
        &self,
        reference: &Plane,
        skip: Option<&Plane<u8>>,
        dx: i32,
        dy: i32,
        scratch: &mut Vec<f32>,
    ) -> (f32, f32) {
        scratch.clear();
        let mut sum = 0.0;
        for (x, y, value) in self.pixels() {
            let (rx, ry) = (x + dx, y + dy);
            if let (Some(other), true) = (reference.get(rx, ry), trusted(skip, rx, ry)) {
                scratch.push(value - other);
                sum += value - other;
            }
        }
        mean_deviation(scratch, sum)
    }

    /// [`Rim::cost`] at every whole-pixel displacement within `radius` of `(sx, sy)`, row by row; none when a pixel so
    /// displaced may lie outside, or too few are trusted.
    fn costs(&self, reference: &Plane, (sx, sy): (i32, i32), radius: i32) -> Option<Vec<(f32, f32)>> {
        let (width, height) = (reference.width() as i64, reference.height() as i64);
        let (r, b, [sx, sy]) = (i64::from(radius), &self.bounds, [i64::from(sx), i64::from(sy)]);
        let side = usize::try_from(2 * radius + 1).ok()?;
        let least = (i64::from(b.x0) + sx - r, i64::from(b.y0) + sy - r);
        // The last samples of a row are read with those beyond it.
        let last = (i64::from(b.x1) - 1 + sx - r + (side.next_multiple_of(LANES)) as i64, i64::from(b.y1) - 1 + sy + r);
        if self.len() < FEWEST_PIXELS || least.0 < 0 || least.1 < 0 || last.0 > width || last.1 >= height {
            return None;
        }
        let mut found = vec![(0.0, 0.0); side * side];
        for top in (0..side).step_by(ROWS) {
            for left in (0..side).step_by(LANES) {
                // Where there are fewer rows left the last one is looked at again.
                let rows: [usize; ROWS] = std::array::from_fn(|k| (top + k).min(side - 1));
                let shifts = rows.map(|row| (sy - r + row as i64) * width + sx - r + left as i64);
                let (costs, means) = costs_beside(self, reference, shifts);
                for (row, (costs, means)) in rows.into_iter().zip(costs.into_iter().zip(means)) {
                    let places = found[row * side + left..(row + 1) * side].iter_mut();
                    places.zip(costs.into_iter().zip(means)).for_each(|(place, cost)| *place = cost);
                }
            }
        }
        Some(found)
    }

    /// Whether every pixel moved by `v` lies so far inside that all samples around it are there.
    fn well_inside(&self, reference: &Plane, v: Vector) -> bool {
        let b = &self.bounds;
        b.x0 as f32 + v.dx >= 1.0
            && b.y0 as f32 + v.dy >= 1.0
            && (b.x1 - 1) as f32 + v.dx < reference.width() as f32 - 2.0
            && (b.y1 - 1) as f32 + v.dy < reference.height() as f32 - 2.0
    }

    /// The same between pixels, by cubic interpolation.
    fn fine_cost(&self, reference: &Plane, skip: Option<&Plane<u8>>, v: Vector, scratch: &mut Vec<f32>) -> (f32, f32) {
        scratch.clear();
        if skip.is_none() && self.well_inside(reference, v) {
            let sum = differences_inside(self, reference, v, scratch);
            return mean_deviation(scratch, sum);
        }
        let mut sum = 0.0;
        for (x, y, value) in self.pixels() {
            let (rx, ry) = (x as f32 + v.dx, y as f32 + v.dy);
            if inside(reference, rx, ry) && trusted(skip, rx.round() as i32, ry.round() as i32) {
                let difference = value - sample(reference, rx, ry);
                scratch.push(difference);
                sum += difference;
            }
        }
        mean_deviation(scratch, sum)
    }

    /// One Gauss-Newton step for displacement and level, with Huber weights so that another layer's pixels count little.
    fn refine(
        &self,
        reference: &Plane,
        skip: Option<&Plane<u8>>,
        v: Vector,
        offset: f32,
        scale: f32,
    ) -> Option<Vector> {
        let limit = 1.5 * scale.max(1.0);
        let (mut a, b) = if skip.is_none() && self.well_inside(reference, v) {
            normal_equations_inside(self, reference, v, offset, limit)
        } else {
            self.normal_equations(reference, skip, v, offset, limit)
        };
        // Flat areas leave the vector where it is: the damping is worth one code of gradient on every pixel.
        let damping = self.len() as f32;
        a[0][0] += damping;
        a[1][1] += damping;
        solve(a, b).map(|s| Vector::new(v.dx + s[0].clamp(-0.75, 0.75), v.dy + s[1].clamp(-0.75, 0.75)))
    }

    /// Sums over the pixels of their weighted gradients' products with each other and with what is left of the difference.
    fn normal_equations(
        &self,
        reference: &Plane,
        skip: Option<&Plane<u8>>,
        v: Vector,
        offset: f32,
        limit: f32,
    ) -> ([[f32; 3]; 3], [f32; 3]) {
        let mut a = [[0.0f32; 3]; 3];
        let mut b = [0.0f32; 3];
        for (x, y, value) in self.pixels() {
            let (rx, ry) = (x as f32 + v.dx, y as f32 + v.dy);
            if !inside(reference, rx, ry) || !trusted(skip, rx.round() as i32, ry.round() as i32) {
                continue;
            }
            let (other, gx, gy) = sample_with_gradient(reference, rx, ry);
            let rest = value - other - offset;
            let weight = if rest.abs() <= limit { 1.0 } else { limit / rest.abs() };
            let row = [gx, gy, 1.0];
            for i in 0..3 {
                for j in 0..3 {
                    a[i][j] += weight * row[i] * row[j];
                }
                b[i] += weight * row[i] * rest;
            }
        }
        (a, b)
    }
}

/// Pixels, or displacements along a row, that the loops below take side by side: one vector register.
const LANES: usize = 8;
/// Rows of displacements that are looked at side by side: each sum waits for the one before it, so several are kept going.
const ROWS: usize = 3;

/// [`Rim::cost`] and its level at [`LANES`] displacements from each of `shifts` on, given as steps through the samples. Each
/// sum runs over the pixels in their order, as it does there.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn costs_beside(rim: &Rim, reference: &Plane, shifts: [i64; ROWS]) -> ([[f32; LANES]; ROWS], [[f32; LANES]; ROWS]) {
    let (samples, width) = (reference.as_slice(), reference.width() as i64);
    let count = rim.values.len() as f32;
    let mut means = [[0.0f32; LANES]; ROWS];
    for ((x, y), value) in rim.x.iter().zip(&rim.y).zip(&rim.values) {
        let place = i64::from(*y) * width + i64::from(*x);
        for (sum, shift) in means.iter_mut().zip(shifts) {
            let there = &samples[(place + shift) as usize..][..LANES];
            for i in 0..LANES {
                sum[i] += value - there[i];
            }
        }
    }
    for mean in &mut means {
        for mean in mean {
            *mean /= count;
        }
    }
    let mut costs = [[0.0f32; LANES]; ROWS];
    for ((x, y), value) in rim.x.iter().zip(&rim.y).zip(&rim.values) {
        let place = i64::from(*y) * width + i64::from(*x);
        for ((sum, mean), shift) in costs.iter_mut().zip(&means).zip(shifts) {
            let there = &samples[(place + shift) as usize..][..LANES];
            for i in 0..LANES {
                sum[i] += (value - there[i] - mean[i]).abs();
            }
        }
    }
    for cost in &mut costs {
        for cost in cost {
            *cost /= count;
        }
    }
    (costs, means)
}

/// Where the pixels from `from` on stand in the reference: the sample before each, and how far it lies beyond it. Lanes
/// beyond the last pixel stay empty.
// Inlined into the loops that are compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn places(rim: &Rim, v: Vector, from: usize) -> ([i32; LANES], [i32; LANES], [f32; LANES], [f32; LANES]) {
    let (mut x, mut y) = ([0i32; LANES], [0i32; LANES]);
    let end = (from + LANES).min(rim.x.len());
    x[..end - from].copy_from_slice(&rim.x[from..end]);
    y[..end - from].copy_from_slice(&rim.y[from..end]);
    let (mut tx, mut ty) = ([0.0f32; LANES], [0.0f32; LANES]);
    for i in 0..LANES {
        let (rx, ry) = (x[i] as f32 + v.dx, y[i] as f32 + v.dy);
        let (fx, fy) = (rx.floor(), ry.floor());
        (x[i], y[i]) = (fx as i32, fy as i32);
        (tx[i], ty[i]) = (rx - fx, ry - fy);
    }
    (x, y, tx, ty)
}

/// Current minus reference moved by `v`, pixel by pixel, where all samples around each are there; and the sum of it, taken in
/// that order while the next ones are worked out.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn differences_inside(rim: &Rim, reference: &Plane, v: Vector, out: &mut Vec<f32>) -> f32 {
    let (mut from, mut sum) = (0, 0.0);
    while from < rim.values.len() {
        let done = match rim.step {
            1 => differences_in_row::<1>(rim, reference, v, from, out),
            2 => differences_in_row::<2>(rim, reference, v, from, out),
            _ => None,
        };
        // No closure: it would not be compiled for the processor level of this function.
        let next = from + if let Some(done) = done { done } else { differences_anywhere(rim, reference, v, from, out) };
        for difference in &out[from..next] {
            sum += difference;
        }
        from = next;
    }
    sum
}

/// The differences of pixels from `from` on, all of one row, that stand up to [`LANES`] steps beside it: their samples are
/// read side by side, with those of what lies between them. Gives how many they are; `None` where that cannot be done.
// Inlined into the loop that is compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn differences_in_row<const STEP: usize>(
    rim: &Rim,
    reference: &Plane,
    v: Vector,
    from: usize,
    out: &mut Vec<f32>,
) -> Option<usize> {
    let (samples, width) = (reference.as_slice(), reference.width());
    let (x0, y) = (rim.x[from], rim.y[from]);
    let ahead = rim.x[from..].iter().zip(&rim.y[from..]).take(LANES);
    let count = ahead.take_while(|(x, row)| **row == y && **x - x0 < (STEP * LANES) as i32).count();
    let ry = y as f32 + v.dy;
    let top = ry.floor();
    let down = cubic_weights(ry - top);
    let first = (x0 as f32 + v.dx).floor() as i32;
    let (mut beside, mut across) = (true, [[0.0f32; LANES]; 4]);
    for i in 0..LANES {
        let rx = (x0 + (STEP * i) as i32) as f32 + v.dx;
        let left = rx.floor();
        // Rounding may lift a position onto the next sample.
        beside &= left as i32 == first + (STEP * i) as i32;
        let weights = cubic_weights(rx - left);
        for k in 0..4 {
            across[k][i] = weights[k];
        }
    }
    let start = (top as i32 - 1) as usize * width + (first - 1) as usize;
    let around = samples.get(start..start + 3 * width + STEP * LANES + 3)?;
    if !beside || count < 2 {
        return None;
    }
    let mut sums = [0.0f32; LANES];
    for k in 0..4 {
        let row = &around[k * width..][..STEP * LANES + 3];
        for i in 0..LANES {
            let [a, b, c, d] = [0, 1, 2, 3].map(|m| row[STEP * i + m]);
            let line = across[0][i] * a + across[1][i] * b + across[2][i] * c + across[3][i] * d;
            sums[i] += down[k] * line;
        }
    }
    for (x, value) in rim.x[from..from + count].iter().zip(&rim.values[from..from + count]) {
        out.push(value - sums[(x - x0) as usize / STEP % LANES]);
    }
    Some(count)
}

/// The differences of the next [`LANES`] pixels, wherever they stand, or of those that are left; gives how many they are.
#[allow(clippy::inline_always)]
#[inline(always)]
fn differences_anywhere(rim: &Rim, reference: &Plane, v: Vector, from: usize, out: &mut Vec<f32>) -> usize {
    let (samples, width) = (reference.as_slice(), reference.width());
    let (x, y, tx, ty) = places(rim, v, from);
    let (mut wx, mut wy) = ([[0.0f32; LANES]; 4], [[0.0f32; LANES]; 4]);
    for i in 0..LANES {
        let (across, down) = (cubic_weights(tx[i]), cubic_weights(ty[i]));
        for k in 0..4 {
            (wx[k][i], wy[k][i]) = (across[k], down[k]);
        }
    }
    let values = rim.values[from..].iter().take(LANES);
    let count = values.len();
    for (i, value) in values.enumerate() {
        let start = (y[i] - 1) as usize * width + (x[i] - 1) as usize;
        let mut sum = 0.0;
        for k in 0..4 {
            let row = &samples[start + k * width..][..4];
            let line = wx[0][i] * row[0] + wx[1][i] * row[1] + wx[2][i] * row[2] + wx[3][i] * row[3];
            sum += wy[k][i] * line;
        }
        out.push(value - sum);
    }
    count
}

/// [`Rim::normal_equations`] where all samples around each pixel are there and trusted.
#[multiversion::multiversion(targets("x86_64+avx2"))]
fn normal_equations_inside(
    rim: &Rim,
    reference: &Plane,
    v: Vector,
    offset: f32,
    limit: f32,
) -> ([[f32; 3]; 3], [f32; 3]) {
    let (samples, width) = (reference.as_slice(), reference.width());
    let mut sums = [0.0f32; 10];
    for from in (0..rim.values.len()).step_by(LANES) {
        let (x, y, tx, ty) = places(rim, v, from);
        let count = LANES.min(rim.values.len() - from);
        let (mut value, mut corners) = ([0.0f32; LANES], [[0.0f32; LANES]; 4]);
        value[..count].copy_from_slice(&rim.values[from..from + count]);
        for i in 0..count {
            let start = y[i] as usize * width + x[i] as usize;
            let (top, low) = (&samples[start..][..2], &samples[start + width..][..2]);
            (corners[0][i], corners[1][i], corners[2][i], corners[3][i]) = (top[0], top[1], low[0], low[1]);
        }
        let mut terms = [[0.0f32; LANES]; 10];
        for i in 0..LANES {
            let [a, b, c, d] = [corners[0][i], corners[1][i], corners[2][i], corners[3][i]];
            let (tx, ty) = (tx[i], ty[i]);
            let other = (a * (1.0 - tx) + b * tx) * (1.0 - ty) + (c * (1.0 - tx) + d * tx) * ty;
            let (gx, gy) = ((b - a) * (1.0 - ty) + (d - c) * ty, (c - a) * (1.0 - tx) + (d - b) * tx);
            let rest = value[i] - other - offset;
            let weight = if rest.abs() <= limit { 1.0 } else { limit / rest.abs() };
            let (along, down) = (weight * gx, weight * gy);
            let all = [along * gx, along * gy, along, down * gx, down * gy, down, weight];
            for k in 0..7 {
                terms[k][i] = all[k];
            }
            (terms[7][i], terms[8][i], terms[9][i]) = (along * rest, down * rest, weight * rest);
        }
        for i in 0..count {
            for k in 0..10 {
                sums[k] += terms[k][i];
            }
        }
    }
    let [xx, xy, x, yx, yy, y, one, bx, by, b] = sums;
    ([[xx, xy, x], [yx, yy, y], [x, y, one]], [bx, by, b])
}

fn inside(plane: &Plane, x: f32, y: f32) -> bool {
    x >= 0.0 && y >= 0.0 && x <= (plane.width() - 1) as f32 && y <= (plane.height() - 1) as f32
}

fn trusted(skip: Option<&Plane<u8>>, x: i32, y: i32) -> bool {
    skip.is_none_or(|s| s.get(x, y).is_none_or(|v| v == 0))
}

fn mean_deviation(differences: &[f32], sum: f32) -> (f32, f32) {
    if differences.len() < FEWEST_PIXELS {
        return (f32::INFINITY, 0.0);
    }
    let count = differences.len() as f32;
    let mean = sum / count;
    (differences.iter().map(|d| (d - mean).abs()).sum::<f32>() / count, mean)
}

/// Solves a symmetric 3x3 system by Cramer's rule; `None` when it is singular.
fn solve(a: [[f32; 3]; 3], b: [f32; 3]) -> Option<[f32; 3]> {
    let det = |m: &[[f32; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = det(&a);
    if !whole.is_finite() || whole.abs() < 1e-6 {
        return None;
    }
    let mut answer = [0.0; 3];
    for (column, slot) in answer.iter_mut().enumerate() {
        let mut changed = a;
        for row in 0..3 {
            changed[row][column] = b[row];
        }
        *slot = det(&changed) / whole;
    }
    Some(answer)
}

/// Finds where the trusted pixels of `window` stand in `reference`.
///
/// `current_skip` and `reference_skip` are not zero where a pixel must not be trusted (the hole, other candidates); they
/// have the planes' size. The search covers whole pixels within `radius` of `start`, then settles between pixels. The
/// level (flicker) may differ: its offset is estimated with the motion.
///
/// # Panics
/// When a plane is empty or `current_skip` is smaller than `current`.
pub fn match_around(
    current: &Plane,
    reference: &Plane,
    current_skip: &Plane<u8>,
    reference_skip: Option<&Plane<u8>>,
    window: Rect,
    start: Vector,
    radius: i32,
) -> LocalMatch {
    search_around(current, reference, current_skip, reference_skip, window, start, &Search::careful(radius))
}

/// How far beyond the searched pixels the reference may be read: by the steps between pixels and the taps around each.
const BEYOND: i32 = 8;

/// Whether the reference hides anything where the area may be read. Mostly it does not, and all displacements can be tried
/// side by side.
fn hides(skip: &Plane<u8>, area: &Rect, start: Vector, radius: i32) -> bool {
    let (dx, dy) = (start.dx.round() as i32, start.dy.round() as i32);
    let moved = Rect::new(
        area.x0.saturating_add(dx),
        area.y0.saturating_add(dy),
        area.x1.saturating_add(dx),
        area.y1.saturating_add(dy),
    );
    let r = moved.grown(radius.max(0) + BEYOND).intersect(&skip.rect());
    !r.is_empty()
        && (r.y0..r.y1).any(|y| skip.row(y as usize)[r.x0 as usize..r.x1 as usize].iter().any(|hidden| *hidden != 0))
}

/// [`match_around`] with a chosen effort.
///
/// # Panics
/// As there.
pub fn search_around(
    current: &Plane,
    reference: &Plane,
    current_skip: &Plane<u8>,
    reference_skip: Option<&Plane<u8>>,
    window: Rect,
    start: Vector,
    search: &Search,
) -> LocalMatch {
    let rim = Rim::gather(current, current_skip, window, search.most_pixels, search.gain);
    let reference_skip = reference_skip.filter(|skip| hides(skip, &rim.bounds, start, search.radius));
    let mut scratch = Vec::with_capacity(rim.len());
    // The start itself, between pixels, stands against every whole pixel nearby.
    let (mut error, mut offset) = rim.fine_cost(reference, reference_skip, start, &mut scratch);
    let mut pixels = scratch.len();
    let mut best = start;
    let (sx, sy) = (start.dx.round() as i32, start.dy.round() as i32);
    let radius = if search.gain * error <= search.content { -1 } else { search.radius };
    let together = if reference_skip.is_none() { rim.costs(reference, (sx, sy), radius) } else { None };
    let mut together = together.map(Vec::into_iter);
    for dy in sy - radius..=sy + radius {
        for dx in sx - radius..=sx + radius {
            let known = together.as_mut().and_then(Iterator::next);
            let (cost, mean) = known.unwrap_or_else(|| rim.cost(reference, reference_skip, dx, dy, &mut scratch));
            pixels = if known.is_some() { rim.len() } else { scratch.len() };
            // A small toll on distance keeps flat or repeating surroundings at the start.
            let toll = 0.02 * (dx - sx).abs().max((dy - sy).abs()) as f32;
            if cost * (1.0 + toll) < error {
                (error, offset, best) = (cost, mean, Vector::new(dx as f32, dy as f32));
            }
        }
    }
    for _ in 0..STEPS {
        let Some(next) = rim.refine(reference, reference_skip, best, offset, error) else { break };
        let (cost, mean) = rim.fine_cost(reference, reference_skip, next, &mut scratch);
        pixels = scratch.len();
        if cost >= error {
            break;
        }
        (error, offset, best) = (cost, mean, next);
    }
    LocalMatch { vector: best, offset: search.gain * offset, error: search.gain * error, pixels }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn texture(x: f32, y: f32) -> f32 {
        400.0 + 60.0 * (x * 0.31).sin() + 50.0 * (y * 0.27 + 0.4).cos() + 30.0 * ((x + y) * 0.17).sin()
    }

    #[test]
    fn a_hole_does_not_steer_its_own_motion() {
        let (dx, dy) = (2.3, -1.6);
        let mut current = Plane::from_fn(64, 64, |x, y| texture(x as f32, y as f32));
        let reference = Plane::from_fn(64, 64, |x, y| texture(x as f32 - dx, y as f32 - dy) - 12.0);
        let mut skip = Plane::<u8>::new(64, 64);
        for y in 28..36 {
            for x in 27..38 {
                current.set(x, y, 40.0);
                skip.set(x, y, 1);
            }
        }
        let m = match_around(&current, &reference, &skip, None, Rect::new(22, 22, 44, 42), Vector::default(), 4);
        approx::assert_abs_diff_eq!(m.vector.dx, dx, epsilon = 0.1);
        approx::assert_abs_diff_eq!(m.vector.dy, dy, epsilon = 0.1);
        approx::assert_abs_diff_eq!(m.offset, 12.0, epsilon = 1.0);
        assert!(m.error < 2.0, "{m:?}");
    }

    #[test]
    fn what_is_hidden_elsewhere_changes_nothing_and_what_is_hidden_here_is_not_read() {
        let current = Plane::from_fn(96, 64, |x, y| texture(x as f32, y as f32));
        let mut reference = Plane::from_fn(96, 64, |x, y| texture(x as f32 - 2.0, y as f32 + 1.0));
        let (skip, window) = (Plane::<u8>::new(96, 64), Rect::new(22, 22, 44, 42));
        let found = |reference: &Plane, hidden: Option<&Plane<u8>>| {
            match_around(&current, reference, &skip, hidden, window, Vector::default(), 4)
        };
        let free = found(&reference, None);
        let mut hidden = Plane::<u8>::new(96, 64);
        hidden.set(80, 10, 1);
        assert_eq!(found(&reference, Some(&hidden)), free);
        // The whole-pixel search side by side and one by one agree but for the order of their sums.
        hidden.set(18, 22, 1);
        reference.set(18, 22, 1e6);
        let beside = found(&reference, Some(&hidden));
        approx::assert_abs_diff_eq!(beside.vector.dx, free.vector.dx, epsilon = 0.01);
        approx::assert_abs_diff_eq!(beside.vector.dy, free.vector.dy, epsilon = 0.01);
        // Nothing of the reference lies where the start leads.
        hidden.set(18, 22, 0);
        let nowhere = Vector::new(900.0, -900.0);
        let lost = match_around(&current, &reference, &skip, Some(&hidden), window, nowhere, 2);
        assert!(lost.error.is_infinite() && lost.pixels == 0, "{lost:?}");
    }

    #[test]
    fn a_gain_is_taken_into_the_comparison() {
        let (dx, dy) = (1.4, -2.7);
        let current = Plane::from_fn(64, 64, |x, y| texture(x as f32, y as f32));
        let reference = Plane::from_fn(64, 64, |x, y| (texture(x as f32 - dx, y as f32 - dy) - 12.0) / 1.1);
        let (skip, window) = (Plane::<u8>::new(64, 64), Rect::new(22, 22, 44, 42));
        let search = Search { gain: 1.1, ..Search::careful(4) };
        let m = search_around(&current, &reference, &skip, None, window, Vector::default(), &search);
        approx::assert_abs_diff_eq!(m.vector.dx, dx, epsilon = 0.1);
        approx::assert_abs_diff_eq!(m.vector.dy, dy, epsilon = 0.1);
        approx::assert_abs_diff_eq!(m.offset, 12.0, epsilon = 0.5);
        assert!(m.error < 1.0, "{m:?}");
    }

    #[test]
    fn without_trusted_pixels_the_error_is_infinite() {
        let plane = Plane::filled(16, 16, 5.0);
        let skip = Plane::filled(16, 16, 1u8);
        let m = match_around(&plane, &plane, &skip, None, Rect::new(0, 0, 16, 16), Vector::default(), 2);
        assert!(m.error.is_infinite());
    }

    /// A window of a noisy picture with some pixels hidden, and another picture to look for it in.
    fn noisy(seed: u32, window: Rect, most: usize) -> (Rim, Plane) {
        let mut state = seed.wrapping_mul(2_654_435_761).wrapping_add(17);
        let mut noise = |x: usize, y: usize| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            texture(x as f32, y as f32) + (state >> 24) as f32 * 0.3
        };
        let (current, reference) = (Plane::from_fn(90, 70, &mut noise), Plane::from_fn(90, 70, &mut noise));
        let skip = Plane::from_fn(90, 70, |x, y| u8::from(noise(x, y) > 560.0));
        (Rim::gather(&current, &skip, window, most, 1.0), reference)
    }

    proptest! {
        #[test]
        fn displacements_side_by_side_cost_what_each_costs(
            seed in any::<u32>(), x in 0i32..70, y in 0i32..50, w in 6i32..30, h in 6i32..24,
            sx in -6i32..6, sy in -6i32..6, radius in 0i32..6, most in 30usize..400,
        ) {
            let (rim, reference) = noisy(seed, Rect::new(x, y, x + w, y + h), most);
            if let Some(together) = rim.costs(&reference, (sx, sy), radius) {
                let mut together = together.into_iter();
                for dy in sy - radius..=sy + radius {
                    for dx in sx - radius..=sx + radius {
                        prop_assert_eq!(together.next(), Some(rim.cost(&reference, None, dx, dy, &mut Vec::new())));
                    }
                }
                prop_assert_eq!(together.next(), None);
            } else {
                let (low, high) = (x + sx - radius, x + w + sx + radius + LANES as i32);
                let near = low < 0 || y + sy - radius < 0 || high > 90 || y + h + sy + radius >= 70;
                prop_assert!(near || rim.len() < FEWEST_PIXELS);
            }
        }

        #[test]
        fn pixels_side_by_side_give_what_each_gives(
            seed in any::<u32>(), x in 8i32..50, y in 8i32..34, w in 4i32..30, h in 4i32..24,
            dx in -6.5f32..6.5, dy in -6.5f32..6.5, offset in -20.0f32..20.0, limit in 1.0f32..40.0,
        ) {
            let (rim, reference) = noisy(seed, Rect::new(x, y, x + w, y + h), 240);
            let v = Vector::new(dx, dy);
            prop_assert!(rim.well_inside(&reference, v));
            let mut fast = Vec::new();
            let sum = differences_inside(&rim, &reference, v, &mut fast);
            prop_assert_eq!(sum, fast.iter().fold(0.0, |sum, d| sum + d));
            let plain = rim.pixels().map(|(x, y, value)| value - sample(&reference, x as f32 + dx, y as f32 + dy));
            prop_assert_eq!(fast, plain.collect::<Vec<_>>());
            let fast = normal_equations_inside(&rim, &reference, v, offset, limit);
            prop_assert_eq!(fast, rim.normal_equations(&reference, None, v, offset, limit));
        }
    }
}
