//! The two fields of a frame, towards the frame before and the frame after, held against each other.
//!
//! What moves steadily through three frames has opposed vectors. A mark of one frame has no counterpart in either
//! neighbour: the search drags each of its patches to whatever looks like it there, two unrelated places. Such small
//! islands of unopposed vectors take the motion of their surroundings, so that the mark stands out against what it covers
//! instead of against a chance likeness.

use std::ops::Range;

use besom_scan::Plane;
use rayon::prelude::*;

use crate::Vector;
use crate::field::MotionField;
use crate::order::middle;
use crate::sums::Sums;

/// Sum of opposed vectors that steady motion may leave, in pixels, and as a share of their length: acceleration.
const SLACK: f32 = 1.5;
const SLACK_SHARE: f32 = 0.25;
/// Reach of the surroundings in pixels: an island wider than this is taken for an object with a motion of its own.
const REACH: usize = 20;
/// Share of the surroundings that must be steady.
const STEADY: usize = 40;

/// Gives small islands whose vectors do not belong to one steady motion the median vector of the steady cells around.
///
/// In a steady motion `after` is `times` as long as `before`, but for what the whole picture sways: -1 where one frame lies before and
/// one after, 2 where both lie on one side, the second beyond the first.
///
/// Surroundings are taken around the middle of small blocks of cells, not around each cell: they reach five blocks and more,
/// and islands are many on a picture full of motion. Does nothing when the fields have different lattices.
pub fn reconcile(before: &mut MotionField, after: &mut MotionField, times: f32) {
    if before.cells() != after.cells() || before.cell() != after.cell() {
        return;
    }
    let (columns, rows) = before.cells();
    let steady = steady_cells(before, after, times);
    let counts = counts_of(&steady);
    let reach = REACH.div_ceil(before.cell());
    let side = 2 * (reach / 5) + 1;
    let (a, b) = (&*before, &*after);
    let settled: Vec<Vec<(usize, Vector, Vector)>> = (0..rows.div_ceil(side))
        .into_par_iter()
        .map(|block_row| {
            let mut scratch: [Vec<f32>; 4] = Default::default();
            let mut found = Vec::new();
            let y = block_row * side;
            for x in (0..columns).step_by(side) {
                let block = (x..(x + side).min(columns), y..(y + side).min(rows));
                if counts.over(block.0.clone(), block.1.clone()) as usize == block.0.len() * block.1.len() {
                    continue;
                }
                let (middle_x, middle_y) = ((x + side / 2).min(columns - 1), (y + side / 2).min(rows - 1));
                let around = (
                    middle_x.saturating_sub(reach)..(middle_x + reach + 1).min(columns),
                    middle_y.saturating_sub(reach)..(middle_y + reach + 1).min(rows),
                );
                let (seen, known) =
                    (around.0.len() * around.1.len(), counts.over(around.0.clone(), around.1.clone()) as usize);
                if known > 0 && known * 100 >= seen * STEADY {
                    let (va, vb) = middle_vectors(a, b, &steady, &around, &mut scratch);
                    found.push((x, va, vb));
                }
            }
            found
        })
        .collect();
    for (block_row, found) in settled.into_iter().enumerate() {
        for (x0, va, vb) in found {
            for y in block_row * side..((block_row + 1) * side).min(rows) {
                for x in (x0..(x0 + side).min(columns)).filter(|x| steady.at(*x, y) == 0) {
                    before.set_cell(x, y, va);
                    after.set_cell(x, y, vb);
                }
            }
        }
    }
}

/// 1 where the two vectors of a cell belong to one steady motion.
fn steady_cells(a: &MotionField, b: &MotionField, times: f32) -> Plane<u8> {
    let usual = |a: &Plane, b: &Plane| {
        middle(&mut a.as_slice().iter().zip(b.as_slice()).map(|(a, b)| b - times * a).collect::<Vec<f32>>())
    };
    let sway = Vector::new(usual(&a.dx, &b.dx), usual(&a.dy, &b.dy));
    let (columns, rows) = a.cells();
    let mut steady = Plane::new(columns, rows);
    steady.as_mut_slice().par_chunks_mut(columns).enumerate().for_each(|(r, line)| {
        for (c, out) in line.iter_mut().enumerate() {
            let (va, vb) = (a.cell_vector(c, r), b.cell_vector(c, r));
            let left = Vector::new(vb.dx - times * va.dx, vb.dy - times * va.dy).distance(sway);
            *out = u8::from(left <= SLACK + SLACK_SHARE * 0.5 * (va.length() + vb.length()));
        }
    });
    steady
}

/// Where the steady cells lie.
fn counts_of(steady: &Plane<u8>) -> Sums<u32> {
    Sums::of(steady.width(), steady.height(), |c, r| u32::from(steady.at(c, r)))
}

/// Medians of the steady vectors of an area that holds some, each axis by itself.
fn middle_vectors(
    a: &MotionField,
    b: &MotionField,
    steady: &Plane<u8>,
    (columns, rows): &(Range<usize>, Range<usize>),
    values: &mut [Vec<f32>; 4],
) -> (Vector, Vector) {
    values.iter_mut().for_each(Vec::clear);
    for r in rows.clone() {
        for c in columns.clone().filter(|c| steady.at(*c, r) != 0) {
            let (va, vb) = (a.cell_vector(c, r), b.cell_vector(c, r));
            for (list, value) in values.iter_mut().zip([va.dx, va.dy, vb.dx, vb.dy]) {
                list.push(value);
            }
        }
    }
    let [ax, ay, bx, by] = values.each_mut().map(|list| middle(list));
    (Vector::new(ax, ay), Vector::new(bx, by))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_island_takes_the_motion_around_it_and_a_continent_keeps_its_own() {
        let mut fields = [MotionField::still(400, 300), MotionField::still(400, 300)];
        let (columns, rows) = fields[0].cells();
        for r in 0..rows {
            for c in 0..columns {
                fields[0].set_cell(c, r, Vector::new(3.0, 1.0));
                fields[1].set_cell(c, r, Vector::new(-3.0, -1.0));
            }
        }
        // Unopposed vectors: a mark of 3x3 cells, and an object of 30x30.
        for (x0, y0, side) in [(20, 20, 3), (50, 30, 30)] {
            for r in y0..y0 + side {
                for c in x0..x0 + side {
                    fields[0].set_cell(c, r, Vector::new(9.0, 5.0));
                    fields[1].set_cell(c, r, Vector::new(7.0, -6.0));
                }
            }
        }
        let [mut a, mut b] = fields;
        reconcile(&mut a, &mut b, -1.0);
        for (c, r) in [(20, 20), (21, 21), (22, 22)] {
            assert_eq!(a.cell_vector(c, r), Vector::new(3.0, 1.0));
            assert_eq!(b.cell_vector(c, r), Vector::new(-3.0, -1.0));
        }
        assert_eq!(a.cell_vector(65, 45), Vector::new(9.0, 5.0));
        assert_eq!(b.cell_vector(65, 45), Vector::new(7.0, -6.0));
    }
}
