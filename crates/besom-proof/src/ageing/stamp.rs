//! A piece of dirt as it lies on one frame: an opacity map with a colour.

use besom_scan::Plane;

use super::dice::Dice;

/// What a piece of dirt does to the codes beneath it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Paint {
    /// The code the dirt itself shows in red, green, blue.
    pub(super) target: [f32; 3],
    /// Its opacity in each channel against the opacity map, 0..1: below 1 for dirt that is tinted.
    pub(super) share: [f32; 3],
    /// Opacity of the whole piece, 0..1.
    pub(super) opacity: f32,
}

impl Paint {
    /// A third of all dirt lets the picture through (opacity 0.15 to 0.6); half of it is dark, half bright; some is tinted.
    pub(super) fn roll(dice: &mut Dice) -> Self {
        let opacity = if dice.chance(1.0 / 3.0) { dice.range(0.15, 0.6) } else { dice.range(0.75, 1.0) };
        let bright = dice.chance(0.5);
        let base = if bright { dice.range(700.0, 1010.0) } else { dice.range(15.0, 190.0) };
        let mut target = [base; 3];
        let mut share = [1.0; 3];
        if dice.chance(0.22) {
            if dice.chance(0.5) {
                // A dug-out or stained dye layer: one or two channels carry it.
                let keep = dice.below(3);
                for (channel, share) in share.iter_mut().enumerate() {
                    *share = if channel == keep { 1.0 } else { dice.range(0.15, 0.8) };
                }
            } else {
                target = target.map(|code| code + 60.0 * dice.normal());
            }
        }
        Self { target: target.map(|code| code.clamp(0.0, 1023.0)), share, opacity }
    }

    /// True when the dirt is brighter than middle grey.
    #[cfg(test)]
    pub(super) fn is_bright(&self) -> bool {
        self.target.iter().sum::<f32>() > 3.0 * 445.0
    }
}

/// A piece of dirt, placed.
#[derive(Clone, Debug)]
pub(super) struct Stamp {
    /// Column of the map's left border in the frame; may be outside.
    pub(super) x0: i32,
    /// Row of the map's upper border in the frame; may be outside.
    pub(super) y0: i32,
    /// Coverage of each pixel, 0..1, before `paint.opacity`.
    pub(super) cover: Plane,
    /// Colour and opacity.
    pub(super) paint: Paint,
}

impl Stamp {
    /// A map of the pixels within `reach` of `(x, y)`, filled by the coverage of each pixel's centre.
    pub(super) fn around(
        x: f32,
        y: f32,
        reach: (f32, f32),
        paint: Paint,
        mut cover: impl FnMut(f32, f32) -> f32,
    ) -> Self {
        let (x0, y0) = ((x - reach.0).floor() as i32 - 1, (y - reach.1).floor() as i32 - 1);
        let (x1, y1) = ((x + reach.0).ceil() as i32 + 2, (y + reach.1).ceil() as i32 + 2);
        let map = Plane::from_fn((x1 - x0) as usize, (y1 - y0) as usize, |i, j| {
            cover((x0 + i as i32) as f32, (y0 + j as i32) as f32).clamp(0.0, 1.0)
        });
        Self { x0, y0, cover: map, paint }
    }

    /// Lays the piece on the frame and notes its opacity (in the channel where it is strongest) in `opacity`.
    pub(super) fn lay(&self, planes: &mut [Plane], opacity: &mut Plane) {
        let (width, height) = (opacity.width() as i32, opacity.height() as i32);
        let strongest = self.paint.share.iter().copied().take(planes.len()).fold(0.0, f32::max);
        for j in (-self.y0).max(0)..(self.cover.height() as i32).min(height - self.y0) {
            for i in (-self.x0).max(0)..(self.cover.width() as i32).min(width - self.x0) {
                let cover = self.cover.at(i as usize, j as usize) * self.paint.opacity;
                if cover <= 0.0 {
                    continue;
                }
                let (x, y) = ((self.x0 + i) as usize, (self.y0 + j) as usize);
                for (channel, plane) in planes.iter_mut().enumerate() {
                    let part = cover * self.paint.share[channel.min(2)];
                    let under = plane.at(x, y);
                    plane.set(x, y, under + part * (self.paint.target[channel.min(2)] - under));
                }
                opacity.set(x, y, opacity.at(x, y).max(cover * strongest));
            }
        }
    }
}

/// Coverage of a pixel whose centre is `distance` pixels outside (negative: inside) an edge that is `soft` pixels wide.
#[inline]
pub(super) fn edge(distance: f32, soft: f32) -> f32 {
    let t = (0.5 - distance / soft.max(0.5)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
