//! Line scratches in one frame: nearly vertical lines that do not belong to the picture.
//!
//! A scratch of transport lasts for many frames, so the temporal test is blind to it; it is looked for in space (Kokaram,
//! "Detection and removal of line scratches in degraded motion picture sequences", EUSIPCO 1996) and natural verticals are
//! told apart by motion: a scratch stays at its place on the film while the picture moves (Newson, Almansa, Gousseau and
//! Perez, IEEE TIP 23(3), 2014: detections that follow the scene's motion are discarded). In a still scene both look alike:
//! such a line is kept with a low confidence for a person to judge.
//!
//! First cut: lines of 1 to about 12 pixels, slanted by up to 5 degrees, each frame by itself; linking over frames is to
//! come.

use besom_scan::{Plane, Rect, Run, RunMask};
use rayon::prelude::*;

use crate::candidate::{Candidate, Kind, Origin, Polarity, Risk};
use crate::evidence::sigma_table;
use crate::features::Side;
use crate::grain::Grain;
use crate::prepare::Prepared;

/// Rows averaged into one band: sixteen rows take three quarters off the grain, and a slant of 5 degrees moves a line by
/// less than a pixel and a half in them.
const BAND: usize = 16;
/// Half distance of the flanks that a line is compared with, in pixels: for thin and for broad lines.
const REACHES: [usize; 2] = [4, 9];
/// Band response, against the band's usual response, that starts a track, and that continues one.
const START: f32 = 4.0;
const GO_ON: f32 = 2.0;
/// Shortest line: so many bands, and this share of the frame's height.
const FEWEST_BANDS: usize = 6;
const SHORTEST: f32 = 0.12;
/// Widest line in pixels, less the middle one.
const WIDEST: i32 = 11;
/// Horizontal motion from which staying and moving can be told apart, in pixels.
const TELLING: f32 = 2.5;

/// Mean response of each column in each band, in units of what is usual in that band.
struct Bands {
    rows: usize,
    responses: Vec<Plane>,
}

impl Bands {
    fn of(luma: &Plane, inverse: &[f32]) -> Self {
        let rows = luma.height() / BAND;
        let responses = REACHES
            .iter()
            .map(|reach| {
                let mut plane = Plane::new(luma.width(), rows.max(1));
                let width = luma.width();
                plane.as_mut_slice().par_chunks_mut(width).take(rows).enumerate().for_each(|(band, out)| {
                    for y in band * BAND..(band + 1) * BAND {
                        add_row(luma.row(y), *reach, inverse, out);
                    }
                    normalise(out);
                });
                plane
            })
            .collect();
        Self { rows, responses }
    }

    /// Strongest response of a sign within `slack` columns, over all reaches.
    fn strongest(&self, band: usize, x: i32, slack: i32, sign: f32) -> (f32, i32) {
        let mut best = (0.0, x);
        for plane in &self.responses {
            for i in x - slack..=x + slack {
                let value = sign * plane.get(i, band as i32).unwrap_or(0.0);
                if value > best.0 {
                    best = (value, i);
                }
            }
        }
        best
    }
}

/// Adds one row's responses: the sample against the mean of both flanks where these agree, clipped so that one speck of
/// dust does not make a line.
#[multiversion::multiversion(targets("x86_64+avx2"))]
fn add_row(row: &[f32], reach: usize, inverse: &[f32], out: &mut [f32]) {
    let width = row.len();
    let edge = reach + 2;
    if width <= 2 * edge {
        return;
    }
    let mut means = vec![0.0f32; width - 2];
    for (mean, w) in means.iter_mut().zip(row.windows(3)) {
        *mean = (w[0] + w[1] + w[2]) * (1.0 / 3.0);
    }
    let count = width - 2 * edge;
    // `means[i]` is centred on column i + 1.
    let (left, right) = (&means[1..=count], &means[2 * reach + 1..=2 * reach + count]);
    let (row, out) = (&row[edge..edge + count], &mut out[edge..edge + count]);
    for i in 0..count {
        let flank = 0.5 * (left[i] + right[i]);
        let unit = inverse[(flank as i32).clamp(0, 1023) as usize];
        let response = (row[i] - flank) * unit;
        let clipped = if response > 3.0 { 3.0 } else { response };
        let clipped = if clipped < -3.0 { -3.0 } else { clipped };
        // An edge has unlike flanks; a line has like ones.
        let alike = (left[i] - right[i]).abs() * unit < 3.0 + response.abs();
        out[i] += if alike { clipped } else { 0.0 };
    }
}

/// Divides a band's sums by what is usual along it: its mean absolute response, and no less than grain alone gives.
fn normalise(out: &mut [f32]) {
    const AROUND: usize = 48;
    let sums: Vec<f32> = std::iter::once(0.0)
        .chain(out.iter().scan(0.0f32, |sum, v| {
            *sum += v.abs();
            Some(*sum)
        }))
        .collect();
    let grain = 0.8 * (BAND as f32).sqrt();
    let width = out.len();
    let copy = out.to_vec();
    for (x, out) in out.iter_mut().enumerate() {
        let (a, b) = (x.saturating_sub(AROUND), (x + AROUND + 1).min(width));
        let usual = (sums[b] - sums[a]) / (b - a) as f32;
        *out = copy[x] / usual.max(grain);
    }
}

/// A line through the bands: its column in each.
struct Track {
    first: usize,
    columns: Vec<i32>,
    strength: f32,
    sign: f32,
}

fn tracks(bands: &Bands, width: usize) -> Vec<Track> {
    let mut used = Plane::<u8>::new(width, bands.rows.max(1));
    let mut found = Vec::new();
    for band in 0..bands.rows {
        for x in 0..width as i32 {
            if bands.responses.iter().all(|p| p.at(x as usize, band).abs() < START) {
                continue;
            }
            for sign in [-1.0, 1.0] {
                let (value, _) = bands.strongest(band, x, 0, sign);
                let (peak, at) = bands.strongest(band, x, 3, sign);
                if value < START || at != x || value < peak || used.get(x, band as i32) == Some(1) {
                    continue;
                }
                let track = follow(bands, band, x, sign);
                let fewest = FEWEST_BANDS.max((SHORTEST * bands.rows as f32) as usize);
                if track.columns.len() >= fewest && track.strength >= START - 0.5 {
                    for (k, column) in track.columns.iter().enumerate() {
                        let mark =
                            Rect::new(column - 3, (track.first + k) as i32, column + 4, (track.first + k) as i32 + 1);
                        RunMask::from_rect(&mark).paint(&mut used, 1);
                    }
                    found.push(track);
                }
            }
        }
    }
    found
}

/// Follows a line downwards; a scratch may break for two bands.
fn follow(bands: &Bands, first: usize, x: i32, sign: f32) -> Track {
    let mut columns = vec![x];
    let (mut sum, mut count, mut gap, mut at) = (bands.strongest(first, x, 0, sign).0, 1.0f32, 0usize, x);
    for band in first + 1..bands.rows {
        let (value, next) = bands.strongest(band, at, 1 + gap as i32, sign);
        if value >= GO_ON {
            sum += value;
            count += 1.0;
            gap = 0;
            at = next;
        } else {
            gap += 1;
            if gap > 2 {
                break;
            }
        }
        columns.push(at);
    }
    columns.truncate(columns.len() - gap);
    Track { first, strength: sum / count, columns, sign }
}

/// Finds the line scratches of a frame.
pub fn lines(current: &Prepared, sides: &[Side; 2], grain: &Grain) -> Vec<Candidate> {
    let luma = &current.luma;
    if luma.height() < FEWEST_BANDS * BAND {
        return Vec::new();
    }
    let inverse: &Vec<f32> = &sigma_table(grain).iter().map(|s| 1.0 / s).collect();
    let bands = Bands::of(luma, inverse);
    let found = tracks(&bands, luma.width());
    if found.is_empty() {
        return Vec::new();
    }
    let others: Vec<Bands> = sides.iter().map(|s| Bands::of(&s.frame.luma, inverse)).collect();
    found.iter().filter_map(|t| judge(t, sides, &others, luma)).collect()
}

/// How a line behaves in the neighbours: does it stay on the film or move with the picture?
#[derive(Default)]
struct Behaviour {
    telling: f32,
    stays: f32,
    moves: f32,
    bands: f32,
}

fn behaviour(track: &Track, sides: &[Side; 2], others: &[Bands]) -> Behaviour {
    let mut b = Behaviour::default();
    for (side, other) in sides.iter().zip(others) {
        for (k, column) in track.columns.iter().enumerate() {
            let band = track.first + k;
            let v = side.field.at(*column as f32, (band * BAND + BAND / 2) as f32);
            b.bands += 1.0;
            if v.dx.abs() < TELLING {
                continue;
            }
            b.telling += 1.0;
            b.stays += other.strongest(band, *column, 2, track.sign).0.min(8.0);
            // Where the picture's own line would stand; the band may move up or down by less than its height.
            let moved = (band as f32 + v.dy / BAND as f32).round().max(0.0) as usize;
            b.moves += other
                .strongest(moved.min(other.rows.saturating_sub(1)), *column + v.dx.round() as i32, 1, track.sign)
                .0
                .min(8.0);
        }
    }
    b
}

fn judge(track: &Track, sides: &[Side; 2], others: &[Bands], luma: &Plane) -> Option<Candidate> {
    let b = behaviour(track, sides, others);
    let told = b.telling >= 0.35 * b.bands;
    if told && b.moves >= 0.7 * b.stays {
        return None;
    }
    let strength = ((track.strength - 3.5) / 4.0).clamp(0.0, 1.0);
    let length = (track.columns.len() * BAND) as f32 / luma.height() as f32;
    // Heuristic and not calibrated: the development clips hold too few lines in still scenes to learn from.
    let confidence =
        if told { 0.6 + 0.2 * strength + 0.15 * length.min(1.0) } else { 0.1 + 0.1 * strength + 0.1 * length.min(1.0) };
    let reason = if told {
        "for: it stays in its place while the picture moves"
    } else {
        "against: the picture stands still here, so a line of the scene would look the same"
    };
    Some(Candidate {
        mask: mask_of(track, luma)?,
        kind: Kind::Line,
        polarity: if track.sign > 0.0 { Polarity::Bright } else { Polarity::Dark },
        confidence,
        risk: Risk { neighbours_disagree: !told, ..Risk::default() },
        origin: Origin::Film,
        peak: track.strength,
        reasons: vec![reason.into(), "for: a narrow line with like sides".into()],
    })
}

/// The line's pixels: its columns joined from band to band, as wide as its mean profile at half its height.
/// `None` when the profile is not a line's.
fn mask_of(track: &Track, luma: &Plane) -> Option<RunMask> {
    let reach = REACHES[1] as i32;
    let mut profile = vec![0.0f32; 2 * reach as usize + 1];
    let column_at = |y: usize| {
        let place = (y as f32 / BAND as f32 - track.first as f32 - 0.5).clamp(0.0, (track.columns.len() - 1) as f32);
        let low = (place as usize).min(track.columns.len().saturating_sub(2));
        let next = track.columns.get(low + 1).unwrap_or(&track.columns[low]);
        let part = place - low as f32;
        (track.columns[low] as f32 * (1.0 - part) + *next as f32 * part).round() as i32
    };
    let (y0, y1) = (track.first * BAND, ((track.first + track.columns.len()) * BAND).min(luma.height()));
    for y in y0..y1 {
        let x = column_at(y);
        for (i, sum) in profile.iter_mut().enumerate() {
            *sum += luma.clamped(x + i as i32 - reach, y as i32);
        }
    }
    let flank = 0.5 * (profile[0] + profile[profile.len() - 1]);
    let height = |i: i32| track.sign * (profile[(reach + i) as usize] - flank);
    let peak = (-2..=2).max_by(|a, b| height(*a).total_cmp(&height(*b)))?;
    let half = 0.4 * height(peak);
    // A profile without a peak of its own between both flanks is a step or a stripe of the scene.
    let extent = |step: i32| (1..reach - 2).find(|i| height(peak + step * i) <= half);
    let (left, right) = (extent(-1)? - 1, extent(1)? - 1);
    if half <= 0.0 || left + right > WIDEST {
        return None;
    }
    let runs = (y0..y1).map(|y| {
        let x = column_at(y) + peak;
        Run { y: y as u32, x0: (x - left).max(0) as u32, x1: (x + right + 1).clamp(0, luma.width() as i32) as u32 }
    });
    Some(RunMask::from_runs(runs.collect()))
}
