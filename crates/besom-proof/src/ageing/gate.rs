//! What the camera's and the printer's gate did to the picture: weave and flicker.

use besom_motion::interpolate::cubic_weights;
use besom_scan::Plane;

use super::dice::{Dice, Purpose};
use super::noise;
use super::style::GateStyle;

/// One frame's weave and flicker.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gate {
    /// Shift of the picture in pixels: what stood at `x` stands at `x + shift.0`.
    pub shift: (f32, f32),
    /// Gain on the codes at the middle of the frame.
    pub gain: f32,
    /// Change of the gain from the middle to the right and to the lower border.
    pub tilt: (f32, f32),
    /// Turn of the picture about its middle, in radians.
    pub turn: f32,
    /// Strength of a further change of gain that varies slowly over the frame, and its pattern.
    pub swell: (f32, u32),
}

impl Gate {
    /// The gate of a frame: weave of `weave` pixels and flicker of `flicker` (0.015 is 1.5 %), both root mean square.
    pub(super) fn of_frame(weave: f32, flicker: f32, style: &GateStyle, (seed, frame): (u64, usize)) -> Self {
        let slow = Drift::new(seed);
        let mut dice = Dice::new(seed, frame, Purpose::Gate);
        // Half of the weave's variance drifts with the perforation pitch, half is new in each frame.
        let part = libm::sqrtf(0.5) * weave;
        let mut along = |drift: f32| part * drift + part * dice.normal().clamp(-3.0, 3.0);
        let shift = (along(slow.at(0, frame)), along(slow.at(1, frame)));
        // Nine tenths of the variance is common to the frame; the rest differs over it.
        let gain = 1.0 + 0.95 * flicker * dice.normal().clamp(-3.0, 3.0);
        let tilt = (0.4 * flicker * dice.normal().clamp(-2.0, 2.0), 0.4 * flicker * dice.normal().clamp(-2.0, 2.0));
        let turn = if style.turn > 0.0 { style.turn * dice.normal().clamp(-2.5, 2.5) } else { 0.0 };
        let swell = if style.swell > 0.0 { (style.swell, dice.below(1 << 24) as u32) } else { (0.0, 0) };
        Self { shift, gain, tilt, turn, swell }
    }

    /// The frame as this gate shows it.
    pub(super) fn apply(&self, planes: &[Plane]) -> Vec<Plane> {
        planes.iter().map(|plane| self.flickered(self.moved(plane))).collect()
    }

    /// The plane shifted and turned.
    fn moved(&self, plane: &Plane) -> Plane {
        if self.turn == 0.0 {
            return shifted(plane, self.shift);
        }
        let (sin, cos) = libm::sincosf(self.turn);
        let (mx, my) = (0.5 * plane.width() as f32, 0.5 * plane.height() as f32);
        Plane::from_fn(plane.width(), plane.height(), |x, y| {
            let (dx, dy) = (x as f32 - self.shift.0 - mx, y as f32 - self.shift.1 - my);
            besom_motion::interpolate::sample(plane, mx + cos * dx + sin * dy, my - sin * dx + cos * dy)
        })
    }

    fn flickered(&self, mut plane: Plane) -> Plane {
        let (width, height) = (plane.width().max(1) as f32, plane.height());
        for y in 0..height {
            let down = 2.0 * (y as f32 + 0.5) / height as f32 - 1.0;
            for (x, sample) in plane.row_mut(y).iter_mut().enumerate() {
                let right = 2.0 * (x as f32 + 0.5) / width - 1.0;
                let mut gain = self.gain + self.tilt.0 * right + self.tilt.1 * down;
                if self.swell.0 > 0.0 {
                    gain += self.swell.0 * noise::plane(1.7 * right, 1.7 * down, self.swell.1);
                }
                *sample *= gain;
            }
        }
        plane
    }
}

/// The slow part of weave: three sine waves per axis with random periods and phases, of unit variance.
struct Drift([[(f32, f32); 3]; 2]);

impl Drift {
    fn new(seed: u64) -> Self {
        // The clip's own stream: no frame has this number.
        let mut dice = Dice::new(seed, usize::MAX >> 4, Purpose::Gate);
        Self(std::array::from_fn(|_| std::array::from_fn(|_| (dice.range(5.0, 23.0), dice.unit()))))
    }

    fn at(&self, axis: usize, frame: usize) -> f32 {
        let waves = self.0[axis].iter();
        // Each sine has variance 1/2, so three of them have 3/2.
        waves.map(|(period, phase)| libm::sinf(std::f32::consts::TAU * (frame as f32 / period + phase))).sum::<f32>()
            * libm::sqrtf(2.0 / 3.0)
    }
}

/// The plane shifted by `(dx, dy)` pixels, by cubic convolution along rows and then columns; borders repeat.
fn shifted(plane: &Plane, (dx, dy): (f32, f32)) -> Plane {
    if dx == 0.0 && dy == 0.0 || plane.width() == 0 || plane.height() == 0 {
        return plane.clone();
    }
    let (fx, fy) = ((-dx).floor(), (-dy).floor());
    let (wx, wy) = (cubic_weights(-dx - fx), cubic_weights(-dy - fy));
    let (ix, iy) = (fx as i32, fy as i32);
    let (width, height) = (plane.width(), plane.height());
    let tap = |n: usize, limit: usize| n.min(limit - 1);
    let across = Plane::from_fn(width, height, |x, y| {
        let row = plane.row(y);
        (0..4).map(|i| wx[i] * row[tap((x as i32 + ix - 1 + i as i32).max(0) as usize, width)]).sum::<f32>()
    });
    let mut out = Plane::new(width, height);
    for y in 0..height {
        for (j, weight) in wy.iter().enumerate() {
            let source = tap((y as i32 + iy - 1 + j as i32).max(0) as usize, height);
            for (target, sample) in out.row_mut(y).iter_mut().zip(across.row(source)) {
                *target += weight * sample;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shift_moves_a_ramp_by_its_amount() {
        let ramp = Plane::from_fn(20, 20, |x, y| 10.0 * x as f32 + 3.0 * y as f32);
        let moved = shifted(&ramp, (0.3, -0.6));
        approx::assert_relative_eq!(moved.at(10, 10), 10.0 * 9.7 + 3.0 * 10.6, epsilon = 1e-3);
    }
}
