//! Colours, shapes and solids that the scenes are painted with.
//!
//! A scene is a function from a point and a time to light. Points: x to the right, y down, the picture's height is 2 and
//! its middle the origin. Light is linear: 1 is a sunlit white, speculars lie above.

use crate::ageing::noise;

/// Linear light in red, green, blue.
pub(super) type Rgb = [f32; 3];
/// A point of the scene.
pub(super) type Point = (f32, f32);

/// Light at a point, and how much of it is a moving speck that belongs to the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Light {
    pub(super) rgb: Rgb,
    pub(super) belongs: f32,
}

impl From<Rgb> for Light {
    fn from(rgb: Rgb) -> Self {
        Self { rgb, belongs: 0.0 }
    }
}

/// A shot's picture.
pub(super) trait Scene: Sync {
    /// Light at a point of the picture at a time in seconds from the start of the shot.
    fn light(&self, point: Point, time: f32) -> Light;
}

/// A colour given as it looks on a screen (0..1), as linear light.
pub(super) const fn ink(r: f32, g: f32, b: f32) -> Rgb {
    [r * r, g * g, b * b]
}

pub(super) fn mix(a: Rgb, b: Rgb, t: f32) -> Rgb {
    std::array::from_fn(|c| a[c] + (b[c] - a[c]) * t)
}

pub(super) fn scale(a: Rgb, by: f32) -> Rgb {
    a.map(|v| v * by)
}

pub(super) fn times(a: Rgb, b: Rgb) -> Rgb {
    std::array::from_fn(|c| a[c] * b[c])
}

pub(super) fn plus(a: Rgb, b: Rgb) -> Rgb {
    std::array::from_fn(|c| a[c] + b[c])
}

/// 0 below `from`, 1 above `to`, smooth between; `from` may be the larger.
pub(super) fn step(from: f32, to: f32, x: f32) -> f32 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A bell of a width.
pub(super) fn bell(x: f32, width: f32) -> f32 {
    libm::expf(-(x / width) * (x / width))
}

/// Five octaves of noise, about -1..1.
pub(super) fn rough(x: f32, y: f32, seed: u32) -> f32 {
    noise::octaves(x, y, 5, seed)
}

/// Slow unsteadiness of a camera that is held by hand or stands on a boat.
pub(super) fn handheld(time: f32, amount: f32, seed: u32) -> Point {
    let sway = |salt: u32| noise::along(time * 1.1, seed + salt) + 0.35 * noise::along(time * 3.7, seed + salt + 7);
    (amount * sway(1), amount * sway(2))
}

/// Distance to a box with a centre and half sizes; negative inside.
pub(super) fn boxed(p: Point, centre: Point, half: Point) -> f32 {
    let (dx, dy) = ((p.0 - centre.0).abs() - half.0, (p.1 - centre.1).abs() - half.1);
    libm::hypotf(dx.max(0.0), dy.max(0.0)) + dx.max(dy).min(0.0)
}

/// Distance to a straight line between two points, and the place along it, 0..1.
pub(super) fn segment(p: Point, a: Point, b: Point) -> (f32, f32) {
    let (ux, uy) = (b.0 - a.0, b.1 - a.1);
    let t = (((p.0 - a.0) * ux + (p.1 - a.1) * uy) / (ux * ux + uy * uy).max(1e-12)).clamp(0.0, 1.0);
    (libm::hypotf(p.0 - a.0 - t * ux, p.1 - a.1 - t * uy), t)
}

/// A round-ended rod that tapers, standing `z` in front of the picture's plane.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rod {
    pub(super) a: Point,
    pub(super) b: Point,
    pub(super) radii: (f32, f32),
    pub(super) z: f32,
    /// What it is made of; the scene's own numbering.
    pub(super) stuff: u8,
}

/// Where a rod is seen.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hit {
    pub(super) height: f32,
    pub(super) normal: [f32; 3],
    pub(super) along: f32,
    pub(super) stuff: u8,
}

/// The rod that stands highest at a point.
pub(super) fn highest(p: Point, rods: &[Rod]) -> Option<Hit> {
    let mut best: Option<Hit> = None;
    for rod in rods {
        let (distance, along) = segment(p, rod.a, rod.b);
        let radius = rod.radii.0 + (rod.radii.1 - rod.radii.0) * along;
        if distance >= radius {
            continue;
        }
        let foot = (rod.a.0 + along * (rod.b.0 - rod.a.0), rod.a.1 + along * (rod.b.1 - rod.a.1));
        let up = libm::sqrtf(1.0 - (distance / radius) * (distance / radius));
        let height = rod.z + radius * up;
        if best.is_none_or(|b| b.height < height) {
            let normal = [(p.0 - foot.0) / radius, (p.1 - foot.1) / radius, up];
            best = Some(Hit { height, normal, along, stuff: rod.stuff });
        }
    }
    best
}

/// Light from a direction on a surface, without what falls from behind.
pub(super) fn facing(normal: [f32; 3], towards: [f32; 3]) -> f32 {
    let length = |v: [f32; 3]| libm::sqrtf(v.iter().map(|c| c * c).sum()).max(1e-6);
    (normal.iter().zip(towards).map(|(n, t)| n * t).sum::<f32>() / (length(normal) * length(towards))).max(0.0)
}
