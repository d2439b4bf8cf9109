//! Hypotheses of where a hole's picture stands in a neighbouring frame, each tried on the rim.

use besom_motion::Vector;
use besom_motion::around::{FEWEST_PIXELS, Search, search_around};
use besom_scan::{Plane, Rect};

use crate::hole::{Hole, Spot, cut_out};
use crate::job::Source;
use crate::resample::Reader;
use crate::warp::Warp;

/// A hypothesis and how it fits.
#[derive(Clone, Debug)]
pub(crate) struct Trial {
    pub warp: Warp,
    /// Luma at the hole's pixels, levelled; NaN where the source cannot be read.
    pub inside: Vec<f32>,
    /// Luma difference (frame minus levelled source) at the rim's pixels; NaN where the source cannot be read.
    pub rest: Vec<f32>,
    /// Weighted mean of the absolute rim differences, in codes; infinite without rim.
    pub rim_error: f32,
    /// Share of the hole's pixels that can be read.
    pub coverage: f32,
}

/// What trials of one source look at.
pub(crate) struct Ground<'a> {
    pub hole: &'a Hole,
    pub near: &'a Near,
    pub luma: &'a Plane,
    pub source: &'a Source<'a>,
    pub source_luma: &'a Plane,
    /// Luma grain of one frame around the hole, codes.
    pub sigma: f32,
}

/// A cut-out of the frame around a hole, in which motion is looked for: small, so that each hole can mark itself in it.
pub(crate) struct Near {
    rect: Rect,
    luma: Plane,
    /// Not zero at the frame's candidates and the hole.
    avoid: Plane<u8>,
}

impl Near {
    pub(crate) fn new(hole: &Hole, luma: &Plane, skip: &Plane<u8>) -> Self {
        let bounds = hole.bounds();
        let reach = if is_large(bounds) { 4 * NODE_STEP } else { REACH };
        let rect = bounds.grown(reach).intersect(&luma.rect());
        let mut avoid = cut_out(skip, &rect);
        for spot in &hole.inside {
            avoid.set((spot.x - rect.x0) as usize, (spot.y - rect.y0) as usize, 1);
        }
        Self { rect, luma: cut_out(luma, &rect), avoid }
    }

    fn local(&self, r: Rect) -> Rect {
        Rect::new(r.x0 - self.rect.x0, r.y0 - self.rect.y0, r.x1 - self.rect.x0, r.y1 - self.rect.y0)
    }

    /// Trusted pixels of a rectangle of the frame.
    fn trusted(&self, r: Rect) -> usize {
        let r = self.local(r).intersect(&self.avoid.rect());
        if r.is_empty() {
            return 0;
        }
        (r.y0..r.y1)
            .map(|y| {
                self.avoid.row(y as usize)[r.x0 as usize..r.x1 as usize]
                    .iter()
                    .map(|&s| usize::from(s == 0))
                    .sum::<usize>()
            })
            .sum()
    }
}

fn centre(r: Rect) -> (f32, f32) {
    (0.5 * (r.x0 + r.x1 - 1) as f32, 0.5 * (r.y0 + r.y1 - 1) as f32)
}

fn is_large(bounds: Rect) -> bool {
    bounds.width().max(bounds.height()) > LARGE
}

/// Pixels around the hole that vote on its motion.
const REACH: i32 = 8;
/// Whole pixels around the motion known so far that are searched.
const SEARCH: i32 = 3;
/// A rim error below this many sigmas is grain alone: the mean absolute difference of two frames' grain is 1.13 sigma.
const FITTING: f32 = 1.35;
/// Distance between the nodes at which the motion known so far is read.
const PRIOR_STEP: i32 = 4;
/// Distance between the nodes of large holes' lattices, at which motion is estimated.
const NODE_STEP: i32 = 12;
/// Holes of more pixels than this are tried with few hypotheses: their evaluation would cost more than they gain.
const VAST: usize = 100_000;
/// Holes larger than this in either direction get a lattice.
const LARGE: usize = 18;

impl Ground<'_> {
    fn matched(&self, window: Rect, start: Vector, radius: i32) -> Option<Vector> {
        // The cut-out's pixels stand further right and down in the source by the cut-out's own place.
        let (left, top) = (self.near.rect.x0 as f32, self.near.rect.y0 as f32);
        // Where the motion known so far fits as well as the grain lets it, it is refined and nothing else is looked for.
        let search = Search { content: FITTING * self.sigma, ..Search::careful(radius) };
        let m = search_around(
            &self.near.luma,
            self.source_luma,
            &self.near.avoid,
            Some(self.source.skip),
            self.near.local(window),
            Vector::new(start.dx + left, start.dy + top),
            &search,
        );
        m.error.is_finite().then(|| Vector::new(m.vector.dx - left, m.vector.dy - top))
    }

    fn prior(&self, x: f32, y: f32) -> Vector {
        let v = (self.source.start)(x, y);
        if v.dx.is_finite() && v.dy.is_finite() { v } else { Vector::default() }
    }

    /// The one hypothesis that the whole surroundings vote for.
    pub(crate) fn simple(&self) -> Warp {
        let bounds = self.hole.bounds();
        let (cx, cy) = centre(bounds);
        let prior = self.prior(cx, cy);
        let vector = self.matched(bounds.grown(REACH), prior, SEARCH).unwrap_or(prior);
        if is_large(bounds) { self.tiled(bounds, vector) } else { Warp::constant(vector) }
    }

    /// All hypotheses worth trying, tried. Where the surroundings as a whole fit as well as the grain lets them, and for
    /// frames two away, only the whole is tried beside the motion known so far.
    pub(crate) fn trials(&self) -> Vec<Trial> {
        let bounds = self.hole.bounds();
        let (cx, cy) = centre(bounds);
        let prior = self.prior(cx, cy);
        let window = bounds.grown(REACH);
        let main = self.matched(window, prior, if self.source.offset.abs() == 1 { SEARCH } else { SEARCH - 1 });
        let mut vectors: Vec<Vector> = Vec::with_capacity(6);
        let mut trials: Vec<Trial> = Vec::with_capacity(8);
        let mut attempt = |v: Vector| {
            if vectors.iter().all(|o| o.distance(v) > 0.25) {
                vectors.push(v);
                trials.push(self.tried(Warp::constant(v)));
            }
            trials.last().map_or(f32::INFINITY, |t| t.rim_error)
        };
        let error = main.map_or(f32::INFINITY, &mut attempt);
        let fits = error < FITTING * self.sigma.max(0.5);
        if !fits && self.source.offset.abs() == 1 && self.hole.inside.len() <= VAST {
            // Each side of the surroundings on its own: where two layers meet in the hole, one of them fits one side.
            let (mx, my) = (cx.round() as i32, cy.round() as i32);
            let sides = [
                Rect::new(window.x0, window.y0, mx, window.y1),
                Rect::new(mx, window.y0, window.x1, window.y1),
                Rect::new(window.x0, window.y0, window.x1, my),
                Rect::new(window.x0, my, window.x1, window.y1),
            ];
            for side in sides {
                let (sx, sy) = centre(side);
                if let Some(v) = self.matched(side, self.prior(sx, sy), 1) {
                    attempt(v);
                }
            }
        }
        attempt(prior);
        trials.push(self.tried(Warp::lattice(bounds, PRIOR_STEP, |x, y| self.prior(x, y))));
        if is_large(bounds) {
            trials.push(self.tried(self.tiled(bounds, main.unwrap_or(prior))));
        }
        trials
    }

    /// A lattice whose every node is matched on the trusted pixels around it.
    fn tiled(&self, bounds: Rect, main: Vector) -> Warp {
        Warp::lattice(bounds, NODE_STEP, |x, y| {
            let (ix, iy) = (x.round() as i32, y.round() as i32);
            for reach in [NODE_STEP, 2 * NODE_STEP, 4 * NODE_STEP] {
                let window = Rect::new(ix, iy, ix + 1, iy + 1).grown(reach);
                if self.near.trusted(window) >= 6 * FEWEST_PIXELS {
                    return self.matched(window, main, 2).unwrap_or(main);
                }
            }
            main
        })
        .steadied()
    }

    /// Tries one warp.
    pub(crate) fn tried(&self, warp: Warp) -> Trial {
        let read = |spot: &Spot| {
            let v = warp.at(spot.x, spot.y);
            let (x, y) = (spot.x as f32 + v.dx, spot.y as f32 + v.dy);
            Reader::quick(self.source.skip, x, y).map_or(f32::NAN, |r| r.read(self.source_luma))
        };
        let mut inside: Vec<f32> = self.hole.inside.iter().map(read).collect();
        let mut rest: Vec<f32> =
            self.hole.rim.iter().map(|s| self.luma.at(s.x as usize, s.y as usize) - read(s)).collect();
        let (offset, rim_error) = level(&self.hole.rim, &rest);
        for v in &mut inside {
            *v += offset;
        }
        for v in &mut rest {
            *v -= offset;
        }
        let readable = inside.iter().filter(|v| !v.is_nan()).count();
        let coverage = readable as f32 / inside.len() as f32;
        Trial { warp, inside, rest, rim_error, coverage }
    }
}

/// The robust weighted mean of the rim's differences, and the weighted mean absolute difference from it.
///
/// Two rounds of Huber weights: pixels of another layer, or of dirt nobody marked, pull the level little.
fn level(rim: &[Spot], rest: &[f32]) -> (f32, f32) {
    let mut offset = 0.0;
    let mut error = f32::INFINITY;
    for round in 0..3 {
        let (mut sum, mut total) = (0.0f32, 0.0f32);
        for (spot, &r) in rim.iter().zip(rest).filter(|(_, r)| !r.is_nan()) {
            let distance = (r - offset).abs();
            let limit = 1.5 * error.max(1.0);
            let trust = if round == 0 || distance <= limit { 1.0 } else { limit / distance };
            sum += spot.weight() * trust * r;
            total += spot.weight() * trust;
        }
        if total <= 0.0 {
            return (0.0, f32::INFINITY);
        }
        offset = sum / total;
        let (mut sum, mut total) = (0.0f32, 0.0f32);
        for (spot, &r) in rim.iter().zip(rest).filter(|(_, r)| !r.is_nan()) {
            sum += spot.weight() * (r - offset).abs();
            total += spot.weight();
        }
        error = sum / total;
    }
    (offset, error)
}
