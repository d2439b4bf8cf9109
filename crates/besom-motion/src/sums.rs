//! Sums over any rectangle of a lattice (summed-area table: Crow, SIGGRAPH 1984, from memory).

use std::ops::{Add, Range, Sub};

/// The sums of a lattice of numbers from its corner to each of its cells.
#[derive(Clone, Debug)]
pub struct Sums<T> {
    stride: usize,
    total: Vec<T>,
}

impl<T: Copy + Default + Add<Output = T> + Sub<Output = T>> Sums<T> {
    /// Of `width` columns and `height` rows with the `value` of each cell, asked for once, row by row.
    pub fn of(width: usize, height: usize, value: impl Fn(usize, usize) -> T) -> Self {
        let stride = width + 1;
        let mut total = vec![T::default(); stride * (height + 1)];
        for y in 0..height {
            let mut line = T::default();
            for x in 0..width {
                line = line + value(x, y);
                total[(y + 1) * stride + x + 1] = total[y * stride + x + 1] + line;
            }
        }
        Self { stride, total }
    }

    /// The sum over columns and rows of the lattice.
    ///
    /// # Panics
    /// When they reach beyond it.
    pub fn over(&self, columns: Range<usize>, rows: Range<usize>) -> T {
        let at = |x: usize, y: usize| self.total[y * self.stride + x];
        // The two that are added first: no difference of whole numbers falls below zero.
        at(columns.end, rows.end) + at(columns.start, rows.start)
            - at(columns.start, rows.end)
            - at(columns.end, rows.start)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use besom_scan::Plane;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn counts_are_those_of_counting(w in 1usize..12, h in 1usize..9, seed in any::<u32>()) {
            let mut s = seed;
            let plane = Plane::from_fn(w, h, |_, _| { s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223); (s >> 31) as u8 });
            let counts = Sums::of(w, h, |x, y| u32::from(plane.at(x, y)));
            for (x0, x1, y0, y1) in [(0, w, 0, h), (w / 2, w, h / 3, h), (0, w / 2, 0, h / 2), (w / 3, w / 2 + 1, 0, h)] {
                let (x1, y1) = (x1.min(w).max(x0), y1.min(h).max(y0));
                let plain = (y0..y1).flat_map(|y| (x0..x1).map(move |x| (x, y))).filter(|&(x, y)| plane.at(x, y) != 0).count();
                prop_assert_eq!(counts.over(x0..x1, y0..y1) as usize, plain);
            }
        }
    }
}
