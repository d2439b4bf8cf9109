//! The light from the landing at dusk: calm gradients, a beam that sweeps the haze, gulls that are dark specks.

use std::f32::consts::TAU;

use super::paint::{Light, Point, Rgb, Scene, bell, boxed, handheld, ink, mix, plus, rough, scale, segment, step};
use super::sky_sea::{Sea, Sky};
use crate::ageing::noise;

/// The tower on its point.
pub(super) struct Dusk {
    sky: Sky,
    sea: Sea,
    seed: u32,
}

const HORIZON: f32 = 0.42;
const TOWER: f32 = 0.36;

impl Dusk {
    pub(super) fn new(seed: u32) -> Self {
        let sky = Sky {
            colours: [ink(0.24, 0.31, 0.41), ink(0.46, 0.48, 0.53), ink(0.86, 0.66, 0.47)],
            sun: (-0.85, 0.50),
            sunlight: [1.25, 0.78, 0.47],
            shade: ink(0.31, 0.33, 0.40),
            cover: 0.50,
            seed: seed + 7,
        };
        let sea = Sea { horizon: HORIZON, deep: ink(0.13, 0.17, 0.21), chop: 0.55, glitter: 0.22, seed: seed + 60 };
        Self { sky, sea, seed }
    }
}

impl Scene for Dusk {
    fn light(&self, point: Point, time: f32) -> Light {
        let sway = handheld(time, 0.003, self.seed);
        let p = (point.0 + sway.0, point.1 + sway.1 + 0.03 * time - 0.04);
        let beam = self.beam(p, time);
        if let Some(rgb) = self.tower(p, time).or_else(|| self.land(p)) {
            return plus(rgb, scale([1.0, 0.85, 0.6], 0.2 * beam)).into();
        }
        if p.1 > HORIZON {
            let (rgb, glint) = self.sea.light(p, &self.sky, time);
            return Light { rgb, belongs: glint };
        }
        let sky = plus(self.sky.light(p, HORIZON, time), scale([1.0, 0.86, 0.62], beam));
        let gull = gulls(p, time);
        Light { rgb: mix(sky, ink(0.20, 0.20, 0.23), 0.85 * gull), belongs: gull }
    }
}

impl Dusk {
    fn tower(&self, p: Point, time: f32) -> Option<Rgb> {
        let (x, y) = (p.0 - TOWER, p.1);
        let rise = ((0.34 - y) / 0.92).clamp(0.0, 1.0);
        let half = 0.128 - 0.050 * rise + 0.045 * bell(1.0 - rise, 0.03) + 0.03 * bell(rise, 0.06);
        let lamp = lamp(time);
        if boxed((x, y), (0.0, -0.70), (0.058, 0.060)) < 0.0 {
            let bar = step(0.010, 0.004, ((x * 27.0 + 0.5).fract().rem_euclid(1.0) - 0.5).abs() / 27.0);
            let flame =
                0.9 + 5.0 * lamp * bell(x, 0.03) * bell(y + 0.70, 0.035) + 1.2 * bell(x, 0.04) * bell(y + 0.70, 0.05);
            return Some(scale([1.0, 0.74, 0.40], flame * (1.0 - 0.7 * bar)));
        }
        let roof = y < -0.755 && y > -0.86 && x.abs() < 0.075 * (1.0 - libm::powf((-0.755 - y) / 0.105, 1.6));
        let vane = segment((x, y), (0.0, -0.85), (0.0, -0.94)).0 < 0.005;
        let gallery = boxed((x, y), (0.0, -0.612), (0.125, 0.014)) < 0.0;
        let rail = (boxed((x, y), (0.0, -0.655), (0.122, 0.003)) < 0.0)
            || (x.abs() < 0.122
                && (-0.655..-0.61).contains(&y)
                && ((x * 40.0).fract().rem_euclid(1.0) - 0.5).abs() < 0.09);
        if roof || vane || gallery || rail {
            return Some(mix(ink(0.23, 0.24, 0.27), ink(0.60, 0.46, 0.36), 0.6 * step(0.0, -0.10, x)));
        }
        if !(-0.60..0.36).contains(&y) || x.abs() > half {
            return None;
        }
        Some(self.masonry(x / half, y, rise))
    }

    /// Whitewashed courses with one broad band, lit by the afterglow from the left.
    fn masonry(&self, across: f32, y: f32, rise: f32) -> Rgb {
        let angle = libm::asinf(across.clamp(-0.999, 0.999));
        let band = step(0.44, 0.447, rise) * step(0.70, 0.693, rise);
        let paint = mix(ink(0.77, 0.75, 0.71), ink(0.50, 0.215, 0.18), band);
        let course = ((y + 2.0) * 27.0).fract();
        let joint = 0.07 * step(0.14, 0.04, course.min(1.0 - course));
        let worn = 0.17 * rough(angle * 2.5, y * 12.0, self.seed + 2)
            + 0.12 * noise::plane(angle * 9.0, y * 2.0, self.seed + 3);
        let glow = step(0.9, -1.2, angle);
        let side = mix(ink(0.38, 0.41, 0.49), [1.02, 0.74, 0.52], glow);
        let lit: Rgb = std::array::from_fn(|c| paint[c] * side[c] * (0.9 + worn - joint));
        let pane = [0.18, 0.40, 0.62, 0.82].iter().any(|at| (rise - at).abs() < 0.020 && (angle - 0.25).abs() < 0.20);
        if pane { ink(0.15, 0.14, 0.15) } else { lit }
    }

    /// Rock, turf, the keepers' cottage and a wall.
    fn land(&self, p: Point) -> Option<Rgb> {
        let crest = 0.335
            + 0.30 * step(-0.05, -1.15, p.0)
            + 0.02 * rough(p.0 * 4.0, 0.0, self.seed + 4)
            + 0.10 * step(0.75, 1.45, p.0)
            - 0.03 * bell(p.0 - 0.4, 0.35);
        if let Some(rgb) = self.cottage(p) {
            return Some(rgb);
        }
        if p.1 < crest {
            return None;
        }
        let down = p.1 - crest;
        let shelf = rough(p.0 * 3.2 + 0.7 * p.1, p.1 * 9.0 - 1.2 * p.0, self.seed + 5);
        let lean = shelf - rough(p.0 * 3.2 + 0.7 * p.1 + 0.05, p.1 * 9.0 - 1.2 * p.0 + 0.07, self.seed + 5);
        let blades = rough(p.0 * 46.0, p.1 * 21.0, self.seed + 6);
        let turf = scale(ink(0.255, 0.265, 0.215), 1.0 + 0.55 * blades + 0.3 * shelf);
        let rock = scale(ink(0.275, 0.265, 0.275), (0.95 + 3.6 * lean + 0.30 * blades).max(0.10));
        let bare = step(0.05, 0.24, down + 0.16 * shelf + 0.05 * blades);
        let ground = mix(turf, rock, bare);
        let warm = scale(
            [0.30, 0.175, 0.095],
            bell(down, 0.020) * (0.4 + 0.6 * step(0.6, -0.8, p.0)) + 0.95 * lean.max(0.0) * bare,
        );
        Some(plus(scale(ground, 0.95 - 0.40 * step(0.1, 0.75, down)), warm))
    }

    fn cottage(&self, p: Point) -> Option<Rgb> {
        let (x, y) = (p.0 - 0.80, p.1 - 0.27);
        let chimney = boxed((x, y), (-0.135, -0.150), (0.020, 0.035)) < 0.0;
        let roof = y > -0.125 && y < -0.035 && x.abs() < 0.20 - 0.45 * (-0.035 - y);
        if chimney || roof {
            let slates = 1.0 + 0.25 * rough(x * 30.0, y * 60.0, self.seed + 8);
            return Some(mix(scale(ink(0.27, 0.28, 0.32), slates), ink(0.62, 0.45, 0.36), 0.35 * step(0.0, -0.2, x)));
        }
        if boxed((x, y), (0.0, 0.025), (0.175, 0.065)) > 0.0 {
            return None;
        }
        let window = boxed((x, y), (-0.07, 0.01), (0.022, 0.026)).min(boxed((x, y), (0.08, 0.01), (0.022, 0.026)));
        if window < 0.0 {
            let cross = x.rem_euclid(0.15) - 0.08;
            return Some(scale([1.05, 0.62, 0.26], if cross.abs() < 0.003 { 0.35 } else { 0.95 }));
        }
        Some(scale(
            ink(0.50, 0.50, 0.52),
            0.85 + 0.15 * rough(x * 14.0, y * 14.0, self.seed + 9) + 0.4 * step(-0.1, -0.18, x),
        ))
    }

    /// The beam in the haze, to either side and towards the camera.
    fn beam(&self, p: Point, time: f32) -> f32 {
        let (sin, cos) = libm::sincosf(TAU * (0.11 * time + 0.17));
        let (x, y) = (p.0 - TOWER, p.1 + 0.70);
        let mut sum = 0.0;
        for (sin, cos) in [(sin, cos), (-sin, -cos)] {
            let reach = x / if sin.abs() < 0.1 { 0.1_f32.copysign(sin) } else { sin };
            if reach > 0.03 {
                let wide = 0.018 + 0.055 * reach;
                let mist = 0.85 + 0.3 * rough(p.0 * 2.0 + 0.1 * time, p.1 * 3.0, self.seed + 10);
                sum += mist * bell(y + 0.03 * cos * reach, wide) * (0.13 + 0.12 * cos.max(0.0)) / (0.6 + reach);
            }
        }
        sum + 0.5 * lamp(time) * bell(libm::hypotf(x, y), 0.12)
    }
}

/// How squarely the lamp faces the camera.
fn lamp(time: f32) -> f32 {
    bell(libm::sinf(TAU * (0.11 * time + 0.17)), 0.22)
}

/// Five gulls that beat their wings.
fn gulls(p: Point, time: f32) -> f32 {
    let mut cover = 0.0_f32;
    for n in 0..5 {
        let f = n as f32;
        let x = -0.95 + 0.27 * f + 0.22 * time + 0.05 * libm::sinf(time * 0.9 + f);
        let y = -0.42 + 0.16 * libm::sinf(2.3 * f) - 0.02 * time + 0.02 * libm::sinf(1.7 * time + 2.0 * f);
        let beat = libm::sinf(time * 15.0 + 1.9 * f);
        let size = 0.024 + 0.005 * libm::cosf(3.1 * f);
        let (u, v) = ((p.0 - x) / size, (p.1 - y) / size);
        let wing = v + 0.55 * beat * u.abs() - 0.35 * u * u * beat;
        let d = wing.abs() - 0.14 * (1.1 - u.abs()).max(0.0);
        if u.abs() < 1.1 {
            cover = cover.max(step(0.06, -0.04, d));
        }
    }
    cover
}
