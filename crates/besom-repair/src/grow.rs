//! Growing a candidate's mask so that its soft edge goes with it, and no further.

use besom_scan::{Plane, RunMask};

use crate::hole::{HOLE, Hole, RIM, Spot};
use crate::job::Job;
use crate::prepared::Prepared;
use crate::trial::{Ground, Near};

/// A mask is followed this far at most, pixels; one pixel of margin comes on top.
const FARTHEST: u32 = 8;
/// A soft edge is followed no further than this, steps from the mask.
const SOFT: u32 = RIM as u32;
/// An edge goes on while the mean difference of a pixel and its neighbours further out exceeds this many sigmas ...
const EDGE: f32 = 1.5;
/// ... or, where the neighbours do not fit the picture around, this many mean rim differences in place of one sigma.
const MISFIT: f32 = 3.0;
/// ... and falls off: below this share of the difference at the pixel it is reached from. Dirt's edges do, picture that
/// moved does not.
const FALLING: f32 = 0.8;
/// What differs from both neighbours by this many sigmas, and as many mean rim differences, belongs to the mark whichever way
/// it differs and though it falls nowhere: grey dirt is dark on bright picture and bright on dark.
const PLAIN: f32 = 5.0;
/// Pixels from a mark within which a difference of either sign may belong to it.
const BESIDE: u32 = 2;
/// Gaps of a mask up to twice this wide are closed.
const CLOSING: u32 = 2;

/// The mask of a candidate with its soft edge: `job.mask` grown where the frame still differs from both neighbours in the
/// candidate's own direction (dark or bright), step by step from the mask outwards, at most four pixels, and one pixel of
/// margin, where edges fade below the grain.
///
/// Never grows onto pixels that `job.skip` holds for other candidates. Without a neighbour to compare with, only the margin
/// is added. Protected regions must be taken off afterwards.
///
/// # Panics
/// When the planes of the frame and its skip plane differ in size, or the preparation has other sources.
pub fn grown_mask(job: &Job, prepared: &Prepared) -> RunMask {
    assert!(job.planes.iter().all(|p| p.rect() == job.skip.rect()), "planes and skip plane must have one size");
    assert_eq!(job.sources.len(), prepared.sources.len(), "prepared for other sources");
    let (width, height) = (job.skip.width() as u32, job.skip.height() as u32);
    let room = others_taken_off(job, &job.mask.grown(FARTHEST, width, height));
    let Some(hole) = Hole::new(&room, job.skip).filter(|_| !job.planes.is_empty()) else {
        return job.mask.clone();
    };
    let near = Near::new(&hole, &prepared.luma, job.skip);
    let sigma = job.grain.luma_at(hole.level(&prepared.luma)).max(0.5);
    let (away, rim) = differences(job, prepared, &hole, &near, sigma);
    // Where the neighbours do not fit the picture around, what looks like an edge of the dirt is picture that moved.
    let misfit = rim.iter().filter(|d| !d.is_nan()).fold((0.0f32, 0.0f32), |(s, c), d| (s + d.abs(), c + 1.0));
    let misfit = misfit.0 / misfit.1.max(1.0);
    let limits = Limits { soft: EDGE * sigma.max(MISFIT * misfit), plain: PLAIN * sigma.max(misfit) };
    let away = without_strangers(job, &hole, &prepared.luma, away);
    let reached = followed(&hole, job.mask, &away, &limits);
    others_taken_off(job, &closed(&hole, &reached).grown(1, width, height))
}

/// How far from both neighbours a pixel must be to belong to a mark, codes.
struct Limits {
    /// At a soft edge.
    soft: f32,
    /// Anywhere.
    plain: f32,
}

/// A mask without the pixels of other candidates.
fn others_taken_off(job: &Job, mask: &RunMask) -> RunMask {
    let r = mask.bounds().intersect(&job.skip.rect());
    let others = RunMask::from_plane(&job.skip.crop(&r), r.x0.max(0) as u32, r.y0.max(0) as u32);
    mask.minus(&others.minus(job.mask))
}

/// How far the frame's luma is from both neighbours at each pixel of the hole: the smaller of two differences of one sign,
/// zero where their signs differ; of the only one where one can be read; NaN without any.
fn differences(job: &Job, prepared: &Prepared, hole: &Hole, near: &Near, sigma: f32) -> (Vec<f32>, Vec<f32>) {
    let own: Vec<f32> = hole.inside.iter().map(|s| prepared.luma.at(s.x as usize, s.y as usize)).collect();
    let mut away = vec![f32::NAN; own.len()];
    let mut rim = vec![f32::NAN; hole.rim.len()];
    for (source, source_luma) in job.sources.iter().zip(&prepared.sources) {
        if source.offset.abs() != 1 || source_luma.rect() != job.skip.rect() {
            continue;
        }
        let ground = Ground { hole, near, luma: &prepared.luma, source, source_luma, sigma };
        let trial = ground.tried(ground.simple());
        for (slot, (mine, other)) in away.iter_mut().zip(own.iter().zip(&trial.inside)) {
            *slot = nearer(*slot, mine - other);
        }
        for (slot, d) in rim.iter_mut().zip(&trial.rest) {
            *slot = nearer(*slot, *d);
        }
    }
    (away, rim)
}

/// Differences without those that no dirt of the mark's kind makes. Dirt draws the picture towards its own code, or, where it
/// only adds density or takes some, changes it in one direction; what departs from the neighbours the other way moved.
/// Beside the mark itself that is no rule: edges may have a rim of the other polarity.
fn without_strangers(job: &Job, hole: &Hole, luma: &Plane, mut away: Vec<f32>) -> Vec<f32> {
    let inside = |s: &Spot| job.mask.contains(s.x as u32, s.y as u32);
    let (mut code, mut change, mut count) = (0.0f32, 0.0f32, 0.0f32);
    for (spot, d) in hole.inside.iter().zip(&away).filter(|(s, d)| !d.is_nan() && inside(s)) {
        code += luma.at(spot.x as usize, spot.y as usize);
        change += d;
        count += 1.0;
    }
    if count == 0.0 {
        return away;
    }
    let code = code / count;
    let (width, height) = (job.skip.width() as u32, job.skip.height() as u32);
    let beside = job.mask.grown(BESIDE, width, height);
    for (spot, d) in hole.inside.iter().zip(&mut away) {
        let here = luma.at(spot.x as usize, spot.y as usize);
        let towards = (code - (here - *d)) * *d;
        if towards < 0.0 && change * *d < 0.0 && !beside.contains(spot.x as u32, spot.y as u32) {
            *d = 0.0;
        }
    }
    away
}

/// The smaller of two differences of one sign, zero when their signs differ; one that is NaN does not count.
fn nearer(a: f32, b: f32) -> f32 {
    if b.is_nan() || a.is_nan() {
        return if b.is_nan() { a } else { b };
    }
    if a * b <= 0.0 {
        0.0
    } else if a.abs() < b.abs() {
        a
    } else {
        b
    }
}

/// The pixels that can be reached from the mask over those that plainly differ, and from there over its soft edge, while the
/// smoothed difference goes on in one direction. Ones in the hole's box.
fn followed(hole: &Hole, mask: &RunMask, away: &[f32], limits: &Limits) -> Plane<u8> {
    let (width, height) = (hole.state.width() as i32, hole.state.height() as i32);
    let mut field = Plane::filled(hole.state.width(), hole.state.height(), f32::NAN);
    let mut reached = Plane::<u8>::new(hole.state.width(), hole.state.height());
    let mut front = Vec::new();
    for (spot, d) in hole.inside.iter().zip(away) {
        let (x, y) = (spot.x - hole.rect.x0, spot.y - hole.rect.y0);
        field.set(x as usize, y as usize, *d);
        if mask.contains(spot.x as u32, spot.y as u32) {
            reached.set(x as usize, y as usize, 1);
            front.push((x, y));
        }
    }
    let around = |x: i32, y: i32| (y - 1..=y + 1).flat_map(move |b| (x - 1..=x + 1).map(move |a| (a, b)));
    let mean = |values: &mut dyn Iterator<Item = f32>| {
        let (sum, count) = values.filter(|v| !v.is_nan()).fold((0.0f32, 0.0f32), |(s, c), v| (s + v, c + 1.0));
        if count > 0.0 { sum / count } else { 0.0 }
    };
    let plainly = |x: i32, y: i32| {
        let here = mean(&mut around(x, y).filter_map(|(a, b)| field.get(a, b)));
        here.abs() > limits.plain && field.get(x, y).is_some_and(|v| v.abs() > limits.plain)
    };
    front = spread(&mut reached, front, FARTHEST, (width, height), &|_, x, y, _| plainly(x, y));
    let goes_on = |reached: &Plane<u8>, x: i32, y: i32, from: (i32, i32)| {
        // Nothing is known of what lies beyond the room, under other candidates or where no neighbour can be read.
        if field.get(x, y).is_none_or(f32::is_nan) {
            return false;
        }
        // What was reached before is left out: it would carry its own strength over a hard edge.
        let outer =
            mean(&mut around(x, y).filter(|&(a, b)| reached.get(a, b) == Some(0)).filter_map(|(a, b)| field.get(a, b)));
        let before = field.get(from.0, from.1).unwrap_or(0.0);
        let (outer, before) = (outer * before.signum(), before.abs());
        outer > limits.soft && outer < FALLING * before
    };
    spread(&mut reached, front, SOFT, (width, height), &goes_on);
    reached
}

/// Whether a pixel is taken in, by what is reached so far, its place, and the place it is reached from.
type Wanted<'a> = dyn Fn(&Plane<u8>, i32, i32, (i32, i32)) -> bool + 'a;

/// Takes in pixels step by step from those in front; returns all that are reached.
fn spread(
    reached: &mut Plane<u8>,
    mut front: Vec<(i32, i32)>,
    steps: u32,
    (width, height): (i32, i32),
    wanted: &Wanted,
) -> Vec<(i32, i32)> {
    let mut all = front.clone();
    for _ in 0..steps {
        let mut next = Vec::new();
        for &(x, y) in &front {
            for (a, b) in (y - 1..=y + 1).flat_map(|b| (x - 1..=x + 1).map(move |a| (a, b))) {
                let inside = a >= 0 && b >= 0 && a < width && b < height;
                if inside && reached.at(a as usize, b as usize) == 0 && wanted(reached, a, b, (x, y)) {
                    next.push((a, b));
                }
            }
        }
        next.sort_unstable_by_key(|(x, y)| (*y, *x));
        next.dedup();
        for &(x, y) in &next {
            reached.set(x as usize, y as usize, 1);
        }
        all.extend(&next);
        front = next;
    }
    all
}

/// The mask with its narrow gaps and holes closed: grown, and shrunk again by as much. A pixel left out in the middle of a mark
/// would be read as picture by the fill of the others.
fn closed(hole: &Hole, reached: &Plane<u8>) -> RunMask {
    // Room around the box, so that its border is no part of the mask.
    let room = CLOSING + 1;
    let (width, height) = (reached.width() as u32 + 2 * room, reached.height() as u32 + 2 * room);
    let grown = RunMask::from_plane(reached, room, room).grown(CLOSING, width, height);
    let mut wide = Plane::<u8>::new(width as usize, height as usize);
    grown.shrunk(CLOSING, width, height).paint(&mut wide, 1);
    let closed = Plane::from_fn(reached.width(), reached.height(), |x, y| {
        u8::from(hole.state.at(x, y) == HOLE && wide.at(x + room as usize, y + room as usize) != 0)
    });
    RunMask::from_plane(&closed, hole.rect.x0 as u32, hole.rect.y0 as u32)
}
