//! Which hypothesis of each neighbour to believe, and how much each counts at each pixel of the hole.

use crate::hole::Hole;
use crate::level::carry;
use crate::trial::Trial;

/// A chosen hypothesis of one source.
#[derive(Clone, Debug)]
pub(crate) struct Pick {
    /// Index of the source in the job.
    pub source: usize,
    /// Its place, in frames from the frame under repair.
    pub offset: i32,
    pub trial: Trial,
}

/// How much disagreement between two sources inside the hole counts beside their errors on the rim. Measured on aged
/// clips: without it repeating patterns go wrong, at one thing that moves in between two frames goes wrong.
const WITNESS: f32 = 0.3;
/// A second hypothesis of a source joins when both together leave less than this share of the rim's error.
const JOINING: f32 = 0.8;
/// How much a frame two away counts against a frame next door that fits as well: film moves on, errors add up.
const FAR: f32 = 0.5;
/// The cost, in squared codes, of a hypothesis that cannot be read at all.
const UNREADABLE: f32 = 400.0;
/// The rim error of a hole without rim, codes: the same for all hypotheses, so that agreement alone decides.
const NO_RIM: f32 = 100.0;

/// Mean absolute difference of two trials inside the hole, where both can be read; `None` where they never meet.
fn disagreement(a: &Trial, b: &Trial) -> Option<f32> {
    let (mut sum, mut count) = (0.0f32, 0usize);
    for d in a.inside.iter().zip(&b.inside).map(|(x, y)| x - y).filter(|d| !d.is_nan()) {
        sum += d.abs();
        count += 1;
    }
    (count > 0).then(|| sum / count as f32)
}

fn own_cost(t: &Trial) -> f32 {
    let rim = if t.rim_error.is_finite() { t.rim_error } else { NO_RIM };
    rim * rim + UNREADABLE * (1.0 - t.coverage)
}

/// The pair of trials, one of each side, that fit the rim and each other best.
pub(crate) fn best_pair(a: &[Trial], b: &[Trial]) -> Option<(usize, usize)> {
    let mut best = None;
    let mut least = f32::INFINITY;
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            let apart = disagreement(x, y).unwrap_or(0.0);
            let cost = own_cost(x) + own_cost(y) + WITNESS * apart * apart;
            if cost < least {
                (least, best) = (cost, Some((i, j)));
            }
        }
    }
    best
}

/// The trial that fits the rim, and the nearest of what was picked already, best.
pub(crate) fn best_single(trials: &[Trial], picked: &[Pick]) -> Option<usize> {
    let mut best = None;
    let mut least = f32::INFINITY;
    for (i, t) in trials.iter().enumerate() {
        let apart = picked.iter().filter_map(|p| disagreement(t, &p.trial)).fold(f32::INFINITY, f32::min);
        let cost = own_cost(t) + if apart.is_finite() { WITNESS * apart * apart } else { 0.0 };
        if cost < least {
            (least, best) = (cost, Some(i));
        }
    }
    best
}

/// The trial that fits best where a pick does not: `None` unless both together fit the rim clearly better than the pick.
/// Where two layers of the picture meet in the hole, one hypothesis follows each.
pub(crate) fn complement(hole: &Hole, pick: &Trial, trials: &[Trial]) -> Option<Trial> {
    let known = |r: f32| if r.is_nan() { 1000.0 } else { r.abs() };
    let alone: f32 = hole.rim.iter().zip(&pick.rest).map(|(s, r)| s.weight() * known(*r)).sum();
    let mut best = None;
    let mut least = alone * JOINING;
    for t in trials {
        let both = pick.rest.iter().zip(&t.rest).map(|(a, b)| known(*a).min(known(*b)));
        let cost: f32 = hole.rim.iter().zip(both).map(|(s, r)| s.weight() * r).sum();
        if cost < least {
            (least, best) = (cost, Some(t));
        }
    }
    best.cloned()
}

/// How picks share the hole's pixels.
pub(crate) struct Shares {
    /// For each pick, for each pixel of the hole, its weight; a pixel's weights sum to one, or are all zero where no pick
    /// can be read.
    pub weights: Vec<Vec<f32>>,
    /// Mean over the pixels of the rim's squared difference as it is near the pixel, weighted; squared codes.
    pub rim_square: f32,
    /// Mean over the pixels of the picks' weighted variance; squared codes.
    pub spread: f32,
}

/// Shares the hole's pixels out by inverse squared variance: what the rim says near the pixel, and what the nearest
/// witness from another frame says at the pixel.
pub(crate) fn shares(hole: &Hole, picks: &[Pick], sigma: f32) -> Shares {
    let n = hole.inside.len();
    let squares: Vec<Vec<f32>> = picks.iter().map(|p| p.trial.rest.iter().map(|r| r * r).collect()).collect();
    let local = carry(hole, &squares);
    let witness = witnesses(hole, picks);
    let mut weights: Vec<Vec<f32>> = Vec::with_capacity(picks.len());
    for (p, pick) in picks.iter().enumerate() {
        let near = if pick.offset.abs() == 1 { 1.0 } else { FAR };
        let weight = |i: usize| {
            if pick.trial.inside[i].is_nan() {
                return 0.0;
            }
            // Nobody to ask counts as a doubt as large as the rim's own.
            let doubt = if witness[p][i].is_finite() { WITNESS * witness[p][i] } else { local[p][i] };
            let variance = local[p][i] + doubt + sigma * sigma + 0.01;
            near / (variance * variance)
        };
        weights.push((0..n).map(weight).collect());
    }
    let (mut rim_square, mut spread, mut count) = (0.0f32, 0.0f32, 0.0f32);
    for i in 0..n {
        let sum: f32 = weights.iter().map(|w| w[i]).sum();
        if sum <= 0.0 {
            continue;
        }
        for w in &mut weights {
            w[i] /= sum;
        }
        let over = |f: &dyn Fn(usize) -> f32| -> f32 {
            (0..picks.len()).filter(|&p| weights[p][i] > 0.0).map(|p| weights[p][i] * f(p)).sum()
        };
        let mean = over(&|p| picks[p].trial.inside[i]);
        rim_square += over(&|p| local[p][i]);
        spread += over(&|p| (picks[p].trial.inside[i] - mean) * (picks[p].trial.inside[i] - mean));
        count += 1.0;
    }
    Shares { weights, rim_square: rim_square / count.max(1.0), spread: spread / count.max(1.0) }
}

/// For each pick and pixel the smallest smoothed squared difference to a pick of another source; infinite without one.
fn witnesses(hole: &Hole, picks: &[Pick]) -> Vec<Vec<f32>> {
    let mut least = vec![vec![f32::INFINITY; hole.inside.len()]; picks.len()];
    for a in 0..picks.len() {
        for b in a + 1..picks.len() {
            if picks[a].source == picks[b].source {
                continue;
            }
            let pair = picks[a].trial.inside.iter().zip(&picks[b].trial.inside);
            let apart: Vec<f32> = pair.map(|(x, y)| (x - y) * (x - y)).collect();
            for (i, v) in smoothed(hole, &apart).into_iter().enumerate().filter(|(_, v)| !v.is_nan()) {
                least[a][i] = least[a][i].min(v);
                least[b][i] = least[b][i].min(v);
            }
        }
    }
    least
}

/// Means over the hole's known pixels within two of each pixel; NaN where none is known.
pub(crate) fn smoothed(hole: &Hole, values: &[f32]) -> Vec<f32> {
    let (width, height) = (hole.state.width(), hole.state.height());
    let mut field = vec![f32::NAN; width * height];
    for (spot, v) in hole.inside.iter().zip(values) {
        field[spot.index] = *v;
    }
    let mean_at = |index: usize| {
        let (x, y) = (index % width, index / width);
        let (left, right) = (x.saturating_sub(2), (x + 2).min(width - 1));
        let (mut sum, mut count) = (0.0f32, 0.0f32);
        for row in y.saturating_sub(2)..=(y + 2).min(height - 1) {
            for v in field[row * width + left..=row * width + right].iter().filter(|v| !v.is_nan()) {
                sum += v;
                count += 1.0;
            }
        }
        sum / count
    };
    hole.inside.iter().map(|spot| mean_at(spot.index)).collect()
}
