//! Motion of a small area whose middle is not to be trusted: estimated from the pixels around a hole.
//!
//! The detector asks "does the neighbour, well aligned on the surroundings, really lack this mark?"; the repair asks
//! "which part of the neighbour belongs in this hole?". Both must not let the hole itself steer the answer.

use besom_scan::{Plane, Rect};

use crate::Vector;
use crate::interpolate::{sample, sample_with_gradient};

/// How an area around a hole was found in a reference frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LocalMatch {
    /// Where the area stands in the reference.
    pub vector: Vector,
    /// Codes to add to the reference so that its level is the current frame's.
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
}

impl Search {
    /// A search within `radius` pixels with the care that a repair deserves.
    pub const fn careful(radius: i32) -> Self {
        Self { radius, most_pixels: 640, content: 0.0 }
    }
}
/// Gauss-Newton steps after the whole-pixel search; the third changes the vector by under 0.02 pixel on film grain.
const STEPS: usize = 3;

struct Rim {
    pixels: Vec<(i32, i32, f32)>,
}

impl Rim {
    fn gather(current: &Plane, skip: &Plane<u8>, window: Rect, most: usize) -> Self {
        let r = window.intersect(&current.rect());
        let mut step = 1;
        while r.area() / (step * step) > most.max(FEWEST_PIXELS) {
            step += 1;
        }
        let mut pixels = Vec::with_capacity(r.area() / (step * step) + 1);
        for y in (r.y0..r.y1).step_by(step) {
            let (row, hidden) = (current.row(y as usize), skip.row(y as usize));
            // Alternate rows start half a step later so that the lattice does not fall in with vertical structure.
            let shift = if step > 1 && (y / step as i32) % 2 == 1 { step as i32 / 2 } else { 0 };
            for x in (r.x0 + shift..r.x1).step_by(step) {
                if hidden[x as usize] == 0 {
                    pixels.push((x, y, row[x as usize]));
                }
            }
        }
        Self { pixels }
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
        for &(x, y, value) in &self.pixels {
            let (rx, ry) = (x + dx, y + dy);
            if let (Some(other), true) = (reference.get(rx, ry), trusted(skip, rx, ry)) {
                scratch.push(value - other);
                sum += value - other;
            }
        }
        mean_deviation(scratch, sum)
    }

    /// The same between pixels, by cubic interpolation.
    fn fine_cost(&self, reference: &Plane, skip: Option<&Plane<u8>>, v: Vector, scratch: &mut Vec<f32>) -> (f32, f32) {
        scratch.clear();
        let mut sum = 0.0;
        for &(x, y, value) in &self.pixels {
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
        let mut a = [[0.0f32; 3]; 3];
        let mut b = [0.0f32; 3];
        for &(x, y, value) in &self.pixels {
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
        // Flat areas leave the vector where it is: the damping is worth one code of gradient on every pixel.
        let damping = self.pixels.len() as f32;
        a[0][0] += damping;
        a[1][1] += damping;
        solve(a, b).map(|s| Vector::new(v.dx + s[0].clamp(-0.75, 0.75), v.dy + s[1].clamp(-0.75, 0.75)))
    }
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
    let rim = Rim::gather(current, current_skip, window, search.most_pixels);
    let mut scratch = Vec::with_capacity(rim.pixels.len());
    // The start itself, between pixels, stands against every whole pixel nearby.
    let (mut error, mut offset) = rim.fine_cost(reference, reference_skip, start, &mut scratch);
    let mut best = start;
    let (sx, sy) = (start.dx.round() as i32, start.dy.round() as i32);
    let radius = if error <= search.content { -1 } else { search.radius };
    for dy in sy - radius..=sy + radius {
        for dx in sx - radius..=sx + radius {
            let (cost, mean) = rim.cost(reference, reference_skip, dx, dy, &mut scratch);
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
        if cost >= error {
            break;
        }
        (error, offset, best) = (cost, mean, next);
    }
    LocalMatch { vector: best, offset, error, pixels: scratch.len() }
}

#[cfg(test)]
mod tests {
    use super::*;

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
    fn without_trusted_pixels_the_error_is_infinite() {
        let plane = Plane::filled(16, 16, 5.0);
        let skip = Plane::filled(16, 16, 1u8);
        let m = match_around(&plane, &plane, &skip, None, Rect::new(0, 0, 16, 16), Vector::default(), 2);
        assert!(m.error.is_infinite());
    }
}
