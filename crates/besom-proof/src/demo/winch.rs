//! Hands at a winch: fast, blurred motion of things without straight edges.

use std::f32::consts::TAU;

use super::paint::{
    Light, Point, Rgb, Rod, Scene, bell, facing, handheld, highest, ink, mix, plus, rough, scale, segment, step,
};
use crate::ageing::noise;

/// The winch on the landing stage.
pub(super) struct Winch {
    pub(super) seed: u32,
}

/// Direction of the daylight, from the upper left and before the picture.
const KEY: [f32; 3] = [-0.55, -0.75, 0.55];
/// Turns of the crank a second.
const TURNS: f32 = 0.95;
/// Axle of the drum.
const AXIS: f32 = 0.14;

const SKIN: u8 = 0;
const CUFF: u8 = 1;
const OILSKIN: u8 = 2;
const IRON: u8 = 3;
const WOOD: u8 = 4;
const NAIL: u8 = 5;

impl Scene for Winch {
    fn light(&self, point: Point, time: f32) -> Light {
        let sway = handheld(time, 0.008, self.seed);
        // A close view of the hands.
        let p = (0.24 + 0.74 * point.0 + sway.0 + 0.02 * time, 0.07 + 0.74 * point.1 + sway.1);
        let rods = crank(time);
        let seen = highest(p, &rods).map(|hit| self.coat(p, hit.normal, hit.along, hit.stuff, time));
        // Hands and crank throw a shadow down to the right, softened by a few taps.
        let shadow = |p: Point| {
            let taps = [(0.088, 0.118), (0.108, 0.142)];
            taps.iter().filter(|(dx, dy)| highest((p.0 - dx, p.1 - dy), &rods).is_some()).count() as f32
        };
        let rgb = seen.unwrap_or_else(|| {
            // The stage lies too far behind to catch it.
            self.drum(p, time).map_or_else(|| self.stage(p), |iron| scale(iron, 1.0 - 0.22 * shadow(p)))
        });
        scale(rgb, 1.35).into()
    }
}

/// Crank, handle, hands and sleeves at a time.
fn crank(time: f32) -> Vec<Rod> {
    let turn = TAU * (TURNS * time + 0.08) + 0.25 * libm::sinf(TAU * TURNS * time);
    let (sin, cos) = libm::sincosf(turn);
    let axle = (0.21, AXIS);
    // The crank's circle is seen nearly from its edge.
    let end = (axle.0 + 0.12 * cos + 0.03, axle.1 - 0.34 * sin);
    let z = 0.40 + 0.22 * cos;
    let rod = |a: Point, b: Point, r0: f32, r1: f32, z: f32, stuff: u8| Rod { a, b, radii: (r0, r1), z, stuff };
    let mut rods = vec![
        rod((0.02, axle.1), (axle.0 + 0.045, axle.1), 0.043, 0.040, 0.30, IRON),
        rod(axle, axle, 0.062, 0.062, 0.33, IRON),
        rod(axle, end, 0.040, 0.028, 0.36, IRON),
        rod(end, end, 0.043, 0.043, 0.5 * z + 0.18, IRON),
        rod(end, (end.0 + 0.80, end.1 + 0.03), 0.031, 0.034, z, WOOD),
    ];
    for (n, along) in [0.20, 0.52].into_iter().enumerate() {
        hand(&mut rods, (end.0 + along, end.1 + 0.01), z, n as f32);
    }
    rods
}

/// A hand closed about the handle from above, its wrist, cuff and sleeve.
fn hand(rods: &mut Vec<Rod>, grip: Point, z: f32, which: f32) {
    let rod = |a: Point, b: Point, r0: f32, r1: f32, z: f32, stuff: u8| Rod { a, b, radii: (r0, r1), z, stuff };
    let (x, y) = grip;
    // Four fingers come over the handle towards the camera and curl under it.
    for (finger, (long, thick)) in
        [(0.84, 0.0270), (1.0, 0.0290), (0.97, 0.0285), (0.80, 0.0250)].into_iter().enumerate()
    {
        let fx = x + 0.053 * (finger as f32 - 1.5);
        let knuckle = (fx + 0.022, y - 0.074 * long);
        let middle = (fx + 0.002, y - 0.020);
        let tip = (fx - 0.010, y + 0.050 * long);
        rods.push(rod(knuckle, knuckle, thick * 1.12, thick * 1.12, z + 0.056, SKIN));
        rods.push(rod(knuckle, middle, thick * 1.02, thick * 0.98, z + 0.050, SKIN));
        rods.push(rod(middle, middle, thick * 1.05, thick * 1.05, z + 0.051, SKIN));
        rods.push(rod(middle, tip, thick * 0.96, thick * 0.80, z + 0.045, SKIN));
        let nail = (tip.0 - 0.001, tip.1 + 0.004);
        rods.push(rod(nail, (nail.0, nail.1 - 0.010), thick * 0.45, thick * 0.5, z + 0.057, NAIL));
    }
    let wrist = (x + 0.150 + 0.03 * which, y - 0.175 + 0.06 * which);
    rods.push(rod((x - 0.052, y - 0.080), (x + 0.050, y - 0.128), 0.047, 0.050, z + 0.024, SKIN));
    rods.push(rod((x + 0.066, y - 0.070), (x + 0.10, y - 0.125), 0.046, 0.056, z + 0.022, SKIN));
    rods.push(rod((x + 0.040, y - 0.115), wrist, 0.062, 0.050, z + 0.018, SKIN));
    rods.push(rod((x - 0.045, y - 0.096), (x - 0.100, y - 0.050), 0.032, 0.027, z + 0.034, SKIN));
    rods.push(rod((x - 0.100, y - 0.050), (x - 0.122, y - 0.004), 0.027, 0.021, z + 0.036, SKIN));
    let elbow = (1.60, -0.60 + 0.80 * which + 0.25 * y);
    let unit = libm::hypotf(elbow.0 - wrist.0, elbow.1 - wrist.1).max(0.1);
    let to = |d: f32| (wrist.0 + (elbow.0 - wrist.0) * d / unit, wrist.1 + (elbow.1 - wrist.1) * d / unit);
    rods.push(rod(to(0.0), to(0.05), 0.060, 0.064, z + 0.012, CUFF));
    rods.push(rod(to(0.035), to(0.06), 0.066, 0.068, z + 0.012, CUFF));
    rods.push(rod(to(0.11), to(0.16), 0.092, 0.090, z + 0.004, OILSKIN));
    rods.push(rod(to(0.13), elbow, 0.086, 0.21, z - 0.01, OILSKIN));
}

impl Winch {
    /// Light on a rod's surface.
    fn coat(&self, p: Point, normal: [f32; 3], along: f32, stuff: u8, time: f32) -> Rgb {
        // Textures ride with the hands.
        let lift = 0.34 * libm::sinf(TAU * TURNS * time);
        let q = (p.0, p.1 + lift);
        let fine = rough(q.0 * 48.0, q.1 * 48.0, self.seed + 1);
        let crease = |x: f32, y: f32| {
            let bend = 0.05 * rough(x * 5.0, y * 5.0, self.seed + 2);
            rough(x * 9.0 + 5.0 * bend + 2.0 * along, y * 4.5 + 22.0 * bend, self.seed + 3)
        };
        let mut bumped = [normal[0] + 0.08 * fine, normal[1] + 0.08 * fine, normal[2]];
        if stuff == OILSKIN {
            let here = crease(q.0, q.1);
            bumped[0] += 1.5 * (here - crease(q.0 + 0.015, q.1));
            bumped[1] += 1.9 * (here - crease(q.0, q.1 + 0.015));
        }
        let (key, shine) = (facing(bumped, KEY), facing(bumped, [-0.35, -0.55, 0.9]));
        let sky = 0.5 - 0.5 * normal[1];
        let (dye, gloss, sharp) = self.dye(stuff, p, q, fine);
        // Light comes from a wide sky; edges that turn away and gaps between fingers are dark.
        let ambient = scale(mix(ink(0.30, 0.27, 0.25), ink(0.50, 0.54, 0.58), sky), 0.9);
        let edge = step(0.02, 0.70, normal[2]);
        let diffuse = plus(scale([1.25, 1.14, 0.97], key), ambient);
        let lit = scale(std::array::from_fn(|c| dye[c] * diffuse[c]), 0.24 + 0.76 * edge);
        plus(lit, scale([1.0, 0.97, 0.9], gloss * libm::powf(shine, sharp)))
    }

    /// Colour, strength and sharpness of the gloss of a rod's stuff.
    fn dye(&self, stuff: u8, p: Point, q: Point, fine: f32) -> (Rgb, f32, f32) {
        match stuff {
            SKIN => {
                let ruddy = step(-0.2, 0.6, rough(q.0 * 11.0, q.1 * 11.0, self.seed + 5));
                (scale(mix(ink(0.74, 0.55, 0.45), ink(0.70, 0.46, 0.38), ruddy), 1.0 + 0.22 * fine), 0.07, 16.0)
            }
            NAIL => (ink(0.78, 0.60, 0.52), 0.10, 18.0),
            CUFF => {
                let knit = 0.70 + 0.30 * libm::sinf(q.0 * 210.0 + q.1 * 130.0);
                (scale(ink(0.27, 0.29, 0.34), knit + 0.2 * fine), 0.0, 4.0)
            }
            OILSKIN => (scale(ink(0.66, 0.52, 0.225), 1.0 + 0.10 * fine), 0.30, 20.0),
            IRON => {
                let rust = step(-0.1, 0.5, rough(p.0 * 12.0, p.1 * 12.0, self.seed + 6));
                (mix(ink(0.24, 0.25, 0.26), ink(0.40, 0.25, 0.18), 0.7 * rust), 0.20, 24.0)
            }
            _ => (scale(ink(0.57, 0.42, 0.27), 1.0 + 0.28 * rough(q.0 * 5.0, q.1 * 80.0, self.seed + 7)), 0.14, 16.0),
        }
    }

    /// The drum with its rope between two flanges, and the bearing that carries it.
    fn drum(&self, p: Point, time: f32) -> Option<Rgb> {
        self.bearing(p).or_else(|| self.flange(p, time)).or_else(|| self.rope(p, time))
    }

    /// A cast stand before the flange, bolted to the planks.
    fn bearing(&self, p: Point) -> Option<Rgb> {
        let hub = libm::hypotf(p.0 - 0.10, p.1 - AXIS) - 0.098;
        let (leg, along) = segment(p, (0.10, AXIS), (0.13, 0.95));
        let stand = leg - (0.052 + 0.062 * along * along);
        if hub.min(stand) > 0.0 {
            return None;
        }
        let cap = step(0.0, -0.02, hub);
        let round = if cap > 0.5 { [(p.0 - 0.10) / 0.098, (p.1 - AXIS) / 0.098] } else { [(p.0 - 0.11) / 0.08, 0.0] };
        let normal =
            [round[0], round[1], libm::sqrtf((1.0 - 0.8 * (round[0] * round[0] + round[1] * round[1])).max(0.05))];
        let pit = rough(p.0 * 20.0, p.1 * 20.0, self.seed + 8);
        let paint = mix(ink(0.235, 0.295, 0.285), ink(0.35, 0.255, 0.20), 0.7 * step(0.0, 0.7, pit + 0.3 * p.1));
        let oil = libm::hypotf(p.0 - 0.095, p.1 - AXIS + 0.105) < 0.017;
        let lit = 0.22 + 0.95 * facing(normal, KEY) + 0.10 * pit;
        Some(if oil { scale(ink(0.75, 0.62, 0.36), lit) } else { scale(paint, lit) })
    }

    /// A flange: a disc seen at a slant, its rim toothed, its face ribbed.
    fn flange(&self, p: Point, time: f32) -> Option<Rgb> {
        let (x, y) = (p.0 + 0.045, p.1 - AXIS);
        let turn = TAU * TURNS * 0.22 * time;
        let face = libm::hypotf((x - 0.02) / 0.118, y / 0.585);
        let back = libm::hypotf((x + 0.045) / 0.118, y / 0.585);
        let angle = libm::atan2f(y / 0.585, (x - 0.02) / 0.118) + turn;
        let tooth = 0.016 * step(-0.25, 0.25, libm::sinf(angle * 34.0));
        let pit = rough(p.0 * 22.0, p.1 * 22.0, self.seed + 9);
        let worn = rough(p.0 * 7.0, p.1 * 5.0, self.seed + 17);
        let rusty = mix(
            ink(0.215, 0.275, 0.265),
            ink(0.34, 0.25, 0.20),
            0.8 * step(-0.1, 0.7, 0.6 * pit + 0.7 * worn + 0.3 * (face - 0.6)),
        );
        if face < 1.0 + tooth {
            let rim = step(0.84, 0.87, face);
            let spoke = step(0.80, 0.90, libm::cosf(angle * 6.0)) * step(0.84, 0.80, face);
            let hole = step(0.55, 0.75, -libm::cosf(angle * 6.0)) * step(0.40, 0.45, face) * step(0.74, 0.68, face);
            let lit = (0.44 + 0.22 * rim + 0.16 * spoke - 0.20 * y) * (1.0 - 0.8 * hole) * (1.0 + 0.35 * pit);
            return Some(scale(rusty, lit));
        }
        (back < 1.0 + tooth).then(|| {
            let lit = 0.36 + 0.85 * step(0.3, -0.9, y / 0.585) + 0.25 * step(-0.25, 0.25, libm::sinf(angle * 34.0));
            scale(rusty, lit * (1.0 + 0.3 * pit))
        })
    }

    /// Rope: coils side by side, wound on a slant, each a twist of three strands.
    fn rope(&self, p: Point, time: f32) -> Option<Rgb> {
        let y = (p.1 - AXIS) / 0.43;
        if p.0 > -0.02 || y.abs() > 1.0 {
            return None;
        }
        let around = libm::asinf(y.clamp(-0.999, 0.999));
        let coil = (p.0 + 0.012 * around) / 0.088 + 40.0;
        let c = (coil.fract() - 0.5) * 2.0;
        let layer = noise::lattice(coil.floor() as i32, 0, 0, self.seed);
        let wound = around + TAU * TURNS * 0.22 * time + layer;
        let strand = libm::sinf(wound * 38.0 + c * 2.1);
        let depth = libm::sqrtf((1.0 - y * y).max(0.02)) * libm::sqrtf((1.0 - 0.7 * c * c).max(0.05));
        let normal = [0.85 * c + 0.22 * strand, y * (1.0 - 0.3 * c * c) + 0.30 * strand, depth];
        let fibres = rough(p.0 * 70.0 + 24.0 * wound, wound * 30.0 - p.0 * 40.0, self.seed + 10);
        let groove = (0.12 + 0.88 * step(1.0, 0.66, c.abs())) * (0.50 + 0.50 * step(-1.0, -0.1, strand));
        let hemp = scale(ink(0.60, 0.51, 0.375), 1.0 + 0.14 * layer + 0.42 * fibres);
        let wet = step(0.15, 0.7, rough(p.0 * 1.6, wound * 0.9, self.seed + 11));
        let hemp = mix(hemp, scale(hemp, 0.55), wet);
        let diffuse = plus(scale([1.2, 1.1, 0.95], facing(normal, KEY)), scale(ink(0.42, 0.46, 0.50), 0.8 - 0.4 * y));
        // The flange shades the last coils.
        let shade = (1.0 - 0.5 * bell(p.0 + 0.10, 0.13)) * groove;
        Some(scale(std::array::from_fn(|k| hemp[k] * diffuse[k]), shade))
    }

    /// Sea wall, water and wet planks, out of focus.
    fn stage(&self, p: Point) -> Rgb {
        let (u, v) = (p.0 * 2.2 + 0.6 * noise::plane(p.0, p.1 * 2.0, self.seed + 12), (p.1 + 2.0) * 4.2);
        let block = noise::plane(u + 0.5 * v.floor(), v.floor() * 7.3, self.seed + 13);
        let joint = bell(v.fract() - 0.5, 0.20);
        let tone = 0.86 + 0.30 * block + 0.22 * joint + 0.16 * rough(p.0 * 5.0, p.1 * 5.0, self.seed + 14);
        let granite = mix(ink(0.50, 0.50, 0.485), ink(0.36, 0.38, 0.37), step(-0.75, 0.40, p.1 + 0.2 * block));
        let weed = step(0.02, 0.38, p.1 + 0.14 * rough(p.0 * 3.0, p.1 * 3.0, self.seed + 15));
        let wall = scale(mix(granite, ink(0.22, 0.25, 0.19), 0.75 * weed), tone);
        let slant = (p.0 - 0.2) / (0.35 + 0.9 * (p.1 - 0.25).max(0.0)) * 2.2 + 30.0;
        let gap = bell(slant.fract() - 0.5, 0.08);
        let board = 0.30 * noise::lattice(slant.floor() as i32, 0, 0, self.seed);
        let gleam = 0.5 * step(0.0, 0.7, rough(slant * 2.0, p.1 * 1.6, self.seed + 16));
        let planks = scale(ink(0.39, 0.365, 0.335), (0.85 + board + gleam) * (1.0 - 0.6 * gap));
        let far = mix(wall, planks, step(-0.03, 0.05, p.1 - 0.50));
        let under = bell(p.1 - 0.66, 0.20) * bell(p.0 + 0.62, 0.80);
        scale(far, (0.95 + 0.16 * step(0.9, -0.7, p.0)) * (1.0 - 0.6 * under))
    }
}
