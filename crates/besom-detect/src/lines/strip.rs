//! The surroundings of a line, straightened: for each band the samples across the line's place, in grain sigmas.

use besom_scan::Plane;

/// Where a line runs: its centre in each band from `first` on, in scan pixels.
#[derive(Clone, Debug)]
pub(super) struct Path {
    pub(super) first: usize,
    pub(super) centres: Vec<f32>,
}

impl Path {
    /// The whole columns of a track, smoothed by a straight fit over nine bands around each.
    pub(super) fn smooth(first: usize, columns: &[f32]) -> Self {
        const REACH: usize = 4;
        let fitted = |k: usize| {
            let (a, b) = (k.saturating_sub(REACH), (k + REACH + 1).min(columns.len()));
            let (offset, slope) = straight(columns[a..b].iter().enumerate().map(|(i, x)| ((a + i) as f32, *x)));
            offset + slope * k as f32
        };
        Self { first, centres: (0..columns.len()).map(fitted).collect() }
    }

    /// The straight line through it: pixels at its first band, and pixels a row.
    pub(super) fn line(&self) -> (f32, f32) {
        let (offset, slope) = straight(self.centres.iter().enumerate().map(|(k, x)| (k as f32, *x)));
        (offset, slope / super::bands::BAND as f32)
    }

    /// Bands.
    pub(super) fn len(&self) -> usize {
        self.centres.len()
    }
}

/// The least-squares line through points: its value at 0 and its slope; a level line through fewer than two places.
pub(crate) fn straight(points: impl Iterator<Item = (f32, f32)> + Clone) -> (f32, f32) {
    let n = points.clone().count() as f32;
    let (sx, sy) = points.clone().fold((0.0, 0.0), |(a, b), (x, y)| (a + x, b + y));
    let (mx, my) = (sx / n.max(1.0), sy / n.max(1.0));
    let (xx, xy) = points.fold((0.0, 0.0), |(a, b), (x, y)| (a + (x - mx) * (x - mx), b + (x - mx) * (y - my)));
    let slope = if xx > 0.0 { xy / xx } else { 0.0 };
    (my - slope * mx, slope)
}

/// Samples across a path: `2 * reach + 1` a band, the middle one on the path.
#[derive(Clone, Debug)]
pub(super) struct Strip {
    pub(super) reach: usize,
    samples: Vec<f32>,
}

impl Strip {
    /// Samples the weighted sum of a frame's evened bands. `places` gives each band's centre and its row among the
    /// bands; rows between two bands are mixed from both, places outside take the border.
    pub(super) fn take(
        bands: &[Plane],
        weights: &[f32],
        places: impl Iterator<Item = (f32, f32)>,
        reach: usize,
    ) -> Self {
        let size = 2 * reach + 1;
        let mut samples = Vec::new();
        let Some(rows) = bands.first().map(Plane::height).filter(|r| *r > 0) else { return Self { reach, samples } };
        for (centre, row) in places {
            let row = row.clamp(0.0, (rows - 1) as f32);
            let (upper, share) = (row as usize, row - row.floor());
            let lower = (upper + 1).min(rows - 1);
            let start = samples.len();
            samples.resize(start + size, 0.0);
            for (plane, weight) in bands.iter().zip(weights) {
                if *weight == 0.0 {
                    continue;
                }
                let out = &mut samples[start..];
                across(plane.row(upper), centre - reach as f32, weight * (1.0 - share), out);
                if share > 0.0 {
                    across(plane.row(lower), centre - reach as f32, weight * share, out);
                }
            }
        }
        Self { reach, samples }
    }

    pub(super) fn len(&self) -> usize {
        self.samples.len() / (2 * self.reach + 1)
    }

    pub(super) fn band(&self, k: usize) -> &[f32] {
        let size = 2 * self.reach + 1;
        &self.samples[k * size..(k + 1) * size]
    }
}

/// Adds weighted samples of a row at `left`, `left + 1`, ..., mixed linearly from both neighbours; the border repeats.
fn across(row: &[f32], left: f32, weight: f32, out: &mut [f32]) {
    let floor = left.floor();
    let (a, b) = (weight * (1.0 - (left - floor)), weight * (left - floor));
    let start = floor as i64;
    let inside = usize::try_from(start).ok().and_then(|s| row.get(s..s + out.len() + 1));
    if let Some(row) = inside {
        return add_mixed(row, a, b, out);
    }
    let last = row.len() as i64 - 1;
    let at = |i: i64| row[i.clamp(0, last) as usize];
    for (i, out) in (start..).zip(out) {
        *out += a * at(i) + b * at(i + 1);
    }
}

/// Adds samples mixed with the next ones of a row that has one more of them.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn add_mixed(row: &[f32], a: f32, b: f32, out: &mut [f32]) {
    for ((out, here), next) in out.iter_mut().zip(row).zip(&row[1..]) {
        *out += a * here + b * next;
    }
}

/// The parts of a strip: the line's core, and its sides beyond a soft edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Parts {
    /// First and last offset of the core.
    pub(super) core: (i32, i32),
    /// Columns of a side.
    pub(super) side: i32,
}

/// Columns between the core and its sides.
pub(super) const GAP: i32 = 2;

/// What one band shows.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Band {
    pub(super) core: f32,
    pub(super) left: f32,
    pub(super) right: f32,
}

impl Band {
    /// The core against the mean of both sides.
    pub(super) fn contrast(self) -> f32 {
        self.core - 0.5 * (self.left + self.right)
    }

    /// The core against the side that is more like it; negative when the core does not stand out from both.
    pub(super) fn least(self) -> f32 {
        self.core - self.left.max(self.right)
    }
}

impl Parts {
    /// Columns on either side of the middle that the parts need.
    pub(super) fn reach(&self) -> i32 {
        self.core.0.abs().max(self.core.1.abs()) + GAP + self.side
    }

    /// Reads a band shifted by `shift` columns.
    pub(super) fn read(&self, strip: &Strip, k: usize, shift: i32) -> Band {
        let band = strip.band(k);
        let mean = |from: i32, to: i32| {
            let at = |i: i32| (i + shift + strip.reach as i32).clamp(0, band.len() as i32 - 1) as usize;
            let part = &band[at(from)..=at(to)];
            part.iter().sum::<f32>() / part.len() as f32
        };
        let (a, b) = self.core;
        Band {
            core: mean(a, b),
            left: mean(a - GAP - self.side, a - GAP - 1),
            right: mean(b + GAP + 1, b + GAP + self.side),
        }
    }
}

/// The value below which a share of the values lies; 0 for none.
pub(super) fn quantile(values: &mut [f32], share: f32) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let place = ((values.len() - 1) as f32 * share) as usize;
    *values.select_nth_unstable_by(place, f32::total_cmp).1
}

/// The middle value.
pub(super) fn median(values: &mut [f32]) -> f32 {
    quantile(values, 0.5)
}

/// The median distance from the median.
pub(super) fn spread(values: &[f32]) -> f32 {
    let mut values = values.to_vec();
    let middle = median(&mut values);
    for v in &mut values {
        *v = (*v - middle).abs();
    }
    median(&mut values)
}
