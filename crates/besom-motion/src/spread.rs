//! From the vectors of overlapping patches to a dense field.

// Inner loops are inlined into the callers that are compiled for several processor levels.
#![allow(clippy::inline_always)]

use besom_scan::Plane;
use rayon::prelude::*;

use crate::Vector;
use crate::field::MotionField;
use crate::grid::{BAND, Grid, STRIDE, place};
use crate::patch::{CELLS, SIDE, cells};
use crate::pyramid::Level;

/// Patches whose vectors lie farther than this from the best one's, in samples, follow something else: a mean over the edge
/// of a moving object is the motion of neither side.
const TOGETHER: f32 = 1.5;

/// What the vectors of cells are made of.
struct Patches<'a> {
    level: &'a Level,
    grid: &'a Grid,
    residues: &'a [[f32; CELLS]],
}

/// Spreads the vectors of overlapping patches over cells of 2x2 samples.
pub(crate) fn spread(current: &Level, reference: &Level, grid: &Grid, scale: usize) -> MotionField {
    let (width, height) = (current.width().div_ceil(2), current.height().div_ceil(2));
    let mut residues = vec![[0.0; CELLS]; grid.found.len()];
    residues
        .par_chunks_mut(grid.columns * BAND)
        .enumerate()
        .for_each(|(band, out)| residues_band(current, reference, grid, band * BAND, out));
    let patches = Patches { level: current, grid, residues: &residues };
    let mut field = MotionField {
        cell: 2 * scale,
        dx: Plane::new(width, height),
        dy: Plane::new(width, height),
        error: Plane::new(width, height),
    };
    // Two rows of cells a piece: the cells of one block of 2x2 lie in the same patches.
    let piece = 2 * width;
    let lines = field.dx.as_mut_slice().par_chunks_mut(piece).zip(field.dy.as_mut_slice().par_chunks_mut(piece));
    lines
        .zip(field.error.as_mut_slice().par_chunks_mut(piece))
        .enumerate()
        .for_each(|(row, ((dx, dy), error))| spread_rows(&patches, row, width, scale as f32, [dx, dy, error]));
    field
}

#[multiversion::multiversion(targets("x86_64+avx2"))]
fn residues_band(current: &Level, reference: &Level, grid: &Grid, first: usize, out: &mut [[f32; CELLS]]) {
    for (r, line) in out.chunks_mut(grid.columns).enumerate() {
        for (c, residues) in line.iter_mut().enumerate() {
            let (x, y) = (place(c, current.width()), place(first + r, current.height()));
            let v = grid.found[(first + r) * grid.columns + c].vector;
            *residues = cells(current, x, y, reference, v);
        }
    }
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn spread_rows(patches: &Patches, block_row: usize, width: usize, scale: f32, [dx, dy, error]: [&mut [f32]; 3]) {
    // Patches stand four samples apart, that is two cells, except the last, which the border may push back.
    let inner_row = block_row >= 1 && block_row + 1 < patches.grid.rows;
    for block in 0..width.div_ceil(2) {
        let inner = inner_row && block >= 1 && block + 1 < patches.grid.columns;
        for j in 0..dx.len() / width {
            for i in 0..2.min(width - 2 * block) {
                let x = 2 * block + i;
                let over = if inner {
                    Over::inner(patches, block, block_row, i, j)
                } else {
                    Over::anywhere(patches, x, 2 * block_row + j)
                };
                let (v, e) = over.joined(patches);
                let k = j * width + x;
                (dx[k], dy[k], error[k]) = (v.dx * scale, v.dy * scale, e);
            }
        }
    }
}

/// The patches over a cell, each with the residue that it leaves there. Three along an axis at most: the last may be pushed
/// back over the two before it.
struct Over {
    list: [(usize, f32); 9],
    count: usize,
}

impl Over {
    /// A cell in the regular places, which lies in four patches.
    #[inline(always)]
    fn inner(patches: &Patches, block: usize, block_row: usize, i: usize, j: usize) -> Self {
        let mut over = Self { list: [(0, 0.0); 9], count: 4 };
        for (n, (down, right)) in [(1, 1), (1, 0), (0, 1), (0, 0)].into_iter().enumerate() {
            let k = (block_row - down) * patches.grid.columns + block - right;
            over.list[n] = (k, patches.residues[k][(2 * down + j) * 4 + 2 * right + i]);
        }
        over
    }

    fn anywhere(patches: &Patches, x: usize, y: usize) -> Self {
        let mut over = Self { list: [(0, 0.0); 9], count: 0 };
        let (sx, sy) = (2 * x, 2 * y);
        let first = |s: usize| s.saturating_sub(SIDE - 1).div_ceil(STRIDE).saturating_sub(1);
        for r in first(sy)..=(sy / STRIDE + 1).min(patches.grid.rows - 1) {
            let py = place(r, patches.level.height());
            if sy < py || sy >= py + SIDE {
                continue;
            }
            for c in first(sx)..=(sx / STRIDE + 1).min(patches.grid.columns - 1) {
                let px = place(c, patches.level.width());
                if sx < px || sx >= px + SIDE || over.count == over.list.len() {
                    continue;
                }
                let k = r * patches.grid.columns + c;
                over.list[over.count] = (k, patches.residues[k][((sy - py) / 2) * 4 + (sx - px) / 2]);
                over.count += 1;
            }
        }
        over
    }

    /// The mean vector of the patches that agree with the one that leaves least as a whole, each weighted by how well it
    /// fits the cell, and the least residue in the cell. The whole patch is asked which is best because a cell alone holds
    /// too little, and may hold a mark.
    #[inline(always)]
    fn joined(&self, patches: &Patches) -> (Vector, f32) {
        let found = &patches.grid.found;
        let (mut least, mut best) = (f32::INFINITY, Vector::default());
        for (k, _) in &self.list[..self.count] {
            if found[*k].error < least {
                (least, best) = (found[*k].error, found[*k].vector);
            }
        }
        let (mut weight, mut dx, mut dy, mut least) = (0.0f32, 0.0f32, 0.0f32, f32::INFINITY);
        for (k, residue) in &self.list[..self.count] {
            let v = found[*k].vector;
            if v.distance(best) <= TOGETHER {
                let w = 1.0 / (1.0 + residue * residue);
                weight += w;
                dx += w * v.dx;
                dy += w * v.dy;
                least = least.min(*residue);
            }
        }
        if weight > 0.0 { (Vector::new(dx / weight, dy / weight), least) } else { (Vector::default(), 0.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Found;
    use crate::pyramid::Pyramid;

    /// The list of patches over a cell, by asking all of them.
    fn plain(patches: &Patches, x: usize, y: usize) -> Vec<(usize, f32)> {
        let mut list = Vec::new();
        for r in 0..patches.grid.rows {
            for c in 0..patches.grid.columns {
                let (px, py) = (place(c, patches.level.width()), place(r, patches.level.height()));
                if (px..px + SIDE).contains(&(2 * x)) && (py..py + SIDE).contains(&(2 * y)) {
                    let k = r * patches.grid.columns + c;
                    list.push((k, patches.residues[k][(y - py / 2) * 4 + x - px / 2]));
                }
            }
        }
        list
    }

    #[test]
    fn the_patches_over_a_cell_are_those_that_cover_it() {
        for (w, h) in [(64, 48), (50, 34), (44, 62), (12, 10)] {
            let mut s = 5u32;
            let mut noise = || {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (s >> 24) as f32
            };
            let pyramid = Pyramid::new(&Plane::from_fn(w, h, |_, _| noise()));
            let level = &pyramid.levels()[0];
            let (columns, rows) = Grid::size(level);
            let found: Vec<Found> = (0..columns * rows)
                .map(|_| Found {
                    vector: Vector::new(noise() / 64.0, noise() / 64.0),
                    error: noise(),
                    ..Found::default()
                })
                .collect();
            let grid = Grid { columns, rows, found };
            let residues: Vec<[f32; CELLS]> =
                (0..columns * rows).map(|_| std::array::from_fn(|_| noise() / 16.0)).collect();
            let patches = Patches { level, grid: &grid, residues: &residues };
            let (width, height) = (w / 2, h / 2);
            for y in 0..height {
                for x in 0..width {
                    let expected = plain(&patches, x, y);
                    let any = Over::anywhere(&patches, x, y);
                    assert_eq!(any.list[..any.count], expected[..], "{x}, {y} of {w}x{h}");
                    let (block, block_row) = (x / 2, y / 2);
                    if block >= 1
                        && block + 1 < columns
                        && block_row >= 1
                        && block_row + 1 < rows
                        && expected.len() == 4
                    {
                        let inner = Over::inner(&patches, block, block_row, x % 2, y % 2);
                        assert_eq!(inner.list[..4], expected[..], "{x}, {y} of {w}x{h}");
                    }
                }
            }
        }
    }

    #[test]
    fn the_other_side_of_a_motion_edge_is_left_out() {
        let pyramid = Pyramid::new(&Plane::from_fn(32, 32, |x, y| (x * y) as f32));
        let level = &pyramid.levels()[0];
        let (columns, rows) = Grid::size(level);
        let found = (0..columns * rows)
            .map(|k| {
                let left = k % columns < columns / 2;
                let (vector, error) = if left { (Vector::new(9.0, 0.0), 2.0) } else { (Vector::new(-1.0, 0.5), 3.0) };
                Found { vector, error, ..Found::default() }
            })
            .collect();
        let grid = Grid { columns, rows, found };
        let residues = vec![[4.0; CELLS]; columns * rows];
        let patches = Patches { level, grid: &grid, residues: &residues };
        for y in 0..16 {
            for x in 0..16 {
                let (v, _) = Over::anywhere(&patches, x, y).joined(&patches);
                let near = v.distance(Vector::new(9.0, 0.0)).min(v.distance(Vector::new(-1.0, 0.5)));
                assert!(near < 1e-4, "{v:?} is neither side's");
            }
        }
    }
}
