//! What is measured of a suspected mark in the gate before it is judged: its shape, and in every other frame of the window
//! whether it stayed or went with the picture around it. Dimensionless or in grain sigmas.

use besom_motion::around::{Search, search_around};
use besom_motion::interpolate::sample_with_gradient;
use besom_motion::{MotionField, Vector};
use besom_scan::{Plane, Rect, Run, RunMask};

use super::persistence::Standing;
use crate::candidate::Polarity;
use crate::evidence::Evidence;
use crate::grain::Grain;
use crate::prepare::Prepared;

/// Names of the measurements, in their order.
pub const NAMES: [&str; 51] = [
    "area",
    "thinness",
    "fill",
    "elongation",
    "size_relative",
    "width",
    "width_relative",
    "at_edge",
    "edge_distance",
    "upright",
    "contrast",
    "persists",
    "persists_least",
    "sharpness",
    "contrast_to_texture",
    "texture",
    "level",
    "ground",
    "bright",
    "channel_weakest",
    "channel_signs",
    "spike_mean",
    "spike_share",
    "stays",
    "stays_near",
    "stays_most",
    "goes",
    "goes_near",
    "goes_least",
    "stays_less_goes",
    "stays_less_goes_least",
    "stays_less_goes_most",
    "stays_to_contrast",
    "goes_to_contrast",
    "slips",
    "stays_share",
    "stays_share_least",
    "goes_share",
    "goes_share_most",
    "motion",
    "motion_most",
    "motion_to_width",
    "telling",
    "motion_of_frame",
    "motion_not_frame",
    "motion_uneven",
    "own_motion",
    "rim_error",
    "frames",
    "crowd",
    "crowd_near",
];

/// Another frame of the window.
pub(super) struct Other<'a> {
    /// The frame.
    pub(super) frame: &'a Prepared,
    /// What stands out of it.
    pub(super) outstanding: &'a Plane<i16>,
    /// A field towards it, and what its vectors are multiplied by to reach it.
    pub(super) field: &'a MotionField,
    pub(super) times: f32,
    /// The median motion to it.
    pub(super) of_frame: Vector,
}

impl Other<'_> {
    /// The motion to this frame at a pixel.
    pub(super) fn motion_at(&self, x: f32, y: f32) -> Vector {
        let v = self.field.at(x, y);
        Vector::new(self.times * v.dx, self.times * v.dy)
    }

    /// The motions to this frame in the middle of some bounds in pixels and [`BESIDE`] them on all four sides; those that are
    /// the same but for half a pixel once.
    pub(super) fn motions(&self, bounds: &Rect) -> Vec<Vector> {
        let (x0, x1, y0, y1) = (bounds.x0 as f32, bounds.x1 as f32, bounds.y0 as f32, bounds.y1 as f32);
        let (cx, cy) = (0.5 * (x0 + x1 - 1.0), 0.5 * (y0 + y1 - 1.0));
        let places = [(cx, cy), (x0 - BESIDE, cy), (x1 + BESIDE, cy), (cx, y0 - BESIDE), (cx, y1 + BESIDE)];
        // Room for one that is added to them.
        let mut motions: Vec<Vector> = Vec::with_capacity(places.len() + 1);
        for v in places.map(|(x, y)| self.motion_at(x, y)) {
            add_motion(&mut motions, v);
        }
        motions
    }
}

/// Adds a motion that is none of the known ones but for half a pixel.
fn add_motion(motions: &mut Vec<Vector>, v: Vector) {
    if motions.iter().all(|known| known.distance(v) > 0.5) {
        motions.push(v);
    }
}

/// What all suspects of a frame share.
pub(super) struct Scene<'a> {
    pub(super) current: &'a Prepared,
    pub(super) outstanding: &'a Plane<i16>,
    pub(super) others: &'a [Other<'a>],
    pub(super) grain: &'a Grain,
    pub(super) evidence: &'a Evidence,
    /// Not zero where a mark may stand still, a pixel more on every side.
    pub(super) taken: &'a Plane<u8>,
    /// Scan pixels to a sample of the planes of what stands out.
    pub(super) reduction: usize,
}

/// Side of the cells into which a large mark is cut: the picture around each moves in its own way.
const PIECE: i32 = 40;
/// Most pieces of a mark that are looked at, evenly taken.
const MOST_PIECES: usize = 10;
/// Most pixels of a piece that are compared.
const MOST_PIXELS: usize = 80;
/// How far around a piece the picture is matched, in pixels.
const AROUND: i32 = 10;
/// Differences beyond this many sigmas count as this many.
const CLIP: f32 = 25.0;
/// Motion of the picture, in pixels, below which a frame says nothing.
pub(super) const LEAST_MOTION: f32 = 1.0;

/// Pixels of a mark within one cell.
struct Piece {
    pixels: Vec<(usize, usize)>,
    bounds: Rect,
    around: Surround,
}

fn pieces(scene: &Scene, pixels: &[(usize, usize)]) -> Vec<Piece> {
    let mut keyed: Vec<((i32, i32), (usize, usize))> =
        pixels.iter().map(|p| ((p.1 as i32 / PIECE, p.0 as i32 / PIECE), *p)).collect();
    keyed.sort_unstable();
    let mut all: Vec<Piece> = Vec::new();
    let mut last = None;
    for (key, (x, y)) in keyed {
        let pixel = Rect::new(x as i32, y as i32, x as i32 + 1, y as i32 + 1);
        match all.last_mut() {
            Some(piece) if last == Some(key) => {
                piece.pixels.push((x, y));
                piece.bounds = piece.bounds.union(&pixel);
            }
            _ => all.push(Piece { pixels: vec![(x, y)], bounds: pixel, around: Surround::default() }),
        }
        last = Some(key);
    }
    // Crumbs at a cell's border say little; the largest piece always stays.
    let largest = all.iter().map(|p| p.pixels.len()).max().unwrap_or(0);
    all.retain(|p| p.pixels.len() * 6 >= largest);
    thin(&mut all, MOST_PIECES);
    for piece in &mut all {
        thin(&mut piece.pixels, MOST_PIXELS);
        let skip = |x: i32, y: i32| scene.taken.at(x as usize, y as usize) != 0;
        piece.around = Surround::gather(&scene.current.luma, &piece.bounds, skip);
    }
    all
}

fn thin<T>(list: &mut Vec<T>, most: usize) {
    let step = list.len().div_ceil(most).max(1);
    let mut k = 0;
    list.retain(|_| {
        k += 1;
        (k - 1) % step == 0
    });
}

/// One piece held against one other frame; differences in sigmas.
#[derive(Clone, Copy, Debug, Default)]
struct Compared {
    weight: f32,
    vector: Vector,
    /// Mean difference where the mark stands, and the least of it up to a sample and a half around.
    stays: f32,
    stays_near: f32,
    /// The same where the picture around went.
    goes: f32,
    goes_near: f32,
    rim: f32,
    /// How far off the least of it is, in pixels.
    slips: f32,
    /// Shares of the pixels that are the same but for grain there, and where the picture around went.
    stays_share: f32,
    goes_share: f32,
    /// Codes to add to the other frame.
    offset: f32,
}

/// What of a mark must be like but for grain, in sigmas: four of five differences of two grains are less.
const ALIKE: f32 = 2.5;
/// Share of the pixels, the most alike, whose differences are averaged: a mask is never quite the mark.
const TRIMMED: f32 = 0.6;

/// Measures a suspect, and says which pixels are the mark's; `None` where the picture around stands still, which tells nothing, or cannot be followed.
pub(super) fn measure(scene: &Scene, suspect: &Standing, (all, near): (usize, usize)) -> Option<(Vec<f32>, RunMask)> {
    let pixels = full_size(scene, suspect);
    let pieces = pieces(scene, &pixels);
    let sign = if suspect.polarity == Polarity::Bright { 1.0 } else { -1.0 };
    let level = mean(&pixels, |x, y| scene.current.luma.at(x, y));
    let sigma = scene.grain.luma_at(level).max(0.25);
    let mut looks: Vec<Compared> = Vec::with_capacity(scene.others.len());
    for other in scene.others {
        let compare = |p| compare(scene, p, other, sigma);
        let parts: Vec<Compared> = pieces.iter().filter_map(compare).collect();
        looks.push(together(&parts)?);
    }
    let most = looks.iter().map(|l| l.vector.length()).fold(0.0, f32::max);
    if most < LEAST_MOTION {
        return None;
    }
    let mut values = own(scene, suspect, &pixels, (sigma, sign, level));
    let (width, contrast) = (values[5], values[10]);
    values.extend(over_frames(&looks, scene, most, (width, contrast)));
    let (cx, cy) = middle(&pixels);
    let own_motion = |(look, other): (&Compared, &Other)| look.vector.distance(other.motion_at(cx, cy));
    values.push(looks.iter().zip(scene.others).map(own_motion).sum::<f32>() / looks.len() as f32);
    values.push(looks.iter().map(|l| l.rim).sum::<f32>() / looks.len() as f32);
    values.push(looks.len() as f32);
    values.push(libm::log1pf(all as f32));
    values.push(libm::log1pf(near as f32));
    debug_assert_eq!(values.len(), NAMES.len());
    let mask = still_pixels(scene, &pixels, &looks, sigma * contrast.max(1.0));
    for v in &mut values {
        if !v.is_finite() {
            *v = 0.0;
        }
    }
    Some((values, mask))
}

/// The pixels that are alike in most of the frames, and those beside them: what a mark has grown into is left off. All of them
/// where that is less than half, as of a thin mark that slips.
fn still_pixels(scene: &Scene, pixels: &[(usize, usize)], looks: &[Compared], contrast: f32) -> RunMask {
    let mask = |pixels: &[(usize, usize)]| {
        let run = |(x, y): &(usize, usize)| Run { y: *y as u32, x0: *x as u32, x1: *x as u32 + 1 };
        RunMask::from_runs(pixels.iter().map(run).collect())
    };
    let limit = BELONGS * contrast;
    let mut differences = Vec::with_capacity(looks.len());
    let mut alike = pixels.to_vec();
    alike.retain(|(x, y)| {
        differences.clear();
        let here = scene.current.luma.at(*x, *y);
        differences
            .extend(looks.iter().zip(scene.others).map(|(l, o)| (here - o.frame.luma.at(*x, *y) - l.offset).abs()));
        differences.sort_unstable_by(f32::total_cmp);
        differences[differences.len() / 2] <= limit
    });
    let all = mask(pixels);
    if 2 * alike.len() < pixels.len() {
        return all;
    }
    let (width, height) = (scene.current.width() as u32, scene.current.height() as u32);
    all.intersection(&mask(&alike).grown(1, width, height))
}

/// Change of a pixel to another frame, against the mark's contrast, up to which it is part of the mark.
const BELONGS: f32 = 0.4;

/// The suspect's pixels in the frame.
fn full_size(scene: &Scene, suspect: &Standing) -> Vec<(usize, usize)> {
    let step = scene.reduction;
    let (width, height) = (scene.current.width(), scene.current.height());
    let spread = |(x, y): (u32, u32)| {
        (0..step).flat_map(move |j| (0..step).map(move |i| (x as usize * step + i, y as usize * step + j)))
    };
    suspect.samples.iter().copied().flat_map(spread).filter(|(x, y)| *x < width && *y < height).collect()
}

/// How far beside a piece the motion is asked for: farther than a patch of the search reaches.
const BESIDE: f32 = 22.0;

fn compare(scene: &Scene, piece: &Piece, other: &Other, sigma: f32) -> Option<Compared> {
    let luma = &scene.current.luma;
    let window = piece.bounds.grown(AROUND);
    let search = Search { radius: scene.reduction as i32, most_pixels: 128, content: 1.3 * sigma, gain: 1.0 };
    let look = |start: Vector, search: &Search| {
        search_around(luma, &other.frame.luma, scene.taken, None, window, start, search)
    };
    // The mark itself may hold the motion still, as far as a patch of the search reaches: the best of what the picture does
    // here and beside it begins.
    let mut starts = other.motions(&piece.bounds);
    add_motion(&mut starts, other.of_frame);
    let left = |start| (piece.around.left(&other.frame.luma, start), start);
    let (_, best) = starts.into_iter().map(left).min_by(|a, b| a.0.total_cmp(&b.0))?;
    let start = look(best, &Search { radius: 0, content: f32::INFINITY, ..search });
    let found = if start.error <= search.content { start } else { look(start.vector, &search) };
    if !found.error.is_finite() {
        return None;
    }
    let held = Held { here: luma, there: &other.frame.luma, pixels: &piece.pixels, offset: found.offset, sigma };
    let v = found.vector;
    let step = scene.reduction as f32;
    let (stays, still) = held.settled(Vector::default(), step);
    let (goes, gone) = held.settled(v, step);
    Some(Compared {
        weight: piece.pixels.len() as f32,
        vector: v,
        stays,
        stays_near: still.mean,
        goes,
        goes_near: gone.mean,
        rim: found.error / sigma,
        slips: still.at.length(),
        stays_share: still.share,
        goes_share: gone.share,
        offset: found.offset,
    })
}

/// A few pixels of the picture around a piece, on which motions are told apart before one of them is followed.
#[derive(Default)]
pub(super) struct Surround {
    pixels: Vec<(i32, i32, f32)>,
}

/// Pixels of a [`Surround`] at most.
const MOST_AROUND: usize = 64;

impl Surround {
    /// Those within [`AROUND`] that are not to be skipped, on an even lattice.
    pub(super) fn gather(luma: &Plane, bounds: &Rect, skip: impl Fn(i32, i32) -> bool) -> Self {
        let window = bounds.grown(AROUND).intersect(&luma.rect());
        let mut step = 1;
        while window.area() > MOST_AROUND * (step * step) as usize {
            step += 1;
        }
        let mut pixels = Vec::with_capacity(2 * MOST_AROUND);
        for y in (window.y0..window.y1).step_by(step as usize) {
            let row = luma.row(y as usize);
            // Every other row begins half a step later, so that the lattice does not fall in with upright structure.
            let shift = if (y - window.y0) / step % 2 == 1 { step / 2 } else { 0 };
            for x in (window.x0 + shift..window.x1).step_by(step as usize) {
                if !skip(x, y) {
                    pixels.push((x, y, row[x as usize]));
                }
            }
        }
        Self { pixels }
    }

    /// Mean difference to another frame moved by `v`, to whole pixels and but for its level; infinite without any pixels.
    pub(super) fn left(&self, other: &Plane, v: Vector) -> f32 {
        let (dx, dy) = (v.dx.round() as i32, v.dy.round() as i32);
        let mut differences = [0.0f32; 4 * MOST_AROUND];
        let mut count = 0;
        for (place, (x, y, value)) in differences.iter_mut().zip(&self.pixels) {
            *place = value - other.clamped(x + dx, y + dy);
            count += 1;
        }
        let differences = &differences[..count];
        let level = differences.iter().sum::<f32>() / count as f32;
        let sum: f32 = differences.iter().map(|d| (d - level).abs()).sum();
        if count == 0 { f32::INFINITY } else { sum / count as f32 }
    }
}

/// A mark against another frame at a displacement.
#[derive(Clone, Copy)]
struct Difference {
    at: Vector,
    /// Mean over the most alike pixels, in sigmas.
    mean: f32,
    /// Share of all pixels that are alike but for grain.
    share: f32,
}

/// Pixels of a mark to be held against another frame that is levelled by `offset`.
struct Held<'a> {
    here: &'a Plane,
    there: &'a Plane,
    pixels: &'a [(usize, usize)],
    offset: f32,
    sigma: f32,
}

impl Held<'_> {
    /// The difference at a displacement, and the Gauss-Newton step from there.
    fn at(&self, v: Vector) -> (Difference, Vector) {
        let limit = 2.0 * ALIKE * self.sigma;
        let (mut xx, mut xy, mut yy, mut bx, mut by) = (0.0f32, 0.0f32, 0.0f32, 0.0f32, 0.0f32);
        let mut differences: Vec<f32> = Vec::with_capacity(self.pixels.len());
        let mut sorted = Vec::with_capacity(self.pixels.len());
        for &(x, y) in self.pixels {
            let (other, gx, gy) = sample_with_gradient(self.there, x as f32 + v.dx, y as f32 + v.dy);
            let rest = self.here.at(x, y) - other - self.offset;
            differences.push((rest.abs() / self.sigma).min(CLIP));
            let rest = rest.clamp(-limit, limit);
            xx += gx * gx;
            xy += gx * gy;
            yy += gy * gy;
            bx += gx * rest;
            by += gy * rest;
        }
        let count = differences.len().max(1) as f32;
        // Flat marks keep their place: the damping is worth half the grain of gradient on every pixel.
        let damping = 0.25 * count * self.sigma * self.sigma;
        let (xx, yy) = (xx + damping, yy + damping);
        let det = (xx * yy - xy * xy).max(1e-6);
        let step =
            Vector::new(((yy * bx - xy * by) / det).clamp(-1.0, 1.0), ((xx * by - xy * bx) / det).clamp(-1.0, 1.0));
        let share = differences.iter().filter(|d| **d < ALIKE).count() as f32 / count;
        let mean = of_the_least(&differences, &mut sorted, TRIMMED);
        (Difference { at: v, mean, share }, step)
    }

    /// The difference at a displacement, and the least on the way down from it, within about a sample and a half.
    fn settled(&self, start: Vector, step: f32) -> (f32, Difference) {
        let (first, mut newton) = self.at(start);
        let mut best = first;
        for _ in 0..STEPS {
            let next = Vector::new(best.at.dx + newton.dx, best.at.dy + newton.dy);
            if next.distance(start) > 1.6 * step {
                break;
            }
            let (next, from_there) = self.at(next);
            if next.mean >= best.mean {
                break;
            }
            (best, newton) = (next, from_there);
        }
        (first.mean, best)
    }
}

/// Steps down from a displacement at most.
const STEPS: usize = 3;

/// Mean of the least `share` of some numbers; sums them in the order that they are given in.
fn of_the_least(all: &[f32], sorted: &mut Vec<f32>, share: f32) -> f32 {
    let most = ((share * all.len() as f32) as usize).clamp(1, all.len().max(1));
    if all.is_empty() {
        return 0.0;
    }
    sorted.clear();
    sorted.extend_from_slice(all);
    let limit = *sorted.select_nth_unstable_by(most - 1, f32::total_cmp).1;
    let (mut sum, mut count) = (0.0, 0);
    for value in all.iter().filter(|v| **v < limit) {
        sum += value;
        count += 1;
    }
    (sum + limit * (most - count) as f32) / most as f32
}

/// The pieces' comparisons with one frame as one, each weighed by its pixels; `None` without any.
fn together(parts: &[Compared]) -> Option<Compared> {
    let all: f32 = parts.iter().map(|p| p.weight).sum();
    let mean = |of: fn(&Compared) -> f32| parts.iter().map(|p| p.weight * of(p)).sum::<f32>() / all;
    (all > 0.0).then(|| Compared {
        weight: all,
        vector: Vector::new(mean(|p| p.vector.dx), mean(|p| p.vector.dy)),
        stays: mean(|p| p.stays),
        stays_near: mean(|p| p.stays_near),
        goes: mean(|p| p.goes),
        goes_near: mean(|p| p.goes_near),
        rim: mean(|p| p.rim),
        slips: mean(|p| p.slips),
        stays_share: mean(|p| p.stays_share),
        goes_share: mean(|p| p.goes_share),
        offset: mean(|p| p.offset),
    })
}

/// Measurements in the frame itself.
fn own(
    scene: &Scene,
    suspect: &Standing,
    pixels: &[(usize, usize)],
    (sigma, sign, level): (f32, f32, f32),
) -> Vec<f32> {
    let luma = &scene.current.luma;
    let (columns, rows) = (luma.width() as i32, luma.height() as i32);
    let bounds = pixels
        .iter()
        .fold(Rect::default(), |r, (x, y)| r.union(&Rect::new(*x as i32, *y as i32, *x as i32 + 1, *y as i32 + 1)));
    let area = pixels.len() as f32;
    let (edge, steep) = outline(suspect, scene);
    let length = (0.5 * edge).max(1.0);
    let width = (area / length).max(1.0);
    let distance = bounds.x0.min(bounds.y0).min(columns - bounds.x1).min(rows - bounds.y1).max(0);
    let fine = super::outstanding::FINE * sigma;
    let samples: Vec<(usize, usize)> = suspect.samples.iter().map(|(x, y)| (*x as usize, *y as usize)).collect();
    let lead = |plane: &Plane<i16>| mean(&samples, |x, y| sign * f32::from(plane.at(x, y))) / fine;
    let contrast = lead(scene.outstanding).max(0.1);
    let in_others: Vec<f32> = scene.others.iter().map(|o| lead(o.outstanding) / contrast).collect();
    let least = in_others.iter().copied().fold(f32::MAX, f32::min);
    let rim = rim(scene, &bounds);
    let ground = mean(&rim, |x, y| luma.at(x, y));
    let texture = mean(&rim, |x, y| (luma.at(x, y) - ground).powi(2)).sqrt() / sigma;
    let channels: Vec<f32> =
        scene.current.planes.iter().map(|p| mean(pixels, |x, y| p.at(x, y)) - mean(&rim, |x, y| p.at(x, y))).collect();
    let (weak, strong) = channels.iter().fold((f32::MAX, 0.0f32), |(l, h), c| (l.min(c.abs()), h.max(c.abs())));
    let same_sign = channels.iter().all(|c| *c > 0.0) || channels.iter().all(|c| *c < 0.0);
    let spike = |x: usize, y: usize| (sign * scene.evidence.spike.at(x, y)).max(0.0);
    vec![
        area.ln(),
        length / width,
        area / bounds.area().max(1) as f32,
        elongation(pixels),
        100.0 * bounds.width().max(bounds.height()) as f32 / columns as f32,
        width,
        2048.0 * width / columns as f32,
        f32::from(u8::from(distance <= 2)),
        distance as f32 / rows as f32,
        bounds.height() as f32 / (bounds.width() + bounds.height()).max(1) as f32,
        contrast,
        in_others.iter().sum::<f32>() / in_others.len() as f32,
        least,
        steep / (contrast * sigma),
        contrast / texture.max(0.5),
        texture,
        level / 1024.0,
        ground / 1024.0,
        sign,
        weak / strong.max(1e-3),
        f32::from(u8::from(same_sign)),
        mean(pixels, spike),
        mean(pixels, |x, y| f32::from(u8::from(spike(x, y) > 1.5))),
    ]
}

/// Pixels of the mask's edge in the frame's pixels, and the mean slope of the luma on it, in codes a pixel.
fn outline(suspect: &Standing, scene: &Scene) -> (f32, f32) {
    let step = scene.reduction as u32;
    let luma = &scene.current.luma;
    let (mut count, mut sum) = (0.0f32, 0.0f32);
    let mask = suspect.mask();
    for &(x, y) in &suspect.samples {
        let inside = |dx: i32, dy: i32| {
            let (i, j) = (x as i32 + dx, y as i32 + dy);
            i >= 0 && j >= 0 && mask.contains(i as u32, j as u32)
        };
        if inside(-1, 0) && inside(1, 0) && inside(0, -1) && inside(0, 1) {
            continue;
        }
        count += 1.0;
        let (u, v) = ((x * step) as i32, (y * step) as i32);
        let gx = luma.clamped(u + 1, v) - luma.clamped(u - 1, v);
        let gy = luma.clamped(u, v + 1) - luma.clamped(u, v - 1);
        sum += 0.5 * (gx * gx + gy * gy).sqrt();
    }
    (count * step as f32, sum / count.max(1.0))
}

/// Pixels around the bounds that no suspect covers.
fn rim(scene: &Scene, bounds: &Rect) -> Vec<(usize, usize)> {
    let window = bounds.grown(6).intersect(&scene.current.luma.rect());
    let mut rim = Vec::new();
    let step = (window.area() / 1500 + 1) as i32;
    for y in window.y0..window.y1 {
        let shift = y % step;
        for x in (window.x0 + shift..window.x1).step_by(step as usize) {
            if scene.taken.at(x as usize, y as usize) == 0 {
                rim.push((x as usize, y as usize));
            }
        }
    }
    rim
}

/// Measurements against the other frames.
fn over_frames(looks: &[Compared], scene: &Scene, most: f32, (width, contrast): (f32, f32)) -> Vec<f32> {
    let count = looks.len() as f32;
    let mean = |of: fn(&Compared) -> f32| looks.iter().map(of).sum::<f32>() / count;
    // A frame in which the picture moved farther says more, up to three pixels.
    let weight = |l: &Compared| l.vector.length().min(3.0) + 0.01;
    let all: f32 = looks.iter().map(weight).sum();
    let weighed = |of: fn(&Compared) -> f32| looks.iter().map(|l| weight(l) * of(l)).sum::<f32>() / all;
    let extremes = |of: fn(&Compared) -> f32| {
        looks.iter().map(of).fold((f32::MAX, f32::MIN), |(low, high), v| (low.min(v), high.max(v)))
    };
    let gain: fn(&Compared) -> f32 = |l| l.goes_near - l.stays_near;
    let telling = looks.iter().filter(|l| l.vector.length() > 0.7 * width + 0.7).count() as f32;
    let of_frame = scene.others.iter().map(|o| o.of_frame.length()).sum::<f32>() / count;
    let not_frame = looks.iter().zip(scene.others).map(|(l, o)| l.vector.distance(o.of_frame)).sum::<f32>() / count;
    // The same way on both sides of the frame: the vectors to the two neighbours, against each other.
    let uneven = match looks {
        [a, b, ..] => Vector::new(a.vector.dx + b.vector.dx, a.vector.dy + b.vector.dy).length(),
        _ => 0.0,
    };
    vec![
        mean(|l| l.stays),
        mean(|l| l.stays_near),
        extremes(|l| l.stays_near).1,
        weighed(|l| l.goes),
        weighed(|l| l.goes_near),
        extremes(|l| l.goes_near).0,
        weighed(gain),
        extremes(gain).0,
        extremes(gain).1,
        mean(|l| l.stays_near) / contrast,
        weighed(|l| l.goes_near) / contrast,
        mean(|l| l.slips),
        mean(|l| l.stays_share),
        extremes(|l| l.stays_share).0,
        weighed(|l| l.goes_share),
        extremes(|l| l.goes_share).1,
        mean(|l| l.vector.length()),
        most,
        most / width,
        telling / count,
        of_frame,
        not_frame,
        uneven / most.max(0.5),
    ]
}

fn middle(pixels: &[(usize, usize)]) -> (f32, f32) {
    (mean(pixels, |x, _| x as f32), mean(pixels, |_, y| y as f32))
}

fn mean(places: &[(usize, usize)], mut value: impl FnMut(usize, usize) -> f32) -> f32 {
    if places.is_empty() {
        return 0.0;
    }
    places.iter().map(|&(x, y)| value(x, y)).sum::<f32>() / places.len() as f32
}

/// Ratio of the longer to the shorter axis of the pixels' moments of inertia.
fn elongation(places: &[(usize, usize)]) -> f32 {
    let (mx, my) = middle(places);
    let xx = mean(places, |x, _| (x as f32 - mx).powi(2)) + 1.0 / 12.0;
    let yy = mean(places, |_, y| (y as f32 - my).powi(2)) + 1.0 / 12.0;
    let xy = mean(places, |x, y| (x as f32 - mx) * (y as f32 - my));
    let half = 0.5 * (xx + yy);
    let root = (0.25 * (xx - yy).powi(2) + xy * xy).sqrt();
    ((half + root) / (half - root).max(1.0 / 12.0)).sqrt()
}
