//! A line as it looks in its own frame: its colour, its profile, where it is strong.

use besom_scan::Plane;

use super::bands::BAND;
use super::strip::{Band, Parts, Path, Strip, median, quantile, straight};
use super::tracks::Track;

/// Widest line in pixels.
const WIDEST: f32 = 34.0;
/// Steepest line in pixels a row: 6.5 degrees, so that a line of 5 degrees is found for certain.
const STEEPEST: f32 = 0.114;
/// Part of the peak's height at which a line's edge is drawn.
const EDGE_HEIGHT: f32 = 0.4;

/// A line with its measures.
#[derive(Clone, Debug)]
pub(crate) struct Shape {
    pub(super) track: Track,
    pub(super) path: Path,
    /// Weight of each evened channel, so that the line is bright in their sum; squares sum to 1.
    pub(super) weights: Vec<f32>,
    /// The contrast of each channel in grain sigmas, negative where the line is darker.
    pub(super) channels: Vec<f32>,
    /// Mean profile across the line, level at its sides, and the offset of its middle sample.
    pub(super) profile: Vec<f32>,
    pub(super) parts: Parts,
    /// Its left and right edge from the path, in pixels.
    pub(super) edges: (f32, f32),
    /// Every band of the path.
    pub(super) bands: Vec<Band>,
    /// Its usual contrast in grain sigmas of the weighted sum.
    pub(super) contrast: f32,
    /// What is measured of it in its own frame, the first [`super::ALONE`] of [`super::NAMES`]; empty as long as the frame's
    /// other lines are not known.
    pub(super) alone: Vec<f32>,
}

impl Shape {
    /// Looks at a track closely; `None` when its profile is not that of a line.
    pub(super) fn of(track: &Track, bands: &[Plane]) -> Option<Self> {
        let path = Path::smooth(track.first, &track.columns);
        if path.line().1.abs() > STEEPEST {
            return None;
        }
        let factor = track.factor as i32;
        let reach = (10 + 6 * factor).min(58) as usize;
        let rough = Parts { core: (-factor, factor), side: 2 + factor };
        let one = |channel: usize| {
            let weights: Vec<f32> = (0..bands.len()).map(|c| if c == channel { 1.0 } else { 0.0 }).collect();
            let strip = Strip::take(bands, &weights, places(&path), rough.reach() as usize);
            median(&mut (0..strip.len()).map(|k| rough.read(&strip, k, 0).contrast()).collect::<Vec<_>>())
        };
        let channels: Vec<f32> = (0..bands.len()).map(one).collect();
        let length = channels.iter().map(|c| c * c).sum::<f32>().sqrt();
        if length <= 0.0 {
            return None;
        }
        let weights: Vec<f32> = channels.iter().map(|c| c / length).collect();
        let strip = Strip::take(bands, &weights, places(&path), reach);
        let profile = profile(&strip, &rough);
        let edges = edges(&profile, reach as i32, factor)?;
        let (a, b) = ((edges.0 + 0.25).ceil() as i32, (edges.1 - 0.25).floor() as i32);
        let middle = (0.5 * (edges.0 + edges.1)).round() as i32;
        let core = if a <= b { (a, b) } else { (middle, middle) };
        let parts = Parts { core, side: ((core.1 - core.0 + 1) / 2).clamp(3, 9) };
        let read: Vec<Band> = (0..strip.len()).map(|k| parts.read(&strip, k, 0)).collect();
        // The stronger half of the bands: a broken line is judged by its whole parts.
        let contrast = quantile(&mut read.iter().map(|b| b.contrast()).collect::<Vec<_>>(), 0.65);
        let alone = Vec::new();
        let mut shape =
            Self { track: track.clone(), path, weights, channels, profile, parts, edges, bands: read, contrast, alone };
        (contrast > 0.0).then(|| {
            shape.extend(bands);
            shape
        })
    }

    /// Follows the line beyond both its ends, over gaps, as far as it shows again.
    fn extend(&mut self, bands: &[Plane]) {
        let rows = bands.first().map_or(0, Plane::height);
        let below: Vec<usize> = (self.path.first + self.path.len()..rows).collect();
        let above: Vec<usize> = (0..self.path.first).rev().collect();
        let (mut centres, mut read) = self.beyond(bands, &above, 0);
        let (more_centres, more_read) = self.beyond(bands, &below, self.path.len() - 1);
        self.path.first -= centres.len();
        centres.reverse();
        read.reverse();
        centres.extend_from_slice(&self.path.centres);
        read.extend_from_slice(&self.bands);
        centres.extend(more_centres);
        read.extend(more_read);
        (self.path.centres, self.bands) = (centres, read);
    }

    /// The line's continuation over `rows` of bands, nearest first, from band `end` of the path: up to the last place where
    /// two of three bands show it.
    fn beyond(&self, bands: &[Plane], rows: &[usize], end: usize) -> (Vec<f32>, Vec<Band>) {
        const FIT: usize = 24;
        const SLACK: i32 = 3;
        let last = self.path.len() - 1;
        let (a, b) = if end == 0 { (0, FIT.min(last)) } else { (last.saturating_sub(FIT), last) };
        let points = (a..=b).map(|k| ((self.path.first + k) as f32, self.path.centres[k]));
        let (offset, slope) = straight(points);
        // A short line's own slope is not known well enough to be followed far.
        let slope = if b - a < FIT / 2 { 0.0 } else { slope };
        let anchor = (self.path.first + end) as f32;
        let start = if slope == 0.0 { self.path.centres[end] } else { offset + slope * anchor };
        let places: Vec<(f32, f32)> = rows.iter().map(|r| (start + slope * (*r as f32 - anchor), *r as f32)).collect();
        let reach = (self.parts.reach() + SLACK) as usize;
        let strip = Strip::take(bands, &self.weights, places.iter().copied(), reach);
        let (mut centres, mut read, mut shows) = (Vec::new(), Vec::new(), Vec::new());
        let (mut keep, mut at) = (0, 0i32);
        for k in 0..strip.len() {
            let best = (at - 1..=at + 1)
                .filter(|s| s.abs() <= SLACK)
                .map(|s| (s, self.parts.read(&strip, k, s)))
                .max_by(|a, b| a.1.least().total_cmp(&b.1.least()).then(b.0.abs().cmp(&a.0.abs())));
            let Some((shift, band)) = best else { break };
            let here = band.least() > 0.3 * self.contrast && band.contrast() < 3.0 * self.contrast;
            at = if here { shift } else { at };
            centres.push(places[k].0 + at as f32);
            read.push(if here { band } else { self.parts.read(&strip, k, at) });
            shows.push(here);
            if here && shows[k.saturating_sub(2)..k].iter().any(|s| *s) {
                keep = k + 1;
            }
        }
        // Lines fade out: one band more where something is left of it.
        if read.get(keep).is_some_and(|b| b.contrast() > 0.15 * self.contrast) {
            keep += 1;
        }
        centres.truncate(keep);
        read.truncate(keep);
        (centres, read)
    }

    /// Width in pixels.
    pub(super) fn width(&self) -> f32 {
        self.edges.1 - self.edges.0
    }

    /// True where the line is there.
    pub(super) fn strong(&self, k: usize) -> bool {
        self.bands[k].least() > 0.3 * self.contrast
    }
}

/// Each band of a path with its row among the bands.
pub(super) fn places(path: &Path) -> impl Iterator<Item = (f32, f32)> + '_ {
    path.centres.iter().enumerate().map(|(k, x)| (*x, (path.first + k) as f32))
}

/// Row in scan pixels of the middle of a band.
pub(super) fn row_of(band: usize) -> f32 {
    (band * BAND) as f32 + 0.5 * (BAND - 1) as f32
}

/// The median profile of the bands, each levelled by the straight line through its sides first.
fn profile(strip: &Strip, parts: &Parts) -> Vec<f32> {
    let size = 2 * strip.reach + 1;
    let step = (strip.len() / 48).max(1);
    let picked: Vec<usize> = (0..strip.len()).step_by(step).collect();
    let levels: Vec<f32> = picked
        .iter()
        .map(|k| {
            let band = parts.read(strip, *k, 0);
            0.5 * (band.left + band.right)
        })
        .collect();
    let mut column = vec![0.0; picked.len()];
    (0..size)
        .map(|i| {
            for ((value, k), level) in column.iter_mut().zip(&picked).zip(&levels) {
                *value = strip.band(*k)[i] - level;
            }
            median(&mut column)
        })
        .collect()
}

/// Where a profile falls below a part of its peak on either side, to a part of a pixel. `None` when it does not fall (a step
/// or a stripe of the scene) or the line is too wide.
fn edges(profile: &[f32], reach: i32, factor: i32) -> Option<(f32, f32)> {
    let at = |i: i32| profile[(i + reach) as usize];
    let peak = (-2 * factor..=2 * factor).max_by(|a, b| at(*a).total_cmp(&at(*b)))?;
    let height = at(peak);
    let level = EDGE_HEIGHT * height;
    let fall = |step: i32| {
        (1..reach * 2).map(|i| peak + step * i).take_while(|i| i.abs() < reach - 2).find(|i| at(*i) <= level).map(|i| {
            // Between this sample and the one before, half a pixel beyond its centre line.
            let (inside, outside) = (at(i - step), at(i));
            let part = (inside - level) / (inside - outside).max(1e-6);
            (i - step) as f32 + step as f32 * part
        })
    };
    let (left, right) = (fall(-1)?, fall(1)?);
    (height > 0.0 && right - left <= WIDEST).then_some((left, right))
}
