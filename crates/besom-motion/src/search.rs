//! The search for motion, coarse to fine.

// Inner loops are inlined into the callers that are compiled for several processor levels.
#![allow(clippy::inline_always)]

use rayon::prelude::*;

use crate::Vector;
use crate::field::MotionField;
use crate::grid::{BAND, Found, Grid, place};
use crate::patch::Template;
use crate::pyramid::{Level, Pyramid};
use crate::spread::spread;

/// Finds the motion from `current` to `reference`, coarse to fine.
///
/// At each size every patch tries the vectors of the coarser size around it, the one that most of the picture follows, and
/// those of its neighbours that were found just before; it keeps the one with the least clipped difference and refines it
/// between samples. Then neighbours settle on vectors that serve them all. Patches overlap; each cell takes the vectors of
/// the patches over it that agree with the best of them, weighted by how well they fit that very cell.
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
        let pair = Pair { current: &current.levels()[index], reference: &reference.levels()[index] };
        coarser = Some(search_level(pair, coarser.as_ref(), index == 0, current.scale(index)));
    }
    let (a, b) = (&current.levels()[0], &reference.levels()[0]);
    coarser.map_or_else(
        || MotionField::still(current.width(), current.height()),
        |grid| spread(a, b, &grid, current.scale(0)),
    )
}

/// One size of both frames.
#[derive(Clone, Copy)]
struct Pair<'a> {
    current: &'a Level,
    reference: &'a Level,
}

/// How hard a level is searched.
#[derive(Clone, Copy)]
struct Effort {
    /// Vectors closer than this to one already tried are not tried, in samples.
    apart: f32,
    /// Least-squares steps by which the best of those tried is refined, at most.
    steps: usize,
    /// Whether a second sweep goes back from the last patch to the first, so that vectors spread in all directions.
    back: bool,
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
/// What a vector met on the way back must save, in codes of mean difference, to replace the one found on the way there.
const WORTH_A_CHANGE: f32 = 0.25;

impl Effort {
    /// For the finest size that is searched (`last`) or a coarser one, `scale` scan pixels to a sample.
    fn of(last: bool, scale: usize) -> Self {
        let grain = GRAIN / (scale as f32).powf(1.5);
        if last {
            // The finest level has four times the patches of the next and starts close to the answer; on grainy flat ground
            // more steps only follow the grain.
            Self { apart: 0.5, steps: 3, back: false, grain }
        } else {
            // Residues hardly move after five steps on the development clips.
            Self { apart: 0.25, steps: 5, back: true, grain }
        }
    }
}

fn search_level(pair: Pair, coarser: Option<&Grid>, last: bool, scale: usize) -> Grid {
    let (columns, rows) = Grid::size(pair.current);
    let effort = Effort::of(last, scale);
    let before = Before { grid: coarser, dominant: coarser.map(Grid::dominant) };
    let mut found = vec![Found::default(); columns * rows];
    found.par_chunks_mut(columns * BAND).enumerate().for_each(|(band, out)| {
        search_band(pair, before, band * BAND, columns, effort, out);
    });
    Grid { columns, rows, found }.settled()
}

/// What the coarser size knows.
#[derive(Clone, Copy)]
struct Before<'a> {
    grid: Option<&'a Grid>,
    dominant: Option<Vector>,
}

/// The patch of the coarser size over a patch, and the one on its other side.
fn coarser_places(index: usize) -> (usize, usize) {
    let over = index / 2;
    (over, if index % 2 == 1 { over + 1 } else { over.saturating_sub(1) })
}

/// Vectors to try, none close to another.
struct Offers {
    tried: Vec<Vector>,
    apart: f32,
}

impl Offers {
    #[inline(always)]
    fn add(&mut self, v: Vector) {
        for t in &self.tried {
            if (t.dx - v.dx).abs() + (t.dy - v.dy).abs() < self.apart {
                return;
            }
        }
        self.tried.push(v);
    }

    /// What the coarser size says of a patch; at the coarsest size a lattice around no motion.
    #[inline(always)]
    fn add_coarser(&mut self, before: Before, column: usize, row: usize) {
        let Some(grid) = before.grid else {
            for j in -2..=2i8 {
                for i in -2..=2i8 {
                    self.add(Vector::new(2.0 * f32::from(i), 2.0 * f32::from(j)));
                }
            }
            return;
        };
        let (near, far) = (coarser_places(column), coarser_places(row));
        for (i, j) in [(near.0, far.0), (near.1, far.0), (near.0, far.1), (near.1, far.1)] {
            let v = grid.at(i, j);
            self.add(Vector::new(2.0 * v.dx, 2.0 * v.dy));
        }
    }
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn search_band(pair: Pair, before: Before, first: usize, columns: usize, effort: Effort, out: &mut [Found]) {
    let rows = out.len() / columns;
    let mut offers = Offers { tried: Vec::with_capacity(32), apart: effort.apart };
    for r in 0..rows {
        for c in 0..columns {
            offers.tried.clear();
            offers.add_coarser(before, c, first + r);
            if c > 0 {
                offers.add(out[r * columns + c - 1].vector);
            }
            if r > 0 {
                offers.add(out[(r - 1) * columns + c].vector);
                if c + 1 < columns {
                    offers.add(out[(r - 1) * columns + c + 1].vector);
                }
            }
            if let Some(v) = before.dominant {
                offers.add(Vector::new(2.0 * v.dx, 2.0 * v.dy));
            }
            out[r * columns + c] = best_of(pair, c, first + r, &offers.tried, effort);
        }
    }
    if effort.back {
        sweep_back(pair, first, columns, effort, &mut offers, out);
    }
}

/// Offers each patch the vectors of those after it, where they differ from its own.
#[inline(always)]
fn sweep_back(pair: Pair, first: usize, columns: usize, effort: Effort, offers: &mut Offers, out: &mut [Found]) {
    let rows = out.len() / columns;
    for r in (0..rows).rev() {
        for c in (0..columns).rev() {
            let own = out[r * columns + c];
            let after = [
                (c + 1 < columns).then_some(r * columns + c + 1),
                (r + 1 < rows).then_some((r + 1) * columns + c),
                (r + 1 < rows && c > 0).then_some((r + 1) * columns + c.saturating_sub(1)),
            ];
            offers.tried.clear();
            for k in after.into_iter().flatten() {
                if own.vector.distance(out[k].vector) > 0.5 {
                    offers.add(out[k].vector);
                }
            }
            if !offers.tried.is_empty() {
                let found = best_of(pair, c, first + r, &offers.tried, effort);
                if found.error < own.error - WORTH_A_CHANGE {
                    out[r * columns + c] = found;
                }
            }
        }
    }
}

/// The best of some vectors for a patch, refined. Loops, not closures: those are not compiled for the processor level of
/// the function around them.
#[inline(always)]
fn best_of(pair: Pair, column: usize, row: usize, tried: &[Vector], effort: Effort) -> Found {
    let (x, y) = (place(column, pair.current.width()), place(row, pair.current.height()));
    let Some((first, others)) = tried.split_first() else { return Found::default() };
    let template = Template::new(pair.current, x, y, effort.grain);
    let expected = middle(tried);
    let mut best = *first;
    let mut found = template.residue(pair.reference, best);
    let mut least = found.0.error + TOLL * best.distance(expected).min(TOLL_REACH);
    for &v in others {
        // A residue is never negative: what costs too much by its distance alone need not be looked at.
        let toll = TOLL * v.distance(expected).min(TOLL_REACH);
        if toll >= least {
            continue;
        }
        let there = template.residue(pair.reference, v);
        let cost = there.0.error + toll;
        if cost < least {
            (least, best, found) = (cost, v, there);
        }
    }
    let (vector, residue) = template.refine(pair.reference, best, found, effort.steps);
    Found { vector, tensor: template.tensor, error: residue.error }
}

/// The median of a few vectors, each axis by itself.
#[inline(always)]
fn middle(vectors: &[Vector]) -> Vector {
    const MOST: usize = 32;
    // The usual case by far.
    if let [only] = vectors {
        return *only;
    }
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
#[inline(always)]
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
