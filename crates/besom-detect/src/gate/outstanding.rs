//! How far each pixel stands out from both its sides: the plane on which marks fixed in the gate are looked for.
//!
//! A pixel is held against the two pixels opposite each other at a distance, and what it lies beyond both of them counts; of
//! four directions and three distances the largest counts. A speck or a thin line of either polarity stands out by its
//! contrast; a plain edge, whose one side is its own like, by nothing.

use besom_motion::Pyramid;
use besom_motion::order::{least, most};
use besom_motion::pyramid::halved_row;
use besom_scan::Plane;

/// Samples of this plane to one code: sixteen bits hold every contrast of a scan to an eighth of a code.
pub(super) const FINE: f32 = 8.0;
/// Distances of the two sides, in samples, along both axes and the diagonals; the last along the axes alone.
const DISTANCES: [usize; 3] = [3, 8, 15];
/// Pixels copied beyond the border, so that no read is tested for it: the largest distance.
const MARGIN: usize = DISTANCES[2];

/// The plane of a frame's smoothed luma: at the size that its motion is searched at, in codes times [`FINE`], negative where
/// darker than both sides, positive where brighter, 0 where neither.
pub(crate) fn outstanding(luma: &Plane) -> Plane<i16> {
    let reduced;
    let base = if Pyramid::reduction(luma.width(), luma.height()) == 2 {
        reduced = halved_here(luma);
        &reduced
    } else {
        luma
    };
    let (width, height) = (base.width(), base.height());
    let padded = padded(base);
    let mut out = Plane::new(width, height);
    // Not shared out among threads: it is made once a frame while others wait for it, and what waits must not be stolen here.
    for (y, row) in out.as_mut_slice().chunks_mut(width).enumerate() {
        outstanding_row(&padded, y, row);
    }
    out
}

/// The plane at half its size, on this thread.
fn halved_here(plane: &Plane) -> Plane {
    let (width, height) = (plane.width().div_ceil(2), plane.height());
    let mut out = Plane::new(width, height.div_ceil(2));
    for (y, row) in out.as_mut_slice().chunks_mut(width).enumerate() {
        halved_row(plane.row(2 * y), plane.row((2 * y + 1).min(height - 1)), row);
    }
    out
}

/// The plane with [`MARGIN`] copies of its border on every side.
fn padded(plane: &Plane) -> Plane {
    let (width, height) = (plane.width(), plane.height());
    let mut out = Plane::new(width + 2 * MARGIN, height + 2 * MARGIN);
    let stride = out.width();
    for (y, out) in out.as_mut_slice().chunks_mut(stride).enumerate() {
        let row = plane.row(y.saturating_sub(MARGIN).min(height - 1));
        out[..MARGIN].fill(row[0]);
        out[MARGIN..MARGIN + width].copy_from_slice(row);
        out[MARGIN + width..].fill(row[width - 1]);
    }
    out
}

#[multiversion::multiversion(targets("x86_64+avx2"))]
fn outstanding_row(padded: &Plane, y: usize, out: &mut [i16]) {
    let width = out.len();
    let y = y + MARGIN;
    let here = &padded.row(y)[MARGIN..MARGIN + width];
    // The largest lead over both sides, upwards and downwards.
    let mut above = vec![0.0f32; width];
    let mut below = vec![0.0f32; width];
    for (k, d) in DISTANCES.into_iter().enumerate() {
        let pairs = [
            ((0, MARGIN - d), (0, MARGIN + d)),
            ((d, MARGIN), (2 * d, MARGIN)),
            ((d, MARGIN - d), (2 * d, MARGIN + d)),
            ((d, MARGIN + d), (2 * d, MARGIN - d)),
        ];
        let used = if k + 1 == DISTANCES.len() { 2 } else { 4 };
        for ((up, left), (down, right)) in pairs.into_iter().take(used) {
            let row = |step: usize| match step {
                0 => y,
                step if step == d => y - d,
                _ => y + d,
            };
            let a = &padded.row(row(up))[left..left + width];
            let b = &padded.row(row(down))[right..right + width];
            for x in 0..width {
                let (da, db) = (here[x] - a[x], here[x] - b[x]);
                above[x] = most(above[x], least(da, db));
                below[x] = least(below[x], most(da, db));
            }
        }
    }
    for x in 0..width {
        let lead = if above[x] >= -below[x] { above[x] } else { below[x] };
        out[x] = (lead * FINE) as i16;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, pixel by pixel.
    fn plain(plane: &Plane, x: i32, y: i32) -> i16 {
        let here = plane.clamped(x, y);
        let (mut above, mut below) = (0.0f32, 0.0f32);
        for d in DISTANCES.map(|d| d as i32) {
            for (i, j) in [(1, 0), (0, 1), (1, 1), (1, -1)] {
                if d == MARGIN as i32 && i * j != 0 {
                    continue;
                }
                let (a, b) = (plane.clamped(x + d * i, y + d * j), plane.clamped(x - d * i, y - d * j));
                above = above.max((here - a).min(here - b));
                below = below.min((here - a).max(here - b));
            }
        }
        ((if above >= -below { above } else { below }) * FINE) as i16
    }

    #[test]
    fn the_kernel_follows_its_definition_at_every_border() {
        let mut s = 11u32;
        let mut noise = |_, _| {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (s >> 22) as f32
        };
        for (w, h) in [(1, 1), (3, 9), (17, 5), (41, 37)] {
            let plane = Plane::from_fn(w, h, &mut noise);
            let fast = outstanding(&plane);
            for y in 0..h {
                for x in 0..w {
                    assert_eq!(fast.at(x, y), plain(&plane, x as i32, y as i32), "{x} {y} of {w} x {h}");
                }
            }
        }
    }

    #[test]
    fn an_edge_does_not_stand_out_and_a_thin_line_does() {
        let edge = Plane::from_fn(60, 60, |x, _| if x < 30 { 200.0 } else { 700.0 });
        assert!(outstanding(&edge).as_slice().iter().all(|v| *v == 0));
        let line = Plane::from_fn(60, 60, |x, y| if usize::midpoint(x, y) == 30 { 200.0 } else { 500.0 });
        let found = outstanding(&line);
        assert_eq!(found.at(30, 30), (-300.0 * FINE) as i16);
        assert_eq!(found.at(20, 20), 0);
    }
}
