//! How far a mark lies beyond everything that the picture around it shows.
//!
//! The rank-order rule asks it of the pixels next to each other; what moves farther than that between two frames passes
//! it. A thing of the picture has its like somewhere around in a neighbouring frame; an opaque particle need not.

// Loops over the lanes of several arrays at once, as the processor does them.
#![allow(clippy::needless_range_loop)]

use besom_motion::order::{least, most};
use besom_scan::{Plane, Rect};

/// Least and largest value of a rectangle's part inside the plane, of every `step`-th pixel (1 or 2) of every `step`-th row
/// where `skip` is zero; `None` when there is none. `skip` has the plane's size.
pub(crate) fn extremes(plane: &Plane, area: Rect, step: usize, skip: Option<&Plane<u8>>) -> Option<(f32, f32)> {
    let area = area.intersect(&plane.rect());
    let columns = area.x0 as usize..area.x1.max(area.x0) as usize;
    let mut range = Range { low: [f32::INFINITY; LANES], high: [f32::NEG_INFINITY; LANES] };
    for y in (area.y0..area.y1).step_by(step) {
        let row = plane.row(y as usize).get(columns.clone())?;
        match skip {
            Some(skip) => widen_where_free(&mut range, row, skip.row(y as usize).get(columns.clone())?, step),
            None if step == 1 => widen(&mut range, row),
            None => widen_by_every_second(&mut range, row),
        }
    }
    let low = range.low.into_iter().fold(f32::INFINITY, least);
    let high = range.high.into_iter().fold(f32::NEG_INFINITY, most);
    (low <= high).then_some((low, high))
}

/// Samples that are taken side by side: one vector register.
const LANES: usize = 8;

/// The range of the samples in each place of a register. The least of all is the same in any order.
struct Range {
    low: [f32; LANES],
    high: [f32; LANES],
}

impl Range {
    // Inlined into the loops that are compiled for several processor levels.
    #[allow(clippy::inline_always)]
    #[inline(always)]
    fn take(&mut self, k: usize, value: f32) {
        (self.low[k], self.high[k]) = (least(value, self.low[k]), most(value, self.high[k]));
    }
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn widen(range: &mut Range, row: &[f32]) {
    let (blocks, rest) = row.as_chunks::<LANES>();
    for block in blocks {
        for k in 0..LANES {
            range.take(k, block[k]);
        }
    }
    for value in rest {
        range.take(0, *value);
    }
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn widen_by_every_second(range: &mut Range, row: &[f32]) {
    let (blocks, rest) = row.as_chunks::<{ 2 * LANES }>();
    for block in blocks {
        for k in 0..LANES {
            range.take(k, block[2 * k]);
        }
    }
    for value in rest.iter().step_by(2) {
        range.take(0, *value);
    }
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn widen_where_free(range: &mut Range, row: &[f32], hidden: &[u8], step: usize) {
    let whole = if step == 1 { row.len() / LANES * LANES } else { 0 };
    let (blocks, rest) = row.split_at(whole);
    let (hidden_blocks, hidden_rest) = hidden.split_at(whole);
    for (block, hidden) in blocks.as_chunks::<LANES>().0.iter().zip(hidden_blocks.as_chunks::<LANES>().0) {
        for k in 0..LANES {
            let (low, high) = if hidden[k] == 0 { (block[k], block[k]) } else { (f32::INFINITY, f32::NEG_INFINITY) };
            range.low[k] = least(low, range.low[k]);
            range.high[k] = most(high, range.high[k]);
        }
    }
    for (value, hidden) in rest.iter().zip(hidden_rest).step_by(step) {
        if *hidden == 0 {
            range.take(0, *value);
        }
    }
}

/// How far `value` lies beyond a range on the side of `sign` (1 above, -1 below); negative inside of it.
pub(crate) fn beyond(value: f32, (low, high): (f32, f32), sign: f32) -> f32 {
    if sign > 0.0 { value - high } else { low - value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn extremes_are_those_of_the_pixels_that_count() {
        let mut seed = 5u32;
        let plane = Plane::from_fn(23, 17, |_, _| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 22) as f32
        });
        let skip = Plane::from_fn(23, 17, |x, y| u8::from((x + 2 * y) % 5 == 0));
        for area in [Rect::new(-4, -4, 9, 6), Rect::new(3, 2, 20, 15), Rect::new(15, 10, 40, 40)] {
            for (step, skip) in [(1, None), (2, None), (1, Some(&skip)), (2, Some(&skip))] {
                let inside = area.intersect(&plane.rect());
                let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
                for y in (inside.y0..inside.y1).step_by(step) {
                    for x in (inside.x0..inside.x1).step_by(step) {
                        if skip.is_none_or(|s: &Plane<u8>| s.get(x, y) == Some(0)) {
                            let value = plane.clamped(x, y);
                            (low, high) = (low.min(value), high.max(value));
                        }
                    }
                }
                assert_eq!(extremes(&plane, area, step, skip), Some((low, high)));
            }
        }
        assert_eq!(extremes(&plane, Rect::new(30, 0, 40, 4), 1, None), None);
        assert_eq!(extremes(&plane, plane.rect(), 1, Some(&Plane::filled(23, 17, 1u8))), None);
    }

    #[test]
    fn beyond_is_signed() {
        assert_eq!(beyond(7.0, (2.0, 5.0), 1.0), 2.0);
        assert_eq!(beyond(7.0, (2.0, 5.0), -1.0), -5.0);
        assert_eq!(beyond(1.0, (2.0, 5.0), -1.0), 1.0);
    }
}
