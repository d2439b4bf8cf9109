//! The pixels of a line.

use besom_scan::{Run, RunMask};

use super::bands::BAND;
use super::shape::Shape;
use crate::prepare::Prepared;

/// Weak bands in a row from which a gap is left out of the mask.
const GAP_BANDS: usize = 13;

/// The line from edge to edge along its path, without its longer gaps. A line that reaches the last whole band goes down
/// to the frame's last row.
pub(super) fn of(shape: &Shape, frame: &Prepared) -> RunMask {
    let there = present(shape);
    let rows = frame.height() / BAND;
    let mut runs = Vec::new();
    for (k, there) in there.iter().enumerate() {
        if !there {
            continue;
        }
        let band = shape.path.first + k;
        let last = if band + 1 == rows { frame.height() } else { (band + 1) * BAND };
        for y in band * BAND..last {
            let centre = centre_at(shape, y);
            let x0 = (centre + shape.edges.0).round().max(0.0) as u32;
            let x1 = ((centre + shape.edges.1).round() + 1.0).clamp(0.0, frame.width() as f32) as u32;
            runs.push(Run { y: y as u32, x0, x1 });
        }
    }
    RunMask::from_runs(runs)
}

/// The path's column in a row.
fn centre_at(shape: &Shape, y: usize) -> f32 {
    let place =
        ((y as f32 - super::shape::row_of(shape.path.first)) / BAND as f32).clamp(0.0, (shape.path.len() - 1) as f32);
    let low = (place as usize).min(shape.path.len().saturating_sub(2));
    let next = shape.path.centres.get(low + 1).unwrap_or(&shape.path.centres[low]);
    let part = place - low as f32;
    shape.path.centres[low] * (1.0 - part) + next * part
}

/// For each band whether it belongs to the line.
fn present(shape: &Shape) -> Vec<bool> {
    let mut there: Vec<bool> = (0..shape.path.len()).map(|k| shape.strong(k)).collect();
    let mut k = 0;
    while k < there.len() {
        let gap = there[k..].iter().take_while(|t| !**t).count();
        if gap < GAP_BANDS {
            there[k..k + gap].fill(true);
        }
        k += gap.max(1);
    }
    there
}
