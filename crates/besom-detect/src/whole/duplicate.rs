//! One film frame scanned twice: the grain of two frames is the same.

use besom_motion::order::middle;
use besom_scan::Plane;

use super::sketch::{Sketch, TILE};
use super::{Five, Odd, What};
use crate::candidate::{Polarity, Risk};

/// Pixels that two scans of one frame may be shifted against each other.
const SHIFT: i32 = 3;
/// Border of a tile that is not compared, so that every shift stays inside.
const EDGE: usize = SHIFT as usize + 2;
/// Two frames of independent grain differ by its square root of two; two scans of one frame by what the scanner adds and
/// a fraction of a pixel blurs.
const SAME: f32 = 0.5;
/// Difference of fine detail, in codes, below which frames have no grain to tell them apart.
const GRAINLESS: f32 = 1.2;

/// Whether the middle frame is the one before it once more.
pub(super) fn find(five: &Five) -> Option<Odd> {
    let apart = |a: usize, b: usize| unlike(five[a]?, five[b]?);
    let here = apart(1, 2)?;
    // Against every other pair of neighbours: a held drawing repeats more than once. The first pair says so of most frames.
    let (mut pairs, mut usual) = (0, f32::INFINITY);
    for other in [(2, 3), (0, 1), (3, 4)].into_iter().filter_map(|(a, b)| apart(a, b)) {
        (pairs, usual) = (pairs + 1, other.min(usual));
        if here > SAME * usual || usual < GRAINLESS {
            return None;
        }
    }
    if pairs < 2 {
        return None;
    }
    let grain = five[2].map_or(0.0, grain);
    let sure = grain >= GRAINLESS;
    let mut reasons = vec!["for: its grain is that of the frame before it".to_owned()];
    if here == 0.0 {
        reasons.push("for: the two are the same in every pixel compared".to_owned());
    }
    if !sure {
        reasons.push("against: the picture has hardly any grain that could tell frames apart".to_owned());
    }
    Some(Odd {
        what: What::Duplicated,
        confidence: if !sure {
            0.25
        } else if here < 0.25 * usual {
            0.95
        } else {
            0.8
        },
        region: None,
        polarity: Polarity::Dark,
        contrast: 0.0,
        // Nothing in the picture is dirt: a rule that clears dirt must not take it.
        risk: Risk { reappears: true, ..Risk::default() },
        reasons,
    })
}

/// Fine detail of a frame in its quietest tile, in codes: its grain, or less than that.
fn grain(sketch: &Sketch) -> f32 {
    let detail = |tile: &Plane| rms(fine(tile).as_slice());
    sketch.tiles().iter().map(detail).fold(f32::INFINITY, f32::min)
}

/// How unlike the fine detail of two frames is, in codes: the median over the tiles, each at its best shift. `None` when
/// there are no tiles.
fn unlike(a: &Sketch, b: &Sketch) -> Option<f32> {
    if a.size() != b.size() || a.tiles().is_empty() {
        return None;
    }
    let mut each: Vec<f32> = a.tiles().iter().zip(b.tiles()).map(|(a, b)| best_shift(&fine(a), &fine(b))).collect();
    Some(middle(&mut each))
}

/// The tile without what is coarser than about four pixels.
fn fine(tile: &Plane) -> Plane {
    Plane::from_fn(TILE, TILE, |x, y| {
        let (x, y) = (x as i32, y as i32);
        let mut sum = 0.0;
        for j in -2..=2 {
            for i in -2..=2 {
                sum += tile.clamped(x + i, y + j);
            }
        }
        tile.clamped(x, y) - sum / 25.0
    })
}

/// Root mean square of the difference at the best whole shift, refined by linear interpolation along both axes.
fn best_shift(a: &Plane, b: &Plane) -> f32 {
    let mut best = (f32::INFINITY, 0, 0);
    for dy in -SHIFT..=SHIFT {
        for dx in -SHIFT..=SHIFT {
            let here = apart(a, b, (dx as f32, dy as f32));
            if here < best.0 {
                best = (here, dx, dy);
            }
        }
    }
    let mut least = best.0;
    if least > 0.0 {
        for fy in [-0.5, -0.25, 0.0, 0.25, 0.5] {
            for fx in [-0.5, -0.25, 0.0, 0.25, 0.5] {
                least = least.min(apart(a, b, (best.1 as f32 + fx, best.2 as f32 + fy)));
            }
        }
    }
    least
}

fn apart(a: &Plane, b: &Plane, (dx, dy): (f32, f32)) -> f32 {
    let (ix, iy) = (dx.floor(), dy.floor());
    let (fx, fy) = (dx - ix, dy - iy);
    let (ix, iy) = (ix as i32, iy as i32);
    let weights = [(1.0 - fx) * (1.0 - fy), fx * (1.0 - fy), (1.0 - fx) * fy, fx * fy];
    let (mut difference, mut count) = (0.0, 0.0);
    for y in EDGE..TILE - EDGE {
        let up = b.row((y as i32 + iy) as usize);
        let down = b.row((y as i32 + iy + 1) as usize);
        let from = (EDGE as i32 + ix) as usize;
        let own = &a.row(y)[EDGE..TILE - EDGE];
        for (k, v) in own.iter().enumerate() {
            let x = from + k;
            let there = weights[0] * up[x] + weights[1] * up[x + 1] + weights[2] * down[x] + weights[3] * down[x + 1];
            difference += (v - there) * (v - there);
            count += 1.0;
        }
    }
    // Interpolation takes grain away, and with it difference; what it takes from independent grain is given back, so
    // that a shift by half a pixel wins only where it fits.
    let kept = weights.iter().map(|w| w * w).sum::<f32>();
    (difference / count * (2.0 / (1.0 + kept))).sqrt()
}

fn rms(values: &[f32]) -> f32 {
    (values.iter().map(|v| v * v).sum::<f32>() / values.len().max(1) as f32).sqrt()
}
