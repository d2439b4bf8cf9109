//! Marks fixed in the gate: hairs in the camera's or the printer's gate, dirt on the scanner's glass. They stand still
//! against the frame while the picture moves, for many frames.
//!
//! What a camera recorded was scanned with the picture, so it shares the scan's weave; what lies on the scanner's glass does
//! not. Most hairs reach in from the frame's edge, as they do when they hang on the rim of a gate. Sizes and shares are
//! ours (common practice), not measured.

use super::dice::{Dice, Purpose};
use super::hair;
use super::particle;
use super::stamp::{Paint, Stamp};
use super::style::Style;

/// Share of marks that were recorded with the picture and weave with it.
const CARRIED: f32 = 0.4;
/// Share of hairs.
const HAIRS: f32 = 0.45;
/// Share of the hairs that reach in from the edge.
const FROM_EDGE: f32 = 0.65;
/// Share of marks that stay for the whole clip; the others come or go within it.
const WHOLE: f32 = 0.75;
/// Median length of a hair on a 2048 pixel wide scan, and the spread of its logarithm.
const LENGTH: (f32, f32) = (90.0, 0.6);

/// One mark of a clip, planned.
#[derive(Clone, Debug)]
pub(super) struct Fixed {
    /// First frame that shows it, and the first one that does not.
    frames: (usize, usize),
    /// Weaves with the picture.
    carried: bool,
    /// The mark's own stream of random numbers, from which every frame draws the same shape.
    stream: (u64, usize),
}

/// Plans the marks of a clip: `mean` of them on average.
pub(super) fn plan(mean: f32, frames: usize, seed: u64) -> Vec<Fixed> {
    if mean <= 0.0 {
        return Vec::new();
    }
    // Streams that no frame of any clip uses.
    let stream = |n: usize| (seed, (usize::MAX >> 6) - n);
    let (seed, first) = stream(0);
    let mut dice = Dice::new(seed, first, Purpose::Hair);
    let count = dice.poisson(mean);
    (0..count)
        .map(|n| {
            let span = if dice.chance(WHOLE) {
                (0, frames)
            } else {
                let turn = dice.below(frames.max(1));
                if dice.chance(0.5) { (0, turn) } else { (turn, frames) }
            };
            Fixed { frames: span, carried: dice.chance(CARRIED), stream: stream(n + 1) }
        })
        .collect()
}

impl Fixed {
    /// The mark on a frame whose picture weaves by `shift`; `None` on frames without it.
    pub(super) fn stamp(
        &self,
        frame: usize,
        shift: (f32, f32),
        (width, height): (usize, usize),
        scale: f32,
        style: &Style,
    ) -> Option<Stamp> {
        if !(self.frames.0..self.frames.1).contains(&frame) {
            return None;
        }
        let mut dice = Dice::new(self.stream.0, self.stream.1, Purpose::Hair);
        let dice = &mut dice;
        let (width, height) = (width as f32, height as f32);
        let moved = |(x, y): (f32, f32)| if self.carried { (x + shift.0, y + shift.1) } else { (x, y) };
        if !dice.chance(HAIRS) {
            let place = moved((dice.range(0.0, width), dice.range(0.0, height)));
            let larger = dice.range(0.9, 1.8);
            return Some(particle::particle(dice, place, (scale, larger), &style.dirt));
        }
        let paint = Paint::of_style(dice, &style.dirt);
        let (start, angle) = if dice.chance(FROM_EDGE) {
            from_edge(dice, width, height)
        } else {
            ((dice.range(0.0, width), dice.range(0.0, height)), std::f32::consts::TAU * dice.unit())
        };
        let length = (dice.log_normal(LENGTH.0, LENGTH.1) * scale).clamp(12.0, 600.0);
        let across = (dice.log_normal(3.0, 0.4) * scale.max(0.6)).clamp(1.3, 10.0);
        // In the plane of the film it is sharp; on the glass it is not.
        let soft = if self.carried { dice.range(0.6, 1.6) } else { dice.range(0.6, 3.5) };
        let more = dice.range(0.2, 1.6);
        let line = hair::curl(dice, moved(start), angle, length, more);
        Some(hair::cover(&line, across, soft, paint))
    }
}

/// A place just outside one of the four edges, and a direction that leads into the frame.
fn from_edge(dice: &mut Dice, width: f32, height: f32) -> ((f32, f32), f32) {
    use std::f32::consts::{FRAC_PI_2, PI};
    let turn = dice.range(-1.1, 1.1);
    match dice.below(4) {
        0 => ((dice.range(0.0, width), -3.0), FRAC_PI_2 + turn),
        1 => ((dice.range(0.0, width), height + 3.0), -FRAC_PI_2 + turn),
        2 => ((-3.0, dice.range(0.0, height)), turn),
        _ => ((width + 3.0, dice.range(0.0, height)), PI + turn),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const SIZE: (usize, usize) = (960, 540);

    #[test]
    fn a_mark_keeps_its_shape_and_moves_with_the_weave_only_when_it_was_recorded() {
        let marks = plan(40.0, 10, 3);
        assert!(marks.len() > 20 && marks.iter().any(|m| m.carried) && marks.iter().any(|m| !m.carried));
        let style = Style::default();
        for mark in &marks {
            let frame = mark.frames.0;
            let Some(still) = mark.stamp(frame, (0.0, 0.0), SIZE, 0.6, &style) else { continue };
            let again = mark.stamp(frame, (0.0, 0.0), SIZE, 0.6, &style).unwrap();
            let woven = mark.stamp(frame, (4.0, -3.0), SIZE, 0.6, &style).unwrap();
            assert_eq!((still.x0, still.y0, &still.cover), (again.x0, again.y0, &again.cover));
            let moved = (woven.x0 - still.x0, woven.y0 - still.y0);
            assert_eq!(moved, if mark.carried { (4, -3) } else { (0, 0) });
        }
        assert!(plan(0.0, 10, 3).is_empty());
    }

    #[test]
    fn a_hair_from_the_edge_touches_it() {
        let mut dice = Dice::new(5, 9, Purpose::Hair);
        for _ in 0..50 {
            let ((x, y), angle) = from_edge(&mut dice, 300.0, 200.0);
            let (u, v) = (x + 6.0 / 0.45 * libm::cosf(angle), y + 6.0 / 0.45 * libm::sinf(angle));
            let outside = x < 0.0 || y < 0.0 || x > 300.0 || y > 200.0;
            // No more than 1.1 radians (63 degrees) off the edge's normal, whose cosine is 0.4536.
            let inside = match () {
                () if x < 0.0 => u > 0.0,
                () if y < 0.0 => v > 0.0,
                () if x > 300.0 => u < 300.0,
                () => v < 200.0,
            };
            assert!(outside && inside, "{x} {y} {angle}");
        }
    }
}
