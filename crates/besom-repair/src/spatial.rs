//! Filling a hole from its own frame, where no neighbour can help: a surface spanned over the rim with grain made anew, or
//! a piece of the same picture whose surroundings look alike.

use besom_motion::Vector;
use besom_scan::{Plane, RunMask};

use crate::across::Across;
use crate::choose::Pick;
use crate::compose::compose;
use crate::hole::{HOLE, Hole, Spot};
use crate::job::{Job, Source};
use crate::level::carry;
use crate::predict;
use crate::prepared::Prepared;
use crate::trial::{Ground, Near};
use crate::warp::Warp;

/// A spatial fill.
pub(crate) struct SpatialFill {
    /// For each channel, a value a pixel of the hole.
    pub values: Vec<Vec<f32>>,
    /// Mean absolute rim difference, codes.
    pub rim_error: f32,
    /// Root-mean-square error, codes.
    pub predicted_error: f32,
}

/// The better of the two spatial fills, by predicted error.
pub(crate) fn spatial_fill(job: &Job, hole: &Hole, near: &Near, prepared: &Prepared, sigma: f32) -> SpatialFill {
    let mut avoid = job.skip.clone();
    job.mask.paint(&mut avoid, 1);
    let (miss, surface) = surface(job, hole, &prepared.luma, &avoid, sigma);
    let surface_error = predict::membrane(miss, sigma);
    let piece = exemplar(job, hole, near, prepared, &avoid, sigma);
    if let Some(piece) = piece.filter(|p| p.predicted_error < surface_error) {
        return piece;
    }
    let grain = prepared.texture.unit_grain(job.seed, hole.state.width(), hole.state.height(), job.planes.len());
    let mut values = surface;
    for (channel, values) in values.iter_mut().enumerate() {
        for (v, spot) in values.iter_mut().zip(&hole.inside) {
            *v += grain[channel][spot.index] * job.grain.channel_at(channel, *v);
        }
    }
    // The mean absolute value of a normal deviate is 0.8 of its root mean square.
    SpatialFill { values, rim_error: 0.8 * miss, predicted_error: surface_error }
}

/// The surface spanned over the hole, one list a channel, and how far such surfaces miss known picture nearby: across a long
/// thin hole along its edges, where that misses less, else a membrane.
fn surface(job: &Job, hole: &Hole, luma: &Plane, avoid: &Plane<u8>, sigma: f32) -> (f32, Vec<Vec<f32>>) {
    let probes = probes(hole, avoid);
    let missed = |surface: &dyn Fn(&Hole) -> Vec<f32>| miss(luma, hole, &probes, sigma, surface);
    let by_membrane = missed(&|probe| membrane(luma, probe));
    if let Some(edged) = along_edges(hole, luma, job.planes, sigma) {
        let one = std::slice::from_ref(luma);
        let of_probe = |probe: &Hole| along_edges(probe, luma, one, sigma).and_then(|mut planes| planes.pop());
        let by_edges = missed(&|probe| of_probe(probe).unwrap_or_else(|| membrane(luma, probe)));
        if by_edges < by_membrane {
            return (by_edges, edged);
        }
    }
    (by_membrane, job.planes.iter().map(|p| membrane(p, hole)).collect())
}

/// A long thin hole filled along the edges that run through it, a list a plane, by a membrane where that cannot be told;
/// `None` for any other hole.
fn along_edges(hole: &Hole, luma: &Plane, planes: &[Plane], sigma: f32) -> Option<Vec<Vec<f32>>> {
    let filled = Across::of(hole)?.filled(luma, planes, sigma);
    Some(filled.into_iter().zip(planes).map(|(values, plane)| patched(values, || membrane(plane, hole))).collect())
}

/// Values with those that are not known taken from elsewhere.
fn patched(mut values: Vec<f32>, others: impl Fn() -> Vec<f32>) -> Vec<f32> {
    if values.iter().any(|v| v.is_nan()) {
        for (v, other) in values.iter_mut().zip(others()).filter(|(v, _)| v.is_nan()) {
            *v = other;
        }
    }
    values
}

/// A membrane over the hole: at every pixel the mean of its four neighbours (Laplace's equation), the rim's values held.
///
/// The rim's innermost ring is read as means along it (weights 1 2 1), so that single grains do not run into the hole;
/// means across it would flatten what lies beside narrow holes. Successive over-relaxation; pixels of other candidates and the frame's border let nothing through.
fn membrane(plane: &Plane, hole: &Hole) -> Vec<f32> {
    let (width, height) = (hole.state.width(), hole.state.height());
    let state = hole.state.as_slice();
    let rim: Vec<f32> = hole.rim.iter().map(|s| plane.at(s.x as usize, s.y as usize)).collect();
    if rim.is_empty() {
        // Nothing is known at all: the middle of the range shows that honestly, and no picture is made up.
        return vec![512.0; hole.inside.len()];
    }
    let mut field = vec![0.0f32; state.len()];
    let mut ring = vec![false; state.len()];
    hole.rim.iter().filter(|s| s.ring == 1).for_each(|s| ring[s.index] = true);
    for spot in hole.rim.iter().filter(|s| s.ring == 1) {
        field[spot.index] = mean_along(plane, hole, &ring, spot);
    }
    for (spot, v) in hole.inside.iter().zip(&carry(hole, &[rim])[0]) {
        field[spot.index] = *v;
    }
    let bounds = hole.bounds();
    let side = bounds.width().min(bounds.height()) as f32;
    // The best over-relaxation for a square of this side; the sweeps it needs grow with its side.
    let relax = 2.0 / (1.0 + std::f32::consts::PI / (side + 2.0));
    for _ in 0..((2.5 * side) as usize + 10).min(400) {
        for spot in &hole.inside {
            let (x, y, k) = (spot.index % width, spot.index / width, spot.index);
            let beside = [
                (x > 0).then(|| k - 1),
                (x + 1 < width).then_some(k + 1),
                (y > 0).then(|| k - width),
                (y + 1 < height).then_some(k + width),
            ];
            let (mut sum, mut count) = (0.0, 0.0);
            for k in beside.into_iter().flatten().filter(|&k| ring[k] || state[k] == HOLE) {
                sum += field[k];
                count += 1.0;
            }
            if count > 0.0 {
                field[k] += relax * (sum / count - field[k]);
            }
        }
    }
    hole.inside.iter().map(|s| field[s.index]).collect()
}

/// Mean of the pixels of the innermost ring in the 3x3 around one of them.
fn mean_along(plane: &Plane, hole: &Hole, ring: &[bool], spot: &Spot) -> f32 {
    let (width, height) = (hole.state.width(), hole.state.height());
    let (x, y) = (spot.index % width, spot.index / width);
    let (mut sum, mut count) = (0.0f32, 0.0f32);
    for b in y.saturating_sub(1)..=(y + 1).min(height - 1) {
        for a in x.saturating_sub(1)..=(x + 1).min(width - 1) {
            if ring[b * width + a] {
                let weight = if (a, b) == (x, y) { 2.0 } else { 1.0 };
                sum += weight * plane.at(a + hole.rect.x0 as usize, b + hole.rect.y0 as usize);
                count += weight;
            }
        }
    }
    sum / count
}

/// Holes of more pixels than this are not tried out elsewhere: one large probe says little about another place.
const LARGEST_PROBE: usize = 4000;
/// The miss taken for granted where nothing can be tried, codes: half the range.
const UNKNOWN: f32 = 512.0;

/// Holes of the same shape at those of the eight neighbouring places that are clean; none of a hole too large.
fn probes(hole: &Hole, avoid: &Plane<u8>) -> Vec<Hole> {
    if hole.inside.len() > LARGEST_PROBE {
        return Vec::new();
    }
    let bounds = hole.bounds();
    let (dx, dy) = (bounds.width() as i32 + 1, bounds.height() as i32 + 1);
    let places = [(-dx, 0), (dx, 0), (0, -dy), (0, dy), (-dx, -dy), (dx, -dy), (-dx, dy), (dx, dy)];
    let probe = |(dx, dy): (i32, i32)| {
        let pixels = || hole.inside.iter().map(move |s| (s.x + dx, s.y + dy));
        if !pixels().all(|(x, y)| avoid.get(x, y) == Some(0)) {
            return None;
        }
        Hole::new(&RunMask::from_pixels(pixels().map(|(x, y)| (x as u32, y as u32))), avoid)
    };
    places.into_iter().filter_map(probe).collect()
}

/// How far a surface misses known picture over the probes of a hole: root mean square in codes, grain included. A place
/// whose rim varies less than the hole's says too little: what it says is raised by as much.
fn miss(luma: &Plane, hole: &Hole, probes: &[Hole], sigma: f32, surface: &dyn Fn(&Hole) -> Vec<f32>) -> f32 {
    let variation = |hole: &Hole| variance(luma, &hole.rim) + sigma * sigma + 0.01;
    let here = variation(hole);
    let (mut square, mut count) = (0.0f32, 0.0f32);
    for probe in probes {
        let raised = (here / variation(probe)).max(1.0);
        for (s, v) in probe.inside.iter().zip(surface(probe)) {
            square += raised * (luma.at(s.x as usize, s.y as usize) - v).powi(2);
            count += 1.0;
        }
    }
    if count > 0.0 { (square / count).sqrt() } else { UNKNOWN }
}

/// Variance of a plane over spots, squared codes; zero without any.
fn variance(plane: &Plane, spots: &[Spot]) -> f32 {
    let values = || spots.iter().map(|s| plane.at(s.x as usize, s.y as usize));
    let count = spots.len().max(1) as f32;
    let mean = values().sum::<f32>() / count;
    values().map(|v| (v - mean) * (v - mean)).sum::<f32>() / count
}

/// A search for a piece of the same frame whose rim fits.
struct Search<'a> {
    luma: &'a Plane,
    avoid: &'a Plane<u8>,
    rim: Vec<&'a Spot>,
}

impl Search<'_> {
    /// Mean squared rim difference of a displacement; half of the squared level difference is forgiven, for levelling
    /// mends it, but a piece of another tone is the worse guess. Infinite where too little can be compared.
    fn cost(&self, dx: i32, dy: i32) -> f32 {
        let (mut sum, mut square, mut count) = (0.0f32, 0.0f32, 0usize);
        for s in &self.rim {
            if self.avoid.get(s.x + dx, s.y + dy) == Some(0) {
                let d =
                    self.luma.at(s.x as usize, s.y as usize) - self.luma.at((s.x + dx) as usize, (s.y + dy) as usize);
                sum += d;
                square += d * d;
                count += 1;
            }
        }
        if count < 8 || count * 10 < self.rim.len() * 7 {
            return f32::INFINITY;
        }
        let mean = sum / count as f32;
        square / count as f32 - 0.5 * mean * mean
    }

    /// The best displacement within `reach`: every second pixel, then around the best.
    fn best(&self, reach: i32) -> Option<(i32, i32)> {
        let mut best = (f32::INFINITY, 0, 0);
        let consider = |best: &mut (f32, i32, i32), dx: i32, dy: i32| {
            // Nearer than this a piece would copy the rim onto the hole.
            if dx.abs().max(dy.abs()) >= 5 {
                let cost = self.cost(dx, dy);
                if cost < best.0 {
                    *best = (cost, dx, dy);
                }
            }
        };
        for dy in (-reach..=reach).step_by(2) {
            for dx in (-reach..=reach).step_by(2) {
                consider(&mut best, dx, dy);
            }
        }
        let (_, x, y) = best;
        for dy in y - 1..=y + 1 {
            for dx in x - 1..=x + 1 {
                consider(&mut best, dx, dy);
            }
        }
        best.0.is_finite().then_some((best.1, best.2))
    }
}

/// Displacements of pieces are searched this far at most, pixels.
const FARTHEST: i32 = 60;
/// Rim pixels that are compared, at most.
const MOST_RIM: usize = 120;

/// The piece of the same frame whose rim fits best, levelled; `None` when no piece covers the whole hole.
fn exemplar(
    job: &Job,
    hole: &Hole,
    near: &Near,
    prepared: &Prepared,
    avoid: &Plane<u8>,
    sigma: f32,
) -> Option<SpatialFill> {
    let stride = hole.rim.len().div_ceil(MOST_RIM).max(1);
    let search = Search { luma: &prepared.luma, avoid, rim: hole.rim.iter().step_by(stride).collect() };
    let bounds = hole.bounds();
    let reach = (bounds.width().max(bounds.height()) as i32 + 12).min(FARTHEST);
    let (dx, dy) = search.best(reach)?;
    let still = |_: f32, _: f32| Vector::default();
    let source = Source { offset: 0, planes: job.planes, skip: avoid, start: &still };
    let ground = Ground { hole, near, luma: &prepared.luma, source: &source, source_luma: &prepared.luma, sigma };
    let trial = ground.tried(Warp::constant(Vector::new(dx as f32, dy as f32)));
    if trial.coverage < 1.0 {
        return None;
    }
    let rim_error = trial.rim_error;
    let pick = Pick { source: 0, offset: 0, trial };
    let weights = vec![vec![1.0; hole.inside.len()]];
    let values = compose(job.planes, &[source], hole, &[pick], &weights, job.grain).values;
    let depth = 0.5 * bounds.width().min(bounds.height()) as f32;
    let predicted_error = predict::piece(rim_error, depth, sigma);
    Some(SpatialFill { values, rim_error, predicted_error })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use besom_scan::Rect;

    #[test]
    fn a_membrane_over_a_slope_is_the_slope() {
        // A linear function solves Laplace's equation.
        let slope = |x: usize, y: usize| 200.0 + 3.0 * x as f32 - 2.0 * y as f32;
        let plane = Plane::from_fn(80, 80, slope);
        for (rect, tolerance) in [(Rect::new(30, 30, 34, 60), 0.05), (Rect::new(20, 20, 60, 60), 1.5)] {
            let mask = RunMask::from_rect(&rect);
            let hole = Hole::new(&mask, &Plane::new(80, 80)).unwrap();
            for (spot, v) in hole.inside.iter().zip(membrane(&plane, &hole)) {
                let truth = slope(spot.x as usize, spot.y as usize);
                assert!((v - truth).abs() < 1.0 + tolerance, "{spot:?}: {v} against {truth}");
            }
        }
    }
}
