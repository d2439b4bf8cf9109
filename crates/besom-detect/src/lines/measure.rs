//! What is measured of a line before it is judged. Every number is dimensionless, in grain sigmas or in pixels.

use std::borrow::Cow;

use crate::detect::Around;
use besom_scan::Plane;

use super::behaviour::{Against, Search, correlation};
use super::column::{Column, Shown};
use super::company::{Companion, Companions};
use super::shape::{Shape, row_of};
use super::strip::{median, spread};
use crate::prepare::Prepared;

/// Names of the measurements, in the order of [`super::LineSuspect::values`].
pub const NAMES: [&str; 65] = [
    "strength",
    "length",
    "bands",
    "fill",
    "contrast",
    "contrast_spread",
    "sides_differ",
    "least_side",
    "background_spread",
    "background_steps",
    "follows_background",
    "width",
    "width_relative",
    "profile_even",
    "edge_sharpness",
    "sides_flat",
    "straightness",
    "slope",
    "jitter",
    "borders",
    "ends_step",
    "crowd",
    "crowd_near",
    "channel_weakest",
    "channel_signs",
    "bright",
    "stays_least",
    "stays_most",
    "moves_least",
    "moves_most",
    "stays_less_moves",
    "slip",
    "slip_most",
    "slip_spread",
    "drift",
    "drift_bend",
    "slip_less_drift",
    "picture_moves",
    "picture_uneven",
    "telling",
    "pattern_moves",
    "pattern_stays",
    "witness_stays",
    "one_sided",
    "column_shows",
    "column_stands_out",
    "column_same",
    "film_shows",
    "film_beside",
    "film_stands_out",
    "film_stands_out_least",
    "film_stands_out_most",
    "film_same",
    "film_offset",
    "company_mean",
    "company_most",
    "company_least",
    "company_sides",
    "company_share",
    "company_less_moved",
    "company_drift",
    "company_unsteady",
    "company_width",
    "company_colour",
    "company_here",
];

/// The first so many of [`NAMES`] are measured in the line's own frame and know nothing of those around.
pub const ALONE: usize = 26;

/// Where a line lies among the others of its frame: their number, and the number of those near.
#[derive(Clone, Copy, Debug)]
struct Crowd {
    all: usize,
    near: usize,
}

impl Crowd {
    /// Of a line among `all`, which may be one of them.
    fn of(shape: &Shape, all: &[Shape], one_of_them: bool) -> Self {
        let middle = |s: &Shape| s.path.centres[s.path.len() / 2];
        let reach = 30.0 + 4.0 * shape.width();
        let near = all.iter().filter(|s| (middle(s) - middle(shape)).abs() < reach).count();
        Self { all: all.len(), near: near - usize::from(one_of_them) }
    }
}

/// The other lines of the frame and of those around.
pub(super) struct Others<'a> {
    pub(super) here: &'a [Shape],
    pub(super) companions: &'a Companions<'a>,
}

/// The evened bands of the frame, its neighbours and its witnesses.
pub(super) struct Evens<'a> {
    pub(super) current: Cow<'a, [Plane]>,
    pub(super) sides: [Cow<'a, [Plane]>; 2],
    pub(super) witnesses: [Option<Cow<'a, [Plane]>>; 2],
}

/// What is measured of the lines of a frame in it.
pub(super) fn alone(frame: &Prepared, lines: &[Shape]) -> Vec<Vec<f32>> {
    lines.iter().map(|line| own(line, line.path.line(), frame, Crowd::of(line, lines, true))).collect()
}

/// The measurements of a line, and for each of the frames around the line that keeps it company.
pub(super) fn measure(
    shape: &Shape,
    column: &Column,
    around: &Around,
    evens: &Evens,
    others: &Others,
) -> (Vec<f32>, Vec<Companion>) {
    let line = shape.path.line();
    let mut values = if shape.alone.is_empty() {
        own(shape, line, around.current, Crowd::of(shape, others.here, false))
    } else {
        shape.alone.clone()
    };
    let search = Search::new(shape, &evens.current);
    let size = (around.current.width() as f32, around.current.height() as f32);
    let sides = [0, 1].map(|k| search.against(&evens.sides[k], &around.sides[k].1, size, line.1));
    let witnesses: Vec<f32> =
        evens.witnesses.iter().flatten().map(|other| search.look(other, |_, _| (0.0, 0.0)).found).collect();
    values.extend(over_frames(&sides, around, shape));
    let seen = witnesses.iter().sum::<f32>() / witnesses.len().max(1) as f32;
    values.push(if witnesses.is_empty() { f32::NAN } else { seen });
    values.push(f32::from(u8::from(around.one_sided)));
    values.extend(along_the_film(column, evens, size, line.1));
    let (company, companions) = others.companions.measure(shape, column, around, others.here);
    values.extend(company);
    (values, companions)
}

/// How far a scratch may wander from one frame to the next on a 2K scan, in pixels; smaller scans, to half of that.
const WANDER: f32 = 7.0;
/// Shift from one frame to the next, in pixels, from which a slanted line is looked for where it left the frame.
const SLANTED: f32 = 3.0;

/// What the line's column shows: in its own frame besides the line, and in the frames around.
fn along_the_film(column: &Column, evens: &Evens, (width, height): (f32, f32), slope: f32) -> [f32; 10] {
    let search = (WANDER * (width / 2048.0).clamp(0.55, 1.0)).round() as i32;
    let here = column.besides(&evens.current, 2);
    let onward = slope * height;
    let in_frame = |bands: &[Plane], frames: f32| {
        let asides = if onward.abs() > SLANTED { &[0.0, frames * onward, -frames * onward][..] } else { &[0.0] };
        let shown = asides.iter().map(|aside| column.shown(bands, search, *aside));
        // The first of equals.
        shown.reduce(|best, s| if s.share - s.beside > best.share - best.beside { s } else { best }).unwrap_or_default()
    };
    let sides = evens.sides.iter().map(|bands| in_frame(bands, 1.0));
    let frames: Vec<Shown> = sides.chain(evens.witnesses.iter().flatten().map(|bands| in_frame(bands, 2.0))).collect();
    let mean = |f: &dyn Fn(&Shown) -> f32| {
        let known: Vec<f32> = frames.iter().map(f).filter(|v| !v.is_nan()).collect();
        known.iter().sum::<f32>() / known.len() as f32
    };
    [
        here.share,
        here.share - here.beside,
        here.same,
        mean(&|s| s.share),
        mean(&|s| s.beside),
        mean(&|s| s.share - s.beside),
        frames.iter().map(|s| s.share - s.beside).fold(f32::INFINITY, f32::min),
        frames.iter().map(|s| s.share - s.beside).fold(f32::NEG_INFINITY, f32::max),
        mean(&|s| s.same),
        mean(&|s| s.offset.abs()),
    ]
}

/// Measurements in the frame itself.
fn own(shape: &Shape, (offset, slope): (f32, f32), current: &Prepared, crowd: Crowd) -> Vec<f32> {
    let bands = shape.bands.len();
    let strong: Vec<usize> = (0..bands).filter(|k| shape.strong(*k)).collect();
    let contrast = shape.contrast;
    let backgrounds: Vec<f32> = shape.bands.iter().map(|b| 0.5 * (b.left + b.right)).collect();
    let contrasts: Vec<f32> = strong.iter().map(|k| shape.bands[*k].contrast()).collect();
    let steps: Vec<f32> = backgrounds.windows(2).map(|w| (w[1] - w[0]).abs() / contrast).collect();
    let pairs: Vec<(f32, f32)> = strong.iter().map(|k| (shape.bands[*k].contrast(), backgrounds[*k])).collect();
    let along = |k: usize| offset + slope * (k * super::bands::BAND) as f32;
    let off: f32 = shape.path.centres.iter().enumerate().map(|(k, x)| (x - along(k)).powi(2)).sum();
    let jitter = shape.track.columns.windows(3).map(|w| (w[2] - 2.0 * w[1] + w[0]).abs()).sum::<f32>();
    let (weak, strongest) =
        shape.channels.iter().fold((f32::MAX, 0.0f32), |(l, h), c| (l.min(c.abs()), h.max(c.abs())));
    let one_sign = shape.channels.iter().all(|c| *c > 0.0) || shape.channels.iter().all(|c| *c < 0.0);
    let (first, last) = (shape.path.first, shape.path.first + bands);
    let rows = current.height() / super::bands::BAND;
    let middle = |values: &mut dyn Iterator<Item = f32>| median(&mut values.collect::<Vec<_>>());
    vec![
        shape.track.gain / bands as f32,
        bands as f32 / rows.max(1) as f32,
        (bands as f32).ln(),
        strong.len() as f32 / bands as f32,
        contrast,
        spread(&contrasts) / contrast,
        middle(&mut shape.bands.iter().map(|b| (b.left - b.right).abs() / contrast)),
        middle(&mut shape.bands.iter().map(|b| b.least() / contrast)),
        spread(&backgrounds) / contrast,
        median(&mut steps.clone()),
        correlation(&pairs).abs(),
        shape.width(),
        shape.width() * 2048.0 / current.width() as f32,
        evenness(shape),
        sharpness(shape),
        flatness(shape),
        (off / bands as f32).sqrt(),
        slope.abs(),
        jitter / (bands * shape.track.factor) as f32,
        f32::from(u8::from(first <= 1)) + f32::from(u8::from(last + 1 >= rows)),
        ends_step(shape, current, (first, last), rows),
        crowd.all as f32,
        crowd.near as f32,
        weak / strongest.max(1e-6),
        f32::from(u8::from(one_sign)),
        f32::from(u8::from(shape.track.sign > 0.0)),
    ]
}

/// How like both halves of the profile are: 0 mirrored, 1 not at all.
fn evenness(shape: &Shape) -> f32 {
    let middle = (shape.profile.len() / 2) as f32 + 0.5 * (shape.edges.0 + shape.edges.1);
    let at = |x: f32| {
        let x = x.clamp(0.0, (shape.profile.len() - 2) as f32);
        let (i, part) = (x as usize, x - x.floor());
        shape.profile[i] * (1.0 - part) + shape.profile[i + 1] * part
    };
    let reach = 0.5 * shape.width() + 2.0;
    let (mut unlike, mut all) = (0.0, 0.0f32);
    let mut d = 0.5;
    while d < reach {
        unlike += (at(middle - d) - at(middle + d)).abs();
        all += at(middle - d).abs() + at(middle + d).abs();
        d += 0.5;
    }
    unlike / all.max(1e-6)
}

/// Steepest step of the profile against its height.
fn sharpness(shape: &Shape) -> f32 {
    let (low, high) = shape.profile.iter().fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    shape.profile.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f32::max) / (high - low).max(1e-6)
}

/// What the mean profile shows beside the line, against its contrast: over changing ground a scratch leaves nothing there,
/// while an object of the scene has its own surroundings.
fn flatness(shape: &Shape) -> f32 {
    let middle = (shape.profile.len() / 2) as f32;
    let (left, right) = (middle + shape.edges.0 - 2.0, middle + shape.edges.1 + 2.0);
    let beside: Vec<f32> = shape
        .profile
        .iter()
        .enumerate()
        .filter(|(i, _)| {
            ((*i as f32) < left && *i as f32 > left - 10.0) || (*i as f32 > right && (*i as f32) < right + 10.0)
        })
        .map(|(_, v)| *v)
        .collect();
    let mean = beside.iter().sum::<f32>() / beside.len().max(1) as f32;
    (beside.iter().map(|v| (v - mean) * (v - mean)).sum::<f32>() / beside.len().max(1) as f32).sqrt() / shape.contrast
}

/// The largest change of the ground across the line's ends that lie inside the frame, against its contrast: a line of the
/// scene ends where its object does.
fn ends_step(shape: &Shape, current: &Prepared, (first, last): (usize, usize), rows: usize) -> f32 {
    let ground = |band: usize, x: f32| {
        let reach = shape.width() + 6.0;
        let mean = |plane: &Plane| {
            let row = plane.row(band);
            let (a, b) = ((x - reach).max(0.0) as usize, ((x + reach).max(0.0) as usize + 1).min(row.len()));
            if a < b { row[a..b].iter().sum::<f32>() / (b - a) as f32 } else { 0.0 }
        };
        current.bands.iter().map(mean).sum::<f32>() / current.bands.len().max(1) as f32
    };
    let mut most = 0.0f32;
    if first >= 3 {
        most = most.max((ground(first - 3, shape.path.centres[0]) - ground(first, shape.path.centres[0])).abs());
    }
    if last + 2 < rows {
        let x = shape.path.centres[shape.path.len() - 1];
        most = most.max((ground(last + 2, x) - ground(last - 1, x)).abs());
    }
    // Codes against sigmas: a grain of some five codes is common.
    most / (5.0 * shape.contrast)
}

/// Measurements against both neighbours.
fn over_frames(sides: &[Against; 2], around: &Around, shape: &Shape) -> Vec<f32> {
    let [a, b] = sides;
    let mean = |f: &dyn Fn(&Against) -> f32| 0.5 * (f(a) + f(b));
    let slip = |s: &Against| if s.moves.found > 0.0 { s.moves.shift.abs() } else { f32::NAN };
    let drift = |s: &Against| if s.stays.found > 0.0 { s.stays.shift.abs() } else { f32::NAN };
    let vectors: Vec<f32> = around
        .sides
        .iter()
        .flat_map(|(_, field)| {
            let beside = 0.5 * shape.width() + super::behaviour::BESIDE;
            let at = move |k: usize, x: f32| field.at(x.max(0.0), row_of(shape.path.first + k)).dx;
            let mean = move |(k, x): (usize, &f32)| 0.5 * (at(k, x - beside) + at(k, x + beside));
            shape.path.centres.iter().enumerate().step_by(shape.path.len().div_ceil(24)).map(mean)
        })
        .collect();
    let half = vectors.len() / 2;
    let moves = vectors.iter().map(|v| v.abs()).sum::<f32>() / vectors.len().max(1) as f32;
    let uneven = spread(&vectors[..half]).max(spread(&vectors[half..]));
    let telling = vectors.iter().filter(|v| v.abs() > 0.6 * shape.width() + 1.0).count() as f32;
    let known = |v: [f32; 2]| match (v[0].is_nan(), v[1].is_nan()) {
        (false, false) => 0.5 * (v[0] + v[1]),
        (false, true) => v[0],
        _ => v[1],
    };
    let (slips, drifts) = (known([slip(a), slip(b)]), known([drift(a), drift(b)]));
    let both = a.stays.found > 0.0 && b.stays.found > 0.0;
    vec![
        a.stays.strength.min(b.stays.strength),
        a.stays.strength.max(b.stays.strength),
        a.moves.strength.min(b.moves.strength),
        a.moves.strength.max(b.moves.strength),
        mean(&|s| s.stays.strength - s.moves.strength),
        slips,
        slip(a).max(slip(b)),
        mean(&|s| s.moves.spread),
        drifts,
        if both { (a.stays.shift + b.stays.shift).abs() } else { f32::NAN },
        slips - drifts,
        moves,
        uneven,
        telling / vectors.len().max(1) as f32,
        mean(&|s| s.moves.pattern),
        mean(&|s| s.stays.pattern),
    ]
}
