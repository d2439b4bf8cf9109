//! The road of one repair: hypotheses, choice, composition, edge.

use besom_scan::{Plane, Rect};

use crate::choose::{Pick, Shares, best_pair, best_single, complement, shares};
use crate::compose::compose;
use crate::hole::{Hole, cut_out};
use crate::job::{Choice, Fill, Job, Method};
use crate::predict;
use crate::prepared::Prepared;
use crate::rest::fill_rest;
use crate::sections::{Sections, fill_sections};
use crate::spatial::spatial_fill;
use crate::through::recover;
use crate::trial::{Ground, Near, Trial};
use crate::warp::Warp;

/// A spatial fill must promise less than this share of the error of one from other frames to be preferred: it makes
/// picture up. Measured on aged clips: at 0.7 already more holes lose by it than win.
const MADE_UP: f32 = 0.5;

/// A hole of which the neighbours give less than this share is filled from around where that promises any less error.
const MOSTLY: f32 = 0.5;

/// Fills one hole. For many holes of one frame make a [`Prepared`] once and use [`fill_prepared`].
///
/// # Panics
/// When the planes of the frame and its skip plane differ in size.
pub fn fill(job: &Job) -> Fill {
    fill_prepared(job, &Prepared::new(job))
}

/// Fills one hole of a frame prepared from a job with the same planes and sources.
///
/// Sources whose planes differ from the frame's in number or size are passed over.
///
/// # Panics
/// When the planes of the frame and its skip plane differ in size, or the preparation has other sources.
pub fn fill_prepared(job: &Job, prepared: &Prepared) -> Fill {
    assert!(job.planes.iter().all(|p| p.rect() == job.skip.rect()), "planes and skip plane must have one size");
    assert_eq!(job.sources.len(), prepared.sources.len(), "prepared for other sources");
    match Sections::of(job.mask, job.skip.rect()) {
        Some(sections) => fill_sections(job, prepared, &sections),
        None => fill_whole(job, prepared, &[]),
    }
}

/// A motion worth trying besides those found around the hole: of which source, by its index in the job.
pub(crate) type Hint = (usize, Warp);

/// Fills a hole with one choice of sources for all of it.
pub(crate) fn fill_whole(job: &Job, prepared: &Prepared, hints: &[Hint]) -> Fill {
    let Some(hole) = Hole::new(job.mask, job.skip).filter(|_| !job.planes.is_empty()) else {
        return nothing();
    };
    let near = Near::new(&hole, &prepared.luma, job.skip);
    let sigma = job.grain.luma_at(hole.level(&prepared.luma));
    let picks = picks(job, &hole, &near, prepared, sigma, hints);
    let shares = shares(&hole, &picks, sigma);
    let predicted = if picks.is_empty() { f32::INFINITY } else { predict::between_frames(&shares, sigma) };
    let mut composed = compose(job.planes, job.sources, &hole, &picks, &shares.weights, job.grain);
    let readable = share_readable(&composed.values);
    // A spatial fill is worth computing only where it could be wanted.
    let doubtful = job.choice == Choice::Automatic && (predicted > 4.0 * sigma || readable < MOSTLY);
    let mut made_up = false;
    let mut record = (rim_error(&hole, &picks, &shares), predicted);
    let mut recovered = 0.0;
    if job.choice == Choice::Automatic {
        let gain = recover(job, &hole, &mut composed, predicted);
        recovered = gain.share;
        record.1 *= gain.left.sqrt();
    }
    let mut values = composed.values;
    if doubtful || readable == 0.0 {
        let spatial = spatial_fill(job, &hole, &near, prepared, sigma);
        let wanted = if readable < MOSTLY { 1.0 } else { MADE_UP };
        made_up = readable == 0.0 || job.choice == Choice::Automatic && spatial.predicted_error < wanted * record.1;
        if made_up {
            record = (spatial.rim_error, spatial.predicted_error);
            values = spatial.values;
        }
    }
    let rest = fill_rest(job, &hole, &mut values, prepared);
    if let Some(rest) = &rest {
        // Each part of the hole with its own error.
        record.1 = (readable * record.1 * record.1 + (1.0 - readable) * rest.predicted_error.powi(2)).sqrt();
    }
    let used = if made_up { Vec::new() } else { used(&picks, &shares) };
    let mut fill = finished(job, &hole, values, &used, record);
    if fill.method != Method::Spatial {
        if rest.is_some() && 1.0 - readable >= WORTH_NAMING {
            fill.method = Method::Parted;
        } else if recovered >= WORTH_NAMING {
            fill.method = Method::Recovered;
        }
    }
    fill
}

/// The share of the hole's pixels that have a value in every channel.
fn share_readable(values: &[Vec<f32>]) -> f32 {
    let pixels = values.first().map_or(0, Vec::len);
    let known = (0..pixels).filter(|i| values.iter().all(|v| !v[*i].is_nan())).count();
    known as f32 / pixels.max(1) as f32
}

fn nothing() -> Fill {
    Fill {
        rect: Rect::default(),
        values: Vec::new(),
        method: Method::Nothing,
        sources: Vec::new(),
        rim_error: 0.0,
        predicted_error: 0.0,
    }
}

/// Hypotheses of all sources that the choice allows, and the ones believed.
fn picks(job: &Job, hole: &Hole, near: &Near, prepared: &Prepared, sigma: f32, hints: &[Hint]) -> Vec<Pick> {
    let fits =
        |planes: &[Plane]| planes.len() == job.planes.len() && planes.iter().all(|p| p.rect() == job.skip.rect());
    let trials = |offset: i32| -> Option<(usize, Vec<Trial>)> {
        let k = job.sources.iter().position(|s| s.offset == offset && job.choice.allows(offset) && fits(s.planes))?;
        let (source, source_luma) = (&job.sources[k], &*prepared.sources[k]);
        let ground = Ground { hole, near, luma: &prepared.luma, source, source_luma, sigma };
        let hinted = hints.iter().filter(|(source, _)| *source == k).map(|(_, warp)| ground.tried(warp.clone()));
        let trials = ground.trials().into_iter().chain(hinted);
        let readable: Vec<Trial> = trials.filter(|t| t.coverage > 0.0).collect();
        (!readable.is_empty()).then_some((k, readable))
    };
    let (before, after) = (trials(-1), trials(1));
    let mut picks = Vec::new();
    let add = |picks: &mut Vec<Pick>, (k, trials): &(usize, Vec<Trial>), chosen: Option<usize>| {
        let Some(trial) = chosen.and_then(|i| trials.get(i)) else { return };
        let (source, offset) = (*k, job.sources[*k].offset);
        picks.push(Pick { source, offset, trial: trial.clone() });
        if let Some(trial) = complement(hole, trial, trials) {
            picks.push(Pick { source, offset, trial });
        }
    };
    match (&before, &after) {
        (Some(a), Some(b)) => {
            let pair = best_pair(&a.1, &b.1);
            add(&mut picks, a, pair.map(|p| p.0));
            add(&mut picks, b, pair.map(|p| p.1));
        }
        (Some(one), None) | (None, Some(one)) => add(&mut picks, one, best_single(&one.1, &[])),
        (None, None) => {}
    }
    for far in [trials(-2), trials(2)].into_iter().flatten() {
        let best = best_single(&far.1, &picks);
        add(&mut picks, &far, best);
    }
    picks
}

/// Mean absolute rim difference of the blend, its parts weighted as in the hole; infinite without a rim.
fn rim_error(hole: &Hole, picks: &[Pick], shares: &Shares) -> f32 {
    let parts: Vec<f32> = shares.weights.iter().map(|w| w.iter().sum()).collect();
    let (mut error, mut count) = (0.0f32, 0.0f32);
    for k in 0..hole.rim.len() {
        let (mut sum, mut total) = (0.0f32, 0.0f32);
        for (pick, part) in picks.iter().zip(&parts).filter(|(p, _)| !p.trial.rest[k].is_nan()) {
            sum += part * pick.trial.rest[k];
            total += part;
        }
        if total > 0.0 {
            error += (sum / total).abs();
            count += 1.0;
        }
    }
    if count > 0.0 { error / count } else { f32::INFINITY }
}

/// What gave less than this share of a hole is not named.
const WORTH_NAMING: f32 = 0.01;

/// Offsets of the sources that gave enough of the hole to be named, ascending.
fn used(picks: &[Pick], shares: &Shares) -> Vec<i32> {
    let mut offsets: Vec<i32> = Vec::new();
    for (pick, weights) in picks.iter().zip(&shares.weights) {
        let part = weights.iter().sum::<f32>() / weights.len() as f32;
        if part >= WORTH_NAMING && !offsets.contains(&pick.offset) {
            offsets.push(pick.offset);
        }
    }
    offsets.sort_unstable();
    offsets
}

fn finished(job: &Job, hole: &Hole, mut values: Vec<Vec<f32>>, used: &[i32], record: (f32, f32)) -> Fill {
    feather(job, hole, &mut values);
    let rect = hole.bounds();
    let mut planes: Vec<Plane> = job.planes.iter().map(|p| cut_out(p, &rect)).collect();
    for (plane, values) in planes.iter_mut().zip(&values) {
        for (spot, v) in hole.inside.iter().zip(values).filter(|(_, v)| v.is_finite()) {
            plane.set((spot.x - rect.x0) as usize, (spot.y - rect.y0) as usize, *v);
        }
    }
    let method = Method::of_sources(used);
    Fill { rect, values: planes, method, sources: used.to_vec(), rim_error: record.0, predicted_error: record.1 }
}

/// Softens the outermost ring inside the mask towards the frame's own pixels, where these look like picture: the mean
/// difference of the ring's pixels nearby within one sigma, and each pixel's own within three. Dirt is never let back in.
fn feather(job: &Job, hole: &Hole, values: &mut [Vec<f32>]) {
    let (width, height) = (hole.state.width(), hole.state.height());
    for (channel, (plane, values)) in job.planes.iter().zip(values).enumerate() {
        let mut away = vec![f32::NAN; width * height];
        for (spot, v) in hole.inside.iter().zip(values.iter()).filter(|(s, _)| s.ring == 1) {
            away[spot.index] = plane.at(spot.x as usize, spot.y as usize) - v;
        }
        for (spot, v) in hole.inside.iter().zip(values.iter_mut()).filter(|(s, _)| s.ring == 1) {
            let (x, y) = (spot.index % width, spot.index / width);
            let (mut sum, mut count) = (0.0f32, 0.0f32);
            for b in y.saturating_sub(2)..=(y + 2).min(height - 1) {
                for a in x.saturating_sub(2)..=(x + 2).min(width - 1) {
                    if !away[b * width + a].is_nan() {
                        sum += away[b * width + a];
                        count += 1.0;
                    }
                }
            }
            let sigma = job.grain.channel_at(channel, *v);
            let own = away[spot.index];
            if (sum / count).abs() < sigma && own.abs() < 3.0 * sigma {
                *v += 0.5 * own;
            }
        }
    }
}
