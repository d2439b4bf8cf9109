//! What the survey measures from pixels: shot cuts and grain.

use besom_motion::{Flicker, MotionField, Vector, compensate, estimate_field};
use besom_scan::Plane;
use rayon::prelude::*;

use crate::components::{Thresholds, components};
use crate::evidence::{sigma_table, test};
use crate::grain::{BINS, Grain};
use crate::prepare::Prepared;

/// Columns of a thumbnail; its rows follow the frame's shape.
pub const THUMBNAIL_WIDTH: usize = 64;

/// A frame reduced for finding cuts: mean luma of square areas.
#[derive(Clone, Debug, PartialEq)]
pub struct Thumbnail {
    luma: Plane,
}

impl Thumbnail {
    /// Reduces a frame. Every fourth row and column of a large frame is enough for a mean over hundreds of pixels.
    pub fn new(planes: &[Plane]) -> Self {
        let Some(first) = planes.first().filter(|p| p.width() > 0 && p.height() > 0) else {
            return Self { luma: Plane::new(0, 0) };
        };
        let (width, height) = (first.width(), first.height());
        let columns = THUMBNAIL_WIDTH.min(width);
        let rows = (height * columns / width).clamp(1, height);
        let step = if width >= 16 * columns { 4 } else { 1 };
        let luma = Plane::from_fn(columns, rows, |c, r| {
            let (x0, x1) = (c * width / columns, ((c + 1) * width / columns).max(c * width / columns + 1));
            let (y0, y1) = (r * height / rows, ((r + 1) * height / rows).max(r * height / rows + 1));
            let (mut sum, mut count) = (0.0, 0.0);
            for y in (y0..y1).step_by(step) {
                for plane in planes {
                    for v in plane.row(y)[x0..x1].iter().step_by(step) {
                        sum += v;
                        count += 1.0;
                    }
                }
            }
            sum / f32::max(count, 1.0)
        });
        Self { luma }
    }

    /// The reduced luma, analysis codes.
    pub fn luma(&self) -> &Plane {
        &self.luma
    }

    /// How unlike two frames are, 0 for the same: the mean absolute difference after the whole frame's level is taken away
    /// and every block of 8x8 samples has found its best place within 4 samples, divided by the picture's own contrast.
    pub fn unlike(&self, other: &Self) -> f32 {
        const BLOCK: usize = 8;
        const REACH: i32 = 4;
        let (a, b) = (&self.luma, &other.luma);
        if a.width() != b.width() || a.height() != b.height() || a.width() == 0 {
            return f32::INFINITY;
        }
        let mean = |p: &Plane| p.as_slice().iter().sum::<f32>() / p.as_slice().len() as f32;
        let (ma, mb) = (mean(a), mean(b));
        let spread =
            |p: &Plane, m: f32| p.as_slice().iter().map(|v| (v - m).abs()).sum::<f32>() / p.as_slice().len() as f32;
        let contrast = spread(a, ma).max(spread(b, mb)).max(8.0);
        let (mut sum, mut blocks) = (0.0, 0.0);
        for y0 in (0..a.height()).step_by(BLOCK) {
            for x0 in (0..a.width()).step_by(BLOCK) {
                let (w, h) = (BLOCK.min(a.width() - x0), BLOCK.min(a.height() - y0));
                let mut best = f32::INFINITY;
                for dy in -REACH..=REACH {
                    for dx in -REACH..=REACH {
                        let mut difference = 0.0;
                        for y in y0..y0 + h {
                            for x in x0..x0 + w {
                                let there = b.clamped(x as i32 + dx, y as i32 + dy);
                                difference += ((a.at(x, y) - ma) - (there - mb)).abs();
                            }
                        }
                        best = best.min(difference / (w * h) as f32);
                    }
                }
                sum += best;
                blocks += 1.0;
            }
        }
        sum / blocks / contrast
    }
}

/// A change this large is a cut whatever happens around it only if it also stands out from its surroundings by
/// [`STANDS_OUT`]. Both were read off the development clips: within shots the measure stays under 0.35, across the
/// cuts of an outside clip it lies above 0.5.
const CUT: f32 = 0.36;
/// A cut is this many times as unlike as the median of the changes around it.
const STANDS_OUT: f32 = 2.5;
/// Changes on each side that count as the surroundings.
const AROUND: usize = 12;

/// The positions at which a new shot begins, from the thumbnails of consecutive frames (`None` where a frame cannot be read;
/// the last readable one stands in for it). Position 0 is not listed.
///
/// A single odd frame (a flash, a frame damaged whole) makes two changes: when the frames before and after it are alike,
/// neither is a cut.
pub fn cuts(thumbnails: &[Option<Thumbnail>]) -> Vec<usize> {
    let known: Vec<(usize, &Thumbnail)> =
        thumbnails.iter().enumerate().filter_map(|(i, t)| t.as_ref().map(|t| (i, t))).collect();
    let change: Vec<f32> = known.windows(2).map(|w| w[0].1.unlike(w[1].1)).collect();
    let mut found = Vec::new();
    for k in 0..change.len() {
        if change[k] < CUT {
            continue;
        }
        let mut around: Vec<f32> = (k.saturating_sub(AROUND)..(k + AROUND + 1).min(change.len()))
            .filter(|j| *j != k)
            .map(|j| change[j])
            .collect();
        around.sort_by(f32::total_cmp);
        let usual = around.get(around.len() / 2).copied().unwrap_or(0.0);
        if change[k] < STANDS_OUT * usual.max(0.05) {
            continue;
        }
        // Seen past one odd frame, is the picture the same? `change[k]` lies between known frames k and k + 1.
        let same =
            |a: usize, b: usize| known.get(a).zip(known.get(b)).is_some_and(|((_, a), (_, b))| a.unlike(b) < 0.6 * CUT);
        if same(k, k + 2) || (k > 0 && same(k - 1, k + 1)) {
            continue;
        }
        found.push(known[k + 1].0);
    }
    found
}

/// A frame of a shot looked at closely, with the frame before it and, where there is one, the frame after it.
pub struct Look<'a> {
    current: &'a Prepared,
    fields: Vec<MotionField>,
    seen: Vec<Plane>,
    luma: [Option<f32>; BINS],
    colours: Vec<[Option<f32>; BINS]>,
}

impl<'a> Look<'a> {
    /// Looks at `current`; `None` when the frames differ in size.
    pub fn new(current: &'a Prepared, before: &Prepared, after: Option<&Prepared>) -> Option<Self> {
        let others: Vec<&Prepared> = std::iter::once(before).chain(after).collect();
        if others.iter().any(|o| o.width() != current.width() || o.height() != current.height()) {
            return None;
        }
        let fields: Vec<MotionField> =
            others.par_iter().map(|other| estimate_field(&current.pyramid, &other.pyramid)).collect();
        let seen: Vec<Plane> =
            others.par_iter().zip(&fields).map(|(other, field)| levelled(&current.luma, &other.luma, field)).collect();
        let luma = seen.first().map_or([None; BINS], |seen| curve(&current.luma, seen));
        let colours = current
            .planes
            .par_iter()
            .zip(&before.planes)
            .map(|(now, there)| curve(now, &levelled(now, there, &fields[0])))
            .collect();
        Some(Self { current, fields, seen, luma, colours })
    }

    /// How far the frame jumps against both neighbours, in pixels: a steady movement of the camera takes the picture as far
    /// back as ahead, and what is left of the sum is the jitter of three frames, sqrt(3) times that of one against a
    /// steady picture. `None` without a frame after.
    pub fn weave(&self) -> Option<f32> {
        let [before, after] = self.fields.as_slice() else { return None };
        let (b, a) = (before.median(), after.median());
        Some(Vector::new(b.dx + a.dx, b.dy + a.dy).length() / 3f32.sqrt())
    }

    /// Marks that stand out from both neighbours by [`PLAIN`]; a quick measure of dirt. `None` without a frame after.
    pub fn plain_marks(&self, grain: &Grain) -> Option<usize> {
        let [a, b] = self.seen.as_slice() else { return None };
        Some(components(&test(&self.current.luma, a, b, &sigma_table(grain)), &PLAIN).len())
    }
}

/// What the eye cannot miss: six grain sigmas from both neighbours, and clear of everything around in them.
pub const PLAIN: Thresholds = Thresholds { seed: 6.0, rank: 1.5, grow: 3.0, area: 4 };

fn levelled(current: &Plane, other: &Plane, field: &MotionField) -> Plane {
    let mut seen = compensate(other, field);
    Flicker::measure(current, &seen).level(&mut seen);
    seen
}

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
fn curve(current: &Plane, seen: &Plane) -> [Option<f32>; BINS] {
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
            let half = differences.len() / 2;
            let middle = *differences.select_nth_unstable_by(half, f32::total_cmp).1;
            let bin = level / (BLOCK * BLOCK) as f32 * (BINS as f32 / 1024.0);
            bins[bin.clamp(0.0, (BINS - 1) as f32) as usize].push(middle);
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
        values.sort_by(f32::total_cmp);
        *out = values.get(values.len() / 2).copied();
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
