//! Line scratches: ploughed along the running film, so that they stand nearly upright at the same place of several frames.
//!
//! A scratch belongs to the film, not to a frame: its place, strength and gaps are functions of the position along the
//! film, counted in frames, and continue from the bottom of one frame to the top of the next.

use besom_scan::Plane;

use super::dice::{Dice, Purpose};
use super::noise;
use super::stamp::{Paint, edge};

/// Shortest and longest life in frames.
const LIFE: (f32, f32) = (4.0, 30.0);

/// One scratch.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// Position along the film, in frames, where it begins and where it ends.
    pub(super) from: f32,
    pub(super) to: f32,
    /// Column at its beginning, in pixels.
    x: f32,
    /// Steady drift in pixels a frame, and how far it wanders.
    drift: f32,
    wander: f32,
    /// Width of its core and softness of its edge in pixels.
    width: f32,
    soft: f32,
    /// Share of its length that is broken, 0..1, and whether it has a rim of the other polarity.
    broken: f32,
    rim: f32,
    paint: Paint,
    seed: u32,
}

/// How the scratches of one film differ from those of another. The default draws what the presets always drew.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineStyle {
    /// Share of scratches 6 to 30 pixels wide, on scans of any size.
    pub wide: f32,
    /// Share of scratches that slant by up to 5 degrees.
    pub slanted: f32,
    /// Share of scratches in one dye layer alone.
    pub coloured: f32,
    /// Share of scratches whose edges are soft.
    pub soft: f32,
}

impl LineStyle {
    /// A film with scratches of every sort.
    pub fn varied() -> Self {
        Self { wide: 0.25, slanted: 0.2, coloured: 0.25, soft: 0.4 }
    }
}

/// Steepest slant against the film's length: 5 degrees.
const STEEPEST: f32 = 0.0875;

/// Plans all scratches of a clip of `frames` frames, of which `alive` cross a frame on average.
pub(super) fn plan(
    alive: f32,
    frames: usize,
    (width, height): (usize, usize),
    style: &LineStyle,
    scale: f32,
    seed: u64,
) -> Vec<Line> {
    let mut dice = Dice::new(seed, 0, Purpose::Lines);
    if alive <= 0.0 {
        return Vec::new();
    }
    // Scratches that began before the clip are in it too.
    let span = frames as f32 + LIFE.1;
    let count = dice.poisson(alive * span / (0.5 * (LIFE.0 + LIFE.1))).max(1);
    let size = (width as f32, height as f32);
    (0..count).map(|_| Line::roll(&mut dice, span, size.0, scale).styled(&mut dice, style, size)).collect()
}

impl Line {
    fn roll(dice: &mut Dice, span: f32, width: f32, scale: f32) -> Self {
        let from = dice.range(0.0, span) - LIFE.1;
        let mut paint = Paint::roll(dice);
        // A scratch of the base or the emulsion is seldom quite opaque.
        paint.opacity = dice.range(0.25, 0.9);
        Self {
            from,
            to: from + dice.range(LIFE.0, LIFE.1),
            x: dice.range(0.02, 0.98) * width,
            drift: dice.normal() * 0.35 * scale.max(0.5),
            wander: dice.log_normal(2.0, 0.6) * scale.max(0.5),
            width: (dice.log_normal(2.8, 0.5) * scale).clamp(1.0, 12.0),
            soft: dice.range(0.6, 1.6),
            broken: if dice.chance(0.6) { dice.range(0.1, 0.6) } else { 0.0 },
            rim: if dice.chance(0.3) { dice.range(0.1, 0.35) } else { 0.0 },
            paint,
            seed: dice.below(1 << 24) as u32,
        }
    }

    /// The same scratch in a style; the default style takes no number from the dice.
    fn styled(mut self, dice: &mut Dice, style: &LineStyle, (width, height): (f32, f32)) -> Self {
        if dice.sometimes(style.wide) {
            self.width = 6.0 * libm::powf(5.0, dice.unit());
            self.rim = 0.0;
        }
        if dice.sometimes(style.soft) {
            self.soft = dice.range(1.2, 4.0);
        }
        if dice.sometimes(style.slanted) {
            self.drift = dice.range(-STEEPEST, STEEPEST) * height;
            // Within the picture in the middle of its life at least.
            let middle = 0.5 * (self.to - self.from);
            self.x = dice.range(0.1, 0.9) * width - self.drift * middle;
        }
        if dice.sometimes(style.coloured) {
            let keep = dice.below(3);
            self.paint.share = std::array::from_fn(|c| if c == keep { 1.0 } else { dice.range(0.0, 0.1) });
            self.paint.opacity = self.paint.opacity.max(0.4);
        }
        self
    }

    /// Column at a position along the film.
    pub(super) fn place(&self, along: f32) -> f32 {
        self.x + self.drift * (along - self.from) + self.wander * noise::along(along * 0.6, self.seed)
    }

    /// Strength at a position along the film, 0..1: gaps, and fading at both ends.
    fn strength(&self, along: f32) -> f32 {
        let ends = ((along - self.from).min(self.to - along) * 6.0).clamp(0.0, 1.0);
        if self.broken <= 0.0 || ends <= 0.0 {
            return ends;
        }
        let gaps =
            0.7 * noise::along(along * 5.0, self.seed ^ 0x55) + 0.3 * noise::along(along * 31.0, self.seed ^ 0x99);
        // Noise of this mixture stays within about 0.7 either side; `broken` cuts that share from below.
        ends * ((gaps + 0.7 - 1.4 * self.broken) * 5.0).clamp(0.0, 1.0)
    }

    /// Lays the part of the scratch that crosses a frame; as [`super::stamp::Stamp::lay`].
    pub(super) fn lay(&self, frame: usize, planes: &mut [Plane], opacity: &mut Plane) {
        let (width, height) = (opacity.width(), opacity.height());
        if self.to < frame as f32 || self.from > (frame + 1) as f32 {
            return;
        }
        let strongest = self.paint.share.iter().copied().take(planes.len()).fold(0.0, f32::max);
        let reach = 1.5 * self.width + self.soft + 2.0;
        for y in 0..height {
            let along = frame as f32 + (y as f32 + 0.5) / height as f32;
            let strength = self.strength(along) * self.paint.opacity;
            if strength <= 0.0 {
                continue;
            }
            let centre = self.place(along);
            for x in (centre - reach).max(0.0) as usize..((centre + reach).max(0.0) as usize).min(width) {
                let distance = (x as f32 - centre).abs();
                let core = strength * edge(distance - 0.5 * self.width, self.soft);
                let rim = strength * self.rim * edge((distance - self.width - 0.5).abs() - 0.5 * self.width, 1.0);
                for (channel, plane) in planes.iter_mut().enumerate() {
                    let channel = channel.min(2);
                    let (target, share) = (self.paint.target[channel], self.paint.share[channel]);
                    let under = plane.at(x, y);
                    // The ploughed-up rim refracts the other way: it takes a little of the opposite code.
                    let rimmed = under + rim * (1.0 - core) * share * (1023.0 - target - under) * 0.5;
                    plane.set(x, y, rimmed + core * share * (target - rimmed));
                }
                opacity.set(x, y, opacity.at(x, y).max(core.max(0.5 * rim) * strongest));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_varied_film_has_broad_slanted_and_coloured_scratches_and_the_default_none() {
        let size = (2048, 1556);
        let counts = |style: &LineStyle| {
            let plan = plan(4.0, 600, size, style, 1.0, 12);
            let share =
                |holds: &dyn Fn(&Line) -> bool| plan.iter().filter(|l| holds(l)).count() as f32 / plan.len() as f32;
            let coloured = |l: &Line| l.paint.share.iter().filter(|s| **s < 0.12).count() == 2;
            let angle = |l: &Line| (l.drift / size.1 as f32).atan().to_degrees();
            assert!(plan.iter().all(|l| angle(l).abs() <= 5.01 && l.width <= 30.0));
            [share(&|l| l.width > 12.0), share(&|l| angle(l).abs() > 0.5), share(&coloured)]
        };
        assert_eq!(counts(&LineStyle::default()), [0.0; 3]);
        // Of the broad ones, spread evenly over the logarithm of 6 to 30 pixels, ln(30 / 12) / ln(5) = 0.57 exceed 12.
        let [broad, slanted, coloured] = counts(&LineStyle::varied());
        assert!((broad - 0.25 * 0.57).abs() < 0.06, "broad {broad}");
        assert!((slanted - 0.2 * 0.9).abs() < 0.06, "slanted {slanted}");
        assert!((coloured - 0.25).abs() < 0.07, "coloured {coloured}");
    }
}
