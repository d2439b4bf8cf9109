//! Long thin holes, filled section by section: what stands beside one end of a scratch says nothing about its other end.
//!
//! A scratch crosses things that move differently, are hidden in different neighbours, or lie where no neighbour helps and
//! only the picture around does. Sections overlap, and where they do the fills are faded into each other: two that
//! chose alike are alike there, so no seam shows and no grain is lost.

use besom_scan::{Plane, Rect, RunMask};

use crate::fill::{Hint, fill_whole};
use crate::hole::{Hole, cut_out};
use crate::job::{Fill, Job, Method};
use crate::prepared::Prepared;
use crate::trial::{Ground, Near};

/// Holes longer than this in either direction are looked at.
const LONG: usize = 72;
/// A hole is thin when its mean width across the longer direction is at most this, pixels.
const THIN: usize = 28;
/// Pixels of the longer direction in a section, without the overlap.
const LENGTH: i32 = 48;
/// Pixels over which neighbouring sections are faded into each other.
const OVERLAP: i32 = 8;

/// The bands a long thin mask is cut into: first and last-plus-one row, or column, of each.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Sections {
    upright: bool,
    bands: Vec<(i32, i32)>,
}

impl Sections {
    /// How `mask`, as far as it lies in `frame`, is to be cut; `None` when it is to be filled whole.
    pub(crate) fn of(mask: &RunMask, frame: Rect) -> Option<Self> {
        let bounds = mask.bounds().intersect(&frame);
        let upright = bounds.height() >= bounds.width();
        let (low, high) = if upright { (bounds.y0, bounds.y1) } else { (bounds.x0, bounds.x1) };
        let length = (high - low).max(0) as usize;
        if length <= LONG || mask.area() > THIN * length {
            return None;
        }
        let count = (high - low + LENGTH / 2) / LENGTH;
        let edge = |k: i32| low + (i64::from(high - low) * i64::from(k) / i64::from(count)) as i32;
        let half = OVERLAP / 2;
        let band = |k: i32| ((edge(k) - half).max(low), (edge(k + 1) + half).min(high));
        Some(Self { upright, bands: (0..count).map(band).collect() })
    }

    fn rect(&self, band: (i32, i32), frame: Rect) -> Rect {
        if self.upright {
            Rect::new(frame.x0, band.0, frame.x1, band.1)
        } else {
            Rect::new(band.0, frame.y0, band.1, frame.y1)
        }
    }

    /// How much a section counts at a row or column of its own: one inside, less towards an end that another one shares.
    fn weight(&self, band: (i32, i32), at: i32) -> f32 {
        let (first, last) = (self.bands.first().map_or(0, |b| b.0), self.bands.last().map_or(0, |b| b.1));
        let ramp = |distance: i32| ((distance as f32 + 0.5) / OVERLAP as f32).min(1.0);
        let before = if band.0 == first { 1.0 } else { ramp(at - band.0) };
        let after = if band.1 == last { 1.0 } else { ramp(band.1 - 1 - at) };
        before * after
    }
}

/// Fills a hole section by section.
pub(crate) fn fill_sections(job: &Job, prepared: &Prepared, sections: &Sections) -> Fill {
    let frame = job.skip.rect();
    // A section must not read what lies under the others.
    let mut skip = job.skip.clone();
    job.mask.paint(&mut skip, 1);
    let rect = job.mask.bounds().intersect(&frame);
    let mut sums: Vec<Plane> = job.planes.iter().map(|_| Plane::new(rect.width(), rect.height())).collect();
    let mut weights = Plane::<f32>::new(rect.width(), rect.height());
    let mut whole = Whole::default();
    let hints = motions_of_all(job, prepared);
    for (k, band) in sections.bands.iter().enumerate() {
        let mask = job.mask.intersection(&RunMask::from_rect(&sections.rect(*band, frame)));
        let seed = job.seed.wrapping_add((k as u64) << 32);
        let fill = fill_whole(&Job { mask: &mask, skip: &skip, seed, ..*job }, prepared, &hints);
        if fill.method == Method::Nothing {
            continue;
        }
        for (x, y) in mask.pixels().map(|(x, y)| (x as i32, y as i32)).filter(|(x, y)| rect.contains(*x, *y)) {
            let weight = sections.weight(*band, if sections.upright { y } else { x });
            let (to_x, to_y) = ((x - rect.x0) as usize, (y - rect.y0) as usize);
            let (from_x, from_y) = ((x - fill.rect.x0) as usize, (y - fill.rect.y0) as usize);
            for (sum, values) in sums.iter_mut().zip(&fill.values) {
                sum.set(to_x, to_y, sum.at(to_x, to_y) + weight * values.at(from_x, from_y));
            }
            weights.set(to_x, to_y, weights.at(to_x, to_y) + weight);
        }
        whole.add(&fill, mask.area());
    }
    let mut values: Vec<Plane> = job.planes.iter().map(|p| cut_out(p, &rect)).collect();
    for (out, sum) in values.iter_mut().zip(&sums) {
        for ((v, s), w) in out.as_mut_slice().iter_mut().zip(sum.as_slice()).zip(weights.as_slice()) {
            if *w > 0.0 {
                *v = s / w;
            }
        }
    }
    whole.fill(rect, values)
}

/// For each source, where the surroundings of the whole hole stand in it: over repeating structure a section alone may follow
/// the wrong one.
fn motions_of_all(job: &Job, prepared: &Prepared) -> Vec<Hint> {
    let Some(hole) = Hole::new(job.mask, job.skip) else { return Vec::new() };
    let near = Near::new(&hole, &prepared.luma, job.skip);
    let sigma = job.grain.luma_at(hole.level(&prepared.luma));
    let sources = job.sources.iter().zip(&prepared.sources).enumerate();
    let fitting =
        sources.filter(|(_, (source, luma))| job.choice.allows(source.offset) && luma.rect() == job.skip.rect());
    fitting
        .map(|(k, (source, source_luma))| {
            let ground = Ground { hole: &hole, near: &near, luma: &prepared.luma, source, source_luma, sigma };
            (k, ground.simple())
        })
        .collect()
}

/// What the sections were filled with, all together.
#[derive(Default)]
struct Whole {
    sources: Vec<i32>,
    pixels: usize,
    /// Whether any were filled from other frames, any from around, and any from under the dirt.
    from_frames: bool,
    from_around: bool,
    from_under: bool,
    rim: f32,
    rim_pixels: f32,
    square: f32,
}

impl Whole {
    fn add(&mut self, fill: &Fill, pixels: usize) {
        self.pixels += pixels;
        self.from_frames |= fill.method != Method::Spatial;
        self.from_under |= fill.method == Method::Recovered;
        self.from_around |= matches!(fill.method, Method::Spatial | Method::Parted);
        self.sources.extend(&fill.sources);
        if fill.rim_error.is_finite() {
            self.rim += pixels as f32 * fill.rim_error;
            self.rim_pixels += pixels as f32;
        }
        self.square += pixels as f32 * fill.predicted_error * fill.predicted_error;
    }

    fn fill(mut self, rect: Rect, values: Vec<Plane>) -> Fill {
        self.sources.sort_unstable();
        self.sources.dedup();
        let method = match (self.from_frames, self.from_around) {
            (false, false) => Method::Nothing,
            (false, true) => Method::Spatial,
            (true, false) if self.from_under => Method::Recovered,
            (true, false) => Method::of_sources(&self.sources),
            (true, true) => Method::Parted,
        };
        Fill {
            rect,
            values,
            method,
            sources: self.sources,
            rim_error: if self.rim_pixels > 0.0 { self.rim / self.rim_pixels } else { f32::INFINITY },
            predicted_error: (self.square / self.pixels.max(1) as f32).sqrt(),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn bands_cover_a_scratch_and_their_weights_are_never_all_zero() {
        let frame = Rect::new(0, 0, 100, 540);
        let mask = RunMask::from_rect(&Rect::new(40, 0, 44, 540));
        let sections = Sections::of(&mask, frame).unwrap();
        assert!(sections.upright);
        assert_eq!((sections.bands[0].0, sections.bands.last().unwrap().1), (0, 540));
        for y in 0..540 {
            let over: Vec<_> = sections.bands.iter().filter(|b| b.0 <= y && y < b.1).collect();
            assert!(!over.is_empty() && over.len() <= 2, "{y}");
            assert!(over.iter().map(|b| sections.weight(**b, y)).sum::<f32>() > 0.9, "{y}");
        }
        let part = |b: &(i32, i32)| mask.intersection(&RunMask::from_rect(&sections.rect(*b, frame))).area();
        let parts: usize = sections.bands.iter().map(part).sum();
        assert_eq!(parts, mask.area() + (sections.bands.len() - 1) * 4 * OVERLAP as usize);
    }

    #[test]
    fn short_and_stout_holes_stay_whole() {
        let frame = Rect::new(0, 0, 400, 400);
        assert_eq!(Sections::of(&RunMask::from_rect(&Rect::new(10, 10, 14, 80)), frame), None);
        assert_eq!(Sections::of(&RunMask::from_rect(&Rect::new(10, 10, 200, 200)), frame), None);
        let flat = Sections::of(&RunMask::from_rect(&Rect::new(10, 10, 300, 13)), frame).unwrap();
        assert!(!flat.upright && flat.bands.len() == 6);
    }
}
