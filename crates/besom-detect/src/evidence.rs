//! The temporal test: where a frame differs from both its neighbours in one direction, in units of grain.
//!
//! Two published rules are joined. The signed spike rule asks that the frame lies beyond both compensated neighbours on
//! the same side (`SDIp`: Kokaram, Morris, Fitzgerald and Rayner, IEEE TIP 4(11), 1995; its ancestor: Storey, UK patent
//! application GB 2 139 039 A, 1984). The rank-order rule asks that it also lies beyond the extremes of the pixels around
//! (ROD: Nadenau and Mitra, 1997, from memory; here with all 3x3 pixels of both neighbours), which forgives small errors of
//! motion along edges.

use besom_motion::order::{least, most};
use besom_scan::Plane;
use rayon::prelude::*;

use crate::grain::Grain;
use crate::spares::Spares;

/// Signed responses in grain sigmas: negative is darker than both neighbours, positive brighter, zero neither.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// The smaller of the two differences, where both have one sign.
    pub spike: Plane,
    /// How far beyond the 3x3 extremes of both neighbours.
    pub rank: Plane,
}

/// Grain's standard deviation for every whole code, so that the kernel does one look-up a pixel.
pub fn sigma_table(grain: &Grain) -> Vec<f32> {
    (0..1024).map(|code| grain.luma_at(code as f32).max(0.25)).collect()
}

/// Tests `current` against the two compensated and levelled neighbours `a` and `b`, all smoothed luma of one size.
///
/// # Panics
/// When the planes differ in size.
pub fn test(current: &Plane, a: &Plane, b: &Plane, sigma: &[f32]) -> Evidence {
    test_in(&Spares::default(), current, a, b, sigma)
}

/// [`test()`] in spare planes.
pub(crate) fn test_in(spares: &Spares, current: &Plane, a: &Plane, b: &Plane, sigma: &[f32]) -> Evidence {
    let (width, height) = (current.width(), current.height());
    let [mut spike, mut rank] = [(); 2].map(|()| spares.plane(width, height));
    let lines = spike.as_mut_slice().par_chunks_mut(width).zip(rank.as_mut_slice().par_chunks_mut(width));
    let inverse: Vec<f32> = sigma.iter().map(|s| 1.0 / s).collect();
    lines.enumerate().for_each(|(y, (spike, rank))| test_row(current.row(y), a, b, y, &inverse, spike, rank));
    Evidence { spike, rank }
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn test_row(now: &[f32], a: &Plane, b: &Plane, y: usize, inverse: &[f32], spike: &mut [f32], rank: &mut [f32]) {
    let mut unit = vec![0.0f32; now.len()];
    for ((unit, a), b) in unit.iter_mut().zip(a.row(y)).zip(b.row(y)) {
        *unit = inverse[((0.5 * (a + b)) as i32).clamp(0, 1023) as usize];
    }
    test_row_in_units(now, a, b, y, &unit, spike, rank);
}

/// One row of the test; `unit` is one over the grain's standard deviation at every column.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(crate) fn test_row_in_units(
    now: &[f32],
    a: &Plane,
    b: &Plane,
    y: usize,
    unit: &[f32],
    spike: &mut [f32],
    rank: &mut [f32],
) {
    let (width, height) = (now.len(), a.height());
    let mut low = vec![0.0f32; width + 2];
    let mut high = vec![0.0f32; width + 2];
    let ys = [y.saturating_sub(1), y, (y + 1).min(height - 1)];
    let [a0, a1, a2] = ys.map(|y| &a.row(y)[..width]);
    let [b0, b1, b2] = ys.map(|y| &b.row(y)[..width]);
    for (x, (low, high)) in low[1..=width].iter_mut().zip(&mut high[1..=width]).enumerate() {
        *low = least(least(least(a0[x], a1[x]), a2[x]), least(least(b0[x], b1[x]), b2[x]));
        *high = most(most(most(a0[x], a1[x]), a2[x]), most(most(b0[x], b1[x]), b2[x]));
    }
    (low[0], low[width + 1]) = (low[1], low[width]);
    (high[0], high[width + 1]) = (high[1], high[width]);
    let (spike, rank, units) = (&mut spike[..width], &mut rank[..width], &unit[..width]);
    for x in 0..width {
        let unit = units[x];
        let (da, db) = (now[x] - a1[x], now[x] - b1[x]);
        // The smaller magnitude where the signs agree, else zero, without a branch.
        spike[x] = (most(least(da, db), 0.0) + least(most(da, db), 0.0)) * unit;
        let top = most(most(high[x], high[x + 1]), high[x + 2]);
        let bottom = least(least(low[x], low[x + 1]), low[x + 2]);
        rank[x] = (most(now[x] - top, 0.0) + least(now[x] - bottom, 0.0)) * unit;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kernel_follows_the_published_rules() {
        let mut s = 7u32;
        let mut noise = |_, _| {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (s >> 25) as f32 + 300.0
        };
        let (c, a, b) = (
            Plane::from_fn(19, 11, &mut noise),
            Plane::from_fn(19, 11, &mut noise),
            Plane::from_fn(19, 11, &mut noise),
        );
        let sigma = vec![2.0; 1024];
        let e = test(&c, &a, &b, &sigma);
        for y in 0..11i32 {
            for x in 0..19i32 {
                let v = c.clamped(x, y);
                let (da, db) = (v - a.clamped(x, y), v - b.clamped(x, y));
                // SDIp: both differences of one sign; its strength is the smaller one.
                let spike = if da * db > 0.0 { da.signum() * da.abs().min(db.abs()) / 2.0 } else { 0.0 };
                assert_eq!(e.spike.clamped(x, y), spike);
                let around: Vec<f32> = (-1..=1)
                    .flat_map(|j| (-1..=1).map(move |i| (x + i, y + j)))
                    .flat_map(|(i, j)| [a.clamped(i, j), b.clamped(i, j)])
                    .collect();
                let (min, max) = around.iter().fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
                let rank = if v > max {
                    v - max
                } else if v < min {
                    v - min
                } else {
                    0.0
                } / 2.0;
                assert_eq!(e.rank.clamped(x, y), rank);
            }
        }
    }
}
