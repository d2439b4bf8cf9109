//! The two fields of a frame, towards the frame before and the frame after, held against each other.
//!
//! What moves steadily through three frames has opposed vectors. A mark of one frame has no counterpart in either
//! neighbour: the search drags each of its patches to whatever looks like it there, two unrelated places. Such small
//! islands of unopposed vectors take the motion of their surroundings, so that the mark stands out against what it covers
//! instead of against a chance likeness.

use besom_scan::Plane;
use rayon::prelude::*;

use crate::Vector;
use crate::field::MotionField;

/// Sum of opposed vectors that steady motion may leave, in pixels, and as a share of their length: acceleration.
const SLACK: f32 = 1.5;
const SLACK_SHARE: f32 = 0.25;
/// Reach of the surroundings in pixels: an island wider than this is taken for an object with a motion of its own.
const REACH: usize = 20;
/// Share of the surroundings that must be steady.
const STEADY: usize = 40;

/// Gives small islands whose vectors do not oppose each other the median vector of the steady cells around.
///
/// Does nothing when the fields have different lattices.
pub fn reconcile(before: &mut MotionField, after: &mut MotionField) {
    if before.cells() != after.cells() || before.cell() != after.cell() {
        return;
    }
    let (columns, rows) = before.cells();
    let steady = Plane::from_fn(columns, rows, |c, r| {
        let (a, b) = (before.cell_vector(c, r), after.cell_vector(c, r));
        let left = (a.dx + b.dx).hypot(a.dy + b.dy);
        u8::from(left <= SLACK + SLACK_SHARE * 0.5 * (a.length() + b.length()))
    });
    let reach = REACH.div_ceil(before.cell());
    let islands: Vec<(usize, usize)> =
        (0..rows).flat_map(|r| (0..columns).map(move |c| (c, r))).filter(|&(c, r)| steady.at(c, r) == 0).collect();
    let (a, b) = (&*before, &*after);
    let settled: Vec<Option<(Vector, Vector)>> =
        islands.par_iter().map(|&(c, r)| surroundings(a, b, &steady, c, r, reach)).collect();
    for (&(c, r), found) in islands.iter().zip(settled) {
        if let Some((va, vb)) = found {
            before.set_cell(c, r, va);
            after.set_cell(c, r, vb);
        }
    }
}

fn surroundings(
    a: &MotionField,
    b: &MotionField,
    steady: &Plane<u8>,
    column: usize,
    row: usize,
    reach: usize,
) -> Option<(Vector, Vector)> {
    let (columns, rows) = a.cells();
    let mut values: [Vec<f32>; 4] = Default::default();
    let mut seen = 0;
    for r in row.saturating_sub(reach)..=(row + reach).min(rows - 1) {
        for c in column.saturating_sub(reach)..=(column + reach).min(columns - 1) {
            seen += 1;
            if steady.at(c, r) != 0 {
                let (va, vb) = (a.cell_vector(c, r), b.cell_vector(c, r));
                for (list, value) in values.iter_mut().zip([va.dx, va.dy, vb.dx, vb.dy]) {
                    list.push(value);
                }
            }
        }
    }
    if values[0].is_empty() || values[0].len() * 100 < seen * STEADY {
        return None;
    }
    let mut middle = |k: usize| {
        let half = values[k].len() / 2;
        *values[k].select_nth_unstable_by(half, f32::total_cmp).1
    };
    Some((Vector::new(middle(0), middle(1)), Vector::new(middle(2), middle(3))))
}
