//! How far a mark lies beyond everything that the picture around it shows.
//!
//! The rank-order rule asks it of the pixels next to each other; what moves farther than that between two frames passes
//! it. A thing of the picture has its like somewhere around in a neighbouring frame; an opaque particle need not.

use besom_scan::{Plane, Rect};

/// Least and largest value of a rectangle's part inside the plane, of every `step`-th pixel of every `step`-th row where
/// `skip` is zero; `None` when there is none. `skip` has the plane's size.
pub(crate) fn extremes(plane: &Plane, area: Rect, step: usize, skip: Option<&Plane<u8>>) -> Option<(f32, f32)> {
    let area = area.intersect(&plane.rect());
    let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
    for y in (area.y0..area.y1).step_by(step) {
        let columns = area.x0 as usize..area.x1 as usize;
        let row = plane.row(y as usize).get(columns.clone())?;
        let hidden = match skip {
            Some(skip) => Some(skip.row(y as usize).get(columns)?),
            None => None,
        };
        for (k, value) in row.iter().enumerate().step_by(step) {
            if hidden.is_none_or(|hidden| hidden[k] == 0) {
                (low, high) = (low.min(*value), high.max(*value));
            }
        }
    }
    (low <= high).then_some((low, high))
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
