//! Signal flags whipping before a stained wall: fast cloth over a background full of marks that stay.

use super::paint::{Light, Point, Rgb, Scene, bell, handheld, ink, mix, plus, rough, scale, step, times};
use crate::ageing::noise;

/// The signal station's wall and its hoist of flags.
pub(super) struct Flags {
    pub(super) seed: u32,
}

/// Place of the hoist, and half the height and the length of a flag.
const HOIST: f32 = -0.42;
const HALF: f32 = 0.245;
const LENGTH: f32 = 0.92;
const MIDDLES: [f32; 3] = [-0.66, -0.04, 0.58];

impl Scene for Flags {
    fn light(&self, point: Point, time: f32) -> Light {
        let sway = handheld(time, 0.010, self.seed);
        let p = (point.0 + sway.0 - 0.10 + 0.05 * time, point.1 + sway.1 + 0.015 * time);
        if let Some(rgb) = self.cloth(p, time) {
            return rgb.into();
        }
        if Self::rope(p, time) {
            let twist = 0.7 + 0.3 * libm::sinf(p.1 * 260.0 + p.0 * 300.0);
            return scale(ink(0.60, 0.54, 0.43), twist).into();
        }
        let shadow = self.shadow((p.0 - 0.09, p.1 - 0.13), time);
        times(self.wall(p), mix([1.0; 3], ink(0.60, 0.64, 0.70), shadow)).into()
    }
}

impl Flags {
    fn rope(p: Point, time: f32) -> bool {
        (p.0 - hoist(p.1, time)).abs() < 0.0085
    }

    /// Place on a flag: along its length 0..1, across -1..1, and the slope of its cloth.
    fn place(&self, p: Point, flag: usize, time: f32) -> Option<(f32, f32, f32)> {
        let along = (p.0 - hoist(MIDDLES[flag], time)) / LENGTH;
        if !(0.0..=1.1).contains(&along) {
            return None;
        }
        let beat = 31.0 + 3.0 * flag as f32;
        let phase = 8.2 * along - beat * time + 2.1 * flag as f32;
        let gust = 0.75 + 0.35 * noise::along(time * 5.0 + 10.0 * flag as f32, self.seed);
        let swing = gust * (0.015 + 0.135 * along);
        let rise = swing * libm::sinf(phase) + 0.4 * swing * libm::sinf(1.9 * phase + 1.3) + 0.10 * along * along;
        let slope = gust * (libm::cosf(phase) + 0.76 * libm::cosf(1.9 * phase + 1.3));
        // The free end snaps in and out, and its corners curl.
        let end = 1.0 - 0.06 * (1.0 + libm::sinf(phase * 0.5 + 17.0 * time)) - 0.03 * slope;
        let across =
            (p.1 - MIDDLES[flag] - rise) / (HALF * (1.0 - 0.10 * along * (1.0 + 0.6 * libm::sinf(phase + 0.8))));
        (along < end && across.abs() < 1.0).then_some((along / end, across, slope))
    }

    fn cloth(&self, p: Point, time: f32) -> Option<Rgb> {
        for flag in 0..3 {
            let Some((along, across, slope)) = self.place(p, flag, time) else { continue };
            let dye = pattern(flag, along, across);
            let weave = 1.0 + 0.06 * rough(along * 60.0, across * 18.0, self.seed + 3);
            let folds = 0.26 * noise::plane(along * 6.0 + 0.9 * across, across * 1.3 - 3.0 * time, self.seed + 4);
            let lit = (0.60 + 0.24 * slope + folds + 0.10 * (1.0 - across)).clamp(0.16, 1.4);
            let hem = 1.0 - 0.25 * step(0.035, 0.015, along) - 0.12 * step(0.93, 0.97, across.abs());
            // Thin bunting: the sun shines through where it turns away.
            let through = scale(dye, 0.16 * step(0.1, -1.2, slope));
            let soot = 1.0 - 0.25 * step(0.1, 0.8, rough(along * 3.0, across * 2.0, self.seed + 5 + flag as u32));
            return Some(plus(scale(dye, lit * weave * hem * soot), through));
        }
        None
    }

    /// Soft shadow of the flags, drawn by a few taps.
    fn shadow(&self, p: Point, time: f32) -> f32 {
        let mut sum = 0.0;
        for (dx, dy) in [(0.0, 0.0), (0.022, 0.012), (-0.02, 0.016), (0.008, -0.024)] {
            let q = (p.0 + dx, p.1 + dy);
            if (0..3).any(|flag| self.place(q, flag, time).is_some()) || Self::rope(q, time) {
                sum += 0.25;
            }
        }
        sum
    }

    /// Limewashed masonry with rust, damp, algae and flaked patches.
    fn wall(&self, p: Point) -> Rgb {
        let (mortar, block, relief) = self.courses(p);
        let wash = rough(p.0 * 2.3, p.1 * 2.3, self.seed + 11);
        let grit = rough(p.0 * 42.0, p.1 * 42.0, self.seed + 12);
        let lime = scale(ink(0.800, 0.775, 0.715), 0.86 + 0.10 * block + 0.10 * wash + 0.09 * grit + 0.85 * relief);
        let stone = scale(ink(0.47, 0.455, 0.43), 0.85 + 0.3 * block + 0.42 * grit + 1.2 * relief);
        let flaked = step(0.20, 0.30, rough(p.0 * 3.1 + 7.0, p.1 * 3.6, self.seed + 13) + 0.10 * grit + 0.08 * p.1);
        let lip = bell(rough(p.0 * 3.1 + 7.0, p.1 * 3.6, self.seed + 13) + 0.10 * grit + 0.08 * p.1 - 0.20, 0.03);
        let face = mix(lime, stone, flaked);
        let face = scale(face, (1.0 - 0.42 * mortar) * (1.0 - 0.25 * lip));
        let face = self.stains(p, face, grit);
        // Raking light from the upper left falls off along the wall.
        scale(face, 0.86 - 0.14 * p.0 - 0.10 * p.1)
    }

    /// Joints of coursed blocks: depth of the joint, tone of the block, and slope of the relief towards the light.
    fn courses(&self, p: Point) -> (f32, f32, f32) {
        let wob = (
            0.018 * rough(p.0 * 4.0, p.1 * 4.0, self.seed + 14),
            0.016 * rough(p.0 * 4.0 + 9.0, p.1 * 4.0, self.seed + 15),
        );
        let v = (p.1 + wob.1) / 0.27 + 20.0;
        let row = v.floor();
        let u = (p.0 + wob.0) / 0.56
            + 0.5 * (row as i32 % 2) as f32
            + 0.22 * noise::lattice(row as i32, 1, 0, self.seed)
            + 20.0;
        let (fu, fv) = (u - u.floor(), v - row);
        let near = (fu.min(1.0 - fu) * 0.56).min(fv.min(1.0 - fv) * 0.27);
        let mortar = step(0.016, 0.004, near);
        let bump = |x: f32, y: f32| rough(x * 7.0, y * 7.0, self.seed + 16);
        let relief = 0.55 * (bump(p.0, p.1) - bump(p.0 - 0.02, p.1 - 0.02));
        let arris = step(0.03, 0.010, fv * 0.27) - step(0.03, 0.010, (1.0 - fv) * 0.27);
        (mortar, noise::lattice(u.floor() as i32, row as i32, 2, self.seed), relief + 0.06 * arris)
    }

    fn stains(&self, p: Point, face: Rgb, grit: f32) -> Rgb {
        let mut face = face;
        // Rust runs down from three iron cramps.
        for (x, y, wide, long) in [(-0.98, -0.52, 0.050, 1.10), (0.74, -0.78, 0.075, 1.45), (1.16, 0.05, 0.035, 0.7)] {
            let down = p.1 - y;
            let bent = p.0 - x + 0.03 * noise::along(p.1 * 3.0 + x, self.seed + 17);
            let streak = 0.5 + 0.5 * noise::plane(p.0 * 62.0, p.1 * 1.7, self.seed + 18);
            let strength = step(-0.01, 0.03, down)
                * bell(down.max(0.0), long * 0.62)
                * bell(bent, wide * (1.0 + 0.8 * down.max(0.0)));
            face = times(face, mix([1.0; 3], ink(0.66, 0.47, 0.33), (0.35 + 0.65 * streak) * strength));
            let iron = (p.0 - x).abs().max((p.1 - y).abs() * 1.6) - 0.030;
            face = mix(face, scale(ink(0.26, 0.17, 0.13), 1.0 + 0.6 * grit), step(0.004, -0.004, iron));
        }
        let drip = 0.22 * noise::plane(p.0 * 9.0, p.1 * 1.2, self.seed + 19)
            + 0.18 * rough(p.0 * 3.0, p.1 * 3.0, self.seed + 20);
        let damp = step(0.32, 0.95, p.1 + drip);
        face = times(face, mix([1.0; 3], ink(0.60, 0.64, 0.55), damp));
        let soot = step(-0.55, -1.15, p.1 - 0.6 * drip);
        face = times(face, mix([1.0; 3], ink(0.70, 0.69, 0.68), soot));
        // Pits and lichen: dark and pale specks that never move.
        let (u, v) = (p.0 * 17.0, p.1 * 17.0);
        let (i, j) = (u.floor() as i32, v.floor() as i32);
        let chance = noise::lattice(i, j, 3, self.seed);
        if chance.abs() > 0.62 {
            let at = |k: i32| 0.5 + 0.28 * noise::lattice(i, j, k, self.seed);
            let d = libm::hypotf(u - i as f32 - at(4), v - j as f32 - at(5)) + 0.08 * grit;
            let mark = step(0.02 + 0.20 * (chance.abs() - 0.55), 0.0, d);
            let tone = if chance > 0.0 { ink(0.30, 0.29, 0.27) } else { ink(0.83, 0.78, 0.58) };
            face = mix(face, tone, 0.8 * mark);
        }
        face
    }
}

/// Column of the hoist rope at a height.
fn hoist(y: f32, time: f32) -> f32 {
    HOIST + 0.05 * y + 0.012 * libm::sinf(5.0 * y + 9.0 * time) + 0.008 * libm::sinf(23.0 * time + 2.0 * y)
}

/// Dyes of the three flags: plain geometry, faded by weather.
fn pattern(flag: usize, along: f32, across: f32) -> Rgb {
    let (white, red) = (ink(0.84, 0.81, 0.73), ink(0.66, 0.20, 0.17));
    let (blue, yellow) = (ink(0.17, 0.27, 0.46), ink(0.82, 0.66, 0.22));
    match flag {
        0 => {
            if (along - 0.5).abs() * 1.55 + across.abs() * 0.62 < 0.52 {
                white
            } else {
                blue
            }
        }
        1 => {
            if (along > 0.5) == (across > 0.0) {
                yellow
            } else {
                red
            }
        }
        _ => {
            if (across.abs() - 0.46).abs() < 0.17 {
                red
            } else {
                white
            }
        }
    }
}
