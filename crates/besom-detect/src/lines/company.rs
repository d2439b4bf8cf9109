//! What other lines stand in a line's column: in its own frame, and in the frames around at its place on the film.
//!
//! A scratch lasts for many frames, drifts little from one to the next, and keeps its width and its colour. Where it is
//! faint in one frame it may be plain in another. What belongs to the picture has company too while the picture stands still;
//! where the picture moves, its company is where the picture went.

use std::borrow::Cow;

use rayon::prelude::*;

use super::Evened;
use super::alike;
use super::column::Column;
use super::shape::{Shape, row_of};
use crate::detect::Around;

/// Pixels by which a companion may lie beside the column besides what it wanders.
const BESIDE: f32 = 2.0;
/// How far a scratch wanders from one frame to the next on a 2K scan, in pixels.
const WANDER: f32 = 4.0;
/// Bands of a line from which its slope is known and followed along the film.
const SLOPE_KNOWN: usize = 24;

/// The lines that the frames of a window show, each frame by itself.
pub(super) struct Companions<'a> {
    frames: Vec<Frame<'a>>,
}

struct Frame<'a> {
    lines: Cow<'a, [Shape]>,
    /// Frames from the current one: negative before it.
    distance: f32,
    /// The neighbour whose motion it shares.
    side: usize,
}

/// What one of the frames around has at a line's place on the film.
#[derive(Clone, Debug, PartialEq)]
pub struct Companion {
    /// Whether the frame is next to the line's own.
    pub next: bool,
    /// The strongest line there that is like it, by the first [`super::ALONE`] of [`super::NAMES`]; `None` without any.
    pub values: Option<Vec<f32>>,
}

/// The best of a frame's lines at a place.
#[derive(Clone, Copy, Debug)]
struct Found {
    /// Its place among them.
    line: usize,
    /// The logarithm of one more than its gain.
    gain: f32,
    /// Pixels from the place.
    offset: f32,
    /// How unlike the widths are: the logarithm of their ratio, at least 0.
    width: f32,
    /// How like the colours are, of either polarity: 0 to 1.
    colour: f32,
}

impl<'a> Companions<'a> {
    /// Those of the frames around a frame.
    pub(super) fn of(around: &Around<'a>, evened: &Evened) -> Self {
        let [(a, _), (b, _)] = around.sides;
        let places = if around.one_sided { [1.0, 2.0] } else { [-1.0, 1.0] };
        let sides = [Some((a, places[0], 0)), (!std::ptr::eq(a, b)).then_some((b, places[1], 1))];
        let witnesses = around.witnesses.iter().zip([(-2.0, 0), (2.0, 1)]);
        let frames: Vec<_> =
            sides.into_iter().chain(witnesses.map(|(w, (d, side))| w.map(|w| (w, d, side)))).flatten().collect();
        let look = |(frame, distance, side): &(&'a crate::prepare::Prepared, f32, usize)| Frame {
            lines: frame.lines(evened),
            distance: *distance,
            side: *side,
        };
        Self { frames: frames.par_iter().map(look).collect() }
    }

    /// How many frames there are.
    pub(super) fn frames(&self) -> usize {
        self.frames.len()
    }

    /// All their lines, each with the place of its frame among them.
    pub(super) fn lines(&self) -> impl Iterator<Item = (usize, &Shape)> {
        self.frames.iter().enumerate().flat_map(|(k, frame)| frame.lines.iter().map(move |line| (k, line)))
    }

    /// How many of the frames other than the line's own have a line like it where it stands.
    pub(super) fn others_with(&self, own: usize, line: &Shape, width: usize) -> usize {
        let Some(distance) = self.frames.get(own).map(|frame| frame.distance) else { return 0 };
        let (offset, slope) = line.path.line();
        let steep = slope * super::BAND as f32;
        let slope = if line.path.len() < SLOPE_KNOWN { 0.0 } else { steep };
        let middle = 0.5 * (line.path.len() - 1) as f32;
        let at = |band: usize| {
            let from = band as f32 - line.path.first as f32;
            std::iter::once(offset + steep * middle + slope * (from - middle))
        };
        let others = self.frames.iter().enumerate().filter(|(k, frame)| {
            *k != own && best(line, &frame.lines, reach((frame.distance - distance).abs(), width), at).is_some()
        });
        others.count()
    }

    /// The company of a line among `here`, the lines of its own frame: see the names that begin with `company` in
    /// [`super::NAMES`].
    pub(super) fn measure(
        &self,
        shape: &Shape,
        column: &Column,
        around: &Around,
        here: &[Shape],
    ) -> ([f32; 11], Vec<Companion>) {
        let (width, height) = (around.current.width() as f32, around.current.height() as f32);
        let slope = if shape.path.len() < SLOPE_KNOWN { 0.0 } else { shape.path.line().1 };
        let (mut stays, mut moves, mut sides) = (Vec::new(), Vec::new(), Vec::new());
        let mut found: Vec<(f32, Found)> = Vec::new();
        let mut companions = Vec::new();
        for frame in &self.frames {
            let distance = frame.distance.abs();
            let reach = reach(distance, around.current.width());
            let onward = slope * height * frame.distance;
            let beside = 0.5 * shape.width() + super::behaviour::BESIDE;
            let field = &around.sides[frame.side].1;
            // The picture goes on beyond the neighbour as it went so far.
            let frames = if around.one_sided { 1.0 } else { distance };
            let moved = |x: f32, y: f32| {
                let at = |x: f32| field.at(x.clamp(0.0, width), y).dx;
                0.5 * frames * (at(x - beside) + at(x + beside))
            };
            let there = best(shape, &frame.lines, reach, |band| {
                let x = column.centre(band);
                let upright = std::iter::once(x);
                // The order of the frames is not known of a line that is looked at from one side only.
                upright.chain((onward.abs() > 3.0).then_some([x + onward, x - onward]).into_iter().flatten())
            });
            let went = best(shape, &frame.lines, reach, |band| {
                let x = column.centre(band);
                std::iter::once(x + moved(x, row_of(band)))
            });
            stays.push(there.map_or(0.0, |f| f.gain));
            moves.push(went.map_or(0.0, |f| f.gain));
            if distance < 1.5 {
                sides.push(there.map_or(0.0, |f| f.gain));
            }
            found.extend(there.map(|f| (frame.distance, f)));
            let values = there.map(|f| frame.lines[f.line].alone.clone());
            companions.push(Companion { next: distance < 1.5, values });
        }
        let mean = |values: &[f32]| values.iter().sum::<f32>() / values.len() as f32;
        let of_found = |f: &dyn Fn(&Found) -> f32| mean(&found.iter().map(|(_, found)| f(found)).collect::<Vec<_>>());
        // Through the line itself: pixels a frame, and what is left.
        let (drift, left) = steady(&found);
        let measured = [
            mean(&stays),
            stays.iter().copied().fold(f32::NEG_INFINITY, f32::max),
            stays.iter().copied().fold(f32::INFINITY, f32::min),
            mean(&sides),
            found.len() as f32 / self.frames.len().max(1) as f32,
            mean(&stays) - mean(&moves),
            drift.abs(),
            left,
            of_found(&|f| f.width),
            of_found(&|f| f.colour),
            beside_in_column(shape, column, here),
        ];
        (measured, companions)
    }
}

/// How far a scratch may stand from its place `frames` frames away on a scan of `width` columns, in pixels.
pub(super) fn reach(frames: f32, width: usize) -> f32 {
    BESIDE + WANDER * (width as f32 / 2048.0).clamp(0.5, 1.0) * frames
}

/// The strongest of `lines` that is like the line and lies within `reach` pixels of one of its `places` in a band.
fn best<I: Iterator<Item = f32>>(
    shape: &Shape,
    lines: &[Shape],
    reach: f32,
    places: impl Fn(usize) -> I,
) -> Option<Found> {
    let mut strongest: Option<Found> = None;
    for (index, line) in lines.iter().enumerate().filter(|(_, line)| alike(shape.width(), line.width())) {
        let k = line.path.len() / 2;
        let centre = line.path.centres[k];
        let nearest = places(line.path.first + k).map(|x| centre - x).min_by(|a, b| a.abs().total_cmp(&b.abs()));
        let Some(offset) = nearest.filter(|offset| offset.abs() <= reach + 0.25 * shape.width()) else { continue };
        let gain = libm::log1pf(line.track.gain.max(0.0));
        if strongest.is_none_or(|s| gain > s.gain) {
            let width = libm::logf(line.width().max(0.5) / shape.width().max(0.5)).abs();
            strongest = Some(Found { line: index, gain, offset, width, colour: colour(shape, line) });
        }
    }
    strongest
}

/// The cosine between the channels' contrasts, whatever its sign.
fn colour(a: &Shape, b: &Shape) -> f32 {
    a.weights.iter().zip(&b.weights).map(|(a, b)| a * b).sum::<f32>().abs()
}

/// The steady drift of companions through the line's own place, in pixels a frame, and the mean distance from it; not a number
/// where fewer than two frames have one.
fn steady(found: &[(f32, Found)]) -> (f32, f32) {
    if found.len() < 2 {
        return (f32::NAN, f32::NAN);
    }
    let (dd, dx) = found.iter().fold((0.0, 0.0), |(dd, dx), (d, f)| (dd + d * d, dx + d * f.offset));
    let drift = dx / dd;
    let left = found.iter().map(|(d, f)| (f.offset - drift * d).abs()).sum::<f32>() / found.len() as f32;
    (drift, left)
}

/// The strongest other line of the same frame in the line's column, above or below it.
fn beside_in_column(shape: &Shape, column: &Column, here: &[Shape]) -> f32 {
    let (first, end) = (shape.path.first, shape.path.first + shape.path.len());
    let apart = |line: &&Shape| {
        let k = line.path.len() / 2;
        let middle = line.path.first + k;
        let away = line.path.centres[k] - column.centre(middle);
        (middle < first || middle >= end)
            && away.abs() <= BESIDE + 0.25 * shape.width()
            && alike(shape.width(), line.width())
    };
    here.iter().filter(apart).map(|line| libm::log1pf(line.track.gain.max(0.0))).fold(0.0, f32::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(distance: f32, offset: f32) -> (f32, Found) {
        (distance, Found { line: 0, gain: 3.0, offset, width: 0.0, colour: 1.0 })
    }

    #[test]
    fn a_steady_drift_leaves_nothing_and_a_jump_does() {
        let (drift, left) = steady(&[at(-2.0, -3.0), at(-1.0, -1.5), at(1.0, 1.5), at(2.0, 3.0)]);
        assert!((drift - 1.5).abs() < 1e-6 && left < 1e-6);
        // Worked out by hand: as far to the right before as after, no line through the middle fits.
        let (drift, left) = steady(&[at(-1.0, 2.0), at(1.0, 2.0)]);
        assert!(drift.abs() < 1e-6 && (left - 2.0).abs() < 1e-6);
        assert!(steady(&[at(1.0, 2.0)]).0.is_nan(), "one frame has no drift");
    }

    #[test]
    fn small_scans_are_given_half_the_reach_of_a_2k_scan_at_least() {
        assert!((reach(1.0, 2048) - 6.0).abs() < 1e-6);
        assert!((reach(2.0, 640) - 6.0).abs() < 1e-6);
    }
}
