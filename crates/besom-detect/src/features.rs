//! What is measured of a suspected mark before it is judged. Every number is dimensionless or in grain sigmas, so that one
//! model serves every stock, size and depth.

use besom_motion::MotionField;
use besom_motion::Vector;
use besom_motion::around::{LocalMatch, Search, search_around};
use besom_motion::interpolate::sample;
use besom_scan::{Plane, Rect};
use rayon::prelude::*;

use crate::candidate::Polarity;
use crate::cells::{CELL, Cells, centre, lattice};
use crate::colour::ColourEvidence;
use crate::components::Component;
use crate::evidence::Evidence;
use crate::grain::Grain;
use crate::outline::{self, EdgePoint};
use crate::prepare::Prepared;
use crate::range::{beyond, extremes};

/// Names of the measurements, in the order of [`Measured::values`].
pub const NAMES: [&str; 72] = [
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
pub struct Side<'a> {
    /// The frame itself.
    pub frame: &'a Prepared,
    /// Motion from the current frame to it.
    pub field: &'a MotionField,
    /// Its smoothed luma, compensated and levelled.
    pub seen: &'a Plane,
}

/// One frame's surroundings, shared by all its components.
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
                let mut sums = [vec![0.0f32; columns], vec![0.0f32; columns]];
                let mut counts = vec![0.0f32; columns];
                for y in (r * CELL..((r + 1) * CELL).min(height)).step_by(2) {
                    let (spike, a, b) = (evidence.spike.row(y), a.row(y), b.row(y));
                    for x in (0..width).step_by(2) {
                        let unit = inverse[(a[x] as i32).clamp(0, 1023) as usize];
                        sums[0][x / CELL] += spike[x].abs().min(4.0);
                        sums[1][x / CELL] += ((a[x] - b[x]).abs() * unit).min(12.0);
                        counts[x / CELL] += 1.0;
                    }
                }
                sums.map(|sums| sums.iter().zip(&counts).map(|(sum, n)| sum / n.max(1.0)).collect())
            })
            .collect();
        let cells = [0, 1].map(|k| Cells::of(Plane::from_fn(columns, rows, |c, r| lines[r][k][c])));
        let whole = [0, 1].map(|k: usize| cells[k].mean());
        Self { cells, whole }
    }
}

/// Pixels of a component and of the rims around it, as lists of positions.
struct Zones {
    mask: Vec<(usize, usize)>,
    edge: Vec<(usize, usize)>,
    outline: Vec<EdgePoint>,
    rim: Vec<(usize, usize)>,
    surround: Vec<(usize, usize)>,
}

/// The rim lies from 2 to 4 pixels outside the mask, the surround from 5 to 9.
const RIM: (u8, u8) = (2, 4);
const SURROUND: u8 = 9;
/// More positions than this in a zone are thinned out evenly: the means they serve do not change visibly.
const MOST: usize = 600;
const MOST_OF_OUTLINE: usize = 120;

impl Zones {
    fn of(component: &Component, taken: &Plane<u8>) -> Self {
        let frame = taken.rect();
        let window = component.bounds.grown(i32::from(SURROUND)).intersect(&frame);
        // One row and column of margin on each side, at the largest distance.
        let (w, h) = (window.width() + 2, window.height() + 2);
        let (left, top) = (window.x0 - 1, window.y0 - 1);
        let mut distance = vec![u8::MAX; w * h];
        for run in component.mask.runs() {
            let start = (run.y as i32 - top) as usize * w;
            distance[start + (run.x0 as i32 - left) as usize..start + (run.x1 as i32 - left) as usize].fill(0);
        }
        chessboard(&mut distance, w, h);
        let mut zones =
            Self { mask: Vec::new(), edge: Vec::new(), outline: Vec::new(), rim: Vec::new(), surround: Vec::new() };
        for j in 1..h - 1 {
            for i in 1..w - 1 {
                let k = j * w + i;
                let place = ((i as i32 + left) as usize, (j as i32 + top) as usize);
                match distance[k] {
                    0 => {
                        zones.mask.push(place);
                        if [k - 1, k + 1, k - w, k + w].iter().any(|n| distance[*n] > 0) {
                            zones.edge.push(place);
                            let normal = outline::normal(&distance, w, k);
                            zones.outline.extend(normal.map(|normal| EdgePoint { x: place.0, y: place.1, normal }));
                        }
                    }
                    d if d < RIM.0 || d > SURROUND || taken.at(place.0, place.1) != 0 => {}
                    d if d <= RIM.1 => zones.rim.push(place),
                    _ => zones.surround.push(place),
                }
            }
        }
        thin(&mut zones.surround, MOST);
        thin(&mut zones.outline, MOST_OF_OUTLINE);
        zones
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

fn mean(places: &[(usize, usize)], mut value: impl FnMut(usize, usize) -> f32) -> f32 {
    if places.is_empty() {
        return 0.0;
    }
    places.iter().map(|&(x, y)| value(x, y)).sum::<f32>() / places.len() as f32
}

fn deviation(places: &[(usize, usize)], plane: &Plane) -> f32 {
    let middle = mean(places, |x, y| plane.at(x, y));
    mean(places, |x, y| (plane.at(x, y) - middle).powi(2)).sqrt()
}

fn slope(plane: &Plane, x: usize, y: usize) -> f32 {
    let (x, y) = (x as i32, y as i32);
    let gx = plane.clamped(x + 1, y) - plane.clamped(x - 1, y);
    let gy = plane.clamped(x, y + 1) - plane.clamped(x, y - 1);
    0.5 * (gx * gx + gy * gy).sqrt()
}

/// A component with its first measurements and what the closer look needs again.
pub struct Glance<'a> {
    component: &'a Component,
    zones: Zones,
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
    let luma = &scene.current.luma;
    let [a, b] = [scene.sides[0].seen, scene.sides[1].seen];
    let sign = if component.polarity == Polarity::Bright { 1.0 } else { -1.0 };
    let level = mean(&zones.mask, |x, y| 0.5 * (a.at(x, y) + b.at(x, y)));
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
    surroundings(&mut put, scene, &zones, sigma, sign);
    edges(&mut put, scene, &zones, sigma);
    let (cx, cy) = centre(&component.bounds);
    motion(&mut put, scene, cx, cy, sigma);
    let same = if sign < 0.0 { 1 } else { 2 };
    for (kind, reach) in [(0, 1), (0, 4), (same, 2)] {
        put.add(scene.crowd.cells[kind].mean_around((cx, cy), reach));
    }

    put.add(sign);
    put.add(level / 1024.0);
    put.add(((mean(&zones.mask, |x, y| luma.at(x, y)) - 800.0) / 100.0).max(0.0));
    put.add(f32::from(scene.one_sided));
    put.add(component.bounds.width().max(component.bounds.height()) as f32 / luma.width() as f32 * 100.0);
    put.add(mean(&zones.rim, |x, y| slope(a, x, y).min(slope(b, x, y))) / sigma);
    for (cells, whole) in scene.unrest.cells.iter().zip(scene.unrest.whole) {
        put.add(cells.mean_around((cx, cy), 1));
        put.add(cells.mean_around((cx, cy), 4));
        put.add(whole);
    }
    tint(&mut put, scene, &zones);
    own_frame(&mut put, scene, &zones, sigma, sign);
    border(&mut put, scene, component);
    debug_assert_eq!(put.at, FIRST_LOOK);
    // Long for its width; and drawn out, or curled so that it leaves most of its rectangle empty. A ragged blob is neither.
    let drawn_out = values[ELONGATION] > 2.5 || values[FILL] < 0.45;
    let hair = length > 14.0 && length / width.max(1.0) > 4.5 && drawn_out;
    Glance { component, zones, sigma, sign, hair, values }
}

/// Takes the remaining measurements.
pub fn closer_look(scene: &Scene, glance: Glance) -> Measured {
    let Glance { component, zones, sigma, sign, hair, mut values } = glance;
    let mut put = Put { values: &mut values, at: FIRST_LOOK };
    let aligned = retest(&mut put, scene, component, &zones, sigma, sign);
    reappearance(&mut put, scene, component, &zones, sign);
    channels(&mut put, scene, &zones, &aligned, sign);
    witnesses(&mut put, scene, component, &zones, &aligned, sigma, sign);
    range(&mut put, scene, component, &zones, sigma, sign);
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
    let (mx, my) = (mean(places, |x, _| x as f32), mean(places, |_, y| y as f32));
    let xx = mean(places, |x, _| (x as f32 - mx).powi(2)) + 1.0 / 12.0;
    let yy = mean(places, |_, y| (y as f32 - my).powi(2)) + 1.0 / 12.0;
    let xy = mean(places, |x, y| (x as f32 - mx) * (y as f32 - my));
    let half = 0.5 * (xx + yy);
    let root = (0.25 * (xx - yy).powi(2) + xy * xy).sqrt();
    let (long, short) = (half + root, (half - root).max(1.0 / 12.0));
    (long / short).sqrt()
}

/// The stronger opponent plane's response to the mark.
fn tint(put: &mut Put, scene: &Scene, zones: &Zones) {
    let mut best = [0.0f32; 3];
    for evidence in scene.colour.iter().flat_map(|c| &c.planes) {
        let (width, height) = (evidence.spike.width(), evidence.spike.height());
        let half = |x: usize, y: usize| ((x / 2).min(width - 1), (y / 2).min(height - 1));
        let (mut sum, mut peak, mut rank) = (0.0f32, 0.0f32, 0.0f32);
        for &(x, y) in &zones.mask {
            let (i, j) = half(x, y);
            let v = evidence.spike.at(i, j);
            sum += v;
            peak = peak.max(v.abs());
            rank = rank.max(evidence.rank.at(i, j).abs());
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
    let e = scene.evidence;
    put.add(mean(&zones.mask, |x, y| sign * e.spike.at(x, y)));
    put.add(zones.mask.iter().map(|&(x, y)| sign * e.spike.at(x, y)).fold(0.0, f32::max));
    put.add(mean(&zones.mask, |x, y| (sign * e.rank.at(x, y)).max(0.0)));
    put.add(zones.mask.iter().map(|&(x, y)| sign * e.rank.at(x, y)).fold(0.0, f32::max));
    put.add(mean(&zones.mask, |x, y| f32::from(sign * e.rank.at(x, y) > 0.3)));
}

fn surroundings(put: &mut Put, scene: &Scene, zones: &Zones, sigma: f32, sign: f32) {
    let luma = &scene.current.luma;
    let [a, b] = [scene.sides[0].seen, scene.sides[1].seen];
    let residue =
        |places: &[(usize, usize)], plane: &Plane| mean(places, |x, y| (luma.at(x, y) - plane.at(x, y)).abs());
    let (ra, rb) = (residue(&zones.rim, a) / sigma, residue(&zones.rim, b) / sigma);
    put.add(ra.min(rb));
    put.add(ra.max(rb));
    put.add(residue(&zones.surround, a).max(residue(&zones.surround, b)) / sigma);
    put.add(mean(&zones.mask, |x, y| (a.at(x, y) - b.at(x, y)).abs()) / sigma);
    put.add(mean(&zones.rim, |x, y| (a.at(x, y) - b.at(x, y)).abs()) / sigma);
    let step = |plane: &Plane| {
        sign * (mean(&zones.mask, |x, y| plane.at(x, y)) - mean(&zones.rim, |x, y| plane.at(x, y))) / sigma
    };
    put.add(step(luma));
    put.add(step(a).max(step(b)));
    put.add(deviation(&zones.rim, luma) / sigma);
    put.add(deviation(&zones.mask, a).min(deviation(&zones.mask, b)) / sigma);
}

fn edges(put: &mut Put, scene: &Scene, zones: &Zones, sigma: f32) {
    let luma = &scene.current.luma;
    let a = scene.sides[0].seen;
    let sharpest =
        |places: &[(usize, usize)], plane: &Plane| places.iter().map(|&(x, y)| slope(plane, x, y)).fold(0.0, f32::max);
    let edge = mean(&zones.edge, |x, y| slope(luma, x, y)) / sigma;
    put.add(edge);
    let picture = sharpest(&zones.surround, a).max(sharpest(&zones.rim, a)) / sigma;
    put.add(edge / (picture + 1.0));
}

/// How the mark stands out in its own frame, and what its neighbours show along its outline.
fn own_frame(put: &mut Put, scene: &Scene, zones: &Zones, sigma: f32, sign: f32) {
    let luma = &scene.current.luma;
    put.add(deviation(&zones.mask, luma) / sigma);
    let seen = [scene.sides[0].seen, scene.sides[1].seen];
    let outline = outline::measure(&zones.outline, luma, seen, sigma, sign);
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
    put.add(if scene.one_sided { 0.0 } else { Vector::new(va.dx + vb.dx, va.dy + vb.dy).length() });
    put.add(a.field.roughness(x, y).max(b.field.roughness(x, y)));
    put.add(a.field.error(x, y).max(b.field.error(x, y)) / sigma);
}

/// How far the window of the re-estimated motion reaches beyond the mark, in pixels.
const REACH: i32 = 8;

/// A mean absolute difference of 0.8 x sqrt(2) sigmas is all that grain leaves of two aligned frames: a start that is
/// near it needs no search.
fn search(radius: i32, sigma: f32) -> Search {
    Search { radius, most_pixels: 240, content: 1.3 * sigma }
}

/// Aligns both neighbours anew on the surroundings alone and asks again whether the mark is missing there.
fn retest(
    put: &mut Put,
    scene: &Scene,
    component: &Component,
    zones: &Zones,
    sigma: f32,
    sign: f32,
) -> [LocalMatch; 2] {
    let luma = &scene.current.luma;
    let (cx, cy) = centre(&component.bounds);
    let window = component.bounds.grown(REACH);
    let aligned = [0, 1].map(|k| {
        let side = &scene.sides[k];
        let start = side.field.at(cx as f32, cy as f32);
        search_around(luma, &side.frame.luma, scene.taken, None, window, start, &search(1, sigma))
    });
    let difference = |k: usize, x: usize, y: usize| {
        let m = &aligned[k];
        let other = sample(&scene.sides[k].frame.luma, x as f32 + m.vector.dx, y as f32 + m.vector.dy) + m.offset;
        sign * (luma.at(x, y) - other) / sigma
    };
    let (mut both, mut least, mut peak, mut apart) = (0.0, [0.0f32; 2], 0.0f32, 0.0);
    for &(x, y) in &zones.mask {
        let (da, db) = (difference(0, x, y), difference(1, x, y));
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
    let rim = aligned[0].error.max(aligned[1].error) / sigma;
    put.add(if rim.is_finite() { rim } else { 20.0 });
    let shift = |k: usize| aligned[k].vector.distance(scene.sides[k].field.at(cx as f32, cy as f32));
    put.add(shift(0).max(shift(1)));
    put.add(apart / n / (both / n).abs().max(0.5));
    aligned
}

/// Farthest displacement at which a mark's like is looked for in a neighbour, in pixels.
const SEARCH: i32 = 14;
/// Positions of the mark and its rim that are compared.
const SHAPE: usize = 40;

/// Points of a mark and of its rim, to be held against planes of the frame's size at displacements up to [`SEARCH`].
struct Shape {
    points: Vec<(i32, i32, f32)>,
    /// Places in a plane's samples, when every displaced point lies inside the frame.
    places: Option<Vec<i32>>,
}

impl Shape {
    fn new(points: Vec<(i32, i32, f32)>, width: i32, height: i32) -> Self {
        let inside =
            |&(x, y, _): &(i32, i32, f32)| x >= SEARCH && y >= SEARCH && x + SEARCH < width && y + SEARCH < height;
        let places = points.iter().all(inside).then(|| points.iter().map(|&(x, y, _)| y * width + x).collect());
        Self { points, places }
    }

    /// Sum of absolute differences at a displacement; any value of at least `enough` once it has reached that.
    fn difference(&self, plane: &Plane, dx: i32, dy: i32, enough: f32) -> f32 {
        let mut sum = 0.0;
        if let Some(places) = &self.places {
            let samples = plane.as_slice();
            let shift = dy * plane.width() as i32 + dx;
            for (place, &(_, _, value)) in places.iter().zip(&self.points) {
                sum += (value - samples[(place + shift) as usize]).abs();
                if sum >= enough {
                    break;
                }
            }
        } else {
            for &(x, y, value) in &self.points {
                sum += (value - plane.clamped(x + dx, y + dy)).abs();
                if sum >= enough {
                    break;
                }
            }
        }
        sum
    }
}

/// Where a mark's shape fits best among displacements: the sum of differences, and how far away.
#[derive(Clone, Copy)]
struct Fit {
    sum: f32,
    distance: f32,
}

impl Fit {
    const NONE: Self = Self { sum: f32::INFINITY, distance: 0.0 };
}

/// The best fits nearer than `own` and from there on. Every second displacement first, then all around the best of them.
fn fits(shape: &Shape, plane: &Plane, own: i32, near_too: bool) -> [Fit; 2] {
    let mut best = [Fit::NONE; 2];
    let mut at = [(0, 0); 2];
    let look = |dx: i32, dy: i32, best: &mut [Fit; 2], at: &mut [(i32, i32); 2]| {
        let zone = usize::from(dx.abs().max(dy.abs()) >= own);
        if zone == 0 && !near_too {
            return;
        }
        let sum = shape.difference(plane, dx, dy, best[zone].sum);
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

/// Looks for the mark's own shape, displaced, in each compensated neighbour: dirt never re-appears, objects do. Small
/// displacements tell what an error of motion would explain. And in the frame itself: texture has its like nearby.
fn reappearance(put: &mut Put, scene: &Scene, component: &Component, zones: &Zones, sign: f32) {
    let luma = &scene.current.luma;
    let mut inside = zones.mask.clone();
    thin(&mut inside, SHAPE);
    let mut rim = zones.rim.clone();
    thin(&mut rim, SHAPE / 2);
    let points: Vec<(i32, i32, f32)> =
        inside.iter().chain(&rim).map(|&(x, y)| (x as i32, y as i32, luma.at(x, y))).collect();
    let (inner, count) = (inside.len().max(1) as f32, points.len().max(1) as f32);
    let shape = Shape::new(points, luma.width() as i32, luma.height() as i32);
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

/// Do all colour channels say the same? Dust covers all dye layers; an error of motion rarely looks alike in all three.
fn channels(put: &mut Put, scene: &Scene, zones: &Zones, aligned: &[LocalMatch; 2], sign: f32) {
    let planes = &scene.current.planes;
    if planes.len() < 3 {
        for value in [0.0, 1.0, 1.0] {
            put.add(value);
        }
        return;
    }
    let mut inside = zones.mask.clone();
    thin(&mut inside, 60);
    let mut response = [0.0f32; 3];
    for (c, out) in response.iter_mut().enumerate() {
        let difference = |k: usize, x: usize, y: usize| {
            let m = &aligned[k];
            let other = scene.sides[k].frame.planes.get(c).unwrap_or(&planes[c]);
            let there = other.clamped((x as f32 + m.vector.dx).round() as i32, (y as f32 + m.vector.dy).round() as i32);
            sign * (planes[c].at(x, y) - there - m.offset)
        };
        *out = mean(&inside, |x, y| {
            let (da, db) = (difference(0, x, y), difference(1, x, y));
            da.min(db).max(0.0) + da.max(db).min(0.0)
        });
    }
    let (low, high) = response.iter().fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    put.add((high - low) / high.max(1.0));
    put.add(response.iter().filter(|v| **v > 0.25 * high).count() as f32);
    put.add(low / high.max(1.0));
}

/// What n-2 and n+2 say: a mark of one frame is missing there too, and they agree with the nearer neighbours.
fn witnesses(
    put: &mut Put,
    scene: &Scene,
    component: &Component,
    zones: &Zones,
    aligned: &[LocalMatch; 2],
    sigma: f32,
    sign: f32,
) {
    let luma = &scene.current.luma;
    let window = component.bounds.grown(REACH);
    let (mut response, mut rim, mut agree) = (f32::INFINITY, 0.0f32, 0.0f32);
    for (k, near) in aligned.iter().enumerate() {
        let Some(frame) = scene.witnesses[k] else { continue };
        // Steady motion carries on: twice the nearer vector is the place to start.
        let start = Vector::new(2.0 * near.vector.dx, 2.0 * near.vector.dy);
        let m = search_around(luma, &frame.luma, scene.taken, None, window, start, &search(2, sigma));
        if !m.error.is_finite() {
            continue;
        }
        let far = |x: usize, y: usize| sample(&frame.luma, x as f32 + m.vector.dx, y as f32 + m.vector.dy) + m.offset;
        let close = |x: usize, y: usize| {
            sample(&scene.sides[k].frame.luma, x as f32 + near.vector.dx, y as f32 + near.vector.dy) + near.offset
        };
        response = response.min(mean(&zones.mask, |x, y| sign * (luma.at(x, y) - far(x, y))) / sigma);
        agree = agree.max(mean(&zones.mask, |x, y| (close(x, y) - far(x, y)).abs()) / sigma);
        rim = rim.max(m.error / sigma);
    }
    put.add(if response.is_finite() { response } else { -1.0 });
    put.add(rim);
    put.add(agree);
}

/// How far around a mark its range is looked at: nearly as far as a fast motion, and farther.
const NEAR: i32 = 6;
const FAR: i32 = 16;

/// How far the mark lies beyond the range of everything around it, in the neighbours and in its own frame.
fn range(put: &mut Put, scene: &Scene, component: &Component, zones: &Zones, sigma: f32, sign: f32) {
    let luma = &scene.current.luma;
    let inside = mean(&zones.mask, |x, y| luma.at(x, y));
    for reach in [NEAR, FAR] {
        let area = component.bounds.grown(reach);
        let beyond = scene.sides.iter().filter_map(|s| Some(beyond(inside, extremes(s.seen, area, 2, None)?, sign)));
        put.add(beyond.fold(f32::INFINITY, f32::min) / sigma);
    }
    let here = extremes(luma, component.bounds.grown(FAR), 1, Some(scene.taken));
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
        let (width, height) = (plane.width(), plane.height());
        let inside = mean(&zones.mask, |x, y| plane.at((x / 2).min(width - 1), (y / 2).min(height - 1)));
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
}
