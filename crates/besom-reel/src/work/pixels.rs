//! The survey of pixels: where a shot ends, how strong its grain is, how dirty and unsteady it is.

use std::collections::BTreeMap;

use besom_detect::survey::{Look, Thumbnail, cuts, grain_of_looks};
use besom_detect::whole::Sketch;
use besom_detect::{Grain, Prepared};
use besom_scan::{Progress, Sequence};
use rayon::prelude::*;

use crate::error::ReelError;
use crate::model::shot::{Dirt, OddFrame, Shot};

use super::frames::{planes, prepared};
use super::oddities::Oddities;
use super::{stop_if_cancelled, walk};

/// Grain that is assumed where nothing can be measured: a 35 mm camera negative scanned at 10 bits has about 7 codes
/// (common practice).
const USUAL_GRAIN: f32 = 7.0;

/// A shot is looked at closely once for each so many frames, at most [`SAMPLES`] times. Its grain is one film stock's and
/// hardly varies; each look costs about half as much as detecting a frame.
const FRAMES_A_SAMPLE: usize = 60;
const SAMPLES: usize = 3;

/// What the pixels say.
pub(super) struct Pixels {
    /// The shots, which together cover every scan.
    pub(super) shots: Vec<Shot>,
}

/// Reads every scan once for the cuts, and a few of each shot for its grain and dirt.
///
/// Scans in `problems` are left out; scans that turn out unreadable join them.
///
/// # Errors
/// When cancelled.
pub(super) fn survey(
    sequence: &Sequence,
    size: (usize, usize, usize),
    problems: &mut Vec<(u64, String)>,
    progress: &dyn Progress,
) -> Result<Pixels, ReelError> {
    let (thumbnails, oddities) = thumbnails(sequence, size, problems, progress)?;
    let count = sequence.frames.len();
    let mut bounds = vec![0];
    bounds.extend(cuts(&thumbnails).into_iter().filter(|cut| *cut > 0 && *cut < count));
    bounds.push(count);
    bounds.dedup();
    progress.begin("Measuring shots", bounds.len().saturating_sub(1) as u64);
    let mut measured = Vec::new();
    for pair in bounds.windows(2) {
        stop_if_cancelled(progress)?;
        let shot = Stretch { sequence, thumbnails: &thumbnails, size, first: pair[0], end: pair[1] };
        let (grain, dirt) = shot.measure();
        measured.push(Measured { first: pair[0], end: pair[1], grain, dirt });
        progress.advance(1);
    }
    let odd = oddities.finish(sequence, size, &bounds);
    Ok(Pixels { shots: shots(sequence, &measured, &odd) })
}

fn thumbnails(
    sequence: &Sequence,
    size: (usize, usize, usize),
    problems: &mut Vec<(u64, String)>,
    progress: &dyn Progress,
) -> Result<(Vec<Option<Thumbnail>>, Oddities), ReelError> {
    progress.begin("Looking for cuts", sequence.frames.len() as u64);
    let mut thumbnails = Vec::with_capacity(sequence.frames.len());
    let mut oddities = Oddities::default();
    for batch in sequence.frames.chunks(walk::batch_size(size.0 * size.1)) {
        stop_if_cancelled(progress)?;
        let known = &*problems;
        let look = |frame: &besom_scan::SequenceFrame| {
            if known.iter().any(|(number, _)| *number == frame.number) {
                return (frame.number, Ok(None));
            }
            let planes = planes(&frame.path, size);
            (frame.number, planes.map(|planes| Some((Thumbnail::new(&planes), Sketch::new(&planes)))))
        };
        let answers: Vec<_> = batch.par_iter().map(look).collect();
        let mut sketches = Vec::with_capacity(answers.len());
        for (number, answer) in answers {
            let seen = answer.unwrap_or_else(|reason| {
                problems.push((number, reason));
                None
            });
            let (thumbnail, sketch) = seen.map_or((None, None), |(thumbnail, sketch)| (Some(thumbnail), sketch));
            sketches.push((thumbnails.len(), number, sketch));
            thumbnails.push(thumbnail);
            progress.advance(1);
        }
        oddities.add(sketches);
    }
    problems.sort();
    Ok((thumbnails, oddities))
}

/// The places of one shot.
struct Stretch<'a> {
    sequence: &'a Sequence,
    thumbnails: &'a [Option<Thumbnail>],
    size: (usize, usize, usize),
    first: usize,
    end: usize,
}

/// Neighbouring frames looked at closely: the first two give the grain, all three the weave and the dirt.
type Sample = (Prepared, Prepared, Option<Prepared>);

impl Stretch<'_> {
    /// Grain (`None` when the shot has no two neighbouring frames) and dirt.
    fn measure(&self) -> (Option<Grain>, Dirt) {
        let samples = self.samples();
        let mut dirt = Dirt { flicker_percent: self.flicker_percent(), ..Dirt::default() };
        if samples.is_empty() {
            return (None, dirt);
        }
        let looks: Vec<Look> = samples.iter().filter_map(|(a, b, c)| Look::new(b, a, c.as_ref())).collect();
        let channels = samples.first().map_or(1, |(a, _, _)| a.planes.len());
        let grain = grain_of_looks(&looks, channels, USUAL_GRAIN);
        let mean = |values: Vec<f32>| {
            if values.is_empty() { 0.0 } else { values.iter().sum::<f32>() / values.len() as f32 }
        };
        dirt.marks_per_frame = mean(looks.iter().filter_map(|l| l.plain_marks(&grain)).map(|n| n as f32).collect());
        dirt.weave_px = mean(looks.iter().filter_map(Look::weave).collect());
        (Some(grain), dirt)
    }

    /// Mean change of the mean level between neighbouring frames, in percent of the level.
    fn flicker_percent(&self) -> f32 {
        let mean = |place: usize| {
            let luma = self.thumbnails.get(place)?.as_ref()?.luma().as_slice();
            (!luma.is_empty()).then(|| luma.iter().sum::<f32>() / luma.len() as f32)
        };
        let changes: Vec<f32> = (self.first..self.end.saturating_sub(1))
            .filter_map(|place| Some((mean(place)?, mean(place + 1)?)))
            .map(|(a, b)| 100.0 * (a - b).abs() / a.max(1.0))
            .collect();
        if changes.is_empty() { 0.0 } else { changes.iter().sum::<f32>() / changes.len() as f32 }
    }

    /// Runs of `length` readable scans with consecutive numbers, by their first place.
    fn runs(&self, length: usize) -> Vec<usize> {
        let whole = |first: &usize| {
            (*first..first + length).all(|p| self.thumbnails.get(p).is_some_and(Option::is_some))
                && (*first..first + length - 1)
                    .all(|p| self.number(p).zip(self.number(p + 1)).is_some_and(|(a, b)| a + 1 == b))
        };
        (self.first..(self.end + 1).saturating_sub(length)).filter(whole).collect()
    }

    fn number(&self, place: usize) -> Option<u64> {
        self.sequence.frames.get(place).map(|f| f.number)
    }

    fn samples(&self) -> Vec<Sample> {
        let triples = self.runs(3);
        let (starts, length) = if triples.is_empty() { (self.runs(2), 2) } else { (triples, 3) };
        let load = |place: usize| prepared(&self.sequence.frames.get(place)?.path, self.size).ok();
        spread(&starts, (self.end - self.first).div_ceil(FRAMES_A_SAMPLE).clamp(1, SAMPLES))
            .into_iter()
            .filter_map(|p| Some((load(p)?, load(p + 1)?, if length == 3 { load(p + 2) } else { None })))
            .collect()
    }
}

/// At most `count` of the items, evenly spread, none at the very ends when there are enough.
fn spread(items: &[usize], count: usize) -> Vec<usize> {
    if items.len() <= count {
        return items.to_vec();
    }
    (0..count).filter_map(|k| items.get((2 * k + 1) * items.len() / (2 * count)).copied()).collect()
}

/// A shot as places in the sequence, `end` outside.
struct Measured {
    first: usize,
    end: usize,
    grain: Option<Grain>,
    dirt: Dirt,
}

fn shots(sequence: &Sequence, measured: &[Measured], odd: &BTreeMap<usize, Vec<OddFrame>>) -> Vec<Shot> {
    let number = |place: usize| sequence.frames.get(place).map_or(0, |f| f.number);
    let known = |index: usize| measured.get(index).and_then(|shot| shot.grain.clone());
    let mut shots = Vec::with_capacity(measured.len());
    for (index, Measured { first, end, grain, dirt }) in measured.iter().enumerate() {
        // A shot too short to be measured is most likely on the same stock as the shot next to it.
        let nearby =
            || (0..measured.len()).filter(|k| known(*k).is_some()).min_by_key(|k| k.abs_diff(index)).and_then(known);
        let grain = grain.clone().or_else(nearby).unwrap_or_else(|| Grain::flat(3, USUAL_GRAIN));
        // Numbers between two shots that no scan has belong to the earlier one, so that shots cover the reel.
        let last = if *end < sequence.frames.len() { number(*end) - 1 } else { number(*end - 1) };
        shots.push(Shot {
            index,
            first: number(*first),
            last,
            grain,
            dirt: *dirt,
            odd: odd.range(*first..*end).flat_map(|(_, odd)| odd.clone()).collect(),
        });
    }
    shots
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_are_spread_over_the_shot() {
        let items: Vec<usize> = (10..30).collect();
        assert_eq!(spread(&items, 2), [15, 25]);
        assert_eq!(spread(&items[..2], 2), [10, 11]);
        assert!(spread(&[], 2).is_empty());
    }
}
