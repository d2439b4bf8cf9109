//! A piece of dirt as it lies on one frame: an opacity map with a colour.

use besom_scan::Plane;

use super::dice::Dice;
use super::noise;
use super::picture::blurred;
use super::style::DirtStyle;

/// What a piece of dirt does to the codes beneath it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Paint {
    /// The code the dirt itself shows in red, green, blue.
    pub(super) target: [f32; 3],
    /// Its opacity in each channel against the opacity map, 0..1: below 1 for dirt that is tinted.
    pub(super) share: [f32; 3],
    /// Opacity of the whole piece, 0..1.
    pub(super) opacity: f32,
    /// How it changes what lies beneath.
    pub(super) way: Way,
    /// Opacity of a rim of the other polarity, 0..1.
    pub(super) halo: f32,
    /// Largest change of its code within the piece, and the pattern.
    pub(super) mottle: (f32, u32),
}

/// How dirt changes what lies beneath.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Way {
    /// It covers picture and grain.
    Covers,
    /// It adds density, or takes some: this many codes at full coverage, and the picture's detail stays.
    Shifts(f32),
    /// It was printed in from an earlier film: blurred by this many pixels, and the print's own grain lies over it.
    Printed(f32),
}

impl Paint {
    /// A third of all dirt lets the picture through (opacity 0.15 to 0.6); half of it is dark, half bright; some is tinted.
    pub(super) fn roll(dice: &mut Dice) -> Self {
        Self::of_style(dice, &DirtStyle::default())
    }

    /// The same in a style. What the default style does without takes no number from the dice.
    pub(super) fn of_style(dice: &mut Dice, style: &DirtStyle) -> Self {
        let (low, high) = if dice.chance(style.thin) { style.thin_opacity } else { style.full_opacity };
        let opacity = dice.range(low, high);
        let bright = dice.chance(style.bright);
        let base = if bright { dice.range(700.0, 1010.0) } else { dice.range(15.0, 190.0) };
        let (target, share) = tinted(dice, base, style.tinted);
        let mut paint = Self { target, share, opacity, way: Way::Covers, halo: 0.0, mottle: (0.0, 0) };
        if dice.sometimes(style.dense) {
            let amount = 70.0 * libm::powf(6.0, dice.unit());
            paint.opacity = (amount / 420.0).clamp(0.25, 1.0);
            paint.way = Way::Shifts(if bright { amount } else { -amount } / paint.opacity);
        } else if dice.sometimes(style.printed) {
            paint.way = Way::Printed(dice.range(0.6, 1.8));
        }
        if dice.sometimes(style.halo) {
            paint.halo = dice.range(0.15, 0.8);
        }
        if style.mottle > 0.0 {
            paint.mottle = (style.mottle * dice.unit(), dice.below(1 << 24) as u32);
        }
        paint
    }

    /// What a channel's code becomes under a part of the piece; `bare` is the code without the film's own grain.
    fn over(&self, channel: usize, part: f32, (under, bare): (f32, f32), mottle: f32) -> f32 {
        match self.way {
            Way::Covers => under + part * (self.target[channel] + mottle - under),
            Way::Shifts(codes) => under + part * (codes + 0.3 * mottle),
            Way::Printed(_) => under + part * (self.target[channel] + mottle - bare),
        }
    }

    /// True when the dirt is brighter than middle grey.
    #[cfg(test)]
    pub(super) fn is_bright(&self) -> bool {
        self.target.iter().sum::<f32>() > 3.0 * 445.0
    }
}

/// The codes and shares of the channels of dirt with a base code.
fn tinted(dice: &mut Dice, base: f32, chance: f32) -> ([f32; 3], [f32; 3]) {
    let mut target = [base; 3];
    let mut share = [1.0; 3];
    if dice.chance(chance) {
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
    (target.map(|code| code.clamp(0.0, 1023.0)), share)
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

    /// The same with `by` empty pixels around the map.
    fn widened(&self, by: i32) -> Self {
        let (width, height) = (self.cover.width() as i32 + 2 * by, self.cover.height() as i32 + 2 * by);
        let cover = Plane::from_fn(width as usize, height as usize, |i, j| {
            self.cover.get(i as i32 - by, j as i32 - by).unwrap_or(0.0)
        });
        Self { x0: self.x0 - by, y0: self.y0 - by, cover, paint: self.paint }
    }

    /// Lays the piece on the frame and notes its opacity (in the channel where it is strongest) in `opacity`. `bare` is the
    /// frame without grain, which only printed-in dirt asks for.
    pub(super) fn lay(&self, planes: &mut [Plane], bare: Option<&[Plane]>, opacity: &mut Plane) {
        if let Way::Printed(blur) = self.paint.way {
            let mut wide = self.widened((3.0 * blur).ceil() as i32 + 1);
            wide.cover = blurred(&wide.cover, blur);
            wide.place(planes, bare, opacity);
        } else if self.paint.halo > 0.0 {
            self.widened(5).place(planes, bare, opacity);
        } else {
            self.place(planes, bare, opacity);
        }
    }

    fn place(&self, planes: &mut [Plane], bare: Option<&[Plane]>, opacity: &mut Plane) {
        let (width, height) = (opacity.width() as i32, opacity.height() as i32);
        let strongest = self.paint.share.iter().copied().take(planes.len()).fold(0.0, f32::max);
        let rim = (self.paint.halo > 0.0).then(|| blurred(&self.cover, 1.3));
        for j in (-self.y0).max(0)..(self.cover.height() as i32).min(height - self.y0) {
            for i in (-self.x0).max(0)..(self.cover.width() as i32).min(width - self.x0) {
                let full = self.cover.at(i as usize, j as usize);
                let cover = full * self.paint.opacity;
                // Light bent past the edge: strongest just outside of it, where coverage has fallen and its blur has not.
                let bent = rim.as_ref().map_or(0.0, |rim| {
                    let outside = rim.at(i as usize, j as usize) * (1.0 - full);
                    (2.5 * outside).min(1.0) * self.paint.halo * self.paint.opacity
                });
                if cover <= 0.0 && bent <= 0.01 {
                    continue;
                }
                let (x, y) = ((self.x0 + i) as usize, (self.y0 + j) as usize);
                let mottle = self.mottle(x, y);
                for (channel, plane) in planes.iter_mut().enumerate() {
                    let kind = channel.min(2);
                    let part = cover * self.paint.share[kind];
                    let mut under = plane.at(x, y);
                    if bent > 0.01 {
                        under += bent * self.paint.share[kind] * (1023.0 - self.paint.target[kind] - under);
                    }
                    let bare = bare.map_or(under, |planes| planes[channel].at(x, y));
                    plane.set(x, y, self.paint.over(kind, part, (under, bare), mottle));
                }
                opacity.set(x, y, opacity.at(x, y).max(cover.max(bent) * strongest));
            }
        }
    }

    /// What the piece's code differs by at a pixel.
    fn mottle(&self, x: usize, y: usize) -> f32 {
        let (strength, seed) = self.paint.mottle;
        if strength > 0.0 { strength * noise::octaves(x as f32 / 2.7, y as f32 / 2.7, 2, seed) } else { 0.0 }
    }
}

/// Coverage of a pixel whose centre is `distance` pixels outside (negative: inside) an edge that is `soft` pixels wide.
#[inline]
pub(super) fn edge(distance: f32, soft: f32) -> f32 {
    let t = (0.5 - distance / soft.max(0.5)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
