//! Lines that a frame does not show by itself but the frames around it do.
//!
//! A scratch does not end where the ground hides it: where two of the frames around have a line at one place on the film and the
//! frame in between has none, the line is looked at there all the same, with the width and the colour that it has in them.

use besom_scan::Plane;

use super::company::Companions;
use super::shape::Shape;
use super::strip::{Band, Path, Strip, quantile};
use super::tracks::Track;
use super::{alike, runs_along};

/// Most lines that a frame takes from those around it.
const MOST: usize = 12;
/// Pixels to either side in which it is looked for where exactly the line stands.
const SEARCH: i32 = 3;
/// A band counts up to this, in grain sigmas, when the line's place is looked for.
const MOST_OF_A_BAND: f32 = 2.0;
/// Fewest bands of a line that is taken from another frame.
const FEWEST_BANDS: usize = 12;

/// The lines that at least two of the frames around have (or the only one there is) and `here` has not, strongest first.
pub(super) fn carried(around: &Companions, here: &[Shape], bands: &[Plane], width: usize) -> Vec<Shape> {
    let rows = bands.first().map_or(0, Plane::height);
    // A slanted scratch stands elsewhere in the next frame: what leans and comes again at the same place belongs to the scene.
    let upright = |line: &Shape| {
        let lean = line.path.line().1 * (rows * super::BAND) as f32;
        line.path.len() >= FEWEST_BANDS && lean.abs() <= super::company::reach(1.0, width)
    };
    let mut all: Vec<(usize, &Shape)> = around.lines().filter(|(_, line)| upright(line)).collect();
    // A stable sort: equal gains keep the order of the frames.
    all.sort_by(|a, b| b.1.track.gain.total_cmp(&a.1.track.gain));
    let needed = around.frames().saturating_sub(1).min(1);
    let mut kept: Vec<Shape> = Vec::new();
    for (frame, line) in all {
        let known = |shapes: &[Shape]| shapes.iter().any(|other| stands_at(line, other, width));
        if kept.len() == MOST {
            break;
        }
        if known(here) || known(&kept) || around.others_with(frame, line, width) < needed {
            continue;
        }
        let found = placed(line, bands).filter(|shape| !here.iter().chain(&kept).any(|other| runs_along(shape, other)));
        kept.extend(found);
    }
    kept
}

/// Whether another line of the frame stands where the line is to be looked for, along half of it.
fn stands_at(line: &Shape, other: &Shape, width: usize) -> bool {
    let reach = super::company::reach(1.0, width) + 0.25 * line.width();
    let (first, last) = (other.path.first, other.path.first + other.path.len());
    let beside = line.path.centres.iter().enumerate().filter(|(k, x)| {
        let band = line.path.first + k;
        (first..last).contains(&band) && (*x - other.path.centres[band - first]).abs() < reach
    });
    alike(line.width(), other.width()) && 2 * beside.count() > line.path.len()
}

/// The line as the frame shows it, shifted to where it stands out most; `None` where nothing of it is to be seen.
fn placed(line: &Shape, bands: &[Plane]) -> Option<Shape> {
    let reach = (line.parts.reach() + SEARCH) as usize;
    let strip = Strip::take(bands, &line.weights, super::shape::places(&line.path), reach);
    if strip.len() == 0 {
        return None;
    }
    let standing_out = |shift: i32| {
        let each = (0..strip.len()).map(|k| {
            let band = line.parts.read(&strip, k, shift);
            let (bright, dark) = (band.core - band.left.max(band.right), band.core - band.left.min(band.right));
            bright.clamp(0.0, MOST_OF_A_BAND) - dark.clamp(-MOST_OF_A_BAND, 0.0)
        });
        each.sum::<f32>()
    };
    let strengths: Vec<f32> = (-SEARCH..=SEARCH).map(standing_out).collect();
    // The nearest of equals.
    let shift = (-SEARCH..=SEARCH).max_by(|a, b| {
        let at = |s: &i32| strengths[(s + SEARCH) as usize];
        at(a).total_cmp(&at(b)).then(b.abs().cmp(&a.abs()))
    })?;
    let read: Vec<_> = (0..strip.len()).map(|k| line.parts.read(&strip, k, shift)).collect();
    let upper = |sign: f32| quantile(&mut read.iter().map(|b| sign * b.contrast()).collect::<Vec<_>>(), 0.65);
    // A scratch of one code may be dark here and bright there.
    let (same, other) = (upper(1.0), upper(-1.0));
    let sign = if other > same { -1.0 } else { 1.0 };
    let turned = |values: &[f32]| values.iter().map(|v| sign * v).collect::<Vec<f32>>();
    let centres: Vec<f32> = line.path.centres.iter().map(|x| x + shift as f32).collect();
    let track = Track {
        first: line.path.first,
        columns: centres.clone(),
        gain: 0.0,
        sign: sign * line.track.sign,
        ..line.track.clone()
    };
    let contrast = same.max(other);
    let bands =
        read.into_iter().map(|b| Band { core: sign * b.core, left: sign * b.left, right: sign * b.right }).collect();
    let shape = Shape {
        track,
        path: Path { first: line.path.first, centres },
        weights: turned(&line.weights),
        channels: turned(&line.channels),
        bands,
        contrast,
        alone: Vec::new(),
        ..line.clone()
    };
    (contrast > 0.0).then_some(shape)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::detect::Window;
    use crate::grain::Grain;
    use crate::lines::Evened;
    use crate::prepare::Prepared;

    const SIZE: (usize, usize) = (240, 256);

    /// A level field with grain of 6 codes and a line three columns wide around column `x` of the rows for which `there` holds.
    fn frame(seed: u32, x: usize, there: impl Fn(usize) -> bool) -> Prepared {
        let mut state = seed;
        let mut uniform = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / (1 << 23) as f32 - 1.0
        };
        let plane = Plane::from_fn(SIZE.0, SIZE.1, |i, y| {
            let line = if i.abs_diff(x) <= 1 && there(y) { 60.0 } else { 0.0 };
            // The sum of three uniform numbers of variance 1/3 has variance 1.
            400.0 + line + 6.0 * (uniform() + uniform() + uniform())
        });
        Prepared::new(vec![plane]).unwrap()
    }

    /// The columns of the lines that the middle one of three frames takes from those beside it.
    fn taken(frames: &[Prepared; 3]) -> Vec<f32> {
        let [previous, current, next] = frames.each_ref();
        let window =
            Window { before_last: None, previous: Some(previous), current, next: Some(next), after_next: None };
        let around = window.around().unwrap();
        let evened = Evened::new(&Grain::flat(1, 6.0), 1);
        let (here, bands) = (current.lines(&evened), current.evened_bands(&evened));
        let lines = carried(&Companions::of(&around, &evened), &here, &bands, SIZE.0);
        lines.iter().map(|line| line.path.centres[line.path.len() / 2]).collect()
    }

    #[test]
    fn a_line_of_both_neighbours_is_looked_at_where_it_shows_little() {
        // Two crumbs of sixteen rows each are too little for a path of their own.
        let crumbs = |y: usize| (64..80).contains(&y) || (176..192).contains(&y);
        let columns = taken(&[frame(1, 100, |_| true), frame(2, 102, crumbs), frame(3, 103, |_| true)]);
        assert!(columns.iter().any(|x| (x - 102.0).abs() <= 1.0), "{columns:?}");
    }

    #[test]
    fn what_one_neighbour_alone_has_or_the_frame_has_itself_is_not_taken() {
        let near = |columns: Vec<f32>| columns.iter().any(|x| (x - 101.0).abs() < 5.0);
        let all = |_: usize| true;
        assert!(!near(taken(&[frame(1, 100, all), frame(2, 101, |_| false), frame(3, 30, all)])));
        assert!(!near(taken(&[frame(1, 100, all), frame(2, 101, all), frame(3, 102, all)])));
    }
}
