//! Levelling: what is known on the rim, carried smoothly into the hole.
//!
//! A mean of the rim weighted by the inverse cube of the distance. Against a harmonic membrane it needs no sweeps and takes
//! the mean of many rim pixels, so that single grains do not run into the hole; against one constant for the hole it
//! follows flicker and shading that vary across it (measured on aged clips: +0.25 dB over the constant).

use crate::hole::{Hole, Spot};

/// Rim pixels that are asked, at most: every second, third ... one of larger rims.
const MOST_RIM: usize = 160;
/// Holes of more pixels than this are computed on a lattice of every fourth pixel and read between.
const LARGE: usize = 400;
/// Spacing of that lattice, pixels.
const STEP: usize = 4;

/// Carries fields known at the rim (one value a rim pixel; NaN: unknown) to every pixel of the hole. Zero where nothing of
/// a field is known.
pub(crate) fn carry(hole: &Hole, fields: &[Vec<f32>]) -> Vec<Vec<f32>> {
    let stride = hole.rim.len().div_ceil(MOST_RIM).max(1);
    let known = Known::gather(&hole.rim, fields, stride);
    if hole.inside.len() <= LARGE { carry_plainly(hole, &known) } else { carry_by_lattice(hole, &known) }
}

fn carry_by_lattice(hole: &Hole, known: &Known) -> Vec<Vec<f32>> {
    let width = hole.state.width();
    let (columns, rows) = (width.div_ceil(STEP) + 1, hole.state.height().div_ceil(STEP) + 1);
    let mut wanted = vec![false; columns * rows];
    for spot in &hole.inside {
        let k = spot.index / width / STEP * columns + spot.index % width / STEP;
        for k in [k, k + 1, k + columns, k + columns + 1] {
            wanted[k] = true;
        }
    }
    let mut lattice = vec![0.0; known.fields * columns * rows];
    let mut sums = known.sums();
    for k in (0..columns * rows).filter(|&k| wanted[k]) {
        known.sum_at(hole.rect.x0 + (k % columns * STEP) as i32, hole.rect.y0 + (k / columns * STEP) as i32, &mut sums);
        for f in 0..known.fields {
            lattice[f * columns * rows + k] = sums.mean(f);
        }
    }
    let between = |f: usize, spot: &Spot| {
        let (x, y) = (spot.index % width, spot.index / width);
        let (tx, ty) = ((x % STEP) as f32 / STEP as f32, (y % STEP) as f32 / STEP as f32);
        let k = f * columns * rows + y / STEP * columns + x / STEP;
        let row = |k: usize| lattice[k] * (1.0 - tx) + lattice[k + 1] * tx;
        row(k) * (1.0 - ty) + row(k + columns) * ty
    };
    (0..known.fields).map(|f| hole.inside.iter().map(|spot| between(f, spot)).collect()).collect()
}

/// The same pixel by pixel: what the lattice must come close to.
fn carry_plainly(hole: &Hole, known: &Known) -> Vec<Vec<f32>> {
    let mut carried = vec![Vec::with_capacity(hole.inside.len()); known.fields];
    let mut sums = known.sums();
    for spot in &hole.inside {
        known.sum_at(spot.x, spot.y, &mut sums);
        for (f, field) in carried.iter_mut().enumerate() {
            field.push(sums.mean(f));
        }
    }
    carried
}

/// Rim values side by side, all fields of a pixel together, so that one distance serves them all.
struct Known {
    fields: usize,
    places: Vec<(f32, f32)>,
    /// Zero where unknown.
    values: Vec<f32>,
    /// One where known.
    certain: Vec<f32>,
}

/// Weighted sums and weights, a pair a field.
struct Sums {
    values: Vec<f32>,
    weights: Vec<f32>,
}

impl Sums {
    fn mean(&self, field: usize) -> f32 {
        if self.weights[field] > 0.0 { self.values[field] / self.weights[field] } else { 0.0 }
    }
}

impl Known {
    fn gather(rim: &[Spot], fields: &[Vec<f32>], stride: usize) -> Self {
        let mut all = Self { fields: fields.len(), places: Vec::new(), values: Vec::new(), certain: Vec::new() };
        for (k, spot) in rim.iter().enumerate().step_by(stride) {
            all.places.push((spot.x as f32, spot.y as f32));
            for field in fields {
                all.values.push(if field[k].is_nan() { 0.0 } else { field[k] });
                all.certain.push(if field[k].is_nan() { 0.0 } else { 1.0 });
            }
        }
        all
    }

    fn sums(&self) -> Sums {
        Sums { values: vec![0.0; self.fields], weights: vec![0.0; self.fields] }
    }

    fn sum_at(&self, x: i32, y: i32, sums: &mut Sums) {
        sums.values.fill(0.0);
        sums.weights.fill(0.0);
        if self.fields == 0 {
            return;
        }
        let pixels = self.values.chunks_exact(self.fields).zip(self.certain.chunks_exact(self.fields));
        for (place, (values, certain)) in self.places.iter().zip(pixels) {
            let (dx, dy) = (x as f32 - place.0, y as f32 - place.1);
            // A lattice node may lie on a rim pixel: half a pixel of distance keeps its weight finite.
            let square = (dx * dx + dy * dy).max(0.25);
            let weight = 1.0 / (square * square.sqrt());
            for (sum, value) in sums.values.iter_mut().zip(values) {
                *sum += weight * value;
            }
            for (sum, one) in sums.weights.iter_mut().zip(certain) {
                *sum += weight * one;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use besom_scan::{Plane, Rect, RunMask};

    fn hole(side: i32) -> Hole {
        let mask = RunMask::from_rect(&Rect::new(20, 20, 20 + side, 20 + side));
        Hole::new(&mask, &Plane::new(100, 100)).unwrap()
    }

    #[test]
    fn a_constant_is_carried_unchanged_and_nothing_stays_nothing() {
        for side in [3, 40] {
            let hole = hole(side);
            let fields = [vec![7.5; hole.rim.len()], vec![f32::NAN; hole.rim.len()]];
            let carried = carry(&hole, &fields);
            assert!(carried[0].iter().all(|v| (v - 7.5).abs() < 1e-3));
            assert!(carried[1].iter().all(|v| *v == 0.0));
        }
    }

    #[test]
    fn the_lattice_comes_close_to_the_plain_way() {
        let hole = hole(44);
        let field: Vec<f32> = hole.rim.iter().map(|s| 0.3 * s.x as f32 - 0.2 * s.y as f32).collect();
        let fast = carry(&hole, std::slice::from_ref(&field));
        let plain = carry_plainly(&hole, &Known::gather(&hole.rim, &[field], 1));
        for (i, (a, b)) in fast[0].iter().zip(&plain[0]).enumerate() {
            assert!((a - b).abs() < 0.7, "{:?}: {a} against {b}", hole.inside[i]);
        }
    }
}
