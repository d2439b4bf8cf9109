//! How unsteadily a film ran: what the whole picture does from frame to frame that a steady motion would not explain.
//!
//! A film that weaves by one and a half pixels makes every vector to n-1 disagree with the one to n+1, and puts the picture of n+2
//! four pixels from where twice the vector to n+1 expects it. Neither says anything about a mark.

use besom_motion::around::{Search, search_around};
use besom_motion::flicker::gain;
use besom_motion::order::middle;
use besom_motion::{MotionField, Vector};
use besom_scan::{Plane, Rect};
use rayon::prelude::*;

use crate::detect::Around;
use crate::prepare::Prepared;

/// Unsteadiness of the whole picture around a frame, in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sway {
    /// The sum of the motions to n-1 and to n+1: nothing for a steady film.
    pub next: Vector,
    /// What leads from twice the motion to the nearer neighbour to the motion to the one beyond it, on each side.
    pub beyond: [Vector; 2],
    /// What the codes of the frame beyond are multiplied by to be of the current frame's range, on each side.
    pub gains: [f32; 2],
}

/// Squares that are followed to a farther frame, along each axis, and their side in pixels.
const SQUARES: (usize, usize) = (8, 6);
const SIDE: i32 = 24;
/// How far they are looked for: weave of 1.5 pixels moves n+2 by 3.7 (root mean square) against a steady motion.
const SEARCH: Search = Search { radius: 8, most_pixels: 200, content: 0.0, gain: 1.0 };
/// Fewer squares that hold on to something than this say nothing.
const FEWEST: usize = 6;

impl Sway {
    pub(crate) fn measure(around: &Around, taken: &Plane<u8>) -> Self {
        let [a, b] = around.medians;
        let next = if around.one_sided { Vector::default() } else { Vector::new(a.dx + b.dx, a.dy + b.dy) };
        let squares = squares(&around.current.luma);
        let mut sway = Self { next, beyond: [Vector::default(); 2], gains: [1.0; 2] };
        for (k, frame) in around.medians.into_iter().enumerate() {
            let Some(far) = around.witnesses[k] else { continue };
            let beyond = carry(around.current, &around.sides[k].1, far, &squares, taken);
            let whole = |near: f32, beyond: f32| (2.0 * near + beyond).round() as i32;
            let moved = (whole(frame.dx, beyond.dx), whole(frame.dy, beyond.dy));
            sway.beyond[k] = beyond;
            sway.gains[k] = gain(&around.current.luma, &far.luma, moved);
        }
        sway
    }
}

/// Squares of a lattice over the frame, those with more structure than the middle one.
fn squares(luma: &Plane) -> Vec<Rect> {
    let (width, height) = (luma.width() as i32, luma.height() as i32);
    let (columns, rows) = (SQUARES.0 as i32, SQUARES.1 as i32);
    if width < SIDE * columns || height < SIDE * rows {
        return Vec::new();
    }
    let mut all: Vec<(f32, Rect)> = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let x0 = (2 * column + 1) * width / (2 * columns) - SIDE / 2;
            let y0 = (2 * row + 1) * height / (2 * rows) - SIDE / 2;
            let square = Rect::new(x0, y0, x0 + SIDE, y0 + SIDE);
            all.push((structure(luma, &square), square));
        }
    }
    // A stable sort: equals stay in their order.
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.truncate(all.len() / 2);
    all.into_iter().map(|(_, square)| square).collect()
}

/// The weaker of the mean steps along both axes: a straight edge slides along itself.
fn structure(luma: &Plane, square: &Rect) -> f32 {
    let (mut across, mut down) = (0.0f32, 0.0f32);
    for y in square.y0..square.y1 {
        for x in square.x0..square.x1 {
            let here = luma.clamped(x, y);
            across += (luma.clamped(x + 2, y) - here).abs();
            down += (luma.clamped(x, y + 2) - here).abs();
        }
    }
    across.min(down)
}

/// The median of what leads the squares from twice the nearer motion to where `far` shows them.
fn carry(current: &Prepared, near: &MotionField, far: &Prepared, squares: &[Rect], taken: &Plane<u8>) -> Vector {
    let led = |square: &Rect| {
        let v = near.at((square.x0 + SIDE / 2) as f32, (square.y0 + SIDE / 2) as f32);
        let start = Vector::new(2.0 * v.dx, 2.0 * v.dy);
        let found = search_around(&current.luma, &far.luma, taken, None, *square, start, &SEARCH);
        found.error.is_finite().then(|| Vector::new(found.vector.dx - start.dx, found.vector.dy - start.dy))
    };
    let (mut dx, mut dy): (Vec<f32>, Vec<f32>) =
        squares.par_iter().map(led).collect::<Vec<_>>().into_iter().flatten().map(|v| (v.dx, v.dy)).unzip();
    if dx.len() < FEWEST {
        return Vector::default();
    }
    Vector::new(middle(&mut dx), middle(&mut dy))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::detect::Window;

    /// Frames of one picture, each displaced by whole pixels.
    fn shot(places: [(i32, i32); 5]) -> Vec<Option<Prepared>> {
        let mut state = 11u32;
        let noise = Plane::from_fn(320, 260, |_, _| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 23) as f32
        });
        let mut picture = noise;
        for _ in 0..4 {
            picture = crate::prepare::smoothed(&picture);
        }
        let frame = |(dx, dy): (i32, i32)| {
            Prepared::new(vec![Plane::from_fn(256, 200, |x, y| {
                200.0 + 2.0 * picture.clamped(x as i32 + 30 - dx, y as i32 + 30 - dy)
            })])
        };
        places.into_iter().map(frame).collect()
    }

    fn sway(places: [(i32, i32); 5]) -> Option<Sway> {
        let shot = shot(places);
        let around = Window::of_shot(&shot, 2)?.around()?;
        Some(Sway::measure(&around, &Plane::new(256, 200)))
    }

    #[test]
    fn a_pan_does_not_sway_and_weave_is_measured() {
        let close = |v: Vector, dx: f32, dy: f32| assert!(v.distance(Vector::new(dx, dy)) < 0.2, "{v:?} {dx} {dy}");
        let pan = sway([(-6, 2), (-3, 1), (0, 0), (3, -1), (6, -2)]).unwrap();
        close(pan.next, 0.0, 0.0);
        for v in pan.beyond {
            close(v, 0.0, 0.0);
        }
        // The same pan with a frame out of its place each.
        let weave = sway([(-6 + 3, 2), (-3, 1 - 2), (0, 0), (3 + 2, -1), (6 - 1, -2 - 3)]).unwrap();
        close(weave.next, 2.0, -2.0);
        close(weave.beyond[0], 3.0, 4.0);
        close(weave.beyond[1], -5.0, -3.0);
    }
}
