//! The reference as seen from the current frame.

use besom_scan::Plane;
use rayon::prelude::*;

use crate::field::MotionField;
use crate::interpolate::{cubic_weights, sample};

/// Side of the square that is moved as one, in pixels. Vectors are read at its centre.
const BLOCK: usize = 4;
/// Samples that a row of a block needs, with one to spare.
const WIDE: usize = 8;

/// `reference` moved onto the current frame by `field`, cubic between samples, not levelled.
pub fn compensate(reference: &Plane, field: &MotionField) -> Plane {
    let mut out = Plane::new(reference.width(), reference.height());
    compensate_into(reference, field, &mut out);
    out
}

/// [`compensate`] into every sample of a plane that is there already.
///
/// # Panics
/// When the planes differ in size.
pub fn compensate_into(reference: &Plane, field: &MotionField, out: &mut Plane) {
    let width = reference.width();
    assert!(out.rect() == reference.rect(), "a frame is seen in its own size");
    out.as_mut_slice()
        .par_chunks_mut(width * BLOCK)
        .enumerate()
        .for_each(|(band, rows)| moved_band(reference, field, band * BLOCK, rows));
}

/// The rows of blocks that begin at `y0`.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn moved_band(reference: &Plane, field: &MotionField, y0: usize, rows: &mut [f32]) {
    let (width, height) = (reference.width(), reference.height());
    let tall = rows.len() / width;
    for x0 in (0..width).step_by(BLOCK) {
        let wide = BLOCK.min(width - x0);
        let v = field.block(x0, y0);
        let (x, y) = (x0 as f32 + v.dx, y0 as f32 + v.dy);
        let (fx, fy) = (x.floor(), y.floor());
        let inside = fx >= 1.0
            && fy >= 1.0
            && fx + (BLOCK + 2) as f32 <= width as f32 - 1.0
            && fy + (BLOCK + 2) as f32 <= height as f32 - 1.0;
        if inside && wide == BLOCK && tall == BLOCK {
            moved_block(reference, fx as usize - 1, fy as usize - 1, x - fx, y - fy, &mut rows[x0..], width);
        } else {
            for j in 0..tall {
                for i in 0..wide {
                    rows[j * width + x0 + i] = sample(reference, x + i as f32, y + j as f32);
                }
            }
        }
    }
}

// Inlined into the loop that is compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn moved_block(reference: &Plane, x: usize, y: usize, tx: f32, ty: f32, out: &mut [f32], stride: usize) {
    let (wx, wy) = (cubic_weights(tx), cubic_weights(ty));
    let width = reference.width();
    let all = &reference.as_slice()[y * width + x..(y + BLOCK + 2) * width + x + WIDE];
    // Along the columns first: eight samples of a row fill one vector register.
    let mut down = [[0.0f32; WIDE]; BLOCK];
    for (j, line) in down.iter_mut().enumerate() {
        for (k, w) in wy.iter().enumerate() {
            let row = &all[(j + k) * width..(j + k) * width + WIDE];
            for i in 0..WIDE {
                line[i] += w * row[i];
            }
        }
    }
    for (j, line) in down.iter().enumerate() {
        let out = &mut out[j * stride..j * stride + BLOCK];
        for i in 0..BLOCK {
            out[i] = wx[0] * line[i] + wx[1] * line[i + 1] + wx[2] * line[i + 2] + wx[3] * line[i + 3];
        }
    }
}

/// The plain twin of [`compensate`]: one cubic sample a pixel. Kept for tests and benchmarks.
pub fn compensate_plain(reference: &Plane, field: &MotionField) -> Plane {
    Plane::from_fn(reference.width(), reference.height(), |x, y| {
        let (bx, by) = ((x / BLOCK * BLOCK) as f32 + 1.5, (y / BLOCK * BLOCK) as f32 + 1.5);
        let v = field.at(bx, by);
        sample(reference, x as f32 + v.dx, y as f32 + v.dy)
    })
}
