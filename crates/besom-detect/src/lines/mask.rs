//! The pixels of a line.

use besom_scan::{Run, RunMask};

use super::bands::BAND;
use super::column::Piece;
use super::shape::Shape;
use crate::prepare::Prepared;

/// Weak bands in a row from which a gap is left out of the mask.
const GAP_BANDS: usize = 13;

/// Whether the line has any pixel in the frame.
pub(super) fn is_inside(shape: &Shape, frame: &Prepared) -> bool {
    let there = present(shape);
    let bands = there.iter().enumerate().filter(|(_, there)| **there).map(|(k, _)| shape.path.first + k);
    let mut runs = bands.flat_map(|band| rows_of(band, frame).map(|y| across(shape, centre_at(shape, y), y, frame)));
    runs.any(|run| run.x0 < run.x1)
}

/// The line from edge to edge with the pieces of its column, which has one for every band of the frame, without the longer gaps. A
/// line that reaches the last whole band goes down to the frame's last row.
pub(super) fn of_column(shape: &Shape, pieces: &[Piece], frame: &Prepared) -> RunMask {
    let (first, end) = (shape.path.first, shape.path.first + shape.path.len());
    let own = |band: usize| (first..end).contains(&band);
    let mut there: Vec<bool> = pieces.iter().map(|p| p.shows).collect();
    for (there, own) in there.iter_mut().skip(first).zip(present(shape)) {
        *there |= own;
    }
    bridge(&mut there);
    let bands = there.iter().zip(pieces).enumerate().filter(|(_, (there, _))| **there);
    let runs = bands.flat_map(|(band, (_, piece))| {
        let centre = move |y| if own(band) { centre_at(shape, y) } else { piece.centre };
        rows_of(band, frame).map(move |y| across(shape, centre(y), y, frame))
    });
    RunMask::from_runs(runs.collect())
}

/// The rows of a band; the last whole band goes down to the frame's last row.
fn rows_of(band: usize, frame: &Prepared) -> std::ops::Range<usize> {
    let last = if (band + 1) == frame.height() / BAND { frame.height() } else { (band + 1) * BAND };
    band * BAND..last
}

fn across(shape: &Shape, centre: f32, y: usize, frame: &Prepared) -> Run {
    let width = frame.width() as f32;
    let x0 = (centre + shape.edges.0).round().clamp(0.0, width) as u32;
    let x1 = ((centre + shape.edges.1).round() + 1.0).clamp(0.0, width) as u32;
    Run { y: y as u32, x0, x1 }
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

/// For each band of the path whether it belongs to the line.
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

/// Fills the shorter gaps between bands that are there; beyond the first and the last nothing is added.
fn bridge(there: &mut [bool]) {
    let mut last = None;
    for k in 0..there.len() {
        if there[k] {
            if let Some(last) = last.filter(|last| k - last <= GAP_BANDS) {
                there[last..k].fill(true);
            }
            last = Some(k);
        }
    }
}
