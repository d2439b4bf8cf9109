//! Interpolation across a long thin hole, along whatever edges run through it.
//!
//! At each pixel lines of many slopes are laid across the hole. A slope along which the picture on one side looks like the
//! picture on the other is believed the more, the better it fits; the pixel is the mean of what lies at both ends of the
//! lines, the nearer end counting more. Edges that meet a scratch at a slant go on through it, where a membrane would blur them. The thought
//! is that of edge-based line averaging in de-interlacing, turned by a quarter.

use besom_scan::Plane;

use crate::hole::{Hole, PICTURE};

/// Holes that are wider than this on average, pixels, are not thin.
const THICK: usize = 12;
/// How many times longer than wide a thin hole is.
const LONG: usize = 3;
/// Steepest line: rows a column.
const STEEPEST: f32 = 2.0;
/// Slopes tried on each side of straight across.
const SLOPES: i32 = 12;
/// Rows above and below a line's end that are compared with those at its other end.
const ROWS: i32 = 2;
/// What a slope costs beside the grain's own variance, at the steepest.
const SLANT: f32 = 1.0;

/// A hole seen so that its length runs down: `across` counts over its width and `along` over its length.
pub(crate) struct Across<'a> {
    hole: &'a Hole,
    upright: bool,
    /// For each place along: the first hole pixel across, and the last one plus one; `None` where there is none.
    spans: Vec<Option<(i32, i32)>>,
}

/// What lies beside the hole along its two sides; NaN where that is no picture.
struct Sides {
    near: Vec<f32>,
    far: Vec<f32>,
}

impl<'a> Across<'a> {
    /// `None` when the hole is not long and thin.
    pub(crate) fn of(hole: &'a Hole) -> Option<Self> {
        let bounds = hole.bounds();
        let upright = bounds.height() >= bounds.width();
        let length = bounds.height().max(bounds.width());
        let area = hole.inside.len();
        if area > THICK * length || LONG * area > length * length {
            return None;
        }
        let rows = if upright { hole.state.height() } else { hole.state.width() };
        let mut spans: Vec<Option<(i32, i32)>> = vec![None; rows];
        for spot in &hole.inside {
            let (across, along) = place(spot.index, hole.state.width(), upright);
            let span = spans[along as usize].get_or_insert((across, across + 1));
            *span = (span.0.min(across), span.1.max(across + 1));
        }
        Some(Self { hole, upright, spans })
    }

    /// Values of a plane at the hole's pixels, by lines chosen on `luma`, of which `sigma` is the grain; NaN where nothing can
    /// be read on both sides.
    pub(crate) fn filled(&self, luma: &Plane, planes: &[Plane], sigma: f32) -> Vec<Vec<f32>> {
        let guide = self.sides(luma);
        let read: Vec<Sides> = planes.iter().map(|p| self.sides(p)).collect();
        let mut values = vec![Vec::with_capacity(self.hole.inside.len()); planes.len()];
        let mut sums = vec![0.0f32; planes.len()];
        for spot in &self.hole.inside {
            let (across, along) = place(spot.index, self.hole.state.width(), self.upright);
            let total = self.spans[along as usize]
                .map_or(0.0, |span| gather(&guide, &read, (across, along), span, sigma, &mut sums));
            for (values, sum) in values.iter_mut().zip(&sums) {
                values.push(if total > 0.0 { sum / total } else { f32::NAN });
            }
        }
        values
    }

    /// Both sides of a plane, softened along the hole (weights 1 2 1), so that single grains do not run across.
    fn sides(&self, plane: &Plane) -> Sides {
        let (first, last) = self.ends();
        let state = &self.hole.state;
        let raw = |far: bool| -> Vec<f32> {
            (0..self.spans.len())
                .map(|along| {
                    let known = self.spans[along.clamp(first, last)];
                    let Some((from, to)) = known else { return f32::NAN };
                    let across = if far { to } else { from - 1 };
                    let (x, y) = if self.upright { (across, along as i32) } else { (along as i32, across) };
                    if state.get(x, y) != Some(PICTURE) {
                        return f32::NAN;
                    }
                    plane.get(x + self.hole.rect.x0, y + self.hole.rect.y0).unwrap_or(f32::NAN)
                })
                .collect()
        };
        Sides { near: softened(&raw(false)), far: softened(&raw(true)) }
    }

    /// First and last place along the hole.
    fn ends(&self) -> (usize, usize) {
        let first = self.spans.iter().position(Option::is_some).unwrap_or(0);
        let last = self.spans.iter().rposition(Option::is_some).unwrap_or(0);
        (first, last)
    }
}

/// Sums what lines through a pixel read in each plane, weighted by how well they fit; returns the sum of weights.
fn gather(
    guide: &Sides,
    read: &[Sides],
    (across, along): (i32, i32),
    (from, to): (i32, i32),
    sigma: f32,
    sums: &mut [f32],
) -> f32 {
    sums.fill(0.0);
    let mut total = 0.0f32;
    // Distances to the pixels beside the hole.
    let (near, far) = ((across - from + 1) as f32, (to - across) as f32);
    let share = far / (near + far);
    let grain = sigma * sigma + 0.25;
    for step in -SLOPES..=SLOPES {
        let slope = step as f32 * STEEPEST / SLOPES as f32;
        let (a, b) = (along as f32 - slope * near, along as f32 + slope * far);
        let (mut square, mut count) = (0.0f32, 0.0f32);
        for row in -ROWS..=ROWS {
            let d = at(&guide.near, a + row as f32) - at(&guide.far, b + row as f32);
            if !d.is_nan() {
                square += d * d;
                count += 1.0;
            }
        }
        if count < (ROWS + 1) as f32 {
            continue;
        }
        let cost = square / count + grain * (1.0 + SLANT * slope.abs() / STEEPEST);
        let weight = 1.0 / (cost * cost);
        let ends = |s: &Sides| share * at(&s.near, a) + (1.0 - share) * at(&s.far, b);
        if read.iter().any(|s| ends(s).is_nan()) {
            continue;
        }
        for (sum, sides) in sums.iter_mut().zip(read) {
            *sum += weight * ends(sides);
        }
        total += weight;
    }
    total
}

/// Place of a box pixel across and along the hole.
fn place(index: usize, width: usize, upright: bool) -> (i32, i32) {
    let (x, y) = ((index % width) as i32, (index / width) as i32);
    if upright { (x, y) } else { (y, x) }
}

/// Weighted means of each value and its known neighbours.
fn softened(values: &[f32]) -> Vec<f32> {
    let one = |i: usize| {
        if values[i].is_nan() {
            return f32::NAN;
        }
        let (mut sum, mut count) = (2.0 * values[i], 2.0f32);
        for k in [i.wrapping_sub(1), i + 1] {
            if let Some(v) = values.get(k).filter(|v| !v.is_nan()) {
                sum += v;
                count += 1.0;
            }
        }
        sum / count
    };
    (0..values.len()).map(one).collect()
}

/// A list read between its places; NaN outside.
fn at(values: &[f32], place: f32) -> f32 {
    if place < 0.0 || place > values.len() as f32 - 1.0 {
        return f32::NAN;
    }
    let (i, t) = (place as usize, place.fract());
    if t < 1e-4 {
        return values[i];
    }
    values[i] * (1.0 - t) + values.get(i + 1).copied().unwrap_or(f32::NAN) * t
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use besom_scan::{Rect, RunMask};

    /// Largest error of a scratch four pixels wide over an edge of a slope (columns a row), upright or lying.
    fn worst(slope: f32, lying: bool) -> f32 {
        let edge = move |x: f32, y: f32| {
            let (x, y) = if lying { (y, x) } else { (x, y) };
            300.0 + 400.0 * ((x - 32.0) * slope - (y - 32.0) + 0.5).clamp(0.0, 1.0)
        };
        let plane = Plane::from_fn(64, 64, |x, y| edge(x as f32, y as f32));
        let rect = if lying { Rect::new(8, 30, 56, 34) } else { Rect::new(30, 8, 34, 56) };
        let mask = RunMask::from_rect(&rect);
        let hole = Hole::new(&mask, &Plane::new(64, 64)).unwrap();
        let filled = Across::of(&hole).unwrap().filled(&plane, std::slice::from_ref(&plane), 1.0);
        let off = hole.inside.iter().zip(&filled[0]).map(|(s, v)| (v - plane.at(s.x as usize, s.y as usize)).abs());
        off.fold(0.0, f32::max)
    }

    #[test]
    fn edges_go_on_through_a_scratch() {
        for lying in [false, true] {
            for slope in [0.0, 0.5, 1.0, -0.75, 1.5] {
                let worst = worst(slope, lying);
                assert!(worst < 140.0, "slope {slope}, lying {lying}: {worst}");
            }
        }
    }

    #[test]
    fn stout_holes_are_none_of_its_business() {
        let hole = |rect: Rect| Hole::new(&RunMask::from_rect(&rect), &Plane::new(64, 64)).unwrap();
        assert!(Across::of(&hole(Rect::new(20, 20, 32, 40))).is_none());
        assert!(Across::of(&hole(Rect::new(20, 2, 36, 62))).is_none());
        assert!(Across::of(&hole(Rect::new(20, 2, 24, 62))).is_some());
    }
}
