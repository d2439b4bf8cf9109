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
        Vector::new(self.read(&self.dx, x, y), self.read(&self.dy, x, y))
    }

    /// The vector at the middle of the square of 4x4 pixels whose first is `(x, y)`, multiples of four: as [`MotionField::at`]
    /// gives it, without reading between cells where the square is a cell.
    #[inline]
    pub fn block(&self, x: usize, y: usize) -> Vector {
        if self.cell == 4 { self.cell_vector(x / 4, y / 4) } else { self.at(x as f32 + 1.5, y as f32 + 1.5) }
    }

    /// Mean absolute difference that the best patch left here, in codes of the smoothed half-size luma.
    pub fn error(&self, x: f32, y: f32) -> f32 {
        self.read(&self.error, x, y)
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

    fn read(&self, plane: &Plane, x: f32, y: f32) -> f32 {
        let cell = self.cell as f32;
        let (u, v) = ((x + 0.5) / cell - 0.5, (y + 0.5) / cell - 0.5);
        crate::interpolate::sample_with_gradient(plane, u, v).0
    }

    /// The median vector of the whole frame: weave and steady pans.
    pub fn median(&self) -> Vector {
        Vector::new(middle(&mut self.dx.as_slice().to_vec()), middle(&mut self.dy.as_slice().to_vec()))
    }
}
