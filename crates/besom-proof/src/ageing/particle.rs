//! Dust and dirt particles: specks, blobs, chips, fibres' crumbs, sparkles and smudges, and the clouds they come in.
//!
//! Lengths follow 12,137 hand-drawn outlines of real 35 mm dirt (data of Ivanova, Williamson, Henderson, Computer
//! Graphics Forum 42(2):133-148, 2023; MIT licence): 10th, 50th and 90th percentiles of 5.3, 6.3 and 9.4 pixels for dust
//! and 7.1, 9.7 and 17 for dirt on a 2048 pixel wide scan, three of the first to one of the second. The variety of shapes
//! is ours: a detector that is trained on it should not learn one outline.

use super::dice::{Dice, Purpose};
use super::noise;
use super::stamp::{Paint, Stamp, edge};
use super::style::DirtStyle;

/// Median length of dust, in pixels of a 2048 pixel wide scan, and the spread of its logarithm.
const DUST: (f32, f32) = (6.3, 0.31);
/// The same of dirt.
const DIRT: (f32, f32) = (9.7, 0.435);
/// Share of dirt among dust and dirt (22.2 of 85.1 %).
pub(super) const DIRT_SHARE: f32 = 0.26;
/// Share of tiny sparkles, which are shorter than the outlines people bothered to draw.
pub(super) const SPARKLE_SHARE: f32 = 0.08;

/// All dust of a frame: particles scattered over it, and now and then a dense cloud.
pub(super) fn of_frame(
    (mean, cloud): (f32, f32),
    size: (usize, usize),
    scale: f32,
    style: &DirtStyle,
    (seed, frame): (u64, usize),
) -> Vec<Stamp> {
    let mut dice = Dice::new(seed, frame, Purpose::Dust);
    let (width, height) = (size.0 as f32, size.1 as f32);
    // Frames differ much from each other: a dirty one lies beside a clean one.
    let mean_here = mean * dice.log_normal(0.9, 0.45);
    let count = dice.poisson(mean_here);
    let mut stamps = Vec::with_capacity(count);
    for _ in 0..count {
        let place = (dice.range(0.0, width), dice.range(0.0, height));
        stamps.push(particle(&mut dice, place, (scale, 1.0), style));
        if dice.sometimes(style.clusters) {
            let apart = dice.range(3.0, 14.0) * scale * style.size.max(0.7);
            for _ in 0..=dice.below(5) {
                let beside = (place.0 + apart * dice.normal(), place.1 + apart * dice.normal());
                stamps.push(particle(&mut dice, beside, (scale, 0.8), style));
            }
        }
    }
    if dice.chance(cloud) {
        let centre = (dice.range(0.1, 0.9) * width, dice.range(0.1, 0.9) * height);
        let (wide, tall) = (dice.range(0.03, 0.13) * width, dice.range(0.03, 0.13) * width);
        let members = (mean.max(40.0) * dice.range(0.8, 2.5)).min(400.0) as usize;
        stamps.extend((0..members).map(|_| {
            let place = (centre.0 + wide * dice.normal(), centre.1 + tall * dice.normal());
            particle(&mut dice, place, (scale, 0.8), style)
        }));
    }
    stamps
}

/// One particle of random size, shape and colour; lengths are multiplied by both parts of `scale`.
pub(super) fn particle(dice: &mut Dice, place: (f32, f32), scale: (f32, f32), style: &DirtStyle) -> Stamp {
    let paint = Paint::of_style(dice, style);
    if dice.chance(style.sparkles) {
        let (radius, soft) = (dice.range(0.9, 1.6), dice.range(0.5, 1.2));
        return speck(dice, place, radius, soft, paint);
    }
    let (median, spread) = if dice.chance(style.large) { DIRT } else { DUST };
    let length = (dice.log_normal(median, spread * style.spread) * scale.0 * scale.1 * style.size).clamp(2.2, 90.0);
    // Out of focus of the scanner or lying on the far side of the base: edges are soft by one to two pixels.
    let soft = dice.log_normal(style.soft, 0.4).clamp(0.5, style.softest);
    let [specks, blobs, chips, crumbs, smudges] = style.shapes;
    match dice.below(100) {
        n if n < specks => speck(dice, place, 0.5 * length, soft, paint),
        n if n < blobs => blob(dice, place, 0.5 * length, soft, paint),
        n if n < chips => chip(dice, place, 0.5 * length, paint),
        n if n < crumbs => crumb(dice, place, length, soft, paint),
        n if n < smudges => smudge(dice, place, length, paint),
        _ => flakes(dice, place, 0.5 * length, soft, paint),
    }
}

/// A nearly round speck whose radius wavers.
fn speck(dice: &mut Dice, (x, y): (f32, f32), radius: f32, soft: f32, paint: Paint) -> Stamp {
    let waves: [(f32, f32); 3] = std::array::from_fn(|n| (dice.range(0.0, 0.22) / (n + 1) as f32, dice.unit()));
    let reach = radius * 1.4 + soft;
    Stamp::around(x, y, (reach, reach), paint, |px, py| {
        let angle = libm::atan2f(py - y, px - x);
        let wobble = waves.iter().enumerate().map(|(n, (strength, phase))| {
            strength * libm::cosf((n + 2) as f32 * angle + std::f32::consts::TAU * phase)
        });
        edge(libm::hypotf(px - x, py - y) - radius * (1.0 + wobble.sum::<f32>()), soft)
    })
}

/// An irregular blob: a cone whose contour is displaced by noise, sometimes thinner in its middle.
fn blob(dice: &mut Dice, (x, y): (f32, f32), radius: f32, soft: f32, paint: Paint) -> Stamp {
    let seed = dice.below(1 << 24) as u32;
    let grain = (radius * dice.range(0.5, 1.1)).max(1.2);
    let rough = dice.range(0.3, 0.75);
    let hollow = if dice.chance(0.2) { dice.range(0.2, 0.7) } else { 0.0 };
    let reach = radius * 1.5 + soft;
    Stamp::around(x, y, (reach, reach), paint, |px, py| {
        let distance = libm::hypotf(px - x, py - y);
        let displaced = distance - radius * (1.0 + rough * noise::octaves(px / grain, py / grain, 3, seed));
        edge(displaced, soft) * (1.0 - hollow * edge(displaced + 0.55 * radius, radius))
    })
}

/// A chip with straight hard edges: the intersection of three to six half planes.
fn chip(dice: &mut Dice, (x, y): (f32, f32), radius: f32, paint: Paint) -> Stamp {
    let sides = 3 + dice.below(4);
    let turn = dice.unit();
    let planes: Vec<(f32, f32, f32)> = (0..sides)
        .map(|side| {
            let angle = std::f32::consts::TAU * (turn + (side as f32 + dice.range(-0.25, 0.25)) / sides as f32);
            (libm::cosf(angle), libm::sinf(angle), radius * dice.range(0.45, 0.95))
        })
        .collect();
    let reach = radius * 1.6;
    Stamp::around(x, y, (reach, reach), paint, |px, py| {
        let outside = planes.iter().map(|(nx, ny, d)| nx * (px - x) + ny * (py - y) - d).fold(f32::MIN, f32::max);
        edge(outside.max(libm::hypotf(px - x, py - y) - reach), 0.8)
    })
}

/// A bent, elongated bit, two to five times longer than wide.
fn crumb(dice: &mut Dice, (x, y): (f32, f32), length: f32, soft: f32, paint: Paint) -> Stamp {
    let half = 0.5 * length * dice.range(1.0, 1.6);
    let radius = (half / dice.range(2.0, 5.0)).max(0.6);
    let (sin, cos) = libm::sincosf(std::f32::consts::TAU * dice.unit());
    let bend = dice.range(-0.7, 0.7) / half;
    let taper = dice.range(0.0, 0.6);
    let reach = half * 1.3 + radius + soft;
    Stamp::around(x, y, (reach, reach), paint, |px, py| {
        let along = cos * (px - x) + sin * (py - y);
        let across = -sin * (px - x) + cos * (py - y) - bend * along * along;
        let past = (along.abs() - half).max(0.0);
        let here = radius * (1.0 - taper * (0.5 + 0.5 * along / half).clamp(0.0, 1.0));
        edge(libm::hypotf(past, across) - here, soft)
    })
}

/// A smudge without an edge, mottled, never quite opaque.
fn smudge(dice: &mut Dice, (x, y): (f32, f32), length: f32, mut paint: Paint) -> Stamp {
    let (a, b) = (length * dice.range(0.5, 1.1), length * dice.range(0.35, 0.8));
    let (sin, cos) = libm::sincosf(std::f32::consts::TAU * dice.unit());
    let seed = dice.below(1 << 24) as u32;
    paint.opacity *= dice.range(0.75, 1.0);
    let reach = 2.2 * a.max(b);
    Stamp::around(x, y, (reach, reach), paint, |px, py| {
        let (u, v) = ((cos * (px - x) + sin * (py - y)) / a, (cos * (py - y) - sin * (px - x)) / b);
        let mottle = 1.0 + 0.35 * noise::octaves(px / length * 3.0, py / length * 3.0, 2, seed);
        // The floor ends the bell where it would otherwise tail on far below visibility.
        1.15 * libm::expf(-1.2 * (u * u + v * v) / mottle) - 0.05
    })
}

/// Two to five flakes that cling together.
fn flakes(dice: &mut Dice, place: (f32, f32), radius: f32, soft: f32, paint: Paint) -> Stamp {
    let discs: Vec<(f32, f32, f32)> = (0..2 + dice.below(4))
        .map(|_| {
            let offset = (radius * dice.normal(), radius * dice.normal());
            (place.0 + offset.0, place.1 + offset.1, (radius * dice.range(0.3, 0.8)).max(0.8))
        })
        .collect();
    let reach = 3.5 * radius + soft;
    Stamp::around(place.0, place.1, (reach, reach), paint, |px, py| {
        discs.iter().map(|(x, y, r)| edge(libm::hypotf(px - x, py - y) - r, soft)).fold(0.0, f32::max)
    })
}

/// Length of the covered part of a stamp: the longer side of the box around coverage above a half.
#[cfg(test)]
pub(super) fn covered(cover: &besom_scan::Plane) -> (usize, usize) {
    let (mut x, mut y) = ((usize::MAX, 0), (usize::MAX, 0));
    for j in 0..cover.height() {
        for i in 0..cover.width() {
            if cover.at(i, j) > 0.5 {
                x = (x.0.min(i), x.1.max(i + 1));
                y = (y.0.min(j), y.1.max(j + 1));
            }
        }
    }
    (x.1.saturating_sub(x.0), y.1.saturating_sub(y.0))
}
