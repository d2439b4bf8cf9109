//! A dense motion field and how it is found.

use besom_scan::Plane;
use rayon::prelude::*;

use crate::Vector;
use crate::patch::{SIDE, Template};
use crate::pyramid::{Level, Pyramid};

/// Distance of patches in samples: each sample lies in four patches.
const STRIDE: usize = SIDE / 2;
/// Rows of patches searched as one piece. Vectors spread within a piece only, so the answer does not depend on threads.
const BAND: usize = 12;
/// Least-squares steps a patch; the residue of a thirteenth no longer moves on the development clips.
const STEPS: usize = 8;

/// Motion from one frame to another on a lattice of square cells.
#[derive(Clone, Debug)]
pub struct MotionField {
    cell: usize,
    dx: Plane,
    dy: Plane,
    error: Plane,
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

    /// The vector at a scan position, interpolated between cell centres.
    pub fn at(&self, x: f32, y: f32) -> Vector {
        Vector::new(self.read(&self.dx, x, y), self.read(&self.dy, x, y))
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

    /// Trust in the vector here, 0 to 1: falls with the residue against `grain` codes and with roughness.
    pub fn reliability(&self, x: f32, y: f32, grain: f32) -> f32 {
        let residue = self.error(x, y) / grain.max(0.5);
        1.0 / (1.0 + 0.15 * residue * residue + self.roughness(x, y))
    }

    fn read(&self, plane: &Plane, x: f32, y: f32) -> f32 {
        let cell = self.cell as f32;
        let (u, v) = ((x + 0.5) / cell - 0.5, (y + 0.5) / cell - 0.5);
        crate::interpolate::sample_with_gradient(plane, u, v).0
    }

    /// The median vector of the whole frame: weave and steady pans.
    pub fn median(&self) -> Vector {
        let middle = |plane: &Plane| {
            let mut values = plane.as_slice().to_vec();
            let half = values.len() / 2;
            *values.select_nth_unstable_by(half, f32::total_cmp).1
        };
        Vector::new(middle(&self.dx), middle(&self.dy))
    }
}

struct Grid {
    columns: usize,
    rows: usize,
    vectors: Vec<Vector>,
}

impl Grid {
    fn size(level: &Level) -> (usize, usize) {
        let count = |n: usize| if n <= SIDE { 1 } else { (n - SIDE).div_ceil(STRIDE) + 1 };
        (count(level.width()), count(level.height()))
    }

    fn at(&self, column: usize, row: usize) -> Vector {
        self.vectors[row.min(self.rows - 1) * self.columns + column.min(self.columns - 1)]
    }
}

/// Finds the motion from `current` to `reference`, coarse to fine.
///
/// At each size every patch tries the vectors of the coarser size around it, zero motion, and those of its neighbours
/// that were found just before, keeps the one with the least clipped difference and refines it between samples. Patches
/// overlap; each cell takes the vectors of the patches over it, weighted by how well they fit that very cell.
///
/// # Panics
/// When the frames have different sizes.
pub fn estimate_field(current: &Pyramid, reference: &Pyramid) -> MotionField {
    assert!(
        current.width() == reference.width() && current.height() == reference.height(),
        "frames of one comparison have one size"
    );
    let mut coarser: Option<Grid> = None;
    for index in (0..current.levels().len()).rev() {
        let (a, b) = (&current.levels()[index], &reference.levels()[index]);
        coarser = Some(search_level(a, b, coarser.as_ref()));
    }
    let (a, b) = (&current.levels()[0], &reference.levels()[0]);
    coarser.map_or_else(
        || MotionField::still(current.width(), current.height()),
        |grid| densify(a, b, &grid, current.scale(0)),
    )
}

fn search_level(current: &Level, reference: &Level, coarser: Option<&Grid>) -> Grid {
    let (columns, rows) = Grid::size(current);
    let mut vectors = vec![Vector::default(); columns * rows];
    vectors.par_chunks_mut(columns * BAND).enumerate().for_each(|(band, out)| {
        search_band(current, reference, coarser, band * BAND, columns, out);
    });
    Grid { columns, rows, vectors }
}

fn place(index: usize, length: usize) -> usize {
    (index * STRIDE).min(length.saturating_sub(SIDE))
}

fn search_band(
    current: &Level,
    reference: &Level,
    coarser: Option<&Grid>,
    first: usize,
    columns: usize,
    out: &mut [Vector],
) {
    let rows = out.len() / columns;
    let mut tried: Vec<Vector> = Vec::with_capacity(12);
    for r in 0..rows {
        for c in 0..columns {
            let template = Template::new(current, place(c, current.width()), place(first + r, current.height()));
            tried.clear();
            let mut offer = |v: Vector| {
                if !tried.iter().any(|t| t.distance(v) < 0.2) {
                    tried.push(v);
                }
            };
            match coarser {
                Some(grid) => {
                    let (cc, cr) = (c / 2, (first + r) / 2);
                    let other = (if c % 2 == 1 { cc + 1 } else { cc.saturating_sub(1) }, if (first + r) % 2 == 1 { cr + 1 } else { cr.saturating_sub(1) });
                    for (i, j) in [(cc, cr), (other.0, cr), (cc, other.1), (other.0, other.1)] {
                        let v = grid.at(i, j);
                        offer(Vector::new(2.0 * v.dx, 2.0 * v.dy));
                    }
                }
                None => {
                    for j in -2..=2i8 {
                        for i in -2..=2i8 {
                            offer(Vector::new(2.0 * f32::from(i), 2.0 * f32::from(j)));
                        }
                    }
                }
            }
            if c > 0 {
                offer(out[r * columns + c - 1]);
            }
            if r > 0 {
                offer(out[(r - 1) * columns + c]);
                if c + 1 < columns {
                    offer(out[(r - 1) * columns + c + 1]);
                }
            }
            out[r * columns + c] = best_of(&template, reference, &tried);
        }
    }
}

fn best_of(template: &Template, reference: &Level, tried: &[Vector]) -> Vector {
    let mut ranked: Option<(Vector, crate::patch::Residue)> = None;
    for &v in tried {
        let residue = template.residue(reference, v);
        // The first vectors offered come from the larger surroundings: a later one must be clearly better.
        if ranked.is_none_or(|(_, best)| residue.error < 0.97 * best.error) {
            ranked = Some((v, residue));
        }
    }
    ranked.map_or_else(Vector::default, |(v, residue)| template.refine(reference, v, residue, STEPS).0)
}

/// Spreads the vectors of overlapping patches over cells of 2x2 samples.
fn densify(current: &Level, reference: &Level, grid: &Grid, scale: usize) -> MotionField {
    let (width, height) = (current.width().div_ceil(2), current.height().div_ceil(2));
    let per_patch: Vec<[f32; crate::patch::CELLS]> = (0..grid.vectors.len())
        .into_par_iter()
        .map(|k| {
            let (c, r) = (k % grid.columns, k / grid.columns);
            let template = Template::new(current, place(c, current.width()), place(r, current.height()));
            let v = grid.vectors[k];
            let level = template.residue(reference, v).level;
            template.cells(reference, v, level)
        })
        .collect();
    let mut field = MotionField {
        cell: 2 * scale,
        dx: Plane::new(width, height),
        dy: Plane::new(width, height),
        error: Plane::new(width, height),
    };
    let lines = field.dx.as_mut_slice().par_chunks_mut(width).zip(field.dy.as_mut_slice().par_chunks_mut(width));
    lines.zip(field.error.as_mut_slice().par_chunks_mut(width)).enumerate().for_each(|(y, ((dx, dy), error))| {
        for x in 0..width {
            let (v, e) = cell_vector(current, grid, &per_patch, x, y);
            (dx[x], dy[x], error[x]) = (v.dx * scale as f32, v.dy * scale as f32, e);
        }
    });
    field
}

fn cell_vector(
    level: &Level,
    grid: &Grid,
    per_patch: &[[f32; crate::patch::CELLS]],
    x: usize,
    y: usize,
) -> (Vector, f32) {
    let (sx, sy) = (2 * x, 2 * y);
    let (mut weight, mut dx, mut dy, mut least) = (0.0f32, 0.0f32, 0.0f32, f32::INFINITY);
    let first = |s: usize| s.saturating_sub(SIDE - 1).div_ceil(STRIDE).saturating_sub(1);
    for r in first(sy)..=(sy / STRIDE + 1).min(grid.rows - 1) {
        let py = place(r, level.height());
        if sy < py || sy >= py + SIDE {
            continue;
        }
        for c in first(sx)..=(sx / STRIDE + 1).min(grid.columns - 1) {
            let px = place(c, level.width());
            if sx < px || sx >= px + SIDE {
                continue;
            }
            let k = r * grid.columns + c;
            let residue = per_patch[k][((sy - py) / 2) * 4 + (sx - px) / 2];
            let w = 1.0 / (1.0 + residue * residue);
            let v = grid.vectors[k];
            weight += w;
            dx += w * v.dx;
            dy += w * v.dy;
            least = least.min(residue);
        }
    }
    if weight > 0.0 { (Vector::new(dx / weight, dy / weight), least) } else { (Vector::default(), 0.0) }
}
