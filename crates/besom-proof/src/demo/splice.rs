//! A cement splice: two pieces of film overlap at a frame line, and their edges are printed on both frames beside it.

use besom_scan::Plane;

use crate::ageing::noise;

/// Label bit of a splice's mark.
pub const SPLICE: u8 = 8;

/// Which end of the frame the splice touches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// The last frame before the splice: its lower edge.
    Lower,
    /// The first frame after it: its upper edge.
    Upper,
}

/// Marks a frame, and labels what changed by more than `visible` codes.
pub(super) fn mark(planes: &mut [Plane], labels: &mut Plane<u8>, end: End, visible: f32, seed: u32) {
    let (width, height) = (labels.width(), labels.height());
    let overlap = (0.030 * height as f32).max(4.0);
    for y in 0..height {
        let inside = if end == End::Lower { (height - 1 - y) as f32 } else { y as f32 };
        if inside > 1.6 * overlap {
            continue;
        }
        for x in 0..width {
            let (alpha, target) = trace(x as f32, inside, overlap, seed);
            let mut change = 0.0_f32;
            for (channel, plane) in planes.iter_mut().enumerate() {
                let under = plane.at(x, y);
                // Old cement has yellowed: the blue record holds less light.
                let tint = if channel == 2 { -35.0 } else { 0.0 };
                let now = (under + alpha * (target + tint - under)).round().clamp(0.0, 1023.0);
                change = change.max((now - under).abs());
                plane.set(x, y, now);
            }
            if alpha > crate::ageing::LABEL_OPACITY && change > visible {
                labels.set(x, y, labels.at(x, y) | SPLICE);
            }
        }
    }
}

/// Opacity and code of the splice at a column and a distance from the frame line.
fn trace(x: f32, inside: f32, overlap: f32, seed: u32) -> (f32, f32) {
    let waver = 0.10 * overlap * noise::along(x / (9.0 * overlap), seed) + 0.012 * x / overlap;
    let edge = inside - overlap + waver;
    // The scraped edge: a bright line where the emulsion is gone, a dark one beside it.
    let bright = (1.0 - (edge / (0.10 * overlap).max(0.9)).abs()).max(0.0);
    let dark = (1.0 - ((edge - 0.22 * overlap) / (0.10 * overlap).max(0.9)).abs()).max(0.0);
    let lap =
        if edge < 0.0 { 0.30 + 0.12 * noise::octaves(x / overlap, inside / overlap * 3.0, 3, seed + 1) } else { 0.0 };
    let blob = noise::octaves(x / (1.7 * overlap), inside / (0.8 * overlap), 3, seed + 2);
    let cement = if edge < 0.3 * overlap { 0.55 * ((blob - 0.20) * 5.0).clamp(0.0, 1.0) } else { 0.0 };
    if bright > 0.05 {
        (0.9 * bright, 900.0)
    } else if dark > 0.05 {
        (0.7 * dark, 130.0)
    } else if cement > 0.3 {
        (cement, 760.0)
    } else {
        (lap.clamp(0.0, 0.5), 250.0)
    }
}
