//! The lamp room in falling snow: white specks that belong, and a turning lamp that changes the exposure.

use std::f32::consts::{FRAC_PI_2, TAU};

use super::paint::{Light, Point, Rgb, Scene, bell, boxed, handheld, ink, mix, plus, rough, scale, segment, step};
use crate::ageing::noise;

/// The lamp room.
pub(super) struct LampRoom {
    pub(super) seed: u32,
}

/// Turns of the lens a second; it has four panels.
const TURNS: f32 = 0.16;

impl Scene for LampRoom {
    fn light(&self, point: Point, time: f32) -> Light {
        let sway = handheld(time, 0.006, self.seed);
        let p = (point.0 + sway.0 - 0.10, point.1 + sway.1 - 0.035 * time);
        let flash = flash(time);
        let mut rgb = self.solid(p, time, flash).unwrap_or_else(|| self.night(p));
        let beam = self.beams(p, time);
        rgb = plus(rgb, scale([1.0, 0.86, 0.60], beam));
        // The lens facing the camera veils the whole picture.
        let veil = flash * (0.012 + 0.20 * bell(libm::hypotf(p.0, p.1 - 0.03), 0.75));
        rgb = plus(rgb, scale([1.0, 0.85, 0.62], veil));
        let (cover, near) = self.snow(p, time);
        let lit = plus(ink(0.60, 0.66, 0.74), scale([1.0, 0.88, 0.66], 0.9 * beam + 0.55 * flash * (1.0 - 0.4 * near)));
        Light { rgb: mix(rgb, lit, cover), belongs: cover }
    }
}

/// How squarely a panel of the lens faces the camera, 0..1.
fn flash(time: f32) -> f32 {
    (0..4).map(|panel| bell(libm::sinf(0.5 * azimuth(panel, time)), 0.16)).fold(0.0, f32::max)
}

/// Direction of a panel's beam; 0 is the camera.
fn azimuth(panel: u8, time: f32) -> f32 {
    TAU * (TURNS * time + 0.02) + f32::from(panel) * FRAC_PI_2
}

impl LampRoom {
    /// Snow cloud at dusk.
    fn night(&self, p: Point) -> Rgb {
        let drift = rough(p.0 * 0.9, p.1 * 1.5, self.seed + 1);
        let low = mix(ink(0.20, 0.255, 0.335), ink(0.38, 0.415, 0.46), step(-1.1, 1.0, p.1 + 0.25 * drift));
        scale(low, 1.0 + 0.24 * drift)
    }

    /// Building, lens and lattice; `None` where the sky is seen.
    fn solid(&self, p: Point, time: f32, flash: f32) -> Option<Rgb> {
        self.roof(p)
            .or_else(|| self.rail(p, flash))
            .or_else(|| self.glazing(p, time))
            .or_else(|| self.gallery(p, flash))
    }

    /// Copper dome, ribbed, with a ventilator ball and a vane; snow lies on it.
    fn roof(&self, p: Point) -> Option<Rgb> {
        let ball = libm::hypotf(p.0, p.1 + 0.835) - 0.062;
        let stem = boxed(p, (0.0, -0.745), (0.035, 0.045));
        let rod = segment(p, (0.0, -0.86), (0.0, -1.25)).0 - 0.007;
        let up = (-0.40 - p.1) / 0.32;
        let half = 0.70 * libm::sqrtf((1.0 - up * up).max(0.0)) * (1.0 - 0.10 * up);
        let dome = (0.0..1.0).contains(&up) && p.0.abs() < half;
        let eave = boxed(p, (0.0, -0.395), (0.735, 0.022)) - 0.006;
        if !(ball < 0.0 || stem < 0.0 || rod < 0.0 || dome || eave < 0.0) {
            return None;
        }
        let around = match (dome, eave < 0.0) {
            (true, _) => p.0 / half.max(0.05),
            (_, true) => p.0 / 0.73,
            _ => p.0 / 0.065,
        };
        let angle = libm::asinf(around.clamp(-0.999, 0.999));
        let rib = if dome { step(0.10, 0.03, ((angle * 5.1 / FRAC_PI_2 + 20.5).fract() - 0.5).abs()) } else { 0.0 };
        let copper = scale(
            ink(0.285, 0.37, 0.36),
            0.55 + 0.55 * libm::cosf(angle + 0.55) + 0.22 * rough(p.0 * 9.0, p.1 * 14.0, 4),
        );
        let copper = scale(copper, 1.0 - 0.35 * rib);
        let lies = noise::plane(p.0 * 3.0, 0.0, self.seed + 2) + 0.25 * rough(p.0 * 14.0, p.1 * 14.0, self.seed + 2);
        let top = if dome { up + 0.16 * lies - 0.10 * around - 0.16 * rib } else { -1.0 };
        let under = step(-0.385, -0.372, p.1);
        let warm = scale([0.42, 0.33, 0.19], under);
        Some(plus(mix(copper, ink(0.58, 0.63, 0.69), 0.85 * step(0.50, 0.60, top)), warm))
    }

    /// Panes in a diagonal lattice before the lens.
    fn glazing(&self, p: Point, time: f32) -> Option<Rgb> {
        let (half, top, low) = (0.635, -0.375, 0.41);
        if p.0.abs() > half || p.1 < top || p.1 > low {
            return None;
        }
        let angle = libm::asinf((p.0 / half).clamp(-0.9999, 0.9999));
        let (u, v) = (angle * 6.0 / std::f32::consts::PI, (p.1 - top) / (low - top) * 2.0);
        let bar = |w: f32| ((w + 20.0).fract() - 0.5).abs();
        let thick = 0.030 / libm::cosf(angle).max(0.2);
        let lattice = (0.5 - bar(u + v)).min(0.5 - bar(u - v)) < thick;
        let frame = p.1 < top + 0.02 || p.1 > low - 0.03 || (half - p.0.abs()) < 0.012;
        let glow = bell(libm::hypotf(p.0 * 1.1, p.1 - 0.03), 0.55);
        if lattice || frame {
            let lit = 0.35 + 0.65 * bell(p.0 + 0.35, 0.4);
            return Some(plus(scale(ink(0.20, 0.225, 0.245), lit), scale([0.30, 0.23, 0.13], 0.5 * glow)));
        }
        let inside = Self::lens(p, time).unwrap_or_else(|| {
            let back = scale(ink(0.30, 0.26, 0.20), 0.45 + 1.5 * glow);
            let far_bar =
                step(0.05, 0.03, (0.5 - bar(0.5 - u * 0.93 + v * 0.97)).min(0.5 - bar(u * 0.93 + v * 0.97 + 0.5)));
            scale(back, 1.0 - 0.4 * far_bar)
        });
        // The panes mirror the dusk at the sides and carry streaks of melted snow.
        let edge = step(0.55, 1.0, (p.0 / half).abs());
        let run = step(0.25, 0.75, noise::plane(angle * 26.0, p.1 * 2.0, self.seed + 3));
        let melt = 0.10 * run + 0.08 * rough(angle * 6.0, p.1 * 6.0, self.seed + 4);
        Some(mix(inside, ink(0.42, 0.47, 0.53), (0.10 + 0.45 * edge + melt).clamp(0.0, 0.8)))
    }

    /// A barrel of glass prisms around a flame.
    fn lens(p: Point, time: f32) -> Option<Rgb> {
        let (x, y) = (p.0, p.1 - 0.03);
        let half = 0.325 * (1.0 - 0.42 * (y / 0.37) * (y / 0.37));
        if y.abs() > 0.345 || x.abs() > half {
            return None;
        }
        let around = libm::asinf((x / half).clamp(-0.999, 0.999));
        let mut bright = 0.20 + 0.42 * bell(libm::hypotf(x, y), 0.17);
        let mut ring = 0.0;
        for panel in 0..4 {
            let turn = libm::remainderf(azimuth(panel, time), TAU);
            let from = libm::remainderf(around - turn, TAU);
            if libm::cosf(turn) < 0.0 || from.abs() > 0.78 {
                continue;
            }
            // Rings of prisms about the bull's eye of each panel, seen in perspective.
            let r = libm::hypotf(from * 0.30, y);
            ring = libm::cosf(r * 118.0);
            let aimed = bell(turn, 0.42);
            bright += 0.55 * bell(r, 0.07) + 2.4 * aimed * bell(r, 0.10) + 0.9 * aimed * bell(r, 0.26);
            if from.abs() > 0.745 {
                bright *= 0.35;
            }
        }
        let prism = if y.abs() > 0.15 { libm::cosf(y * 170.0) } else { ring };
        let glass = bright * (0.74 + 0.30 * prism) * (0.55 + 0.45 * libm::cosf(around));
        Some(plus(scale([1.15, 0.82, 0.44], glass), scale(ink(0.20, 0.27, 0.25), 0.4)))
    }

    /// Railing of the gallery, before the glass.
    fn rail(&self, p: Point, flash: f32) -> Option<Rgb> {
        let droop = 0.020 * (p.0 / 0.9) * (p.0 / 0.9);
        let y = p.1 + droop;
        if p.0.abs() > 0.93 {
            return None;
        }
        let bars = [0.285, 0.375, 0.455].iter().map(|h| (y - h).abs()).fold(1.0, f32::min) - 0.0065;
        let angle = libm::asinf((p.0 / 0.93).clamp(-0.999, 0.999));
        let post = ((angle * 7.5 / FRAC_PI_2 + 20.0).fract() - 0.5).abs() * 0.19 * libm::cosf(angle).max(0.1) - 0.0085;
        let posts = if (0.27..0.54).contains(&y) { post } else { 1.0 };
        let snow =
            if (y - 0.277).abs() < 0.007 { 0.9 * step(-0.3, 0.2, rough(p.0 * 12.0, 0.0, self.seed + 5)) } else { 0.0 };
        if bars.min(posts) > 0.0 && snow < 0.1 {
            return None;
        }
        let iron = scale(ink(0.17, 0.19, 0.21), 0.7 + 0.5 * libm::cosf(angle + 0.6) + 0.5 * flash);
        Some(mix(iron, ink(0.60, 0.65, 0.71), snow))
    }

    /// The gallery's deck, its corbels and the tower's granite.
    fn gallery(&self, p: Point, flash: f32) -> Option<Rgb> {
        let base = boxed(p, (0.0, 0.465), (0.66, 0.075));
        let deck = boxed(p, (0.0, 0.565), (0.97, 0.030)) - 0.008;
        let tower_half = 0.60 + 0.035 * (p.1 - 0.6) + 0.30 * bell((p.1 - 0.59).max(0.0), 0.10);
        let tower = p.1 > 0.58 && p.0.abs() < tower_half;
        if deck < 0.0 {
            let lying = step(0.545, 0.535, p.1 + 0.008 * rough(p.0 * 8.0, 0.0, self.seed + 6));
            let stone = scale(ink(0.31, 0.325, 0.335), 0.8 + 0.3 * rough(p.0 * 11.0, p.1 * 20.0, self.seed + 7));
            return Some(mix(stone, ink(0.60, 0.655, 0.71), 0.9 * lying));
        }
        if base < 0.0 {
            let lit = 0.75 + 0.35 * libm::cosf(libm::asinf((p.0 / 0.67).clamp(-1.0, 1.0)) + 0.5);
            let paint = scale(ink(0.40, 0.415, 0.42), lit + 0.10 * rough(p.0 * 9.0, p.1 * 16.0, self.seed + 8));
            return Some(plus(paint, scale([0.06, 0.05, 0.03], flash)));
        }
        if !tower {
            return None;
        }
        let angle = libm::asinf((p.0 / tower_half).clamp(-0.999, 0.999));
        let row = ((p.1 + 3.0) / 0.125).floor();
        let v = ((p.1 + 3.0) / 0.125).fract();
        let u = angle * 2.6 + 0.5 * (row as i32 % 2) as f32 + 20.0;
        let joint = step(0.05, 0.015, (v.min(1.0 - v) * 0.9).min(u.fract().min(1.0 - u.fract()) * 2.2));
        let tone = 0.10 * noise::lattice(u.floor() as i32, row as i32, 0, self.seed)
            + 0.20 * rough(p.0 * 16.0, p.1 * 16.0, self.seed + 9);
        let round = 0.50 + 0.50 * libm::cosf(angle + 0.6);
        let shade = 1.0 - 0.65 * bell(p.1 - 0.60, 0.11);
        let stone = scale(ink(0.385, 0.395, 0.405), (round + tone).max(0.05) * shade * (1.0 - 0.45 * joint));
        let stuck = step(0.25, 0.6, rough(p.0 * 7.0, p.1 * 5.0, self.seed + 10) - 0.5 * p.0);
        Some(mix(stone, ink(0.50, 0.55, 0.61), 0.6 * stuck))
    }

    /// Shafts of light in the snowy air.
    fn beams(&self, p: Point, time: f32) -> f32 {
        let mut sum = 0.0;
        for panel in 0..4 {
            let (sin, cos) = libm::sincosf(azimuth(panel, time));
            let reach = p.0 / if sin.abs() < 0.08 { 0.08_f32.copysign(sin) } else { sin };
            if reach <= 0.0 {
                continue;
            }
            // A beam that comes towards the camera widens and is seen against its own scattering.
            let wide = (0.15 + 0.085 * reach) * (1.0 + 0.5 * cos.max(0.0));
            let centre = 0.03 - 0.05 * cos * reach;
            let mist = 0.8 + 0.35 * rough(p.0 * 1.4 - 0.4 * time, p.1 * 2.0 + 0.3 * time, self.seed + 11);
            let outside = step(0.25, 0.66, p.0.abs());
            sum += outside * mist * bell(p.1 - centre, wide) * (0.16 + 0.20 * cos.max(0.0)) / (1.0 + 0.55 * reach);
        }
        sum
    }

    /// Flakes in six depths, blown to the left; how much of the point they cover, and how near the covering one is.
    fn snow(&self, p: Point, time: f32) -> (f32, f32) {
        let (mut clear, mut nearest) = (1.0_f32, 0.0_f32);
        for depth in 0..6_u32 {
            let near = depth as f32 / 5.0;
            let cell = 0.085 + 0.30 * near * near;
            let gust = 1.0 + 0.3 * noise::along(time * 0.9 + depth as f32, self.seed + 12);
            let fall = (0.42 + 1.5 * near) * time;
            let blow = (0.25 + 1.0 * near) * gust * time;
            let (u, v) = ((p.0 + blow) / cell + 31.7 * depth as f32, (p.1 - fall) / cell + 17.1 * depth as f32);
            for (di, dj) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                let (i, j) = ((u - 0.5).floor() as i32 + di, (v - 0.5).floor() as i32 + dj);
                let r = |k: i32| noise::lattice(i, j, k, self.seed + 13 + depth);
                if r(0) < 0.05 {
                    continue;
                }
                let flutter = 0.12 * libm::sinf(time * (5.0 + 2.0 * r(1)) + 6.0 * r(2));
                let centre = (i as f32 + 0.5 + 0.38 * r(3) + flutter, j as f32 + 0.5 + 0.38 * r(4));
                let size = (0.0042 + 0.0125 * near * near) * (1.0 + 0.45 * r(5)) / cell;
                let d = libm::hypotf(u - centre.0, v - centre.1)
                    * (1.0 + 0.12 * libm::sinf(3.0 * libm::atan2f(v - centre.1, u - centre.0)));
                // Near flakes are out of focus.
                let cover = step(size * (1.25 + 0.9 * near), size * (0.75 - 0.6 * near), d) * (0.92 - 0.42 * near);
                if cover > 0.0 {
                    clear *= 1.0 - cover;
                    nearest = nearest.max(near);
                }
            }
        }
        (1.0 - clear, nearest)
    }
}
