//! The patches of one size of the picture, and how neighbours settle on vectors that serve them all.

use rayon::prelude::*;

use crate::Vector;
use crate::order::middle;
use crate::patch::SIDE;
use crate::pyramid::Level;

/// Distance of patches in samples: each sample lies in four patches.
pub(crate) const STRIDE: usize = SIDE / 2;
/// Rows of patches treated as one piece. Vectors spread within a piece only, so the answer does not depend on threads.
pub(crate) const BAND: usize = 12;

/// The first sample of a patch along one axis; the last patch is pushed back to the border.
pub(crate) fn place(index: usize, length: usize) -> usize {
    (index * STRIDE).min(length.saturating_sub(SIDE))
}

/// The vector of one patch and how well it is known.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Found {
    pub(crate) vector: Vector,
    /// Structure tensor of the patch.
    pub(crate) tensor: [f32; 3],
    /// Mean absolute difference left, in codes.
    pub(crate) error: f32,
}

/// The patches of one level, row by row, [`STRIDE`] samples apart.
pub(crate) struct Grid {
    pub(crate) columns: usize,
    pub(crate) rows: usize,
    pub(crate) found: Vec<Found>,
}

impl Grid {
    /// Columns and rows of patches that cover a level.
    pub(crate) fn size(level: &Level) -> (usize, usize) {
        let count = |n: usize| if n <= SIDE { 1 } else { (n - SIDE).div_ceil(STRIDE) + 1 };
        (count(level.width()), count(level.height()))
    }

    /// The vector of a patch (the nearest one for patches outside).
    pub(crate) fn at(&self, column: usize, row: usize) -> Vector {
        self.found[row.min(self.rows - 1) * self.columns + column.min(self.columns - 1)].vector
    }

    /// The median vector, each axis by itself: what most of the picture does.
    pub(crate) fn dominant(&self) -> Vector {
        let along = |axis: fn(&Found) -> f32| middle(&mut self.found.iter().map(axis).collect::<Vec<f32>>());
        Vector::new(along(|f| f.vector.dx), along(|f| f.vector.dy))
    }

    /// Joins each patch's least squares with its neighbours': the vector that serves them all, each weighted by its own
    /// structure tensor, so that flat patches follow textured ones and an edge is told its missing direction. A
    /// neighbour whose vector lies farther away than the patch's own uncertainty belongs to another object and counts
    /// little.
    pub(crate) fn settled(&self) -> Self {
        let mut found = vec![Found::default(); self.found.len()];
        found
            .par_chunks_mut(self.columns * BAND)
            .enumerate()
            .for_each(|(band, out)| settle_band(self, band * BAND, out));
        Self { columns: self.columns, rows: self.rows, found }
    }

    #[allow(clippy::inline_always)]
    #[inline(always)]
    fn joined(&self, column: usize, row: usize) -> Found {
        let own = self.found[row * self.columns + column];
        let [xx, xy, yy] = own.tensor;
        // Variance of a least-squares vector: the residue's variance times the trace of the inverse tensor.
        let noise = own.error * own.error + 1.0;
        let doubt = 0.04 + 2.0 * noise * (xx + yy + 2.0) / ((xx + 1.0) * (yy + 1.0) - xy * xy).max(1.0);
        let (mut a, mut b) = ([0.0f32; 3], [0.0f32; 2]);
        for r in row.saturating_sub(1)..=(row + 1).min(self.rows - 1) {
            for c in column.saturating_sub(1)..=(column + 1).min(self.columns - 1) {
                let f = self.found[r * self.columns + c];
                let (ex, ey) = (f.vector.dx - own.vector.dx, f.vector.dy - own.vector.dy);
                let far = (ex * ex + ey * ey) / doubt;
                let weight = 1.0 / ((1.0 + far * far) * (1.0 + f.error * f.error));
                let t = f.tensor.map(|v| weight * v);
                for (sum, t) in a.iter_mut().zip(t) {
                    *sum += t;
                }
                b[0] += t[0] * f.vector.dx + t[1] * f.vector.dy;
                b[1] += t[1] * f.vector.dx + t[2] * f.vector.dy;
            }
        }
        let det = a[0] * a[2] - a[1] * a[1];
        if det > 0.0 && det.is_finite() {
            let vector = Vector::new((a[2] * b[0] - a[1] * b[1]) / det, (a[0] * b[1] - a[1] * b[0]) / det);
            return Found { vector, ..own };
        }
        own
    }
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn settle_band(grid: &Grid, first: usize, out: &mut [Found]) {
    for (r, line) in out.chunks_mut(grid.columns).enumerate() {
        for (c, found) in line.iter_mut().enumerate() {
            *found = grid.joined(c, first + r);
        }
    }
}
