//! How a line behaves over frames: whether it keeps its place on the film or moves with the picture, and by how much it
//! slips against either.
//!
//! Where the picture moves by more than the line's width the two are told apart at a glance. In a still scene the gate's
//! unsteadiness remains: a line of the scene moves with the picture to a tenth of a pixel, a scratch by its own wander. And
//! a scratch's gaps are places on the film, which the next frame does not repeat.

use besom_motion::MotionField;
use besom_scan::Plane;

use super::shape::{Shape, row_of};
use super::strip::{Strip, median, spread};

/// Bands of one piece of a line, whose shift is measured by itself.
const PIECE: usize = 6;
/// Most bands of a line that are looked at in other frames: every second, third, ... of a longer one.
const MOST_BANDS: usize = 60;
/// Shifts searched to either side, in pixels.
const SEARCH: i32 = 4;
/// Columns beside the core that take part in the comparison.
const MARGIN: i32 = 3;
/// Strength against the current frame's from which a piece counts as found.
const FOUND: f32 = 0.4;

/// A line looked for in another frame.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Match {
    /// Share of its pieces that are there.
    pub(super) found: f32,
    /// Their mean strength against the current frame's, each 0 to 1.
    pub(super) strength: f32,
    /// Median shift of the pieces found, in pixels; 0 when none is.
    pub(super) shift: f32,
    /// How unlike their shifts are, in pixels.
    pub(super) spread: f32,
    /// Correlation of the bands' contrasts with the current frame's.
    pub(super) pattern: f32,
}

/// A piece's zero-mean profile in the current frame.
struct Piece {
    /// Places among the bands looked at.
    bands: Vec<usize>,
    template: Vec<f32>,
    energy: f32,
}

/// The pieces of a line, and what a search in other frames needs.
pub(super) struct Search<'a> {
    shape: &'a Shape,
    /// The bands that are looked at.
    picked: Vec<usize>,
    pieces: Vec<Piece>,
    first: i32,
}

impl<'a> Search<'a> {
    pub(super) fn new(shape: &'a Shape, current: &[Plane]) -> Self {
        let (first, last) = (shape.parts.core.0 - MARGIN, shape.parts.core.1 + MARGIN);
        let reach = first.abs().max(last.abs()) as usize;
        let step = shape.path.len().div_ceil(MOST_BANDS);
        let picked: Vec<usize> = (0..shape.path.len()).step_by(step).collect();
        let places = picked.iter().map(|k| (shape.path.centres[*k], (shape.path.first + k) as f32));
        let strip = Strip::take(current, &shape.weights, places, reach);
        let mut pieces = Vec::new();
        for start in (0..picked.len()).step_by(PIECE) {
            let end = (start + PIECE).min(picked.len());
            let bands: Vec<usize> = (start..end).filter(|i| shape.strong(picked[*i])).collect();
            if bands.len() * 2 < PIECE {
                continue;
            }
            let mut template: Vec<f32> = (first..=last).map(|i| mean_at(&strip, &bands, i)).collect();
            let mean = template.iter().sum::<f32>() / template.len() as f32;
            for v in &mut template {
                *v -= mean;
            }
            let energy = template.iter().map(|v| v * v).sum::<f32>();
            if energy > 0.0 {
                pieces.push(Piece { bands, template, energy });
            }
        }
        Self { shape, picked, pieces, first }
    }

    /// Looks for the line in another frame, where each band is expected at its centre plus `offset` (pixels, rows).
    pub(super) fn look(&self, other: &[Plane], offset: impl Fn(f32, f32) -> (f32, f32)) -> Match {
        if self.pieces.is_empty() {
            return Match::default();
        }
        let path = &self.shape.path;
        let parts = &self.shape.parts;
        let reach = (self.first.abs().max(parts.core.1 + MARGIN).max(parts.reach()) + SEARCH) as usize;
        let places = self.picked.iter().map(|k| {
            let x = path.centres[*k];
            let (dx, dy) = offset(x, row_of(path.first + k));
            (x + dx, (path.first + k) as f32 + dy / super::bands::BAND as f32)
        });
        let strip = Strip::take(other, &self.shape.weights, places, reach);
        let results: Vec<(f32, f32)> = self.pieces.iter().map(|p| self.compare(p, &strip)).collect();
        let shifts: Vec<f32> = results.iter().filter(|r| r.1 >= FOUND).map(|r| r.0).collect();
        let count = results.len() as f32;
        let shift = median(&mut shifts.clone());
        Match {
            found: shifts.len() as f32 / count,
            strength: results.iter().map(|r| r.1.clamp(0.0, 1.0)).sum::<f32>() / count,
            shift,
            spread: spread(&shifts),
            pattern: self.pattern(&strip, shift),
        }
    }

    /// The shift of a piece in another frame's strip, and its strength there.
    fn compare(&self, piece: &Piece, strip: &Strip) -> (f32, f32) {
        let size = piece.template.len() as i32;
        let profile: Vec<f32> =
            (self.first - SEARCH..self.first + size + SEARCH).map(|i| mean_at(strip, &piece.bands, i)).collect();
        let score = |s: usize| profile[s..].iter().zip(&piece.template).map(|(p, t)| p * t).sum::<f32>() / piece.energy;
        let scores: Vec<f32> = (0..=2 * SEARCH as usize).map(score).collect();
        let best = (0..scores.len()).max_by(|a, b| scores[*a].total_cmp(&scores[*b])).unwrap_or(0);
        let mut shift = best as f32 - SEARCH as f32;
        if best > 0 && best + 1 < scores.len() {
            let bend = scores[best - 1] - 2.0 * scores[best] + scores[best + 1];
            if bend < 0.0 {
                shift += (0.5 * (scores[best - 1] - scores[best + 1]) / bend).clamp(-0.5, 0.5);
            }
        }
        (shift, scores[best])
    }

    fn pattern(&self, strip: &Strip, shift: f32) -> f32 {
        let shift = shift.round() as i32;
        let pairs: Vec<(f32, f32)> = self
            .picked
            .iter()
            .enumerate()
            .map(|(i, k)| (self.shape.bands[*k].contrast(), self.shape.parts.read(strip, i, shift).contrast()))
            .collect();
        correlation(&pairs)
    }
}

fn mean_at(strip: &Strip, bands: &[usize], offset: i32) -> f32 {
    let at = (offset + strip.reach as i32) as usize;
    bands.iter().map(|k| strip.band(*k)[at]).sum::<f32>() / bands.len() as f32
}

/// The correlation of pairs; 0 when either side does not vary.
pub(super) fn correlation(pairs: &[(f32, f32)]) -> f32 {
    let n = pairs.len().max(1) as f32;
    let (a, b) = pairs.iter().fold((0.0, 0.0), |(a, b), p| (a + p.0, b + p.1));
    let (a, b) = (a / n, b / n);
    let (mut aa, mut bb, mut ab) = (0.0f32, 0.0f32, 0.0f32);
    for (x, y) in pairs {
        aa += (x - a) * (x - a);
        bb += (y - b) * (y - b);
        ab += (x - a) * (y - b);
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

/// Distance from the line's edge at which the picture's motion is read, in pixels: nearer, the search for motion holds on to
/// the line itself.
pub(super) const BESIDE: f32 = 24.0;

/// A line against one neighbour.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Against {
    /// At its place on the film.
    pub(super) stays: Match,
    /// Where the picture went.
    pub(super) moves: Match,
}

impl Search<'_> {
    /// Looks for the line in a frame to which the picture moves by `field`; `slope` is the line's own, in
    /// pixels a row: a slanted scratch continues where it left the frame.
    pub(super) fn against(
        &self,
        other: &[Plane],
        field: &MotionField,
        (width, height): (f32, f32),
        slope: f32,
    ) -> Against {
        let beside = 0.5 * self.shape.width() + BESIDE;
        let [left, right] = [-beside, beside].map(|aside| {
            self.look(other, |x, y| {
                let v = field.at((x + aside).clamp(0.0, width), y);
                (v.dx, v.dy)
            })
        });
        // At an object's border the picture moves in two ways; a line of the scene moves in one of them.
        let left_fits = left.found > right.found + 0.2
            || (left.found > right.found - 0.2 && left.shift.abs() + left.spread <= right.shift.abs() + right.spread);
        let moves = if left_fits { left } else { right };
        let mut stays = self.look(other, |_, _| (0.0, 0.0));
        let frame = slope * height;
        if frame.abs() > 3.0 {
            for step in [frame, -frame] {
                let further = self.look(other, |_, _| (step, 0.0));
                if further.strength > stays.strength {
                    stays = further;
                }
            }
        }
        Against { stays, moves }
    }
}
