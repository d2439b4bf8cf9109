//! Hairs and fibres: thin, curled, of constant width.
//!
//! Lengths follow the short and long hairs of the data named in [`super::particle`]: 10th, 50th and 90th percentiles of
//! 10, 23 and 45 pixels and of 41, 67 and 121 pixels on a 2048 pixel wide scan, three short ones to one long one.

use besom_scan::Plane;

use super::dice::{Dice, Purpose};
use super::noise;
use super::stamp::{Paint, Stamp, edge};
use super::style::Style;

/// Median length of a short hair and the spread of its logarithm.
const SHORT: (f32, f32) = (23.0, 0.52);
/// The same of a long hair.
const LONG: (f32, f32) = (67.0, 0.47);
/// Share of long hairs.
const LONG_SHARE: f32 = 0.23;

/// All hairs of a frame.
pub(super) fn of_frame(
    mean: f32,
    size: (usize, usize),
    scale: f32,
    style: &Style,
    (seed, frame): (u64, usize),
) -> Vec<Stamp> {
    let mut dice = Dice::new(seed, frame, Purpose::Hair);
    let count = dice.poisson(mean);
    (0..count)
        .map(|_| {
            let place = (dice.range(0.0, size.0 as f32), dice.range(0.0, size.1 as f32));
            hair(&mut dice, place, scale, style)
        })
        .collect()
}

/// One hair that starts at a place.
fn hair(dice: &mut Dice, start: (f32, f32), scale: f32, style: &Style) -> Stamp {
    let paint = Paint::of_style(dice, &style.dirt);
    let style = &style.hair;
    let (median, spread) = if dice.chance(LONG_SHARE) { LONG } else { SHORT };
    let length = (dice.log_normal(median, spread) * scale * style.length).clamp(9.0, 400.0);
    let width = (dice.log_normal(2.0, 0.3) * scale.max(0.6) * style.width).clamp(1.1, 5.0);
    let soft = dice.range(0.6, 1.8) * style.soft;
    let angle = std::f32::consts::TAU * dice.unit();
    let line = curl(dice, start, angle, length, style.curl);
    cover(&line, width, soft, paint)
}

/// A curve of a length that sets out at an angle and whose curvature wanders; points half a pixel apart.
pub(super) fn curl(dice: &mut Dice, start: (f32, f32), mut angle: f32, length: f32, more: f32) -> Vec<(f32, f32)> {
    // Between nearly straight and one and a half turns over the whole hair, plus a wander of its own.
    let steady = dice.normal() * 2.2 / length * more;
    let wander = dice.range(0.5, 3.5) / length * more;
    let seed = dice.below(1 << 24) as u32;
    let (mut x, mut y) = start;
    let steps = (2.0 * length) as usize;
    let mut points = Vec::with_capacity(steps + 1);
    for step in 0..=steps {
        points.push((x, y));
        let s = step as f32 * 0.5;
        angle += 0.5 * (steady + 2.0 * wander * noise::along(4.0 * s / length, seed));
        x += 0.5 * libm::cosf(angle);
        y += 0.5 * libm::sinf(angle);
    }
    points
}

/// The coverage of a line of a width; its ends taper.
pub(super) fn cover(line: &[(f32, f32)], width: f32, soft: f32, paint: Paint) -> Stamp {
    let reach = (0.5 * width + soft + 1.0).ceil();
    let bound = |pick: fn(&(f32, f32)) -> f32| {
        line.iter().map(pick).fold((f32::MAX, f32::MIN), |(low, high), v| (low.min(v), high.max(v)))
    };
    let ((left, right), (top, low)) = (bound(|p| p.0), bound(|p| p.1));
    let (x0, y0) = ((left - reach).floor() as i32, (top - reach).floor() as i32);
    let mut map =
        Plane::new(((right + reach).ceil() as i32 - x0 + 1) as usize, ((low + reach).ceil() as i32 - y0 + 1) as usize);
    let last = line.len() as f32;
    for (n, (x, y)) in line.iter().enumerate() {
        let from_end = (n as f32).min(last - n as f32) * 0.5;
        let radius = 0.5 * width * (0.45 + 0.55 * (from_end / (2.0 * width)).min(1.0));
        let (cx, cy) = (x - x0 as f32, y - y0 as f32);
        for j in (cy - reach).max(0.0) as usize..=((cy + reach) as usize).min(map.height() - 1) {
            for i in (cx - reach).max(0.0) as usize..=((cx + reach) as usize).min(map.width() - 1) {
                let here = edge(libm::hypotf(i as f32 - cx, j as f32 - cy) - radius, soft);
                if here > map.at(i, j) {
                    map.set(i, j, here);
                }
            }
        }
    }
    Stamp { x0, y0, cover: map, paint }
}
