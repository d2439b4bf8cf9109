//! Putting a fill together: low frequencies blended and levelled, grain from one real frame.

use besom_detect::Grain;
use besom_scan::Plane;

use crate::choose::{Pick, smoothed};
use crate::hole::{Hole, Spot};
use crate::job::Source;
use crate::level::carry;
use crate::resample::Reader;
use crate::split::low_pass;

/// A pick gives way as the grain's giver where its weight falls below this share of the largest one.
const GIVING_WAY: f32 = 0.5;
/// Up to this share of a frame's grain, what the giver has beyond the blend's high frequencies is taken for grain and kept
/// whole; more than that is misplaced detail, and is toned down to it. Measured on aged clips.
const GRAIN_SHARE: f32 = 0.8;
/// What reading between pixels takes from grain, given back.
const GIVEN_BACK: f32 = 1.05;
/// Rim differences are cut at this many median deviations from their median, so that the pixels of another layer do not
/// tint the hole.
const CUT: f32 = 3.0;

/// One pick read in one channel over the hole's box, parted into low and high.
struct Layer {
    low: Vec<f32>,
    high: Vec<f32>,
}

/// A fill put together: for each channel a value a pixel of the hole, NaN where no pick can be read.
pub(crate) struct Composed {
    /// With the grain of one frame.
    pub values: Vec<Vec<f32>>,
    /// The blend alone, of which the grain is faint.
    pub base: Vec<Vec<f32>>,
}

/// Composes all channels from sources that have them all: for each, a value a pixel of the hole, NaN where no pick can be read.
pub(crate) fn compose(
    planes: &[Plane],
    sources: &[Source],
    hole: &Hole,
    picks: &[Pick],
    weights: &[Vec<f32>],
    grain: &Grain,
) -> Composed {
    if picks.is_empty() {
        let unknown = vec![vec![f32::NAN; hole.inside.len()]; planes.len()];
        return Composed { values: unknown.clone(), base: unknown };
    }
    let readers: Vec<Vec<Option<Reader>>> = picks.iter().map(|p| readers(hole, p, &sources[p.source])).collect();
    let giver = givers(weights);
    let mut layers: Vec<Vec<Layer>> = Vec::with_capacity(planes.len());
    let mut rests = Vec::with_capacity(planes.len() * picks.len());
    for (channel, plane) in planes.iter().enumerate() {
        let read = picks.iter().zip(&readers).map(|(p, r)| layer(&sources[p.source].planes[channel], hole, r));
        layers.push(read.collect());
        for layer in layers.last().into_iter().flatten() {
            let rest = |s: &Spot| plane.at(s.x as usize, s.y as usize) - layer.low[s.index] - layer.high[s.index];
            rests.push(cut(hole.rim.iter().map(rest).collect()));
        }
    }
    // All channels of all picks at once: the distances are the same.
    let levels = carry(hole, &rests);
    let mut composed = Composed { values: Vec::with_capacity(planes.len()), base: Vec::with_capacity(planes.len()) };
    for (channel, layers) in layers.iter().enumerate() {
        let levels = &levels[channel * picks.len()..(channel + 1) * picks.len()];
        let (values, base) = blend(hole, layers, levels, weights, &giver, &|code| grain.channel_at(channel, code));
        composed.values.push(values);
        composed.base.push(base);
    }
    composed
}

fn readers(hole: &Hole, pick: &Pick, source: &Source) -> Vec<Option<Reader>> {
    let width = hole.state.width();
    (0..hole.state.as_slice().len())
        .map(|index| {
            let (x, y) = (hole.rect.x0 + (index % width) as i32, hole.rect.y0 + (index / width) as i32);
            let v = pick.trial.warp.at(x, y);
            Reader::new(source.skip, x as f32 + v.dx, y as f32 + v.dy)
        })
        .collect()
}

fn layer(plane: &Plane, hole: &Hole, readers: &[Option<Reader>]) -> Layer {
    let mut high: Vec<f32> = readers.iter().map(|r| r.as_ref().map_or(f32::NAN, |r| r.read(plane))).collect();
    let low = low_pass(&high, hole.state.width());
    for (h, l) in high.iter_mut().zip(&low) {
        *h -= l;
    }
    Layer { low, high }
}

/// For each pixel the pick that gives its grain: the one that counts most over the whole hole, unless another one counts
/// for much more there. Few seams, and whole detail on either side of an edge.
fn givers(weights: &[Vec<f32>]) -> Vec<usize> {
    let largest = |value: &dyn Fn(usize) -> f32| {
        (0..weights.len()).fold(0, |best, p| if value(p) > value(best) { p } else { best })
    };
    let main = largest(&|p| weights[p].iter().sum());
    (0..weights[main].len())
        .map(|i| {
            let best = largest(&|p| weights[p][i]);
            if weights[main][i] < GIVING_WAY * weights[best][i] { best } else { main }
        })
        .collect()
}

fn blend(
    hole: &Hole,
    layers: &[Layer],
    levels: &[Vec<f32>],
    weights: &[Vec<f32>],
    giver: &[usize],
    sigma_at: &dyn Fn(f32) -> f32,
) -> (Vec<f32>, Vec<f32>) {
    let n = hole.inside.len();
    let (mut base, mut own) = (vec![f32::NAN; n], vec![f32::NAN; n]);
    for (i, spot) in hole.inside.iter().enumerate() {
        let (mut low, mut high, mut total) = (0.0, 0.0, 0.0);
        for ((layer, level), weight) in layers.iter().zip(levels).zip(weights) {
            if weight[i] > 0.0 && !layer.high[spot.index].is_nan() {
                low += weight[i] * (layer.low[spot.index] + level[i]);
                high += weight[i] * layer.high[spot.index];
                total += weight[i];
            }
        }
        if total > 0.0 {
            base[i] = (low + high) / total;
            // What the giver's high frequencies have beyond the blend's.
            own[i] = layers.get(giver[i]).map_or(f32::NAN, |l| l.high[spot.index]) - high / total;
        }
    }
    let mut values = base.clone();
    let energy = smoothed(hole, &own.iter().map(|v| v * v).collect::<Vec<_>>());
    for i in 0..n {
        if own[i].is_nan() || base[i].is_nan() {
            continue;
        }
        let limit = GRAIN_SHARE * sigma_at(base[i]);
        let limit = limit * limit;
        values[i] += GIVEN_BACK * own[i] * (limit / energy[i].max(limit).max(1e-6)).sqrt();
    }
    (values, base)
}

/// Rim differences cut to [`CUT`] median deviations around their median.
fn cut(mut rest: Vec<f32>) -> Vec<f32> {
    let mut known: Vec<f32> = rest.iter().copied().filter(|r| !r.is_nan()).collect();
    if known.is_empty() {
        return rest;
    }
    let middle = |values: &mut Vec<f32>| {
        let half = values.len() / 2;
        *values.select_nth_unstable_by(half, f32::total_cmp).1
    };
    let median = middle(&mut known);
    for r in &mut known {
        *r = (*r - median).abs();
    }
    let limit = CUT * middle(&mut known).max(0.5);
    for r in rest.iter_mut().filter(|r| !r.is_nan()) {
        *r = r.clamp(median - limit, median + limit);
    }
    rest
}
