//! An infrared plane for an aged frame: what a scanner with a fourth sensor would see of the same film.
//!
//! Infrared is transmission, bright where it passes. The dyes of colour film let nearly all of it pass, so the plane is an
//! even ground with its own grain and a faint residue of the picture. What lies on the film blocks it. What was printed in
//! from an earlier generation is in the dyes and is not seen, and neither is a place where dye or emulsion is missing. The
//! film aged here is a positive: what lies on it is dark in the picture, so bright marks are sparkle or printed in, and some
//! of the dark ones are printed in as well. The infrared stands beside the picture by up to a pixel and is a little less
//! sharp, because a lens does not focus it at the same place.
//!
//! Shares and strengths are ours (from memory and common practice; no measured statistics could be found).

use besom_scan::Plane;

use super::dice::{Dice, Purpose};
use super::stamp::{Stamp, Way};
use super::{AgedFrame, Ageing};

/// What the picture on the film is made of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Film {
    /// Dyes that let infrared pass.
    #[default]
    Dyes,
    /// A dye set whose cyan blocks part of it: the red record shows.
    LeakingCyan,
    /// Silver, which blocks infrared as it blocks light: the picture itself shows, grain and all.
    Silver,
}

/// How a film's infrared looks.
#[derive(Clone, Debug, PartialEq)]
pub struct Infrared {
    /// What the picture is made of.
    pub film: Film,
    /// Code of clear film.
    pub level: f32,
    /// Standard deviation of its own grain, in codes.
    pub grain: f32,
    /// Displacement against the picture in pixels, in a direction that the seed chooses.
    pub displaced: f32,
    /// Standard deviation of its blur in pixels.
    pub blur: f32,
    /// Share of the dark particles and hairs that lie on the film.
    pub on_film: f32,
    /// Specks a frame that only infrared shows (dirt on its own lamp or sensor), against the particles of the picture.
    pub alone: f32,
}

impl Default for Infrared {
    fn default() -> Self {
        Self { film: Film::Dyes, level: 780.0, grain: 6.0, displaced: 0.75, blur: 0.7, on_film: 0.8, alone: 0.15 }
    }
}

/// Contrast of the picture in infrared against its contrast in the light, for red, green and blue.
const fn residue(film: Film) -> [f32; 3] {
    match film {
        Film::Dyes => [0.01, 0.005, 0.005],
        Film::LeakingCyan => [0.25, 0.01, 0.005],
        Film::Silver => [0.3, 0.3, 0.3],
    }
}

/// The clip's own seed for infrared: nothing here may share numbers with the dirt or the grain.
const SALT: u64 = 0x1F_4A_7E_D0;

impl Infrared {
    /// The infrared plane of frame `number`, which `ageing` made, in whole codes of 0..1023.
    pub fn plane(&self, ageing: &Ageing, number: usize, frame: &AgedFrame) -> Plane {
        let mut plane = self.ground(frame);
        let mut dice = Dice::new(ageing.seed ^ SALT, number, Purpose::Dust);
        for stamp in ageing.stamps(number).into_iter().flatten() {
            // Rolled for every stamp, so that one share more or less moves no other particle.
            let (lies_on_film, alone) = (dice.chance(self.on_film), dice.chance(self.alone));
            // Fibres and skin let more of it pass than grit and metal do.
            let (opaque, part) = (dice.range(30.0, 160.0), dice.range(0.3, 1.0));
            let elsewhere =
                (dice.range(0.0, plane.width() as f32) as i32, dice.range(0.0, plane.height() as f32) as i32);
            if lies_on_film && lies_on_positive(&stamp) {
                block(&mut plane, &stamp, opaque, part * stamp.paint.opacity);
            }
            if alone {
                block(&mut plane, &Stamp { x0: elsewhere.0, y0: elsewhere.1, ..stamp }, opaque, part);
            }
        }
        let turn = std::f32::consts::TAU * Dice::new(ageing.seed ^ SALT, usize::MAX >> 4, Purpose::Gate).unit();
        let (dx, dy) = (self.displaced * libm::cosf(turn), self.displaced * libm::sinf(turn));
        let mut plane = blurred(&plane, self.blur, (dx, dy));
        super::grain::add_even(&mut plane, self.grain, ageing.seed ^ SALT, number);
        plane.map(|v| v.round().clamp(0.0, 1023.0))
    }

    /// Clear film with what it shows of the picture.
    fn ground(&self, frame: &AgedFrame) -> Plane {
        let shares = residue(self.film);
        let mut plane = Plane::filled(frame.labels.width(), frame.labels.height(), self.level);
        for (channel, share) in shares.into_iter().enumerate() {
            // A grey film's one plane stands for all three.
            let Some(picture) = frame.aged.get(channel).or(frame.aged.first()) else { continue };
            // Film is a positive: where it lets no light pass, its dyes or silver are dense.
            for (ground, code) in plane.as_mut_slice().iter_mut().zip(picture.as_slice()) {
                *ground += share * (code - 1023.0).min(0.0);
            }
        }
        plane
    }
}

/// Dark in all its channels alike and covering: something that lies there, neither sparkle nor a dug-out or stained dye layer
/// nor printed in.
fn lies_on_positive(stamp: &Stamp) -> bool {
    let paint = &stamp.paint;
    paint.way == Way::Covers && paint.share == [1.0; 3] && paint.target.iter().sum::<f32>() < 3.0 * 445.0
}

/// Lays a particle on the infrared, of which it blocks a part.
fn block(plane: &mut Plane, stamp: &Stamp, opaque: f32, opacity: f32) {
    let (width, height) = (plane.width() as i32, plane.height() as i32);
    for j in (-stamp.y0).max(0)..(stamp.cover.height() as i32).min(height - stamp.y0) {
        for i in (-stamp.x0).max(0)..(stamp.cover.width() as i32).min(width - stamp.x0) {
            let part = stamp.cover.at(i as usize, j as usize) * opacity;
            let (x, y) = ((stamp.x0 + i) as usize, (stamp.y0 + j) as usize);
            let under = plane.at(x, y);
            plane.set(x, y, under + part * (opaque - under).min(0.0));
        }
    }
}

/// The plane blurred by a Gaussian and displaced; borders repeat.
fn blurred(plane: &Plane, sigma: f32, (dx, dy): (f32, f32)) -> Plane {
    let along = |plane: &Plane, shift: f32| {
        let taps = kernel(sigma, shift);
        Plane::from_fn(plane.width(), plane.height(), |x, y| {
            taps.iter().enumerate().map(|(k, tap)| tap * plane.clamped(x as i32 + k as i32 - TAPS, y as i32)).sum()
        })
    };
    let turn = |plane: &Plane| Plane::from_fn(plane.height(), plane.width(), |x, y| plane.at(y, x));
    turn(&along(&turn(&along(plane, dx)), dy))
}

/// Taps on either side of a blur.
const TAPS: i32 = 5;

/// A sampled Gaussian around `-shift`, of sum one: what stood at `x` stands at `x + shift` afterwards.
fn kernel(sigma: f32, shift: f32) -> [f32; 2 * TAPS as usize + 1] {
    // Narrower ones than this are lost between the samples.
    let sigma = sigma.max(0.4);
    let taps: [f32; 2 * TAPS as usize + 1] = std::array::from_fn(|k| {
        let away = k as f32 - TAPS as f32 + shift;
        libm::expf(-0.5 * away * away / (sigma * sigma))
    });
    let sum: f32 = taps.iter().sum();
    taps.map(|tap| tap / sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ageing::{Level, Settings};

    fn picture(width: usize, height: usize) -> Vec<Plane> {
        let code =
            |x: usize, y: usize| 420.0 + 190.0 * super::super::noise::octaves(x as f32 / 9.0, y as f32 / 8.0, 3, 5);
        vec![Plane::from_fn(width, height, code); 3]
    }

    /// Mean over the pixels that `keep` picks.
    fn mean(plane: &Plane, keep: impl Fn(usize) -> bool) -> f32 {
        let picked: Vec<f32> = plane.as_slice().iter().enumerate().filter(|(i, _)| keep(*i)).map(|(_, v)| *v).collect();
        picked.iter().sum::<f32>() / picked.len().max(1) as f32
    }

    #[test]
    fn dirt_on_the_film_blocks_it_and_printed_dirt_does_not() {
        let ageing = Ageing::new(&Settings::of(Level::Heavy), 320, 240, 4, 9).with_cloud(1);
        let frame = ageing.frame(1, &picture(320, 240));
        let film = Infrared { displaced: 0.0, alone: 0.0, ..Infrared::default() };
        let infrared = film.plane(&ageing, 1, &frame);
        let code = |i: usize| frame.aged[0].as_slice()[i];
        let thick = |i: usize| frame.opacity[0].as_slice()[i] > 0.7;
        let (dark, bright) =
            (mean(&infrared, |i| thick(i) && code(i) < 200.0), mean(&infrared, |i| thick(i) && code(i) > 700.0));
        let clear = mean(&infrared, |i| frame.opacity.iter().all(|o| o.as_slice()[i] == 0.0));
        assert!(dark < clear - 150.0 && bright > clear - 60.0, "{dark} {bright} {clear}");
        assert_eq!(film.plane(&ageing, 1, &frame), infrared);
        let none = Infrared { on_film: 0.0, ..film };
        assert!(mean(&none.plane(&ageing, 1, &frame), thick) > clear - 15.0);
    }

    #[test]
    fn silver_shows_the_picture_and_dyes_hardly_do() {
        let ageing = Ageing::new(&Settings::of(Level::Undamaged), 320, 240, 1, 9);
        let frame = ageing.frame(0, &picture(320, 240));
        let slope = |film: Film| {
            let plane = Infrared { film, ..Infrared::default() }.plane(&ageing, 0, &frame);
            let level = |bright: bool| mean(&plane, |i| (frame.aged[0].as_slice()[i] > 420.0) == bright);
            level(true) - level(false)
        };
        let light = mean(&frame.aged[0], |i| frame.aged[0].as_slice()[i] > 420.0)
            - mean(&frame.aged[0], |i| frame.aged[0].as_slice()[i] <= 420.0);
        let [dyes, leaking, silver] = [Film::Dyes, Film::LeakingCyan, Film::Silver].map(slope);
        assert!(
            dyes < 0.03 * light && leaking > 0.2 * light && silver > 0.75 * light,
            "{dyes} {leaking} {silver}: {light}"
        );
    }

    #[test]
    fn a_displacement_moves_what_lies_on_the_film() {
        let spot = Plane::from_fn(40, 40, |x, y| if x == 20 && y == 20 { 0.0 } else { 800.0 });
        let moved = blurred(&spot, 0.7, (1.0, -0.5));
        let centre = |pick: fn(usize, usize) -> usize| {
            let (mut sum, mut at) = (0.0, 0.0);
            for y in 0..40 {
                for x in 0..40 {
                    let dark = 800.0 - moved.at(x, y);
                    (sum, at) = (sum + dark, at + dark * pick(x, y) as f32);
                }
            }
            at / sum
        };
        assert!((centre(|x, _| x) - 21.0).abs() < 0.05 && (centre(|_, y| y) - 19.5).abs() < 0.05);
    }
}
