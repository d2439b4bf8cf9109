//! A shot's grain as a curve over density, from the looks at it.

use besom_motion::order::middle;
use besom_scan::Plane;

use super::Look;
use crate::grain::{BINS, Grain};
use crate::prepare::Prepared;

/// A shot's grain from its looks.
///
/// In each density bin, the lower quartile of the median absolute compensated differences of blocks of 16x16 pixels, as a
/// standard deviation (divided by 0.6745, and by the square root of two for the two frames); the median over the looks.
/// Bins without enough blocks take the nearest bin that has them. Without looks the answer is [`Grain::flat`] at `fallback`
/// codes.
pub fn grain_of_looks(looks: &[Look], channels: usize, fallback: f32) -> Grain {
    let lumas: Vec<_> = looks.iter().map(|l| l.luma).collect();
    let colour = |c: usize| looks.iter().filter_map(|l| l.colours.get(c).copied()).collect::<Vec<_>>();
    Grain { luma: joined(&lumas, fallback), channels: (0..channels).map(|c| joined(&colour(c), fallback)).collect() }
}

/// [`grain_of_looks`] from pairs of consecutive frames.
pub fn measure_grain(pairs: &[(&Prepared, &Prepared)], channels: usize, fallback: f32) -> Grain {
    let looks: Vec<Look> = pairs.iter().filter_map(|(current, other)| Look::new(current, other, None)).collect();
    grain_of_looks(&looks, channels, fallback)
}

/// Lowest grain that is believed, in codes: scans of fewer levels, or made by a computer, still round.
const LEAST_GRAIN: f32 = 0.6;
/// Side of the blocks whose differences are judged together, in pixels.
const BLOCK: usize = 16;
/// Blocks a bin needs.
const ENOUGH: usize = 12;
/// The share of a bin's blocks that lie below the answer: blocks with an error of motion, or dirt, are the louder ones.
const QUANTILE: f32 = 0.25;
/// What the lower quartile of the blocks' medians is to the true figure when there is nothing but grain: measured on
/// synthetic grain of the correlation that scans show, blocks of 256 pixels.
const QUANTILE_BIAS: f32 = 0.93;

/// Per density bin, grain from the blocks' median absolute differences.
pub(super) fn curve(current: &Plane, seen: &Plane) -> [Option<f32>; BINS] {
    let mut bins: [Vec<f32>; BINS] = Default::default();
    let mut differences = Vec::with_capacity(BLOCK * BLOCK);
    for y0 in (0..(current.height() + 1).saturating_sub(BLOCK)).step_by(BLOCK) {
        for x0 in (0..(current.width() + 1).saturating_sub(BLOCK)).step_by(BLOCK) {
            differences.clear();
            let mut level = 0.0;
            for y in y0..y0 + BLOCK {
                for (a, b) in current.row(y)[x0..x0 + BLOCK].iter().zip(&seen.row(y)[x0..x0 + BLOCK]) {
                    differences.push((a - b).abs());
                    level += b;
                }
            }
            let bin = level / (BLOCK * BLOCK) as f32 * (BINS as f32 / 1024.0);
            bins[bin.clamp(0.0, (BINS - 1) as f32) as usize].push(middle(&mut differences));
        }
    }
    bins.map(|mut values| {
        (values.len() >= ENOUGH).then(|| {
            let place = (values.len() as f32 * QUANTILE) as usize;
            let quiet = *values.select_nth_unstable_by(place, f32::total_cmp).1;
            (quiet / (0.6745 * std::f32::consts::SQRT_2 * QUANTILE_BIAS)).max(LEAST_GRAIN)
        })
    })
}

fn joined(pairs: &[[Option<f32>; BINS]], fallback: f32) -> [f32; BINS] {
    let mut known: [Option<f32>; BINS] = [None; BINS];
    for (bin, out) in known.iter_mut().enumerate() {
        let mut values: Vec<f32> = pairs.iter().filter_map(|p| p[bin]).collect();
        *out = (!values.is_empty()).then(|| middle(&mut values));
    }
    let mut curve = [fallback; BINS];
    for (bin, out) in curve.iter_mut().enumerate() {
        let nearest = (0..BINS).filter(|b| known[*b].is_some()).min_by_key(|b| b.abs_diff(bin));
        if let Some(value) = nearest.and_then(|b| known[b]) {
            *out = value;
        }
    }
    curve
}
