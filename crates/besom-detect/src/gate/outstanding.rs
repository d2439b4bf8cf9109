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
/// Codes that are held against each other, at most: twice the range of a scan, so that no difference leaves sixteen bits.
const HIGHEST: f32 = 2047.0;
/// Distances of the two sides, in samples, along both axes and the diagonals; the last along the axes alone.
const DISTANCES: [usize; 3] = [3, 8, 15];
/// Samples copied beyond the border, so that no read is tested for it: the largest distance.
const MARGIN: usize = DISTANCES[2];

/// The plane of a frame's smoothed luma: at the size that its motion is searched at, in codes times [`FINE`], negative where
/// darker than both sides, positive where brighter, 0 where neither.
pub(crate) fn outstanding(luma: &Plane) -> Plane<i16> {
    let padded = padded(luma);
    let (width, height) = (padded.width() - 2 * MARGIN, padded.height() - 2 * MARGIN);
    let mut out = Plane::new(width, height);
    // Not shared out among threads: it is made once a frame while others wait for it, and what waits must not be stolen here.
    let (mut low, mut high) = (vec![0i16; width], vec![0i16; width]);
    for (y, row) in out.as_mut_slice().chunks_mut(width).enumerate() {
        outstanding_row(&padded, y + MARGIN, (&mut low, &mut high), row);
    }
    out
}

/// The luma at the size of the motion search, in whole samples of [`FINE`], with [`MARGIN`] copies of its border on every side.
fn padded(luma: &Plane) -> Plane<i16> {
    let reduction = Pyramid::reduction(luma.width(), luma.height());
    let (width, height) = (luma.width().div_ceil(reduction), luma.height().div_ceil(reduction));
    let mut out = Plane::new(width + 2 * MARGIN, height + 2 * MARGIN);
    let stride = out.width();
    let mut halved = vec![0.0f32; width];
    let inside = MARGIN * stride..(MARGIN + height) * stride;
    for (y, out) in out.as_mut_slice()[inside].chunks_mut(stride).enumerate() {
        let row = if reduction == 2 {
            halved_row(luma.row(2 * y), luma.row((2 * y + 1).min(luma.height() - 1)), &mut halved);
            &halved
        } else {
            luma.row(y)
        };
        whole_samples(row, &mut out[MARGIN..MARGIN + width]);
        let (first, last) = (out[MARGIN], out[MARGIN + width - 1]);
        out[..MARGIN].fill(first);
        out[MARGIN + width..].fill(last);
    }
    let samples = out.as_mut_slice();
    for y in 0..MARGIN {
        samples.copy_within(MARGIN * stride..(MARGIN + 1) * stride, y * stride);
        samples.copy_within((MARGIN + height - 1) * stride..(MARGIN + height) * stride, (MARGIN + height + y) * stride);
    }
    out
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn whole_samples(row: &[f32], out: &mut [i16]) {
    for (out, code) in out.iter_mut().zip(row) {
        let code = least(most(*code, 0.0), HIGHEST);
        *out = (code * FINE + 0.5) as i32 as i16;
    }
}

/// One row, `y` of the padded plane. Of each pair of sides the larger and the smaller one count: a sample lies beyond both
/// sides by what it lies beyond the larger one, and over all pairs by what it lies beyond the smallest of those.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn outstanding_row(padded: &Plane<i16>, y: usize, (low, high): (&mut [i16], &mut [i16]), out: &mut [i16]) {
    let width = out.len();
    low.fill(i16::MAX);
    high.fill(i16::MIN);
    for (k, d) in DISTANCES.into_iter().enumerate() {
        let (up, here, down) = (padded.row(y - d), padded.row(y), padded.row(y + d));
        let pairs = [
            ((up, MARGIN), (down, MARGIN)),
            ((here, MARGIN - d), (here, MARGIN + d)),
            ((up, MARGIN - d), (down, MARGIN + d)),
            ((up, MARGIN + d), (down, MARGIN - d)),
        ];
        let used = if k + 1 == DISTANCES.len() { 2 } else { 4 };
        for ((a, left), (b, right)) in pairs.into_iter().take(used) {
            let (a, b) = (&a[left..left + width], &b[right..right + width]);
            let (low, high) = (&mut low[..width], &mut high[..width]);
            for x in 0..width {
                low[x] = low[x].min(a[x].max(b[x]));
                high[x] = high[x].max(a[x].min(b[x]));
            }
        }
    }
    let here = &padded.row(y)[MARGIN..MARGIN + width];
    for x in 0..width {
        let (above, below) = ((here[x] - low[x]).max(0), (here[x] - high[x]).min(0));
        out[x] = if above >= -below { above } else { below };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, pixel by pixel.
    fn plain(plane: &Plane, x: i32, y: i32) -> i16 {
        let at = |x: i32, y: i32| (plane.clamped(x, y).clamp(0.0, HIGHEST) * FINE).round() as i16;
        let here = at(x, y);
        let (mut above, mut below) = (0, 0);
        for d in DISTANCES.map(|d| d as i32) {
            for (i, j) in [(1, 0), (0, 1), (1, 1), (1, -1)] {
                if d == MARGIN as i32 && i * j != 0 {
                    continue;
                }
                let (a, b) = (at(x + d * i, y + d * j), at(x - d * i, y - d * j));
                above = above.max((here - a).min(here - b));
                below = below.min((here - a).max(here - b));
            }
        }
        if above >= -below { above } else { below }
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
