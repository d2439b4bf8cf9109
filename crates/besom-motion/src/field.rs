//! A dense motion field.

use besom_scan::Plane;

use crate::Vector;
use crate::order::middle;

/// Motion from one frame to another on a lattice of square cells.
#[derive(Clone, Debug)]
pub struct MotionField {
    pub(crate) cell: usize,
    pub(crate) dx: Plane,
    pub(crate) dy: Plane,
    pub(crate) error: Plane,
}

impl MotionField {
    /// No motion, for a frame of this size.
    pub fn still(width: usize, height: usize) -> Self {
        let (w, h) = (width.div_ceil(4).max(1), height.div_ceil(4).max(1));
        Self { cell: 4, dx: Plane::new(w, h), dy: Plane::new(w, h), error: Plane::new(w, h) }
    }

    /// Side of a cell in scan pixels.
    pub fn cell(&self) -> usize {
        self.cell
    }

    /// Columns and rows of cells.
    pub fn cells(&self) -> (usize, usize) {
        (self.dx.width(), self.dx.height())
    }

    /// The vector of a cell (the nearest one for cells outside).
    #[inline]
    pub fn cell_vector(&self, column: usize, row: usize) -> Vector {
        let (c, r) = (column.min(self.dx.width() - 1), row.min(self.dx.height() - 1));
        Vector::new(self.dx.at(c, r), self.dy.at(c, r))
    }

    /// Sets the vector of a cell inside.
    pub(crate) fn set_cell(&mut self, column: usize, row: usize, v: Vector) {
        self.dx.set(column, row, v.dx);
        self.dy.set(column, row, v.dy);
    }

    /// The vector at a scan position, interpolated between cell centres.
    pub fn at(&self, x: f32, y: f32) -> Vector {
        let place = self.place(x, y);
        Vector::new(place.read(&self.dx), place.read(&self.dy))
    }

    /// The vector at the middle of the square of 4x4 pixels whose first is `(x, y)`, multiples of four: as [`MotionField::at`]
    /// gives it, without reading between cells where the square is a cell.
    #[inline]
    pub fn block(&self, x: usize, y: usize) -> Vector {
        if self.cell == 4 { self.cell_vector(x / 4, y / 4) } else { self.at(x as f32 + 1.5, y as f32 + 1.5) }
    }

    /// Mean absolute difference that the best patch left here, in codes of the smoothed half-size luma.
    pub fn error(&self, x: f32, y: f32) -> f32 {
        self.place(x, y).read(&self.error)
    }

    /// How far the vectors of the cells around differ from the one here, in pixels (the largest of four at two cells'
    /// distance): high at motion edges and where the search found nothing to hold on to.
    pub fn roughness(&self, x: f32, y: f32) -> f32 {
        let d = 2.0 * self.cell as f32;
        let here = self.at(x, y);
        [(d, 0.0), (-d, 0.0), (0.0, d), (0.0, -d)]
            .into_iter()
            .map(|(i, j)| here.distance(self.at(x + i, y + j)))
            .fold(0.0, f32::max)
    }

    /// Where a scan position lies between the cells.
    fn place(&self, x: f32, y: f32) -> Place {
        let cell = self.cell as f32;
        let (u, v) = ((x + 0.5) / cell - 0.5, (y + 0.5) / cell - 0.5);
        let ((column, right), (row, down)) = (split(u), split(v));
        let (width, height) = (self.dx.width(), self.dx.height());
        let held = |i: i32, count: usize| i.clamp(0, count as i32 - 1) as usize;
        Place {
            columns: [held(column, width), held(column.saturating_add(1), width)],
            rows: [held(row, height), held(row.saturating_add(1), height)],
            right,
            down,
        }
    }

    /// The median vector of the whole frame: weave and steady pans.
    pub fn median(&self) -> Vector {
        Vector::new(middle(&mut self.dx.as_slice().to_vec()), middle(&mut self.dy.as_slice().to_vec()))
    }
}

/// A place between four cells.
struct Place {
    columns: [usize; 2],
    rows: [usize; 2],
    right: f32,
    down: f32,
}

impl Place {
    /// As [`crate::interpolate::sample_with_gradient`] reads it.
    fn read(&self, plane: &Plane) -> f32 {
        let ([left, right], [top, low]) = (self.columns, self.rows.map(|row| plane.row(row)));
        let (tx, ty) = (self.right, self.down);
        (top[left] * (1.0 - tx) + top[right] * tx) * (1.0 - ty) + (low[left] * (1.0 - tx) + low[right] * tx) * ty
    }
}

/// The whole number below a number, and what is left: without a call where the processor cannot round.
fn split(value: f32) -> (i32, f32) {
    let toward_zero = value as i32;
    let floor = if toward_zero as f32 > value { toward_zero.saturating_sub(1) } else { toward_zero };
    (floor, value - floor as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interpolate::sample_with_gradient;

    #[test]
    fn a_field_is_read_between_its_cells() {
        let mut field = MotionField::still(60, 44);
        let mut s = 3u32;
        field.dx = Plane::from_fn(15, 11, |_, _| {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (s >> 24) as f32 - 128.0
        });
        field.dy = field.dx.map(|v| 3.0 - v);
        for k in 0..400 {
            let (x, y) = (k as f32 * 0.21 - 9.3, k as f32 * 0.17 - 12.1);
            let plain = |plane: &Plane| sample_with_gradient(plane, (x + 0.5) / 4.0 - 0.5, (y + 0.5) / 4.0 - 0.5).0;
            assert_eq!(field.at(x, y), Vector::new(plain(&field.dx), plain(&field.dy)));
        }
        assert_eq!(field.at(21.5, 9.5), field.cell_vector(5, 2));
    }
}
