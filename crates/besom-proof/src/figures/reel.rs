//! Frames in memory, searched as a reel on disk is.

use std::ops::Range;

use besom_detect::survey::{Look, Thumbnail, cuts, grain_of_looks};
use besom_detect::{Candidate, Grain, Model, Prepared, Settings, Window, detect};
use besom_scan::Plane;
use rayon::prelude::*;

/// Grain that the survey assumes where it can measure none.
const USUAL_GRAIN: f32 = 7.0;

/// The detector that is judged.
#[derive(Clone, Debug)]
pub struct Detector {
    /// Its ensembles.
    pub model: Model,
    /// Its settings.
    pub settings: Settings,
    /// Candidates below this confidence do not count.
    pub sensitivity: f32,
}

impl Detector {
    /// The candidates of each frame, at or above the settings' floor. Shots are those that the survey finds.
    pub fn candidates(&self, frames: &[Vec<Plane>]) -> Vec<Vec<Candidate>> {
        shots(frames).into_iter().flat_map(|shot| self.shot(&frames[shot])).collect()
    }

    fn shot(&self, frames: &[Vec<Plane>]) -> Vec<Vec<Candidate>> {
        let prepared: Vec<Option<Prepared>> = frames.par_iter().map(|planes| Prepared::new(planes.clone())).collect();
        let grain = grain(&prepared);
        (0..frames.len())
            .into_par_iter()
            .map(|n| {
                let Some(window) = Window::of_shot(&prepared, n) else { return Vec::new() };
                detect(&window, &grain, &self.model, &self.settings)
            })
            .collect()
    }
}

/// The frames of each shot, as the survey finds them.
pub fn shots(frames: &[Vec<Plane>]) -> Vec<Range<usize>> {
    let mut bounds = vec![0];
    bounds.extend(shot_starts(frames));
    bounds.push(frames.len());
    bounds.windows(2).map(|pair| pair[0]..pair[1]).collect()
}

/// The places at which the survey begins a new shot.
pub fn shot_starts(frames: &[Vec<Plane>]) -> Vec<usize> {
    let thumbnails: Vec<Option<Thumbnail>> = frames.par_iter().map(|planes| Some(Thumbnail::new(planes))).collect();
    cuts(&thumbnails).into_iter().filter(|cut| *cut > 0 && *cut < frames.len()).collect()
}

/// A short shot's grain from three frames in its middle, as the survey takes it.
fn grain(prepared: &[Option<Prepared>]) -> Grain {
    let channels = prepared.iter().flatten().next().map_or(1, |p| p.planes.len());
    let place = |count: usize| prepared.len().saturating_sub(count - 1) / 2;
    let (first, third) = if prepared.len() >= 3 { (place(3), true) } else { (0, false) };
    let at = |n: usize| prepared.get(n).and_then(Option::as_ref);
    let look = at(first + 1)
        .zip(at(first))
        .and_then(|(current, before)| Look::new(current, before, if third { at(first + 2) } else { None }));
    match look {
        Some(look) => grain_of_looks(&[look], channels, USUAL_GRAIN),
        None => Grain::flat(channels, USUAL_GRAIN),
    }
}
