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

/// Sum of opposed vectors that steady motion may leave, in pixels, and as a share of their length: acceleration.
const SLACK: f32 = 1.5;
const SLACK_SHARE: f32 = 0.25;
/// Reach of the surroundings in pixels: an island wider than this is taken for an object with a motion of its own.
const REACH: usize = 20;
/// Share of the surroundings that must be steady.
const STEADY: usize = 40;

/// Gives small islands whose vectors do not oppose each other the median vector of the steady cells around.
///
/// Surroundings are taken around the middle of small blocks of cells, not around each cell: they reach five blocks and more,
/// and islands are many on a picture full of motion. Does nothing when the fields have different lattices.
pub fn reconcile(before: &mut MotionField, after: &mut MotionField, times: f32) {
    if before.cells() != after.cells() || before.cell() != after.cell() {
        return;
    }
    let (columns, rows) = before.cells();
    let steady = steady_cells(before, after, times);
    let counts = Counts::new(&steady);
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
                if counts.of(block.0.clone(), block.1.clone()) == block.0.len() * block.1.len() {
                    continue;
                }
                let (middle_x, middle_y) = ((x + side / 2).min(columns - 1), (y + side / 2).min(rows - 1));
                let around = (
                    middle_x.saturating_sub(reach)..(middle_x + reach + 1).min(columns),
                    middle_y.saturating_sub(reach)..(middle_y + reach + 1).min(rows),
                );
                let (seen, known) = (around.0.len() * around.1.len(), counts.of(around.0.clone(), around.1.clone()));
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

/// 1 where the two vectors of a cell oppose each other.
fn steady_cells(a: &MotionField, b: &MotionField, times: f32) -> Plane<u8> {
    let left = |a: &Plane, b: &Plane| {
        middle(&mut a.as_slice().iter().zip(b.as_slice()).map(|(a, b)| b - times * a).collect::<Vec<f32>>())
    };
    let sway = Vector::new(left(&a.dx, &b.dx), left(&a.dy, &b.dy));
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

/// Sums of a plane over any rectangle (Crow's summed-area table, SIGGRAPH 1984, from memory).
struct Counts {
    stride: usize,
    sums: Vec<u32>,
}

impl Counts {
    fn new(plane: &Plane<u8>) -> Self {
        let stride = plane.width() + 1;
        let mut sums = vec![0u32; stride * (plane.height() + 1)];
        for y in 0..plane.height() {
            let mut line = 0;
            for (x, v) in plane.row(y).iter().enumerate() {
                line += u32::from(*v);
                sums[(y + 1) * stride + x + 1] = sums[y * stride + x + 1] + line;
            }
        }
        Self { stride, sums }
    }

    fn of(&self, x: Range<usize>, y: Range<usize>) -> usize {
        let at = |x: usize, y: usize| self.sums[y * self.stride + x];
        (at(x.end, y.end) + at(x.start, y.start) - at(x.start, y.end) - at(x.end, y.start)) as usize
    }
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
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn counts_are_those_of_counting(w in 1usize..12, h in 1usize..9, seed in any::<u32>()) {
            let mut s = seed;
            let plane = Plane::from_fn(w, h, |_, _| { s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223); (s >> 31) as u8 });
            let counts = Counts::new(&plane);
            for (x0, x1, y0, y1) in [(0, w, 0, h), (w / 2, w, h / 3, h), (0, w / 2, 0, h / 2), (w / 3, w / 2 + 1, 0, h)] {
                let (x1, y1) = (x1.min(w).max(x0), y1.min(h).max(y0));
                let plain = (y0..y1).flat_map(|y| (x0..x1).map(move |x| (x, y))).filter(|&(x, y)| plane.at(x, y) != 0).count();
                prop_assert_eq!(counts.of(x0..x1, y0..y1), plain);
            }
        }
    }

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
