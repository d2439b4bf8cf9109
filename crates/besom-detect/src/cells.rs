//! Sums over square cells of a frame, read around a place: how much of something lies where.

use besom_scan::{Plane, Rect};

/// Side of a cell, in pixels.
pub(crate) const CELL: usize = 32;

/// Columns and rows of the cells that cover a frame; at least one of each.
pub(crate) fn lattice(width: usize, height: usize) -> (usize, usize) {
    (width.div_ceil(CELL).max(1), height.div_ceil(CELL).max(1))
}

/// The middle pixel of a rectangle.
pub(crate) fn centre(r: &Rect) -> (i32, i32) {
    ((r.x0 + r.x1 - 1) / 2, (r.y0 + r.y1 - 1) / 2)
}

/// One value a cell.
#[derive(Clone, Debug)]
pub(crate) struct Cells(Plane);

impl Cells {
    /// Empty cells over a frame.
    pub(crate) fn new(width: usize, height: usize) -> Self {
        let (columns, rows) = lattice(width, height);
        Self(Plane::new(columns, rows))
    }

    /// Cells that hold the samples of a plane of the size that [`lattice`] gives.
    pub(crate) const fn of(plane: Plane) -> Self {
        Self(plane)
    }

    /// Adds to the cell that a pixel lies in; nothing outside the frame.
    pub(crate) fn add(&mut self, (x, y): (i32, i32), value: f32) {
        let (column, row) = (x / CELL as i32, y / CELL as i32);
        if let Some(before) = self.0.get(column, row) {
            self.0.set(column as usize, row as usize, before + value);
        }
    }

    /// The sum over the cells within `reach` cells of a pixel's, and how many of them there are.
    pub(crate) fn around(&self, (x, y): (i32, i32), reach: i32) -> (f32, f32) {
        let (column, row) = (x / CELL as i32, y / CELL as i32);
        let (mut sum, mut count) = (0.0, 0.0);
        for j in row - reach..=row + reach {
            for i in column - reach..=column + reach {
                if let Some(v) = self.0.get(i, j) {
                    sum += v;
                    count += 1.0;
                }
            }
        }
        (sum, count)
    }

    /// The mean of the same cells; 0 where there is none.
    pub(crate) fn mean_around(&self, place: (i32, i32), reach: i32) -> f32 {
        let (sum, count) = self.around(place, reach);
        sum / f32::max(count, 1.0)
    }

    /// The mean of all cells.
    pub(crate) fn mean(&self) -> f32 {
        let values = self.0.as_slice();
        values.iter().sum::<f32>() / values.len().max(1) as f32
    }
}
