//! Where the picture of one sketch stands in another, block by block, and what of it is not there.

use besom_motion::Vector;
use besom_motion::order::middle;
use besom_scan::Plane;

use super::sketch::Sketch;

/// Cells along a block's side.
pub(super) const BLOCK: usize = 8;
/// Cells that the whole picture may move from one frame to the next along each axis.
const FAR: i32 = 14;
/// Cells that a block may move against the whole picture.
const NEAR: i32 = 4;
/// A difference counts no more than this, in codes, when the whole picture's motion is looked for: what is covered must
/// not outvote what is not.
const CAP: f32 = 60.0;

/// Level difference in codes that is ordinary flicker: no second search is made for so little.
const STEADY: f32 = 12.0;
/// Mean capped difference, in codes, from which two frames show nothing in common.
const UNFIT: f32 = 35.0;

/// One block of a link.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Block {
    /// Where its picture stands in the other frame, in cells.
    pub vector: Vector,
    /// Mean absolute difference there after the frames' levels are made equal, in codes.
    pub residue: f32,
    /// The same after the block's own level is made equal: what light alone cannot explain.
    pub shape: f32,
    /// Mean absolute deviation of the block from its mean, in codes.
    pub contrast: f32,
}

impl Block {
    /// Whether it has structure of its own, without which its vector says nothing.
    pub(crate) fn structured(&self) -> bool {
        self.contrast > STRUCTURE
    }

    /// Whether its vector says where its picture stands in the other frame: it has structure, and most of that is there.
    pub(super) fn told(&self) -> bool {
        self.structured() && self.residue < 0.6 * self.contrast
    }
}

/// What links one sketch to another.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Link {
    /// Motion of the whole picture in cells: its median over blocks with structure, finer than a cell.
    pub motion: Vector,
    /// Blocks row by row.
    pub blocks: Vec<Block>,
    /// Blocks along the width.
    pub across: usize,
}

impl Link {
    /// Looks for `current`'s picture in `other`; `None` when they differ in size.
    pub(crate) fn new(current: &Sketch, other: &Sketch) -> Option<Self> {
        let (a, b) = (current.luma(), other.luma());
        if current.size() != other.size() || a.width() < BLOCK || a.height() < BLOCK {
            return None;
        }
        // A flash changes the level of all, a cover pulls the median away although what is left has not changed: the
        // level that lets more of the picture fit is the right one.
        let level = level_between(a, b, (0, 0));
        let lit = whole_motion(a, b, level);
        let still = (level.abs() > STEADY).then(|| whole_motion(a, b, 0.0));
        let fitting = still.filter(|still| still.0 <= lit.0).unwrap_or(lit);
        let whole = (fitting.1, fitting.2);
        // Where hardly anything fits there is no common level to speak of.
        let offset = if fitting.0 > UNFIT { 0.0 } else { common_level(a, b, fitting) };
        let (across, down) = (a.width() / BLOCK, a.height() / BLOCK);
        let mut blocks = Vec::with_capacity(across * down);
        for j in 0..down {
            for i in 0..across {
                blocks.push(block(a, b, (i * BLOCK, j * BLOCK), offset, whole));
            }
        }
        let motion = median(&blocks).unwrap_or(Vector::new(whole.0 as f32, whole.1 as f32));
        Some(Self { motion, blocks, across })
    }
}

/// The median difference of the two frames at a shift.
fn level_between(a: &Plane, b: &Plane, (dx, dy): (i32, i32)) -> f32 {
    let mut differences: Vec<f32> = Vec::with_capacity(a.as_slice().len() / 3 + a.height());
    for y in 0..a.height() {
        for (x, v) in a.row(y).iter().enumerate().skip(y % 3).step_by(3) {
            differences.push(v - b.clamped(x as i32 + dx, y as i32 + dy));
        }
    }
    middle(&mut differences)
}

/// The median difference of what fits at a shift, near the level at which it was found.
fn common_level(a: &Plane, b: &Plane, (_, dx, dy, near): (f32, i32, i32, f32)) -> f32 {
    let mut fitting = Vec::new();
    for y in 0..a.height() {
        for (x, v) in a.row(y).iter().enumerate().skip(y % 3).step_by(3) {
            let difference = v - b.clamped(x as i32 + dx, y as i32 + dy);
            if (difference - near).abs() < CAP {
                fitting.push(difference);
            }
        }
    }
    if fitting.is_empty() { near } else { middle(&mut fitting) }
}

/// The cost, shift and level of the whole picture in whole cells, over every second cell; on a tie the smaller one.
fn whole_motion(a: &Plane, b: &Plane, offset: f32) -> (f32, i32, i32, f32) {
    let (width, height) = (a.width() as i32, a.height() as i32);
    let reach_x = FAR.min(width / 8 * 2);
    let reach_y = FAR.min(height / 8 * 2);
    // What a shift costs, or as soon as that is known something that is no less than `least`.
    let cost = |dx: i32, dy: i32, least: f32| {
        let (x0, x1) = ((-dx).max(0), width - dx.max(0));
        let rows = ((-dy).max(0)..height - dy.max(0)).step_by(2);
        let count = rows.len() * (x1 - x0).max(0).unsigned_abs().div_ceil(2) as usize;
        // Flat pictures fit anywhere: staying costs least.
        let by = |sum: f32| sum / (count as f32).max(1.0) + 0.02 * (dx.abs() + dy.abs()) as f32;
        let mut sum = 0.0f32;
        for y in rows {
            let there = &b.row((y + dy) as usize)[(x0 + dx) as usize..(x1 + dx) as usize];
            for (p, q) in a.row(y as usize)[x0 as usize..x1 as usize].iter().zip(there).step_by(2) {
                sum += (p - q - offset).abs().min(CAP);
            }
            // Nothing that is added makes it less.
            if by(sum) >= least {
                break;
            }
        }
        by(sum)
    };
    let mut best = (f32::INFINITY, 0, 0);
    // Every second shift first, then those beside the best: cells are means, and fit a little beside their place too.
    for dy in (-reach_y..=reach_y).step_by(2) {
        for dx in (-reach_x..=reach_x).step_by(2) {
            let here = cost(dx, dy, best.0);
            if here < best.0 {
                best = (here, dx, dy);
            }
        }
    }
    let (_, bx, by) = best;
    for dy in (by - 1).max(-reach_y)..=(by + 1).min(reach_y) {
        for dx in (bx - 1).max(-reach_x)..=(bx + 1).min(reach_x) {
            let here = cost(dx, dy, best.0);
            if here < best.0 {
                best = (here, dx, dy);
            }
        }
    }
    (best.0, best.1, best.2, offset)
}

/// Mean absolute difference of a block at a displacement, levels made equal by `offset`.
fn difference(a: &Plane, b: &Plane, at: (usize, usize), (dx, dy): (i32, i32), offset: f32) -> f32 {
    let mut sum = 0.0;
    let (x0, y0) = (at.0 as i32 + dx, at.1 as i32 + dy);
    let inside = x0 >= 0 && y0 >= 0 && x0 as usize + BLOCK <= b.width() && y0 as usize + BLOCK <= b.height();
    for y in 0..BLOCK {
        let row = &a.row(at.1 + y)[at.0..at.0 + BLOCK];
        if inside {
            let there = &b.row(y0 as usize + y)[x0 as usize..x0 as usize + BLOCK];
            sum += row.iter().zip(there).map(|(p, q)| (p - q - offset).abs()).sum::<f32>();
        } else {
            for (x, p) in row.iter().enumerate() {
                sum += (p - b.clamped(x0 + x as i32, y0 + y as i32) - offset).abs();
            }
        }
    }
    sum / (BLOCK * BLOCK) as f32
}

fn block(a: &Plane, b: &Plane, at: (usize, usize), offset: f32, whole: (i32, i32)) -> Block {
    let cost = |dx: i32, dy: i32| difference(a, b, at, (dx, dy), offset);
    let mut best = (f32::INFINITY, whole.0, whole.1);
    for dy in whole.1 - NEAR..=whole.1 + NEAR {
        for dx in whole.0 - NEAR..=whole.0 + NEAR {
            let pull = 0.05 * ((dx - whole.0).abs() + (dy - whole.1).abs()) as f32;
            let here = cost(dx, dy) + pull;
            if here < best.0 {
                best = (here, dx, dy);
            }
        }
    }
    let (dx, dy) = (best.1, best.2);
    let here = cost(dx, dy);
    let vector = refined(a, b, at, (dx, dy));
    let (own, there) = (mean(a, at, (0, 0)), mean(b, at, (dx, dy)));
    let mut contrast = 0.0;
    for y in at.1..at.1 + BLOCK {
        contrast += a.row(y)[at.0..at.0 + BLOCK].iter().map(|v| (v - own).abs()).sum::<f32>();
    }
    let shape = difference(a, b, at, (dx, dy), own - there);
    Block { vector, residue: here, shape, contrast: contrast / (BLOCK * BLOCK) as f32 }
}

fn mean(plane: &Plane, at: (usize, usize), (dx, dy): (i32, i32)) -> f32 {
    let mut sum = 0.0;
    for y in 0..BLOCK as i32 {
        for x in 0..BLOCK as i32 {
            sum += plane.clamped(at.0 as i32 + x + dx, at.1 as i32 + y + dy);
        }
    }
    sum / (BLOCK * BLOCK) as f32
}

/// The displacement refined by one step of least squares, the block's level left free (Lucas and Kanade 1981, from memory).
fn refined(a: &Plane, b: &Plane, at: (usize, usize), (dx, dy): (i32, i32)) -> Vector {
    let mut sums = [0.0f32; 9];
    for y in 0..BLOCK as i32 {
        for x in 0..BLOCK as i32 {
            let (u, v) = (at.0 as i32 + x, at.1 as i32 + y);
            let (s, t) = (u + dx, v + dy);
            let gx = 0.5 * (b.clamped(s + 1, t) - b.clamped(s - 1, t));
            let gy = 0.5 * (b.clamped(s, t + 1) - b.clamped(s, t - 1));
            let e = a.clamped(u, v) - b.clamped(s, t);
            for (sum, term) in sums.iter_mut().zip([gx, gy, e, gx * gx, gx * gy, gy * gy, gx * e, gy * e, 1.0]) {
                *sum += term;
            }
        }
    }
    let [gx, gy, e, xx, xy, yy, xe, ye, n] = sums;
    let (xx, xy, yy) = (xx - gx * gx / n, xy - gx * gy / n, yy - gy * gy / n);
    let (xe, ye) = (xe - gx * e / n, ye - gy * e / n);
    // A few codes a cell steady the step where the block has structure in one direction only.
    let (xx, yy) = (xx + 4.0 * n, yy + 4.0 * n);
    let determinant = xx * yy - xy * xy;
    let step = |v: f32| if determinant > 0.0 { (v / determinant).clamp(-0.75, 0.75) } else { 0.0 };
    Vector::new(dx as f32 + step(xe * yy - ye * xy), dy as f32 + step(ye * xx - xe * xy))
}

/// Contrast from which a block's vector says something.
const STRUCTURE: f32 = 8.0;

fn median(blocks: &[Block]) -> Option<Vector> {
    let told = blocks.iter().filter(|b| b.told());
    let (mut xs, mut ys): (Vec<f32>, Vec<f32>) = told.map(|b| (b.vector.dx, b.vector.dy)).unzip();
    if xs.len() < 8 {
        return None;
    }
    Some(Vector::new(middle(&mut xs), middle(&mut ys)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn scene(shift: (f32, f32), level: f32) -> Sketch {
        let plane = Plane::from_fn(512, 384, |x, y| {
            let (x, y) = (x as f32 + shift.0, y as f32 + shift.1);
            level + 120.0 * (0.031 * x).sin() * (0.027 * y).cos() + 60.0 * (0.071 * x + 0.05 * y).sin()
        });
        Sketch::new(&[plane]).unwrap()
    }

    #[test]
    fn a_shift_and_a_change_of_level_leave_nothing() {
        let (a, b) = (scene((0.0, 0.0), 400.0), scene((-10.0, 6.0), 430.0));
        let link = Link::new(&a, &b).unwrap();
        // Cells of four pixels: what stood at x stands at x + 10 pixels.
        // A quarter of a cell is what the survey needs.
        assert!(link.motion.distance(Vector::new(2.5, -1.5)) < 0.25, "{:?}", link.motion);
        let beyond = link.blocks.iter().filter(|b| b.residue > 15.0).count();
        assert!((beyond as f32 / link.blocks.len() as f32) < 0.15);
    }

    /// What a shift of the whole picture costs, by its definition.
    fn plain_cost(a: &Plane, b: &Plane, offset: f32, (dx, dy): (i32, i32)) -> f32 {
        let (mut sum, mut count) = (0.0f32, 0.0f32);
        for y in ((-dy).max(0)..a.height() as i32 - dy.max(0)).step_by(2) {
            for x in ((-dx).max(0)..a.width() as i32 - dx.max(0)).step_by(2) {
                let there = b.at((x + dx) as usize, (y + dy) as usize);
                sum += (a.at(x as usize, y as usize) - there - offset).abs().min(CAP);
                count += 1.0;
            }
        }
        sum / count.max(1.0) + 0.02 * (dx.abs() + dy.abs()) as f32
    }

    #[test]
    fn the_cheapest_shift_costs_what_its_definition_says() {
        let a = scene((0.0, 0.0), 400.0);
        for (shift, offset) in [((-10.0, 6.0), 0.0), ((-10.0, 6.0), -30.0), ((33.0, -21.0), 5.0), ((0.0, 0.0), 0.0)] {
            let b = scene(shift, 400.0 - offset);
            let (a, b) = (a.luma(), b.luma());
            let (cost, dx, dy, _) = whole_motion(a, b, offset);
            assert_eq!(cost, plain_cost(a, b, offset, (dx, dy)));
            for y in -4..=4 {
                for x in -4..=4 {
                    assert!(plain_cost(a, b, offset, (2 * x, 2 * y)) >= cost);
                }
            }
        }
    }

    #[test]
    fn sketches_of_unlike_size_have_no_link() {
        let small = Sketch::new(&[Plane::new(64, 48)]).unwrap();
        assert_eq!(Link::new(&small, &scene((0.0, 0.0), 400.0)), None);
    }
}
