//! The temporal test on colour: dirt that tints the picture without changing its luma much.
//!
//! A particle may darken one dye layer and leave the mean of all nearly as it was. Two opponent planes, orthogonal to luma's
//! weights, are compared with the compensated neighbours by the same two published rules as luma (signed spike and
//! rank order, see [`crate::evidence`]). They are kept at half size: colour detail of one pixel is grain, and four
//! samples together halve it.

use besom_motion::order::middle;
use besom_motion::{Flicker, MotionField};
use besom_scan::{Plane, Run, RunMask};
use rayon::prelude::*;

use crate::candidate::Polarity;
use crate::components::Component;
use crate::evidence::Evidence;
use crate::grain::BINS;
use crate::spares::Spares;

/// Number of opponent planes.
pub const PLANES: usize = 2;

/// Red against blue, and both against green, at half size and lightly smoothed; `None` for a scan of one channel.
pub fn opponents(planes: &[Plane]) -> Option<[Plane; PLANES]> {
    let [red, green, blue] = planes else { return None };
    let (width, height) = (red.width() / 2, red.height() / 2);
    if width < 4 || height < 4 {
        return None;
    }
    let mut across = Plane::new(width, height);
    let mut against = Plane::new(width, height);
    let rows = across.as_mut_slice().par_chunks_mut(width).zip(against.as_mut_slice().par_chunks_mut(width));
    rows.enumerate().for_each(|(y, (across, against))| {
        let [r, g, b] = [red, green, blue].map(|p| [p.row(2 * y), p.row(2 * y + 1)]);
        opponent_row(r, g, b, across, against);
    });
    Some([crate::prepare::smoothed(&across), crate::prepare::smoothed(&against)])
}

/// Mean of the four samples of a half-size pixel.
// Inlined into the loop that is compiled for several processor levels; a closure would not be.
#[allow(clippy::inline_always)]
#[inline(always)]
fn four(rows: [&[f32]; 2], x: usize) -> f32 {
    0.25 * (rows[0][2 * x] + rows[0][2 * x + 1] + rows[1][2 * x] + rows[1][2 * x + 1])
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn opponent_row(r: [&[f32]; 2], g: [&[f32]; 2], b: [&[f32]; 2], across: &mut [f32], against: &mut [f32]) {
    for x in 0..across.len().min(against.len()) {
        let (red, green, blue) = (four(r, x), four(g, x), four(b, x));
        across[x] = red - blue;
        against[x] = 0.5 * (red + blue) - green;
    }
}

/// Responses of the opponent planes, at half size.
pub struct ColourEvidence {
    /// The test's responses, one an opponent plane, in units of the planes' own grain.
    pub planes: Vec<Evidence>,
}

/// Tests the current frame's opponent planes against both neighbours', whose codes times `gains` are of its range. `level` is
/// the current frame's luma at full size.
pub fn test(
    current: &[Plane; PLANES],
    neighbours: [&[Plane; PLANES]; 2],
    fields: [&MotionField; 2],
    gains: [f32; 2],
    level: &Plane,
) -> ColourEvidence {
    test_in(&Spares::default(), current, neighbours, fields, gains, level)
}

/// [`test()`] in spare planes.
pub(crate) fn test_in(
    spares: &Spares,
    current: &[Plane; PLANES],
    neighbours: [&[Plane; PLANES]; 2],
    fields: [&MotionField; 2],
    gains: [f32; 2],
    level: &Plane,
) -> ColourEvidence {
    let seen: Vec<[Plane; PLANES]> = (0..2)
        .into_par_iter()
        .map(|s| {
            let mut planes = moved(spares, neighbours[s], fields[s]);
            for (now, plane) in current.iter().zip(&mut planes) {
                Flicker::with_gain(now, plane, gains[s]).level(plane);
            }
            planes
        })
        .collect();
    let planes = (0..PLANES)
        .into_par_iter()
        .map(|k| {
            let (now, a, b) = (&current[k], &seen[0][k], &seen[1][k]);
            responses(spares, now, [a, b], &noise(now, [a, b], level), level)
        })
        .collect();
    spares.take_back(seen.into_iter().flatten());
    ColourEvidence { planes }
}

/// Half-size planes as seen through a full-size field, bilinear: the planes are smooth already.
fn moved(spares: &Spares, planes: &[Plane; PLANES], field: &MotionField) -> [Plane; PLANES] {
    let (width, height) = (planes[0].width(), planes[0].height());
    let [mut across, mut against] = [(); PLANES].map(|()| spares.plane(width, height));
    let bands = across.as_mut_slice().par_chunks_mut(2 * width).zip(against.as_mut_slice().par_chunks_mut(2 * width));
    bands.enumerate().for_each(|(band, (across, against))| moved_band(planes, field, band, [across, against]));
    [across, against]
}

/// Two rows, moved by squares of two samples, each of which is a cell of the field.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn moved_band(planes: &[Plane; PLANES], field: &MotionField, band: usize, [across, against]: [&mut [f32]; PLANES]) {
    let (width, height) = (planes[0].width() as i32, planes[0].height() as i32);
    for x0 in (0..width).step_by(2) {
        let v = field.block(2 * x0 as usize, 4 * band);
        let (dx, dy) = (0.5 * v.dx, 0.5 * v.dy);
        let (fx, fy) = (dx.floor(), dy.floor());
        let (x, y) = (x0.saturating_add(fx as i32), (2 * band as i32).saturating_add(fy as i32));
        let inside = x >= 0 && y >= 0 && x < width - 2 && y < height - 2;
        for (plane, rows) in planes.iter().zip([&mut *across, &mut *against]) {
            if inside && rows.len() == 2 * width as usize && x0 + 1 < width {
                moved_square(plane, (x as usize, y as usize), (dx - fx, dy - fy), &mut rows[x0 as usize..]);
            } else {
                moved_at_border(plane, (x, y), (dx - fx, dy - fy), x0, rows);
            }
        }
    }
}

/// Two samples of each of two rows, from the nine samples around them.
// Inlined into the loop that is compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn moved_square(plane: &Plane, (x, y): (usize, usize), (tx, ty): (f32, f32), out: &mut [f32]) {
    let width = plane.width();
    let around = &plane.as_slice()[y * width + x..][..2 * width + 3];
    let mut lines = [[0.0f32; 2]; 3];
    for (j, line) in lines.iter_mut().enumerate() {
        let row = &around[j * width..j * width + 3];
        *line = [row[0] + tx * (row[1] - row[0]), row[1] + tx * (row[2] - row[1])];
    }
    for i in 0..2 {
        out[i] = lines[0][i] + ty * (lines[1][i] - lines[0][i]);
        out[width + i] = lines[1][i] + ty * (lines[2][i] - lines[1][i]);
    }
}

/// The same where some of them lie outside: the border repeats its samples.
fn moved_at_border(plane: &Plane, (left, top): (i32, i32), (tx, ty): (f32, f32), x0: i32, rows: &mut [f32]) {
    let width = plane.width() as i32;
    for (j, row) in rows.chunks_mut(width as usize).enumerate() {
        let y = top.saturating_add(j as i32);
        for (i, x) in (x0..(x0 + 2).min(width)).enumerate() {
            let left = left.saturating_add(i as i32);
            let at = |i: i32, j: i32| plane.clamped(left.saturating_add(i), y.saturating_add(j));
            let above = at(0, 0) + tx * (at(1, 0) - at(0, 0));
            let below = at(0, 1) + tx * (at(1, 1) - at(0, 1));
            row[x as usize] = above + ty * (below - above);
        }
    }
}

/// Lowest grain of an opponent plane that is believed, in codes.
const LEAST: f32 = 0.4;
/// Samples a density bin needs for a figure of its own.
const ENOUGH: usize = 200;

/// Standard deviation of an opponent plane's grain over the picture's density, from the compensated differences to both
/// neighbours: the median absolute difference of every bin over 0.6745 and the square root of two.
fn noise(now: &Plane, seen: [&Plane; 2], level: &Plane) -> [f32; BINS] {
    let mut bins: [Vec<f32>; BINS] = Default::default();
    for y in (1..now.height()).step_by(3) {
        let shift = y % 4;
        let row = now.row(y);
        for x in (shift..now.width()).step_by(4) {
            let bin = bin_of(level, x, y);
            let (a, b) = ((row[x] - seen[0].at(x, y)).abs(), (row[x] - seen[1].at(x, y)).abs());
            // The better neighbour's differences would flatter the grain: take them in turn.
            bins[bin].push(if (x / 4 + y / 3) % 2 == 0 { a } else { b });
        }
    }
    let deviation = |values: &mut [f32]| middle(values) / (0.6745 * std::f32::consts::SQRT_2);
    let mut all: Vec<f32> = bins.iter().flatten().copied().collect();
    let whole = if all.is_empty() { LEAST } else { deviation(&mut all) };
    bins.map(|mut values| if values.len() < ENOUGH { whole } else { deviation(&mut values) }.max(LEAST))
}

fn bin_of(level: &Plane, x: usize, y: usize) -> usize {
    bin_of_code(level.at(2 * x, 2 * y))
}

// Inlined into the loop that is compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn bin_of_code(code: f32) -> usize {
    // Through a whole number of the same size, which the processor makes of several codes at once.
    (code * (BINS as f32 / 1024.0)).clamp(0.0, (BINS - 1) as f32) as i32 as usize
}

/// One over the grain at every second code of a row.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn units_of(level: &[f32], inverse: &[f32; BINS], units: &mut [f32]) {
    for (unit, codes) in units.iter_mut().zip(level.chunks(2)) {
        *unit = inverse[bin_of_code(codes[0]) % BINS];
    }
}

fn responses(spares: &Spares, now: &Plane, [a, b]: [&Plane; 2], noise: &[f32; BINS], level: &Plane) -> Evidence {
    let (width, height) = (now.width(), now.height());
    let inverse = noise.map(|sigma| 1.0 / sigma);
    let [mut spike, mut rank] = [(); 2].map(|()| spares.plane(width, height));
    let rows = spike.as_mut_slice().par_chunks_mut(width).zip(rank.as_mut_slice().par_chunks_mut(width));
    rows.enumerate().for_each(|(y, (spike, rank))| {
        let mut unit = vec![0.0f32; width];
        units_of(level.row(2 * y), &inverse, &mut unit);
        crate::evidence::test_row_in_units(now.row(y), a, b, y, &unit, spike, rank);
    });
    Evidence { spike, rank }
}

/// Thresholds of the colour test, in grain sigmas of the opponent planes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColourThresholds {
    /// Spike response of a seed.
    pub seed: f32,
    /// Rank-order response of a seed.
    pub rank: f32,
    /// Spike response down to which a seed grows.
    pub grow: f32,
}

impl Default for ColourThresholds {
    fn default() -> Self {
        Self { seed: 4.2, rank: 0.8, grow: 2.6 }
    }
}

/// Fewest half-size pixels of an object found by colour alone.
const FEWEST: usize = 2;

/// Objects that stand out by colour and not by luma: what of them is not `taken` yet, at full size. Their polarity is the
/// sign of `differs`, luma against the neighbours. Ordered by their first pixel.
pub fn components(
    evidence: &ColourEvidence,
    thresholds: &ColourThresholds,
    differs: impl Fn(usize, usize) -> f32,
    taken: &mut Plane<u8>,
) -> Vec<Component> {
    let t = crate::components::Thresholds {
        seed: thresholds.seed,
        rank: thresholds.rank,
        grow: thresholds.grow,
        area: FEWEST,
    };
    let mut found: Vec<Component> = Vec::new();
    for plane in &evidence.planes {
        for half in crate::components::components(plane, &t) {
            let runs = half
                .mask
                .runs()
                .iter()
                .flat_map(|r| [0, 1].map(|j| Run { y: 2 * r.y + j, x0: 2 * r.x0, x1: 2 * r.x1 }));
            let whole = RunMask::from_runs(runs.collect());
            let (mut free, mut all, mut level) = (Vec::new(), 0usize, 0.0f32);
            for (x, y) in whole.pixels() {
                let (i, j) = (x as usize, y as usize);
                if i >= taken.width() || j >= taken.height() {
                    continue;
                }
                all += 1;
                level += differs(i, j);
                if taken.at(i, j) == 0 {
                    free.push((x, y));
                }
            }
            // What luma has found for the most part needs no second candidate.
            if free.len() * 4 < all * 3 || free.len() < 4 {
                continue;
            }
            let mask = RunMask::from_pixels(free.into_iter());
            mask.paint(taken, 1);
            let polarity = if level > 0.0 { Polarity::Bright } else { Polarity::Dark };
            found.push(Component::new(mask, polarity));
        }
    }
    found.sort_by_key(|c| c.mask.first_pixel());
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    const W: usize = 160;
    const H: usize = 120;

    /// A picture of three channels with grain of its own; a tint of equal luma lies in `mark` when there is one.
    fn planes(seed: u32, mark: Option<(usize, usize)>) -> Vec<Plane> {
        // SplitMix64 (Steele, Lea and Flood 2014, from memory); four draws together are near enough to a Gaussian.
        let mut state = u64::from(seed) << 40;
        let mut grain = || {
            let mut draw = || {
                state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
                let z = (state ^ (state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
                let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
                ((z ^ (z >> 31)) >> 40) as f32 / (1 << 24) as f32 - 0.5
            };
            6.0 * (draw() + draw() + draw() + draw())
        };
        [40.0f32, 0.0, -40.0]
            .iter()
            .map(|tint| {
                Plane::from_fn(W, H, |x, y| {
                    let inside = mark.is_some_and(|(i, j)| (i..i + 8).contains(&x) && (j..j + 8).contains(&y));
                    480.0 + 60.0 * (0.05 * x as f32).sin() + grain() + if inside { *tint } else { 0.0 }
                })
            })
            .collect()
    }

    #[test]
    fn units_are_those_of_every_second_code() {
        let level: Vec<f32> = (0..61).map(|k| k as f32 * 18.3 - 20.0).collect();
        let inverse = std::array::from_fn(|bin| 1.0 + bin as f32);
        for width in [30, 31] {
            let mut units = vec![0.0; width];
            units_of(&level, &inverse, &mut units);
            for (x, unit) in units.iter().enumerate() {
                // Bins divide the codes from 0 to 1023 evenly, and what lies outside belongs to the outermost.
                let bin = (level[2 * x] / (1024.0 / BINS as f32)).floor().clamp(0.0, (BINS - 1) as f32);
                assert!((unit - (1.0 + bin)).abs() < 1e-6, "{x}");
            }
        }
    }

    #[test]
    fn opponents_follow_their_definition() {
        let planes = planes(5, None);
        let [across, against] = opponents(&planes).unwrap();
        let four = |p: &Plane, x: usize, y: usize| {
            0.25 * [(0, 0), (1, 0), (0, 1), (1, 1)].iter().map(|(i, j)| p.at(2 * x + i, 2 * y + j)).sum::<f32>()
        };
        let plain = |k: usize| {
            let half = Plane::from_fn(W / 2, H / 2, |x, y| {
                let [r, g, b] = [0, 1, 2].map(|c| four(&planes[c], x, y));
                if k == 0 { r - b } else { 0.5 * (r + b) - g }
            });
            crate::prepare::smoothed(&half)
        };
        for (fast, plain) in [(across, plain(0)), (against, plain(1))] {
            for (a, b) in fast.as_slice().iter().zip(plain.as_slice()) {
                approx::assert_abs_diff_eq!(a, b, epsilon = 1e-3);
            }
        }
        assert!(opponents(&planes[..1]).is_none());
    }

    fn found(mark: Option<(usize, usize)>, taken: &mut Plane<u8>) -> Vec<Component> {
        let frames = [planes(1, mark), planes(2, None), planes(3, None)];
        let [now, a, b] = [0, 1, 2].map(|k| opponents(&frames[k]).unwrap());
        let still = MotionField::still(W, H);
        let evidence = test(&now, [&a, &b], [&still, &still], [1.0; 2], &crate::prepare::luma(&frames[0]));
        components(&evidence, &ColourThresholds::default(), |_, _| 1.0, taken)
    }

    #[test]
    fn a_tint_of_equal_luma_is_found_once() {
        let place = RunMask::from_rect(&besom_scan::Rect::new(60, 40, 68, 48));
        let on_it = |taken: &mut Plane<u8>| {
            let marks = found(Some((60, 40)), taken);
            marks.into_iter().filter(|c| c.mask.overlap(&place) > 0).collect::<Vec<_>>()
        };
        let marks = on_it(&mut Plane::new(W, H));
        assert_eq!(marks.len(), 1);
        assert!(marks[0].mask.overlap(&place) >= 48 && marks[0].mask.area() < 200);
        let mut all = Plane::from_fn(W, H, |_, _| 1u8);
        assert!(on_it(&mut all).is_empty(), "luma has it already");
    }

    #[test]
    fn grain_alone_is_rarely_taken_for_a_tint() {
        // Independent grain passes the spike rule at 4.2 sigmas 2e-4 times a sample (2 * Int phi(x) Phi(x-k)^2 dx); the
        // rank-order rule takes most of that away, the border, which repeats its samples, adds some.
        let samples = (PLANES * (W / 2) * (H / 2)) as f32;
        assert!(found(None, &mut Plane::new(W, H)).len() as f32 <= 5e-4 * samples);
    }

    #[test]
    fn a_field_of_no_motion_moves_nothing() {
        let planes = opponents(&planes(9, None)).unwrap();
        assert_eq!(moved(&Spares::default(), &planes, &MotionField::still(W, H)), planes);
    }

    #[test]
    fn squares_inside_are_moved_as_those_at_the_border() {
        let planes = opponents(&planes(4, None)).unwrap();
        for (x0, (x, y), t) in [(6, (3, 9), (0.25, 0.875)), (20, (22, 5), (0.0, 0.5)), (40, (31, 50), (0.7, 0.1))] {
            for plane in &planes {
                let (mut fast, mut plain) = (vec![0.0f32; W], vec![0.0f32; W]);
                moved_square(plane, (x, y), t, &mut fast[x0..]);
                moved_at_border(plane, (x as i32, y as i32), t, x0 as i32, &mut plain);
                assert_eq!(fast, plain);
            }
        }
    }
}
