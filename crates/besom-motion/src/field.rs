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
    pub(crate) fn block(&self, x: usize, y: usize) -> Vector {
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

/// The vector of one patch and how well it is known.
#[derive(Clone, Copy, Debug, Default)]
struct Found {
    vector: Vector,
    /// Structure tensor of the patch.
    tensor: [f32; 3],
    /// Mean absolute difference left, in codes.
    error: f32,
}

struct Grid {
    columns: usize,
    rows: usize,
    found: Vec<Found>,
}

impl Grid {
    fn size(level: &Level) -> (usize, usize) {
        let count = |n: usize| if n <= SIDE { 1 } else { (n - SIDE).div_ceil(STRIDE) + 1 };
        (count(level.width()), count(level.height()))
    }

    fn at(&self, column: usize, row: usize) -> Vector {
        self.found[row.min(self.rows - 1) * self.columns + column.min(self.columns - 1)].vector
    }

    /// Joins each patch's least squares with its neighbours': the vector that serves them all, each weighted by its own
    /// structure tensor, so that flat patches follow textured ones and an edge is told its missing direction. A
    /// neighbour whose vector lies farther away than the patch's own uncertainty belongs to another object and counts
    /// little.
    fn settled(&self) -> Self {
        let joined =
            (0..self.found.len()).into_par_iter().map(|k| self.joined(k % self.columns, k / self.columns)).collect();
        Self { columns: self.columns, rows: self.rows, found: joined }
    }

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

/// Finds the motion from `current` to `reference`, coarse to fine.
///
/// At each size every patch tries the vectors of the coarser size around it and those of its neighbours that were found
/// just before, keeps the one with the least clipped difference and refines it between samples; then neighbours settle
/// on vectors that serve them all. Patches overlap; each cell takes the vectors of the patches over it, weighted by how
/// well they fit that very cell.
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
        coarser = Some(search_level(a, b, coarser.as_ref(), index == 0, current.scale(index)));
    }
    let (a, b) = (&current.levels()[0], &reference.levels()[0]);
    coarser.map_or_else(
        || MotionField::still(current.width(), current.height()),
        |grid| densify(a, b, &grid, current.scale(0)),
    )
}

/// How hard a level is searched.
#[derive(Clone, Copy)]
struct Effort {
    /// Vectors closer than this to one already tried are not tried, in samples.
    apart: f32,
    /// Least-squares steps a patch.
    steps: usize,
    /// Mean squared gradient of grain at this size.
    grain: f32,
}

/// Mean squared gradient of luma grain of 5 codes at full size (half its variance, for central differences); it falls by
/// about the power 1.5 of the reduction, because grain is correlated.
const GRAIN: f32 = 12.5;
/// What a vector costs for each sample that it lies away from what is expected here, in codes of mean difference, and how
/// far away it stops to cost more. Chance likeness on grain is worth about one code, a true edge tens.
const TOLL: f32 = 0.5;
const TOLL_REACH: f32 = 12.0;

/// Residues no longer move after eight steps on the development clips.
const COARSER: Effort = Effort { apart: 0.25, steps: 8, grain: 0.0 };
/// The finest level has four times the patches of the next and starts close to the answer; on grainy flat ground more
/// steps only follow the grain.
const FINEST: Effort = Effort { apart: 1.0, steps: 3, grain: 0.0 };

fn search_level(current: &Level, reference: &Level, coarser: Option<&Grid>, last: bool, scale: usize) -> Grid {
    let (columns, rows) = Grid::size(current);
    let effort = Effort { grain: GRAIN / (scale as f32).powf(1.5), ..if last { FINEST } else { COARSER } };
    let mut found = vec![Found::default(); columns * rows];
    found.par_chunks_mut(columns * BAND).enumerate().for_each(|(band, out)| {
        search_band(current, reference, coarser, band * BAND, columns, effort, out);
    });
    Grid { columns, rows, found }.settled()
}

/// The patch of the coarser size over a patch, and the one on its other side.
fn coarser_places(index: usize) -> (usize, usize) {
    let over = index / 2;
    (over, if index % 2 == 1 { over + 1 } else { over.saturating_sub(1) })
}

fn place(index: usize, length: usize) -> usize {
    (index * STRIDE).min(length.saturating_sub(SIDE))
}

#[multiversion::multiversion(targets("x86_64+avx2"))]
fn search_band(
    current: &Level,
    reference: &Level,
    coarser: Option<&Grid>,
    first: usize,
    columns: usize,
    effort: Effort,
    out: &mut [Found],
) {
    let rows = out.len() / columns;
    let mut tried: Vec<Vector> = Vec::with_capacity(12);
    for r in 0..rows {
        for c in 0..columns {
            let template =
                Template::new(current, place(c, current.width()), place(first + r, current.height()), effort.grain);
            tried.clear();
            let mut offer = |v: Vector| {
                if !tried.iter().any(|t| (t.dx - v.dx).abs() + (t.dy - v.dy).abs() < effort.apart) {
                    tried.push(v);
                }
            };
            match coarser {
                Some(grid) => {
                    let (near, far) = (coarser_places(c), coarser_places(first + r));
                    for (i, j) in [(near.0, far.0), (near.1, far.0), (near.0, far.1), (near.1, far.1)] {
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
                offer(out[r * columns + c - 1].vector);
            }
            if r > 0 {
                offer(out[(r - 1) * columns + c].vector);
                if c + 1 < columns {
                    offer(out[(r - 1) * columns + c + 1].vector);
                }
            }
            out[r * columns + c] = best_of(&template, reference, &tried, effort.steps);
        }
    }
}

// Inlined into the loop that is compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn best_of(template: &Template, reference: &Level, tried: &[Vector], steps: usize) -> Found {
    let expected = middle(tried);
    let mut ranked: Option<(f32, Vector, crate::patch::Residue)> = None;
    for &v in tried {
        let residue = template.residue(reference, v);
        let cost = residue.error + TOLL * v.distance(expected).min(TOLL_REACH);
        if ranked.is_none_or(|(best, _, _)| cost < best) {
            ranked = Some((cost, v, residue));
        }
    }
    // A `match`, not a closure: closures are not compiled for the processor level of the function around them.
    match ranked {
        Some((_, v, residue)) => {
            let (vector, residue) = template.refine(reference, v, residue, steps);
            Found { vector, tensor: template.tensor, error: residue.error }
        }
        None => Found::default(),
    }
}

/// The median of a few vectors, each axis by itself.
fn middle(vectors: &[Vector]) -> Vector {
    const MOST: usize = 32;
    let count = vectors.len().min(MOST);
    if count == 0 {
        return Vector::default();
    }
    let (mut across, mut down) = ([0.0f32; MOST], [0.0f32; MOST]);
    for (k, v) in vectors.iter().take(count).enumerate() {
        (across[k], down[k]) = (v.dx, v.dy);
    }
    Vector::new(middle_of(&mut across[..count]), middle_of(&mut down[..count]))
}

/// The median of a few numbers, the mean of the two middle ones for an even count; sorts them by insertion.
#[inline]
fn middle_of(values: &mut [f32]) -> f32 {
    for k in 1..values.len() {
        let mut j = k;
        while j > 0 && values[j] < values[j - 1] {
            values.swap(j, j - 1);
            j -= 1;
        }
    }
    0.5 * (values[(values.len() - 1) / 2] + values[values.len() / 2])
}

/// Spreads the vectors of overlapping patches over cells of 2x2 samples.
fn densify(current: &Level, reference: &Level, grid: &Grid, scale: usize) -> MotionField {
    let (width, height) = (current.width().div_ceil(2), current.height().div_ceil(2));
    let per_patch: Vec<[f32; crate::patch::CELLS]> = (0..grid.found.len())
        .into_par_iter()
        .map(|k| {
            let (c, r) = (k % grid.columns, k / grid.columns);
            let (x, y) = (place(c, current.width()), place(r, current.height()));
            crate::patch::cells(current, x, y, reference, grid.found[k].vector)
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
            let v = grid.found[k].vector;
            weight += w;
            dx += w * v.dx;
            dy += w * v.dy;
            least = least.min(residue);
        }
    }
    if weight > 0.0 { (Vector::new(dx / weight, dy / weight), least) } else { (Vector::default(), 0.0) }
}
