//! What is measured of a suspected mark before it is judged. Every number is dimensionless or in grain sigmas, so that one
//! model serves every stock, size and depth.

use std::borrow::Cow;

use besom_motion::MotionField;
use besom_motion::Vector;
use besom_motion::around::{LocalMatch, Search, search_around};
use besom_motion::interpolate::samples;
use besom_scan::{Plane, Rect, Run};
use rayon::prelude::*;

use crate::candidate::Polarity;
use crate::cells::{CELL, Cells, centre, lattice};
use crate::colour::ColourEvidence;
use crate::components::Component;
use crate::evidence::Evidence;
use crate::grain::Grain;
use crate::outline::{Outline, edge_points};
use crate::prepare::Prepared;
use crate::range::{beyond, extremes};
use crate::sway::Sway;

/// Names of the measurements, in the order of [`Measured::values`].
pub const NAMES: [&str; 75] = [
    "area",
    "thinness",
    "fill",
    "elongation",
    "spike_mean",
    "spike_peak",
    "rank_mean",
    "rank_peak",
    "rank_share",
    "rim_residue_least",
    "rim_residue_most",
    "surround_residue",
    "neighbours_differ_inside",
    "neighbours_differ_rim",
    "contrast",
    "contrast_in_neighbours",
    "texture_rim",
    "texture_neighbours",
    "edge_sharpness",
    "edge_against_picture",
    "motion",
    "motion_opposed",
    "roughness",
    "field_error",
    "crowd_near",
    "crowd_wide",
    "crowd_same_sign",
    "bright",
    "level",
    "near_white",
    "one_sided",
    "size_relative",
    "rim_gradient",
    "unrest_near",
    "unrest_wide",
    "unrest_frame",
    "disagreement_near",
    "disagreement_wide",
    "disagreement_frame",
    "colour_mean",
    "colour_peak",
    "colour_rank",
    "inside_deviation",
    "outline_closed",
    "outline_weakest",
    "outline_quiet",
    "outline_in_neighbours",
    "border",
    "out_of_view",
    "retest_mean",
    "retest_least_side",
    "retest_peak",
    "retest_rim",
    "retest_shift",
    "retest_agreement",
    "reappears_a",
    "reappears_b",
    "reappears_distance",
    "explained_a",
    "explained_b",
    "like_here",
    "explained_distance",
    "channel_spread",
    "channel_signs",
    "channel_weakest",
    "witness_response",
    "witness_rim",
    "witness_agree",
    "beyond_near",
    "beyond_far",
    "beyond_here",
    "tint_beyond",
    "hides_mean",
    "hides_peak",
    "hides_channel",
];

/// The first so many of [`NAMES`] cost little and are taken of every suspect; the rest, which realign the neighbours, only
/// of those that a first look does not dismiss.
pub const FIRST_LOOK: usize = 49;

/// Places of two shapes in [`NAMES`].
const FILL: usize = 2;
const ELONGATION: usize = 3;

/// Measurements of one component.
#[derive(Clone, Debug)]
pub struct Measured {
    /// One value a name of [`NAMES`].
    pub values: [f32; NAMES.len()],
    /// Thin and long: a hair or fibre.
    pub hair: bool,
}

impl Measured {
    /// The value of a measurement; 0 for a name that is not one of [`NAMES`].
    pub fn get(&self, name: &str) -> f32 {
        NAMES.iter().position(|n| *n == name).map_or(0.0, |k| self.values[k])
    }
}

/// A neighbour with everything that relates it to the current frame.
#[derive(Clone, Copy)]
pub struct Side<'a> {
    /// The frame itself.
    pub frame: &'a Prepared,
    /// Motion from the current frame to it.
    pub field: &'a MotionField,
    /// Its smoothed luma, compensated and levelled.
    pub seen: &'a Plane,
    /// What its codes are multiplied by to be of the current frame's range.
    pub gain: f32,
}

/// One frame's surroundings, shared by all its components.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// The frame.
    pub current: &'a Prepared,
    /// The two neighbours of the test.
    pub sides: [Side<'a>; 2],
    /// Farther frames beyond them, each with the side it lies beyond; they speak as witnesses.
    pub witnesses: [Option<&'a Prepared>; 2],
    /// The test's responses.
    pub evidence: &'a Evidence,
    /// Grain of the shot.
    pub grain: &'a Grain,
    /// Both neighbours lie on the same side of the frame, or are one and the same.
    pub one_sided: bool,
    /// Not zero at every pixel of every component.
    pub taken: &'a Plane<u8>,
    /// Components per cell of 32x32 pixels: all, dark, bright.
    pub crowd: &'a Crowd,
    /// How unquiet the comparison is, cell by cell.
    pub unrest: &'a Unrest,
    /// How unsteadily the film ran through the gate.
    pub sway: &'a Sway,
    /// The test's responses on colour.
    pub colour: Option<&'a ColourEvidence>,
}

/// How many components lie where.
#[derive(Clone, Debug)]
pub struct Crowd {
    /// All, dark, bright.
    cells: [Cells; 3],
}

impl Crowd {
    /// Counts the components by the centre of their bounds.
    pub fn count(width: usize, height: usize, components: &[Component]) -> Self {
        let mut cells = [(); 3].map(|()| Cells::new(width, height));
        for c in components {
            let sign = if c.polarity == Polarity::Dark { 1 } else { 2 };
            for k in [0, sign] {
                cells[k].add(centre(&c.bounds), 1.0);
            }
        }
        Self { cells }
    }
}

/// How unquiet the comparison with the neighbours is around a place: where motion fails, everything stands out.
#[derive(Clone, Debug)]
pub struct Unrest {
    /// Mean absolute response of the test a cell, clipped; and the neighbours' mean difference from each other, in sigmas.
    cells: [Cells; 2],
    /// Their means over the frame.
    whole: [f32; 2],
}

impl Unrest {
    /// Means over cells of 32x32 pixels, of every second pixel along both axes.
    pub fn measure(evidence: &Evidence, a: &Plane, b: &Plane, sigma: &[f32]) -> Self {
        let inverse: Vec<f32> = sigma.iter().map(|s| 1.0 / s).collect();
        let (width, height) = (a.width(), a.height());
        let (columns, rows) = lattice(width, height);
        let lines: Vec<[Vec<f32>; 2]> = (0..rows)
            .into_par_iter()
            .map(|r| {
                let mut sums = vec![UnrestSums::default(); columns];
                for y in (r * CELL..((r + 1) * CELL).min(height)).step_by(2) {
                    add_unrest(evidence.spike.row(y), a.row(y), b.row(y), &inverse, &mut sums);
                }
                let mean = |sum: f32, of: &UnrestSums| sum / of.count.max(1.0);
                [
                    sums.iter().map(|s| mean(s.spike, s)).collect(),
                    sums.iter().map(|s| mean(s.disagreement, s)).collect(),
                ]
            })
            .collect();
        let cells = [0, 1].map(|k| Cells::of(Plane::from_fn(columns, rows, |c, r| lines[r][k][c])));
        let whole = [0, 1].map(|k: usize| cells[k].mean());
        Self { cells, whole }
    }
}

/// What is added up in a cell of [`Unrest`].
#[derive(Clone, Copy, Default)]
struct UnrestSums {
    spike: f32,
    disagreement: f32,
    count: f32,
}

/// Adds every second pixel of a row to the sums of the cells that it runs through.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn add_unrest(spike: &[f32], a: &[f32], b: &[f32], inverse: &[f32], cells: &mut [UnrestSums]) {
    let pieces = spike.chunks(CELL).zip(a.chunks(CELL).zip(b.chunks(CELL)));
    for (cell, (spike, (a, b))) in cells.iter_mut().zip(pieces) {
        let wide = spike.len();
        let (a, b) = (&a[..wide], &b[..wide]);
        let mut sums = *cell;
        for x in (0..wide).step_by(2) {
            let unit = inverse[(a[x] as i32).clamp(0, 1023) as usize];
            sums.spike += spike[x].abs().min(4.0);
            sums.disagreement += ((a[x] - b[x]).abs() * unit).min(12.0);
            sums.count += 1.0;
        }
        *cell = sums;
    }
}

/// Pixels of a component and of the rims around it, row by row.
#[derive(Default, Debug, PartialEq)]
struct Zones {
    mask: Vec<(usize, usize)>,
    edge: Vec<(usize, usize)>,
    rim: Spans,
    surround: Spans,
}

/// Pixels as runs, so that they are read a row at a time.
#[derive(Default, Debug, PartialEq)]
struct Spans {
    runs: Vec<Run>,
    /// Only every so many-th of their pixels is used.
    step: usize,
}

/// Pixels of some runs.
fn pixels(runs: &[Run]) -> usize {
    runs.iter().map(|run| (run.x1 - run.x0) as usize).sum()
}

impl Spans {
    /// The runs' pixels, thinned out evenly to no more than `most`.
    fn of(runs: Vec<Run>, most: usize) -> Self {
        let step = pixels(&runs).div_ceil(most).max(1);
        Self { runs, step }
    }

    fn thinned<T: Copy>(&self, values: Vec<T>) -> Vec<T> {
        if self.step <= 1 { values } else { values.into_iter().step_by(self.step).collect() }
    }

    fn places(&self) -> Vec<(usize, usize)> {
        let row =
            |r: &Run| (r.x0..r.x1).map(move |x| (x, r.y)).map(|(x, y)| (x as usize, y as usize)).collect::<Vec<_>>();
        self.thinned(self.runs.iter().flat_map(row).collect())
    }

    /// Means of several things over the pixels, which `values` makes of the planes' samples at each, as [`means`] does; straight
    /// from the planes, because most runs are of a few pixels. Zeros when there are none.
    // Inlined, so that what is averaged is known.
    #[allow(clippy::inline_always)]
    #[inline(always)]
    fn means<const P: usize, const N: usize>(
        &self,
        planes: [&Plane; P],
        values: impl Fn([f32; P]) -> [f32; N],
    ) -> [f32; N] {
        let (mut sums, mut count, mut next) = ([0.0f32; N], 0usize, 0);
        for run in &self.runs {
            let (y, x0, wide) = (run.y as usize, run.x0 as usize, (run.x1 - run.x0) as usize);
            let rows = planes.map(|plane| &plane.row(y)[x0..x0 + wide]);
            while next < wide {
                for (sum, value) in sums.iter_mut().zip(values(rows.map(|row| row[next]))) {
                    *sum += value;
                }
                (count, next) = (count + 1, next + self.step);
            }
            next -= wide;
        }
        if count == 0 { sums } else { sums.map(|sum| sum / count as f32) }
    }

    /// [`steepness`] there.
    fn steepness(&self, plane: &Plane) -> Vec<f32> {
        let mut values = Vec::with_capacity(pixels(&self.runs));
        for run in &self.runs {
            let (y, x0, x1) = (run.y as usize, run.x0 as usize, run.x1 as usize);
            if x0 == 0 || x1 == plane.width() {
                values.extend((x0..x1).map(|x| steepness(plane, x, y)));
                continue;
            }
            let (above, below) = (plane.row(y.saturating_sub(1)), plane.row((y + 1).min(plane.height() - 1)));
            let row = plane.row(y);
            let across = row[x0 - 1..x1 - 1].iter().zip(&row[x0 + 1..=x1]).map(|(left, right)| right - left);
            let down = above[x0..x1].iter().zip(&below[x0..x1]).map(|(above, below)| below - above);
            values.extend(across.zip(down).map(|(gx, gy)| gx * gx + gy * gy));
        }
        self.thinned(values)
    }
}

/// The rim lies from 2 to 4 pixels outside the mask, the surround from 5 to 9.
const RIM: (u8, u8) = (2, 4);
const SURROUND: u8 = 9;
/// More positions than this in a zone are thinned out evenly: the means they serve do not change visibly.
const MOST: usize = 600;
const MOST_OF_OUTLINE: usize = 120;

impl Zones {
    fn of(component: &Component, taken: &Plane<u8>) -> Self {
        let window = component.bounds.grown(i32::from(SURROUND)).intersect(&taken.rect());
        if window.width() <= u64::BITS as usize {
            Self::narrow(component, taken, &window)
        } else {
            Self::wide(component, taken, &window)
        }
    }

    /// Zones in a window of any width.
    fn wide(component: &Component, taken: &Plane<u8>, window: &Rect) -> Self {
        // One row and column of margin on each side, at the largest distance.
        let (w, h) = (window.width() + 2, window.height() + 2);
        let (left, top) = (window.x0 - 1, window.y0 - 1);
        let mut distance = vec![u8::MAX; w * h];
        for run in component.mask.runs() {
            let start = (run.y as i32 - top) as usize * w;
            distance[start + (run.x0 as i32 - left) as usize..start + (run.x1 as i32 - left) as usize].fill(0);
        }
        chessboard(&mut distance, w, h);
        let mut zones = Self::default();
        let (mut rim, mut surround) = (Vec::new(), Vec::new());
        for j in 1..h - 1 {
            for i in 1..w - 1 {
                let k = j * w + i;
                let place = ((i as i32 + left) as usize, (j as i32 + top) as usize);
                match distance[k] {
                    0 => {
                        zones.mask.push(place);
                        if [k - 1, k + 1, k - w, k + w].iter().any(|n| distance[*n] > 0) {
                            zones.edge.push(place);
                        }
                    }
                    d if d < RIM.0 || d > SURROUND || taken.at(place.0, place.1) != 0 => {}
                    d => {
                        let runs = if d <= RIM.1 { &mut rim } else { &mut surround };
                        let (x, y) = (place.0 as u32, place.1 as u32);
                        match runs.last_mut() {
                            Some(Run { y: row, x1, .. }) if *row == y && *x1 == x => *x1 += 1,
                            _ => runs.push(Run { y, x0: x, x1: x + 1 }),
                        }
                    }
                }
            }
        }
        (zones.rim, zones.surround) = (Spans::of(rim, usize::MAX), Spans::of(surround, MOST));
        zones
    }

    /// The same in a window whose rows have no more pixels than a word has bits: what lies within a distance of the mask is the
    /// mask grown by it.
    fn narrow(component: &Component, taken: &Plane<u8>, window: &Rect) -> Self {
        let (w, h) = (window.width(), window.height());
        let (left, top) = (window.x0 as usize, window.y0 as usize);
        let ones = |count: usize| if count == 0 { 0 } else { u64::MAX >> (u64::BITS as usize - count) };
        let mut mask = vec![0u64; h];
        for run in component.mask.runs() {
            mask[run.y as usize - top] |= ones(run.x1 as usize - left) & !ones(run.x0 as usize - left);
        }
        let beside = grown(&mask, RIM.0 - 1, ones(w));
        let near = grown(&beside, RIM.1 - (RIM.0 - 1), ones(w));
        let far = grown(&near, SURROUND - RIM.1, ones(w));
        let mut zones = Self::default();
        let (mut rim, mut surround) = (Vec::with_capacity(4 * h), Vec::with_capacity(4 * h));
        for j in 0..h {
            let (m, y) = (mask[j], top + j);
            let row = &taken.row(y)[left..left + w];
            let free = row.iter().rev().fold(0u64, |bits, taken| bits << 1 | u64::from(*taken == 0));
            let (above, below) = (if j > 0 { mask[j - 1] } else { 0 }, mask.get(j + 1).copied().unwrap_or(0));
            let inner = m << 1 & m >> 1 & above & below;
            put_bits(m, |i| zones.mask.push((left + i, y)));
            put_bits(m & !inner, |i| zones.edge.push((left + i, y)));
            put_runs(near[j] & !beside[j] & free, (left, y), &mut rim);
            put_runs(far[j] & !near[j] & free, (left, y), &mut surround);
        }
        (zones.rim, zones.surround) = (Spans::of(rim, usize::MAX), Spans::of(surround, MOST));
        zones
    }
}

/// Rows of bits grown by a chessboard distance; `whole` has the bits of a row.
fn grown(rows: &[u64], by: u8, whole: u64) -> Vec<u64> {
    let by = usize::from(by);
    let wide: Vec<u64> =
        rows.iter().map(|row| (1..=by).fold(*row, |grown, k| grown | row << k | row >> k) & whole).collect();
    (0..rows.len())
        .map(|j| wide[j.saturating_sub(by)..(j + by + 1).min(rows.len())].iter().fold(0, |all, row| all | row))
        .collect()
}

/// Calls `put` with the place of every set bit, lowest first.
fn put_bits(mut bits: u64, mut put: impl FnMut(usize)) {
    while bits != 0 {
        put(bits.trailing_zeros() as usize);
        bits &= bits - 1;
    }
}

/// Puts the runs of set bits of a row, whose first bit lies at `(left, y)`.
fn put_runs(mut bits: u64, (left, y): (usize, usize), runs: &mut Vec<Run>) {
    while bits != 0 {
        let start = bits.trailing_zeros();
        let end = start + (!(bits >> start)).trailing_zeros().min(u64::BITS - start);
        runs.push(Run { y: y as u32, x0: left as u32 + start, x1: left as u32 + end });
        bits &= u64::MAX.checked_shl(end).unwrap_or(0);
    }
}

fn thin<T>(places: &mut Vec<T>, most: usize) {
    let step = places.len().div_ceil(most).max(1);
    if step > 1 {
        let mut k = 0;
        places.retain(|_| {
            k += 1;
            (k - 1) % step == 0
        });
    }
}

/// Chessboard distance to the nearest zero, by two passes (Rosenfeld and Pfaltz 1966, from memory), on an array whose
/// outermost rows and columns stay at the largest value.
fn chessboard(distance: &mut [u8], w: usize, h: usize) {
    for j in 1..h - 1 {
        let (above, row) = distance[(j - 1) * w..(j + 1) * w].split_at_mut(w);
        for i in 1..w - 1 {
            let near = row[i - 1].min(above[i - 1]).min(above[i]).min(above[i + 1]);
            row[i] = row[i].min(near.saturating_add(1));
        }
    }
    for j in (1..h - 1).rev() {
        let (row, below) = distance[j * w..(j + 2) * w].split_at_mut(w);
        for i in (1..w - 1).rev() {
            let near = row[i + 1].min(below[i - 1]).min(below[i]).min(below[i + 1]);
            row[i] = row[i].min(near.saturating_add(1));
        }
    }
}

/// Means of several things over the places `0..count` of a zone, all in one pass: a sum waits for the one before it, so
/// several are kept going. Zeros when there are no places.
// Inlined, so that what is averaged is known.
#[allow(clippy::inline_always)]
#[inline(always)]
fn means<const N: usize>(count: usize, values: impl Fn(usize) -> [f32; N]) -> [f32; N] {
    let mut sums = [0.0f32; N];
    for k in 0..count {
        for (sum, value) in sums.iter_mut().zip(values(k)) {
            *sum += value;
        }
    }
    if count == 0 { sums } else { sums.map(|sum| sum / count as f32) }
}

/// A plane's samples at the places of a zone.
fn read(places: &[(usize, usize)], plane: &Plane) -> Vec<f32> {
    let (samples, width) = (plane.as_slice(), plane.width());
    places.iter().map(|&(x, y)| samples[y * width + x]).collect()
}

/// What a frame's luma and its two compensated neighbours show at the places of a zone.
struct Shown {
    luma: Vec<f32>,
    sides: [Vec<f32>; 2],
}

impl Shown {
    fn new(scene: &Scene, places: &[(usize, usize)]) -> Self {
        let [luma, a, b] = shown_planes(scene).map(|plane| read(places, plane));
        Self { luma, sides: [a, b] }
    }

    fn means(&self) -> ShownMeans {
        let count = self.luma.len();
        let (now, a, b) = (&self.luma[..count], &self.sides[0][..count], &self.sides[1][..count]);
        ShownMeans::of(means(count, |k| ShownMeans::terms([now[k], a[k], b[k]])))
    }
}

/// The frame's luma and its two compensated neighbours.
fn shown_planes<'a>(scene: &Scene<'a>) -> [&'a Plane; 3] {
    [&scene.current.luma, scene.sides[0].seen, scene.sides[1].seen]
}

/// Means of what a frame's luma and its two compensated neighbours show somewhere, and the mean differences of the frame from each
/// neighbour and of the neighbours from each other; `level` is the mean of both neighbours.
struct ShownMeans {
    luma: f32,
    sides: [f32; 2],
    residues: [f32; 2],
    apart: f32,
    level: f32,
}

impl ShownMeans {
    /// What is averaged, of the three samples at a place.
    // Inlined into the loops that average it.
    #[allow(clippy::inline_always)]
    #[inline(always)]
    fn terms([now, a, b]: [f32; 3]) -> [f32; 7] {
        [now, a, b, (now - a).abs(), (now - b).abs(), (a - b).abs(), 0.5 * (a + b)]
    }

    const fn of([luma, a, b, residue_a, residue_b, apart, level]: [f32; 7]) -> Self {
        Self { luma, sides: [a, b], residues: [residue_a, residue_b], apart, level }
    }
}

/// Standard deviation of values whose mean is known.
fn deviation(values: &[f32], mean: f32) -> f32 {
    let [variance] = means(values.len(), |k| [(values[k] - mean) * (values[k] - mean)]);
    variance.sqrt()
}

/// Four times the square of a plane's slope at a place.
fn steepness(plane: &Plane, x: usize, y: usize) -> f32 {
    let (width, samples) = (plane.width(), plane.as_slice());
    let (gx, gy) = if x > 0 && y > 0 && x + 1 < width && y + 1 < plane.height() {
        let at = y * width + x;
        (samples[at + 1] - samples[at - 1], samples[at + width] - samples[at - width])
    } else {
        let (x, y) = (x as i32, y as i32);
        (plane.clamped(x + 1, y) - plane.clamped(x - 1, y), plane.clamped(x, y + 1) - plane.clamped(x, y - 1))
    };
    gx * gx + gy * gy
}

/// The slope, in codes a pixel, of a steepness. It rises with it, so the steepest place has the greatest slope.
fn slope(steepness: f32) -> f32 {
    0.5 * steepness.sqrt()
}

/// A component with its first measurements and what the closer look needs again.
pub struct Glance<'a> {
    component: &'a Component,
    zones: Zones,
    /// The frame's luma at the mark's pixels, and its mean.
    luma: Vec<f32>,
    mean_luma: f32,
    sigma: f32,
    sign: f32,
    hair: bool,
    values: [f32; NAMES.len()],
}

impl Glance<'_> {
    /// The first [`FIRST_LOOK`] measurements.
    pub fn values(&self) -> &[f32] {
        &self.values[..FIRST_LOOK]
    }
}

/// Takes the first measurements of a component.
pub fn glance<'a>(scene: &Scene, component: &'a Component) -> Glance<'a> {
    let zones = Zones::of(component, scene.taken);
    let sign = if component.polarity == Polarity::Bright { 1.0 } else { -1.0 };
    let inside = Shown::new(scene, &zones.mask);
    let mean_inside = inside.means();
    let level = mean_inside.level;
    let sigma = scene.grain.luma_at(level).max(0.25);
    let mut values = [0.0f32; NAMES.len()];
    let mut put = Put { values: &mut values, at: 0 };

    let area = zones.mask.len() as f32;
    // A thin curve of length l and width w has l pixels of edge on each side: l is half the edge, w the area over l.
    let length = (0.5 * zones.edge.len() as f32).max(1.0);
    let width = area / length;
    put.add(area.ln());
    put.add(length / width.max(1.0));
    put.add(area / component.bounds.area().max(1) as f32);
    put.add(elongation(&zones.mask));

    shape_of_response(&mut put, scene, &zones, sign);
    surroundings(&mut put, scene, &zones, (&inside, &mean_inside), sigma, sign);
    let rim_gradient = edges(&mut put, scene, &zones, sigma);
    let (cx, cy) = centre(&component.bounds);
    motion(&mut put, scene, cx, cy, sigma);
    let same = if sign < 0.0 { 1 } else { 2 };
    for (kind, reach) in [(0, 1), (0, 4), (same, 2)] {
        put.add(scene.crowd.cells[kind].mean_around((cx, cy), reach));
    }

    put.add(sign);
    put.add(level / 1024.0);
    put.add(((mean_inside.luma - 800.0) / 100.0).max(0.0));
    put.add(f32::from(scene.one_sided));
    put.add(component.bounds.width().max(component.bounds.height()) as f32 / scene.current.width() as f32 * 100.0);
    put.add(rim_gradient);
    for (cells, whole) in scene.unrest.cells.iter().zip(scene.unrest.whole) {
        put.add(cells.mean_around((cx, cy), 1));
        put.add(cells.mean_around((cx, cy), 4));
        put.add(whole);
    }
    tint(&mut put, scene, &zones);
    put.add(deviation(&inside.luma, mean_inside.luma) / sigma);
    outline(&mut put, scene, component, &zones, sigma, sign);
    border(&mut put, scene, component);
    debug_assert_eq!(put.at, FIRST_LOOK);
    // Long for its width; and drawn out, or curled so that it leaves most of its rectangle empty. A ragged blob is neither.
    let drawn_out = values[ELONGATION] > 2.5 || values[FILL] < 0.45;
    let hair = length > 14.0 && length / width.max(1.0) > 4.5 && drawn_out;
    Glance { component, zones, luma: inside.luma, mean_luma: mean_inside.luma, sigma, sign, hair, values }
}

/// Takes the remaining measurements.
pub fn closer_look(scene: &Scene, glance: Glance) -> Measured {
    let Glance { component, zones, luma, mean_luma, sigma, sign, hair, mut values } = glance;
    let mut put = Put { values: &mut values, at: FIRST_LOOK };
    let aligned = retest(&mut put, scene, component, (&zones, &luma), sigma, sign);
    reappearance(&mut put, scene, component, &zones, sign);
    let hidden_channel = channels(&mut put, scene, &zones, &aligned, sign);
    witnesses(&mut put, scene, component, (&zones, &luma), &aligned, sigma, sign);
    range(&mut put, scene, component, (&zones, mean_luma), sigma, sign);
    let hidden = hides(&mut put, &luma, &aligned, sign);
    put.add(hidden_channel.unwrap_or(hidden));
    debug_assert_eq!(put.at, NAMES.len());
    Measured { values, hair }
}

struct Put<'a> {
    values: &'a mut [f32; NAMES.len()],
    at: usize,
}

impl Put<'_> {
    fn add(&mut self, value: f32) {
        self.values[self.at] = if value.is_finite() { value } else { 0.0 };
        self.at += 1;
    }
}

/// Ratio of the longer to the shorter axis of the pixels' moments of inertia.
fn elongation(places: &[(usize, usize)]) -> f32 {
    let place = |k: usize| (places[k].0 as f32, places[k].1 as f32);
    let [mx, my] = means(places.len(), |k| place(k).into());
    let [xx, yy, xy] = means(places.len(), |k| {
        let (x, y) = (place(k).0 - mx, place(k).1 - my);
        [x * x, y * y, x * y]
    });
    let (xx, yy) = (xx + 1.0 / 12.0, yy + 1.0 / 12.0);
    let half = 0.5 * (xx + yy);
    let root = (0.25 * (xx - yy).powi(2) + xy * xy).sqrt();
    let (long, short) = (half + root, (half - root).max(1.0 / 12.0));
    (long / short).sqrt()
}

/// A plane of half the frame's size at a pixel of the frame.
fn at_half(plane: &Plane, (x, y): (usize, usize)) -> f32 {
    plane.at((x / 2).min(plane.width() - 1), (y / 2).min(plane.height() - 1))
}

/// The stronger opponent plane's response to the mark.
fn tint(put: &mut Put, scene: &Scene, zones: &Zones) {
    let mut best = [0.0f32; 3];
    for evidence in scene.colour.iter().flat_map(|c| &c.planes) {
        let (mut sum, mut peak, mut rank) = (0.0f32, 0.0f32, 0.0f32);
        for &(x, y) in &zones.mask {
            let v = at_half(&evidence.spike, (x, y));
            sum += v;
            peak = peak.max(v.abs());
            rank = rank.max(at_half(&evidence.rank, (x, y)).abs());
        }
        let mean = sum.abs() / zones.mask.len().max(1) as f32;
        if mean > best[0] {
            best = [mean, peak, rank];
        }
    }
    for value in best {
        put.add(value);
    }
}

fn shape_of_response(put: &mut Put, scene: &Scene, zones: &Zones, sign: f32) {
    let [spike, rank] = [&scene.evidence.spike, &scene.evidence.rank].map(|plane| read(&zones.mask, plane));
    let count = zones.mask.len();
    let [spike_mean, rank_mean, rank_share] = means(count, |k| {
        let (spike, rank) = (sign * spike[k], sign * rank[k]);
        [spike, rank.max(0.0), f32::from(rank > 0.3)]
    });
    let peak = |values: &[f32]| values.iter().fold(0.0, |most, v| f32::max(most, sign * v));
    put.add(spike_mean);
    put.add(peak(&spike));
    put.add(rank_mean);
    put.add(peak(&rank));
    put.add(rank_share);
}

fn surroundings(
    put: &mut Put,
    scene: &Scene,
    zones: &Zones,
    (inside, mean_inside): (&Shown, &ShownMeans),
    sigma: f32,
    sign: f32,
) {
    let planes = shown_planes(scene);
    let mean_rim = ShownMeans::of(zones.rim.means(planes, ShownMeans::terms));
    let [ra, rb] = mean_rim.residues.map(|residue| residue / sigma);
    put.add(ra.min(rb));
    put.add(ra.max(rb));
    let [sa, sb] = zones.surround.means(planes, |[now, a, b]| [(now - a).abs(), (now - b).abs()]);
    put.add(sa.max(sb) / sigma);
    put.add(mean_inside.apart / sigma);
    put.add(mean_rim.apart / sigma);
    let step = |inside: f32, rim: f32| sign * (inside - rim) / sigma;
    put.add(step(mean_inside.luma, mean_rim.luma));
    let [a, b] = [0, 1].map(|k| step(mean_inside.sides[k], mean_rim.sides[k]));
    put.add(a.max(b));
    let [variance] = zones.rim.means([planes[0]], |[now]| [(now - mean_rim.luma) * (now - mean_rim.luma)]);
    put.add(variance.sqrt() / sigma);
    let [a, b] = [0, 1].map(|k| deviation(&inside.sides[k], mean_inside.sides[k]));
    put.add(a.min(b) / sigma);
}

/// The mark's edges; returns the gradient of its rim in the neighbours.
fn edges(put: &mut Put, scene: &Scene, zones: &Zones, sigma: f32) -> f32 {
    let luma = &scene.current.luma;
    let [a, b] = [scene.sides[0].seen, scene.sides[1].seen];
    let [edge] = means(zones.edge.len(), |k| [slope(steepness(luma, zones.edge[k].0, zones.edge[k].1))]);
    let edge = edge / sigma;
    put.add(edge);
    let [rim_a, rim_b] = [a, b].map(|plane| zones.rim.steepness(plane));
    let most = zones.surround.steepness(a).iter().chain(&rim_a).fold(0.0, |most, v| f32::max(most, *v));
    let picture = slope(most) / sigma;
    put.add(edge / (picture + 1.0));
    let [gradient] = means(rim_a.len(), |k| [slope(rim_a[k].min(rim_b[k]))]);
    gradient / sigma
}

/// How the mark stands out along its outline, and what its neighbours show there.
fn outline(put: &mut Put, scene: &Scene, component: &Component, zones: &Zones, sigma: f32, sign: f32) {
    let mut points = edge_points(&component.mask, &zones.edge);
    thin(&mut points, MOST_OF_OUTLINE);
    let seen = [scene.sides[0].seen, scene.sides[1].seen];
    let outline = Outline::measure(&points, &scene.current.luma, seen, sigma, sign);
    for value in [outline.closed, outline.weakest, outline.quiet, outline.in_neighbours] {
        put.add(value);
    }
}

/// Beyond so many pixels the frame's border is far away.
const FROM_BORDER: i32 = 64;
/// Farther than this out of view, or inside of it, is all the same.
const OUT_OF_VIEW: f32 = 40.0;

/// Where a mark lies against the frame's border, and how far its place lies outside a neighbour's view, in pixels: what
/// has just come into the picture has nothing to be held against.
fn border(put: &mut Put, scene: &Scene, component: &Component) {
    let (width, height) = (scene.current.width() as i32, scene.current.height() as i32);
    let b = component.bounds;
    put.add(b.x0.min(b.y0).min(width - b.x1).min(height - b.y1).min(FROM_BORDER) as f32);
    let (cx, cy) = centre(&b);
    let outside = scene.sides.iter().map(|side| {
        let v = side.field.at(cx as f32, cy as f32);
        let (left, top) = (b.x0 as f32 + v.dx, b.y0 as f32 + v.dy);
        let (right, bottom) = (b.x1 as f32 + v.dx, b.y1 as f32 + v.dy);
        (-left).max(-top).max(right - width as f32).max(bottom - height as f32)
    });
    put.add(outside.fold(f32::NEG_INFINITY, f32::max).clamp(-OUT_OF_VIEW, OUT_OF_VIEW));
}

fn motion(put: &mut Put, scene: &Scene, cx: i32, cy: i32, sigma: f32) {
    let (x, y) = (cx as f32, cy as f32);
    let [a, b] = [&scene.sides[0], &scene.sides[1]];
    let (va, vb) = (a.field.at(x, y), b.field.at(x, y));
    put.add(va.length().max(vb.length()) / scene.current.width() as f32 * 100.0);
    // Steady motion through three frames: the two vectors oppose each other.
    // Of a film that weaves only what goes beyond the whole frame's own unsteadiness counts.
    let (sway, opposed) = (scene.sway.next, Vector::new(va.dx + vb.dx, va.dy + vb.dy));
    put.add(if scene.one_sided { 0.0 } else { opposed.distance(sway) });
    put.add(a.field.roughness(x, y).max(b.field.roughness(x, y)));
    put.add(a.field.error(x, y).max(b.field.error(x, y)) / sigma);
}

/// How far the window of the re-estimated motion reaches beyond the mark, in pixels.
const REACH: i32 = 8;

/// A mean absolute difference of 0.8 x sqrt(2) sigmas is all that grain leaves of two aligned frames: a start that is
/// near it needs no search.
fn search(radius: i32, sigma: f32, gain: f32) -> Search {
    Search { radius, most_pixels: 240, content: 1.3 * sigma, gain }
}

/// A neighbour aligned anew.
struct Aligned {
    found: LocalMatch,
    /// What it shows at the mark's pixels, levelled.
    shown: Vec<f32>,
}

impl Aligned {
    fn new(found: LocalMatch, plane: &Plane, places: &[(usize, usize)], gain: f32) -> Self {
        let mut shown = samples(plane, places, found.vector);
        for v in &mut shown {
            *v = gain * *v + found.offset;
        }
        Self { found, shown }
    }
}

/// Aligns both neighbours anew on the surroundings alone and asks again whether the mark is missing there. `inside` is the
/// frame's luma at the mark's pixels.
fn retest(
    put: &mut Put,
    scene: &Scene,
    component: &Component,
    (zones, inside): (&Zones, &[f32]),
    sigma: f32,
    sign: f32,
) -> [Aligned; 2] {
    let luma = &scene.current.luma;
    let (cx, cy) = centre(&component.bounds);
    let window = component.bounds.grown(REACH);
    let aligned = [0, 1].map(|k| {
        let (plane, gain) = (&scene.sides[k].frame.luma, scene.sides[k].gain);
        let start = scene.sides[k].field.at(cx as f32, cy as f32);
        let found = search_around(luma, plane, scene.taken, None, window, start, &search(1, sigma, gain));
        Aligned::new(found, plane, &zones.mask, gain)
    });
    let (mut both, mut least, mut peak, mut apart) = (0.0, [0.0f32; 2], 0.0f32, 0.0);
    for ((luma, a), b) in inside.iter().zip(&aligned[0].shown).zip(&aligned[1].shown) {
        let (da, db) = (sign * (luma - a) / sigma, sign * (luma - b) / sigma);
        both += da.min(db);
        least[0] += da;
        least[1] += db;
        peak = peak.max(da.min(db));
        apart += (da - db).abs();
    }
    let n = zones.mask.len().max(1) as f32;
    put.add(both / n);
    put.add(least[0].min(least[1]) / n);
    put.add(peak);
    let rim = aligned[0].found.error.max(aligned[1].found.error) / sigma;
    put.add(if rim.is_finite() { rim } else { 20.0 });
    let shift = |k: usize| aligned[k].found.vector.distance(scene.sides[k].field.at(cx as f32, cy as f32));
    put.add(shift(0).max(shift(1)));
    put.add(apart / n / (both / n).abs().max(0.5));
    aligned
}

/// Farthest displacement at which a mark's like is looked for in a neighbour, in pixels.
const SEARCH: i32 = 14;
/// Positions of the mark and its rim that are compared.
const SHAPE: usize = 40;

/// Displacements two samples apart that are looked at side by side, and such one sample apart.
const COARSE: usize = 16;
const FINE: usize = 8;
/// Rows of displacements that are looked at side by side: each sum waits for the one before it, so several are kept going.
const ROWS: usize = 3;

/// Points of a mark and of its rim, to be held against planes of the frame's size at displacements up to [`SEARCH`].
struct Shape {
    values: Vec<f32>,
    /// Where the points lie among a plane's samples, or among those of the window.
    places: Vec<i32>,
    /// The part of a plane that displaced points reach, when it is not all inside.
    window: Option<Rect>,
}

impl Shape {
    fn new(points: &[(usize, usize)], plane: &Plane) -> Self {
        let values = read(points, plane);
        let far = points.iter().fold((usize::MAX, usize::MAX, 0, 0), |(l, t, r, b), &(x, y)| {
            (l.min(x), t.min(y), r.max(x + 1), b.max(y + 1))
        });
        let around = Rect::new(far.0 as i32, far.1 as i32, far.2 as i32, far.3 as i32).grown(SEARCH);
        // Rows of displacements are read with some samples beyond them.
        let reach = Rect { x1: around.x1 + FINE as i32, ..around };
        let window = (!points.is_empty() && reach.intersect(&plane.rect()) != reach).then_some(reach);
        let (left, top, stride) = window.map_or((0, 0, plane.width() as i32), |r| (r.x0, r.y0, r.width() as i32));
        let places = points.iter().map(|&(x, y)| (y as i32 - top) * stride + x as i32 - left).collect();
        Self { values, places, window }
    }

    /// The plane as far as displaced points reach; its border repeats its samples.
    fn reached<'a>(&self, plane: &'a Plane) -> Cow<'a, Plane> {
        self.window.map_or(Cow::Borrowed(plane), |window| Cow::Owned(repeated(plane, &window)))
    }
}

/// The window of a plane, whose border repeats its samples; some of it lies inside.
fn repeated(plane: &Plane, window: &Rect) -> Plane {
    let (inside, last) = (window.intersect(&plane.rect()), plane.height() as i32 - 1);
    let mut out = Plane::new(window.width(), window.height());
    let (left, wide) = ((inside.x0 - window.x0) as usize, inside.width());
    for (y, out) in (window.y0..window.y1).zip(out.as_mut_slice().chunks_mut(window.width().max(1))) {
        let row = &plane.row(y.clamp(0, last) as usize)[inside.x0 as usize..inside.x1 as usize];
        out[..left].fill(row[0]);
        out[left..left + wide].copy_from_slice(row);
        out[left + wide..].fill(row[wide - 1]);
    }
    out
}

/// Steps through a plane's samples to a displacement and to those `step` rows below each other.
fn shifts(plane: &Plane, (dx, dy): (i32, i32), step: i32) -> [i32; ROWS] {
    std::array::from_fn(|j| (dy + step * j as i32) * plane.width() as i32 + dx)
}

/// Sums of absolute differences, each over the points in their order, with every second sample from each shift on.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn coarse_differences(shape: &Shape, plane: &Plane, shifts: [i32; ROWS]) -> [[f32; COARSE]; ROWS] {
    let samples = plane.as_slice();
    let mut sums = [[0.0f32; COARSE]; ROWS];
    for (value, place) in shape.values.iter().zip(&shape.places) {
        for (sums, shift) in sums.iter_mut().zip(shifts) {
            let there = &samples[(place + shift) as usize..][..2 * COARSE - 1];
            for (i, sum) in sums.iter_mut().enumerate() {
                *sum += (value - there[2 * i]).abs();
            }
        }
    }
    sums
}

/// The same with every sample from each shift on.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn fine_differences(shape: &Shape, plane: &Plane, shifts: [i32; ROWS]) -> [[f32; FINE]; ROWS] {
    let samples = plane.as_slice();
    let mut sums = [[0.0f32; FINE]; ROWS];
    for (value, place) in shape.values.iter().zip(&shape.places) {
        for (sums, shift) in sums.iter_mut().zip(shifts) {
            let there = &samples[(place + shift) as usize..][..FINE];
            for (sum, there) in sums.iter_mut().zip(there) {
                *sum += (value - there).abs();
            }
        }
    }
    sums
}

/// Where a mark's shape fits best among displacements: the sum of differences, and how far away.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Fit {
    sum: f32,
    distance: f32,
}

impl Fit {
    const NONE: Self = Self { sum: f32::INFINITY, distance: 0.0 };
}

/// The best fits nearer than `own` and from there on. Every second displacement first, then all around the best of them.
fn fits(shape: &Shape, plane: &Plane, own: i32, near_too: bool) -> [Fit; 2] {
    let plane = &*shape.reached(plane);
    let mut best = [Fit::NONE; 2];
    let mut at = [(0, 0); 2];
    let mut look = |dx: i32, dy: i32, sum: f32| {
        let zone = usize::from(dx.abs().max(dy.abs()) >= own);
        if (zone == 1 || near_too) && sum < best[zone].sum {
            best[zone] = Fit { sum, distance: (dx as f32).hypot(dy as f32) };
            at[zone] = (dx, dy);
        }
        at
    };
    let mut found = [(0, 0); 2];
    for top in (-SEARCH..=SEARCH).step_by(2 * ROWS) {
        for (j, sums) in coarse_differences(shape, plane, shifts(plane, (-SEARCH, top), 2)).into_iter().enumerate() {
            for (i, sum) in sums.into_iter().take(SEARCH as usize + 1).enumerate() {
                found = look(2 * i as i32 - SEARCH, top + 2 * j as i32, sum);
            }
        }
    }
    for (x, y) in found {
        if !near_too && x.abs().max(y.abs()) + 1 < own {
            continue;
        }
        let (left, top) = ((x - 1).max(-SEARCH), (y - 1).max(-SEARCH));
        let (right, bottom) = ((x + 1).min(SEARCH), (y + 1).min(SEARCH));
        // At the lower end the rows begin one higher, so that all of them are inside.
        let first = top.min(SEARCH + 1 - ROWS as i32);
        let rows = fine_differences(shape, plane, shifts(plane, (left, first), 1));
        for dy in top..=bottom {
            for dx in left..=right {
                look(dx, dy, rows[(dy - first) as usize][(dx - left) as usize]);
            }
        }
    }
    best
}

/// Looks for the mark's own shape, displaced, in each compensated neighbour: dirt never re-appears, objects do. Small
/// displacements tell what an error of motion would explain. And in the frame itself: texture has its like nearby.
fn reappearance(put: &mut Put, scene: &Scene, component: &Component, zones: &Zones, sign: f32) {
    let luma = &scene.current.luma;
    let mut inside = zones.mask.clone();
    thin(&mut inside, SHAPE);
    let mut rim = zones.rim.places();
    thin(&mut rim, SHAPE / 2);
    let points: Vec<(usize, usize)> = inside.iter().chain(&rim).copied().collect();
    let (inner, count) = (inside.len().max(1) as f32, points.len().max(1) as f32);
    let shape = Shape::new(&points, luma);
    let own = 1 + (component.bounds.width().max(component.bounds.height()) / 2).min(6) as i32;
    let mut explained = [Fit::NONE; 2];
    let mut nearest = (f32::INFINITY, 0.0f32);
    let mut most = 1.0f32;
    for (k, side) in scene.sides.iter().enumerate() {
        let plane = side.seen;
        let contrast = sign * inside.iter().map(|&(x, y)| luma.at(x, y) - plane.at(x, y)).sum::<f32>() / inner;
        let unit = count * contrast.max(1.0);
        most = most.max(contrast);
        let [near, far] = fits(&shape, plane, own, true);
        explained[k] = Fit { sum: (near.sum.min(far.sum) / unit).min(4.0), distance: near.distance };
        if far.sum / unit < nearest.0 {
            nearest = (far.sum / unit, far.distance);
        }
        put.add((far.sum / unit).min(4.0));
    }
    put.add(nearest.1);
    put.add(explained[0].sum);
    put.add(explained[1].sum);
    let [_, here] = fits(&shape, luma, 2 * own, false);
    put.add((here.sum / count / most).min(4.0));
    put.add(if explained[0].sum < explained[1].sum { explained[0].distance } else { explained[1].distance });
}

/// Codes of the densest and of the clearest dirt that a scan shows, near the ends of its range.
const DENSEST: f32 = 15.0;
const CLEAREST: f32 = 1010.0;

/// The least share of the picture at `level` that dirt has to hide to change it by so many codes in the mark's direction.
fn hidden(change: f32, level: f32, sign: f32) -> f32 {
    let most = if sign > 0.0 { CLEAREST - level } else { level - DENSEST };
    (change.max(0.0) / most.max(30.0)).min(2.0)
}

/// How much of the picture the mark hides at least, on the whole and where it hides most. Too little is neither dirt that
/// anyone sees nor a change that needs it: shadows and reflections move the codes by less than opaque dirt.
fn hides(put: &mut Put, inside: &[f32], aligned: &[Aligned; 2], sign: f32) -> f32 {
    let share = |k: usize| {
        let (a, b) = (aligned[0].shown[k], aligned[1].shown[k]);
        let change = (sign * (inside[k] - a)).min(sign * (inside[k] - b));
        hidden(change, 0.5 * (a + b), sign)
    };
    let [mean] = means(inside.len(), |k| [share(k)]);
    put.add(mean);
    put.add((0..inside.len()).map(share).fold(0.0, f32::max));
    mean
}

/// Do all colour channels say the same? Dust covers all dye layers; an error of motion rarely looks alike in all three.
/// Returns how much the mark hides in the channel where it hides most, at least; `None` for a scan of one channel.
fn channels(put: &mut Put, scene: &Scene, zones: &Zones, aligned: &[Aligned; 2], sign: f32) -> Option<f32> {
    let planes = &scene.current.planes;
    if planes.len() < 3 {
        // As three equal channels would have it.
        for value in [0.0, 3.0, 1.0] {
            put.add(value);
        }
        return None;
    }
    let mut inside = zones.mask.clone();
    thin(&mut inside, 60);
    // Where each of them stands in either neighbour, to the nearest pixel.
    let there = [0, 1].map(|k| {
        let v = aligned[k].found.vector;
        let moved = |(x, y): &(usize, usize)| ((*x as f32 + v.dx).round() as i32, (*y as f32 + v.dy).round() as i32);
        inside.iter().map(moved).collect::<Vec<(i32, i32)>>()
    });
    let (mut response, mut most) = ([0.0f32; 3], 0.0f32);
    for (c, out) in response.iter_mut().enumerate() {
        let differences = [0, 1].map(|k| {
            let other = scene.sides[k].frame.planes.get(c).unwrap_or(&planes[c]);
            let difference = |(&(x, y), &(i, j)): (&(usize, usize), &(i32, i32))| {
                sign * (planes[c].at(x, y) - scene.sides[k].gain * other.clamped(i, j) - aligned[k].found.offset)
            };
            inside.iter().zip(&there[k]).map(difference).collect::<Vec<f32>>()
        });
        [*out] = means(inside.len(), |k| {
            let (da, db) = (differences[0][k], differences[1][k]);
            [da.min(db).max(0.0) + da.max(db).min(0.0)]
        });
        let [level] = means(inside.len(), |k| [planes[c].at(inside[k].0, inside[k].1)]);
        most = most.max(hidden(*out, level - sign * *out, sign));
    }
    let (low, high) = response.iter().fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    put.add((high - low) / high.max(1.0));
    put.add(response.iter().filter(|v| **v > 0.25 * high).count() as f32);
    put.add(low / high.max(1.0));
    Some(most)
}

/// What n-2 and n+2 say: a mark of one frame is missing there too, and they agree with the nearer neighbours.
fn witnesses(
    put: &mut Put,
    scene: &Scene,
    component: &Component,
    (zones, inside): (&Zones, &[f32]),
    aligned: &[Aligned; 2],
    sigma: f32,
    sign: f32,
) {
    let luma = &scene.current.luma;
    let window = component.bounds.grown(REACH);
    let (mut response, mut rim, mut agree) = (f32::INFINITY, 0.0f32, 0.0f32);
    for (k, near) in aligned.iter().enumerate() {
        let Some(frame) = scene.witnesses[k] else { continue };
        // Steady motion carries on: twice the nearer vector is the place to start, but for what the film weaves.
        let (v, sway, gain) = (near.found.vector, scene.sway.beyond[k], scene.sway.gains[k]);
        let start = Vector::new(2.0 * v.dx + sway.dx, 2.0 * v.dy + sway.dy);
        let m = search_around(luma, &frame.luma, scene.taken, None, window, start, &search(2, sigma, gain));
        if !m.error.is_finite() {
            continue;
        }
        let far = Aligned::new(m, &frame.luma, &zones.mask, gain).shown;
        let [missing, apart] = means(inside.len(), |k| [sign * (inside[k] - far[k]), (near.shown[k] - far[k]).abs()]);
        response = response.min(missing / sigma);
        agree = agree.max(apart / sigma);
        rim = rim.max(m.error / sigma);
    }
    put.add(if response.is_finite() { response } else { -1.0 });
    put.add(rim);
    put.add(agree);
}

/// How far around a mark its range is looked at: nearly as far as a fast motion, and farther.
const NEAR: i32 = 6;
const FAR: i32 = 16;

/// How far the mark, whose mean luma is `inside`, lies beyond the range of everything around it, in the neighbours and in its
/// own frame.
fn range(put: &mut Put, scene: &Scene, component: &Component, (zones, inside): (&Zones, f32), sigma: f32, sign: f32) {
    for reach in [NEAR, FAR] {
        let area = component.bounds.grown(reach);
        let beyond = scene.sides.iter().filter_map(|s| Some(beyond(inside, extremes(s.seen, area, 2, None)?, sign)));
        put.add(beyond.fold(f32::INFINITY, f32::min) / sigma);
    }
    let here = extremes(&scene.current.luma, component.bounds.grown(FAR), 1, Some(scene.taken));
    put.add(here.map_or(0.0, |range| beyond(inside, range, sign) / sigma));
    put.add(tint_beyond(scene, component, zones, sigma));
}

/// How far the mark's tint lies beyond the tints around it in both neighbours, in grain sigmas of luma; the larger of the
/// opponent planes and of both directions. Negative inside their range.
fn tint_beyond(scene: &Scene, component: &Component, zones: &Zones, sigma: f32) -> f32 {
    let [a, b] = &scene.sides;
    let (Some(now), Some(before), Some(after)) = (&scene.current.colour, &a.frame.colour, &b.frame.colour) else {
        return 0.0;
    };
    let (cx, cy) = centre(&component.bounds);
    let around = component.bounds.grown(FAR);
    let mut most = f32::NEG_INFINITY;
    for (k, plane) in now.iter().enumerate() {
        let [inside] = means(zones.mask.len(), |k| [at_half(plane, zones.mask[k])]);
        let range = [(a, &before[k]), (b, &after[k])].into_iter().filter_map(|(side, plane)| {
            let v = side.field.at(cx as f32, cy as f32);
            let (dx, dy) = (v.dx.round() as i32, v.dy.round() as i32);
            let half = |v: i32| v.div_euclid(2);
            let area =
                Rect::new(half(around.x0 + dx), half(around.y0 + dy), half(around.x1 + dx), half(around.y1 + dy));
            extremes(plane, area, 1, None)
        });
        let (low, high) = range.fold((f32::INFINITY, f32::NEG_INFINITY), |r, e| (r.0.min(e.0), r.1.max(e.1)));
        if low <= high {
            most = most.max(inside - high).max(low - inside);
        }
    }
    most / sigma
}

#[cfg(test)]
mod tests {
    use besom_scan::RunMask;
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn distances_are_those_of_the_definition() {
        let (w, h) = (17, 13);
        let zeros = [(3usize, 2usize), (4, 2), (9, 7), (15, 11)];
        let mut fast = vec![u8::MAX; w * h];
        for (x, y) in zeros {
            fast[y * w + x] = 0;
        }
        chessboard(&mut fast, w, h);
        for y in 1..h - 1 {
            for x in 1..w - 1 {
                let plain = zeros.iter().map(|(a, b)| x.abs_diff(*a).max(y.abs_diff(*b))).min().unwrap_or(0);
                assert_eq!(usize::from(fast[y * w + x]), plain, "{x}, {y}");
            }
        }
    }

    /// A plane of noise and the mark of some of its pixels.
    fn noise(seed: u32, width: usize, height: usize) -> Plane {
        let mut state = seed.wrapping_mul(2_654_435_761).wrapping_add(9);
        Plane::from_fn(width, height, |_, _| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 22) as f32
        })
    }

    #[test]
    fn a_window_beyond_the_border_repeats_its_samples() {
        let plane = noise(8, 30, 20);
        for (x, y) in [(-9, -4), (25, 3), (4, 16), (27, -6), (3, 2)] {
            let window = Rect::new(x, y, x + 12, y + 9);
            let plain = Plane::from_fn(12, 9, |i, j| plane.clamped(x + i as i32, y + j as i32));
            assert_eq!(repeated(&plane, &window), plain);
        }
    }

    /// [`fits`] by its definition.
    fn plain_fits(points: &[(usize, usize)], now: &Plane, plane: &Plane, own: i32, near_too: bool) -> [Fit; 2] {
        let mut best = [Fit::NONE; 2];
        let mut at = [(0, 0); 2];
        let look = |dx: i32, dy: i32, best: &mut [Fit; 2], at: &mut [(i32, i32); 2]| {
            let zone = usize::from(dx.abs().max(dy.abs()) >= own);
            if zone == 0 && !near_too {
                return;
            }
            let there = |x: usize, y: usize| plane.clamped(x as i32 + dx, y as i32 + dy);
            let sum = points.iter().fold(0.0, |sum, &(x, y)| sum + (now.at(x, y) - there(x, y)).abs());
            if sum < best[zone].sum {
                best[zone] = Fit { sum, distance: (dx as f32).hypot(dy as f32) };
                at[zone] = (dx, dy);
            }
        };
        for dy in (-SEARCH..=SEARCH).step_by(2) {
            for dx in (-SEARCH..=SEARCH).step_by(2) {
                look(dx, dy, &mut best, &mut at);
            }
        }
        for (x, y) in at {
            for dy in (y - 1).max(-SEARCH)..=(y + 1).min(SEARCH) {
                for dx in (x - 1).max(-SEARCH)..=(x + 1).min(SEARCH) {
                    look(dx, dy, &mut best, &mut at);
                }
            }
        }
        best
    }

    proptest! {
        #[test]
        fn fits_are_those_of_the_definition(
            seed in any::<u32>(), x in 0usize..70, y in 0usize..50, own in 1i32..8, near_too in any::<bool>(),
        ) {
            let (now, plane) = (noise(seed, 80, 60), noise(seed ^ 0x4d, 80, 60));
            let points: Vec<(usize, usize)> =
                (y..y + 10).flat_map(|y| (x..x + 10).map(move |x| (x, y))).filter(|(x, y)| now.at(*x, *y) > 700.0).collect();
            let fast = fits(&Shape::new(&points, &now), &plane, own, near_too);
            prop_assert_eq!(fast, plain_fits(&points, &now, &plane, own, near_too));
        }

        #[test]
        fn zones_are_the_same_in_words_of_bits(
            seed in any::<u32>(), x in 0usize..90, y in 0usize..40, w in 1usize..46, h in 1usize..12,
        ) {
            let plane = noise(seed, 100, 50);
            let (x1, y1) = ((x + w).min(100), (y + h).min(50));
            let mut pixels: Vec<Run> = (y..y1).flat_map(|y| (x..x1).map(move |x| (x, y)))
                .filter(|(x, y)| plane.at(*x, *y) > 400.0)
                .map(|(x, y)| Run { y: y as u32, x0: x as u32, x1: x as u32 + 1 })
                .collect();
            pixels.push(Run { y: y as u32, x0: x as u32, x1: x as u32 + 1 });
            let mask = RunMask::from_runs(pixels);
            let component = Component { bounds: mask.bounds(), mask, polarity: Polarity::Dark };
            let taken = noise(seed ^ 0x5, 100, 50).map(|v| u8::from(v > 900.0));
            let window = component.bounds.grown(i32::from(SURROUND)).intersect(&taken.rect());
            let (narrow, wide) = (Zones::narrow(&component, &taken, &window), Zones::wide(&component, &taken, &window));
            prop_assert_eq!(narrow, wide);
        }
    }

    #[test]
    fn unrest_is_the_mean_of_every_second_pixel() {
        let (width, height) = (3 * CELL - 7, CELL + 5);
        let [spike, a, b] = [7, 8, 9].map(|seed| noise(seed, width, height));
        let inverse: Vec<f32> = (0..1024).map(|k| 1.0 / (4.0 + k as f32 / 100.0)).collect();
        let mut sums = vec![UnrestSums::default(); 3];
        let (mut plain, rows) = ([[0.0f32; 3]; 3], (0..CELL).step_by(2));
        for y in rows {
            add_unrest(spike.row(y), a.row(y), b.row(y), &inverse, &mut sums);
            for x in (0..width).step_by(2) {
                let apart = (a.at(x, y) - b.at(x, y)).abs() * inverse[a.at(x, y) as usize];
                let terms = [spike.at(x, y).abs().min(4.0), apart.min(12.0), 1.0];
                plain[x / CELL].iter_mut().zip(terms).for_each(|(sum, term)| *sum += term);
            }
        }
        assert_eq!(sums.iter().map(|s| [s.spike, s.disagreement, s.count]).collect::<Vec<_>>(), plain);
    }

    #[test]
    fn spans_are_read_as_their_pixels() {
        let (plane, other) = (noise(3, 40, 30), noise(4, 40, 30));
        assert_eq!(Spans::of(Vec::new(), 4).means([&plane], |[a]| [a]), [0.0]);
        let runs = vec![Run { y: 0, x0: 0, x1: 7 }, Run { y: 9, x0: 12, x1: 31 }, Run { y: 29, x0: 33, x1: 40 }];
        for most in [usize::MAX, 10, 4] {
            let spans = Spans::of(runs.clone(), most);
            let mut places: Vec<(usize, usize)> =
                runs.iter().flat_map(|r| (r.x0..r.x1).map(|x| (x as usize, r.y as usize))).collect();
            thin(&mut places, most);
            assert_eq!(spans.places(), places);
            let samples = [&plane, &other].map(|plane| read(&places, plane));
            let plain = means(places.len(), |k| [samples[0][k], (samples[0][k] - samples[1][k]).abs()]);
            assert_eq!(spans.means([&plane, &other], |[a, b]| [a, (a - b).abs()]), plain);
            let each: Vec<f32> = places.iter().map(|&(x, y)| steepness(&plane, x, y)).collect();
            assert_eq!(spans.steepness(&plane), each);
        }
    }
}
