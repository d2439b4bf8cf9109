//! Lines through the bands: the best paths from top to bottom, found by dynamic programming.
//!
//! A path gains by every band that stands out and loses by every band that does not, so that a broken line is one path
//! and two lines far apart are two (the local alignment of Smith and Waterman, Journal of Molecular Biology 147, 1981, from
//! memory, with columns for letters).

use besom_scan::Plane;

use super::bands::{CLIP, Scale, TALL_MIDDLE, TALL_STEP};

/// Response at which a band neither gains nor loses.
const EVEN: f32 = 1.8;
/// Loss for a step to the side.
const SIDEWAYS: f32 = 0.25;
/// Least gain of a path: four or five bands that stand out clearly.
const LEAST_GAIN: f32 = 9.0;
/// Most paths that are looked at in a frame; the strongest go first.
const MOST: usize = 80;

/// A path: its column (in scan pixels) in each band from `first` on.
#[derive(Clone, Debug)]
pub(super) struct Track {
    pub(super) first: usize,
    pub(super) columns: Vec<f32>,
    pub(super) gain: f32,
    /// +1 brighter than its sides, -1 darker.
    pub(super) sign: f32,
    /// Scan pixels a column of the scale on which it was found.
    pub(super) factor: usize,
}

/// The paths of a frame through its bands and its tall bands, strongest first; those that lie on a stronger one are left
/// out.
pub(super) fn tracks(scales: &[Scale], tall: &[Scale]) -> Vec<Track> {
    let kinds = [(scales, false), (tall, true)];
    let all: Vec<(&Scale, bool, f32)> =
        kinds.iter().flat_map(|(s, t)| s.iter().flat_map(|s| [(s, *t, -1.0), (s, *t, 1.0)])).collect();
    let mut found: Vec<Track> = all
        .iter()
        .flat_map(|(scale, tall, sign)| {
            of_scale(scale, *sign).into_iter().map(|t| if *tall { t.unfolded() } else { t })
        })
        .collect();
    // A stable sort: equal gains keep the order of scales.
    found.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    let mut kept: Vec<Track> = Vec::new();
    for track in found {
        if kept.len() < MOST && !kept.iter().any(|k| lies_on(&track, k)) {
            kept.push(track);
        }
    }
    kept
}

impl Track {
    /// A path through tall bands as a path through bands.
    fn unfolded(self) -> Self {
        let rows = (self.columns.len() - 1) * TALL_STEP + 1;
        let column = |k: usize| {
            let (low, part) = (k / TALL_STEP, (k % TALL_STEP) as f32 / TALL_STEP as f32);
            let next = self.columns[(low + 1).min(self.columns.len() - 1)];
            self.columns[low] * (1.0 - part) + next * part
        };
        Self {
            first: self.first * TALL_STEP + TALL_MIDDLE.round() as usize,
            columns: (0..rows).map(column).collect(),
            ..self
        }
    }
}

/// True when more than half of a path runs along another one.
fn lies_on(track: &Track, other: &Track) -> bool {
    let near = (track.factor.max(other.factor) * 2) as f32;
    let shared = track.columns.iter().enumerate().filter(|(k, x)| {
        let other = (track.first + k).checked_sub(other.first).and_then(|i| other.columns.get(i));
        other.is_some_and(|o| (o - **x).abs() <= near)
    });
    2 * shared.count() > track.columns.len()
}

/// Gains of the best paths that end in each cell.
fn gains(scale: &Scale, sign: f32) -> Plane {
    let (width, rows) = (scale.response.width(), scale.response.height());
    let mut gain = Plane::new(width, rows);
    let mut before = vec![0.0f32; width + 2];
    for band in 0..rows {
        step(scale.response.row(band), sign, &before, gain.row_mut(band));
        before[1..=width].copy_from_slice(gain.row(band));
    }
    gain
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn step(responses: &[f32], sign: f32, before: &[f32], gain: &mut [f32]) {
    let width = responses.len();
    let (left, middle, right) = (&before[..width], &before[1..=width], &before[2..width + 2]);
    let gain = &mut gain[..width];
    for x in 0..width {
        let response = sign * responses[x];
        let response = if response > CLIP { CLIP } else { response };
        let response = if response < 0.0 { 0.0 } else { response };
        let aside = (if left[x] > right[x] { left[x] } else { right[x] }) - SIDEWAYS;
        // Gains are never negative, so a path that is worth nothing counts like a new start.
        let best = if aside > middle[x] { aside } else { middle[x] };
        let sum = response - EVEN + best;
        gain[x] = if sum > 0.0 { sum } else { 0.0 };
    }
}

/// The column from which the best path came to a cell, by the rule of [`step`]; `None` where it starts.
fn came_from(before: &[f32], x: usize) -> Option<usize> {
    let at = |i: Option<usize>| i.and_then(|i| before.get(i)).copied().unwrap_or(0.0);
    let (left, middle, right) = (at(x.checked_sub(1)), before[x], at(Some(x + 1)));
    let (aside, way) = if left > right { (left, x.wrapping_sub(1)) } else { (right, x + 1) };
    if aside - SIDEWAYS > middle { Some(way) } else { (middle > 0.0).then_some(x) }
}

fn of_scale(scale: &Scale, sign: f32) -> Vec<Track> {
    let gain = gains(scale, sign);
    let (width, rows) = (gain.width(), gain.height());
    let mut ends: Vec<(f32, usize, usize)> = Vec::new();
    for band in 0..rows {
        let below = (band + 1 < rows).then(|| gain.row(band + 1));
        for (x, value) in strong(gain.row(band)) {
            // A path ends where its last band still gained and the next one does not.
            let goes_on = |below: &[f32]| below[x.saturating_sub(1)..(x + 2).min(width)].iter().any(|b| b > value);
            if sign * scale.response.at(x, band) > EVEN && !below.is_some_and(goes_on) {
                ends.push((*value, band, x));
            }
        }
    }
    ends.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let mut used = Plane::<u8>::new(width, rows);
    let mut found = Vec::new();
    for (value, band, x) in ends {
        if used.at(x, band) != 0 {
            continue;
        }
        let (columns, before) = trace(&gain, &used, band, x);
        if value - before < LEAST_GAIN {
            // Marked all the same, so that its neighbours need not be traced again.
            used.set(x, band, 1);
            continue;
        }
        let first = band + 1 - columns.len();
        for (k, column) in columns.iter().enumerate() {
            used.row_mut(first + k)[column.saturating_sub(2)..(column + 3).min(width)].fill(1);
        }
        let factor = scale.factor;
        let place = |c: &usize| (c * factor) as f32 + 0.5 * (factor - 1) as f32;
        found.push(Track { first, columns: columns.iter().map(place).collect(), gain: value - before, sign, factor });
        if found.len() == MOST {
            break;
        }
    }
    found
}

/// The columns of a row in which a path has gained enough, with their gains. Most rows have few.
fn strong(gains: &[f32]) -> impl Iterator<Item = (usize, &f32)> {
    const TOGETHER: usize = 16;
    gains
        .chunks(TOGETHER)
        .enumerate()
        .filter(|(_, gains)| gains.iter().filter(|v| **v >= LEAST_GAIN).count() > 0)
        .flat_map(|(block, gains)| {
            let columns = gains.iter().enumerate().map(move |(k, value)| (block * TOGETHER + k, value));
            columns.filter(|(_, value)| **value >= LEAST_GAIN)
        })
}

/// Follows a path back from its end to its start or to a path already taken; its columns from top to bottom, and the gain
/// it had before.
fn trace(gain: &Plane, used: &Plane<u8>, end: usize, x: usize) -> (Vec<usize>, f32) {
    let (mut band, mut x) = (end, x);
    let mut columns = vec![x];
    let mut before = 0.0;
    while band > 0 {
        let Some(next) = came_from(gain.row(band - 1), x) else { break };
        if used.at(next, band - 1) != 0 {
            before = gain.at(next, band - 1);
            break;
        }
        band -= 1;
        x = next;
        columns.push(x);
    }
    columns.reverse();
    (columns, before)
}
