//! What an infrared plane is worth: the depths at marks that are dirt and at marks that are not, and the figures of a
//! detection with and without it.

use besom_detect::infrared::{Likeness, likeness};
use besom_detect::{Candidate, Grain, Infrared, Model, Prepared, Settings, Window, detect};
use besom_scan::{Plane, RunMask};
use rayon::prelude::*;

use super::{Figures, FrameStudy, grain_of, judge};
use crate::ageing::infrared::Infrared as Film;
use crate::ageing::{AgedFrame, Ageing, Settings as Amounts};

/// One mark that the picture showed: its confidence without infrared, the infrared's depth in sigmas, and whether it is dirt.
pub type Depth = (f32, f32, bool);

/// A clip with an infrared plane, studied.
#[derive(Clone, Debug)]
pub struct InfraredStudy {
    /// The plane's likeness to the picture, of the frame in the middle when they are ordered by it.
    pub likeness: Likeness,
    /// The weight that it gets from that.
    pub weight: f32,
    /// Marks found without infrared.
    pub depths: Vec<Depth>,
    /// Candidates without, and with infrared.
    pub found: [Vec<FrameStudy>; 2],
    /// Confidence of each candidate, alike.
    pub confidence: [Vec<Vec<f32>>; 2],
}

impl InfraredStudy {
    /// The figures at a sensitivity without (0) or with infrared (1).
    pub fn figures(&self, with: usize, sensitivity: f32) -> Figures {
        let mut figures = Figures::default();
        for (frame, confidence) in self.found[with].iter().zip(&self.confidence[with]) {
            figures.count(frame, confidence, sensitivity);
        }
        figures
    }
}

/// Ages a clean clip, makes its infrared and detects with and without it, as one shot.
pub fn study(clean: &[Vec<Plane>], amounts: &Amounts, film: &Film, seed: u64, model: &Model) -> InfraredStudy {
    let size = clean.first().and_then(|f| f.first()).map_or((0, 0), |p| (p.width(), p.height()));
    let ageing = Ageing::new(amounts, size.0, size.1, clean.len(), seed);
    let frames: Vec<(AgedFrame, Plane)> = (0..clean.len())
        .into_par_iter()
        .map(|n| {
            let aged = ageing.frame(n, &clean[n]);
            let infrared = film.plane(&ageing, n, &aged);
            (aged, infrared)
        })
        .collect();
    let mut all: Vec<Likeness> =
        frames.par_iter().filter_map(|(aged, infrared)| likeness(infrared, &aged.aged)).collect();
    all.sort_by(|a, b| a.depth.total_cmp(&b.depth));
    let likeness = all.get(all.len() / 2).copied().unwrap_or_default();
    let prepared: Vec<Option<Prepared>> = frames.par_iter().map(|(aged, _)| Prepared::new(aged.aged.clone())).collect();
    let grain = grain_of(&prepared);
    let (without, depths) = detected(&frames, &prepared, &grain, model);
    let weight = likeness.weight();
    let trusted: Vec<Option<Prepared>> = prepared
        .into_iter()
        .zip(&frames)
        .map(|(prepared, (_, plane))| prepared.map(|p| p.with_infrared(Infrared::new(plane, weight))))
        .collect();
    let (with, _) = detected(&frames, &trusted, &grain, model);
    let confidence = |all: &[Vec<Candidate>]| all.iter().map(|c| c.iter().map(|c| c.confidence).collect()).collect();
    InfraredStudy {
        likeness,
        weight,
        depths,
        confidence: [confidence(&without), confidence(&with)],
        found: [judged(&without, &frames), judged(&with, &frames)],
    }
}

fn judged(found: &[Vec<Candidate>], frames: &[(AgedFrame, Plane)]) -> Vec<FrameStudy> {
    let one = |(found, (aged, _)): (&Vec<Candidate>, &(AgedFrame, Plane))| {
        let masks: Vec<&RunMask> = found.iter().map(|c| &c.mask).collect();
        judge(&masks, vec![Vec::new(); masks.len()], &aged.labels)
    };
    found.iter().zip(frames).map(one).collect()
}

type Detected = (Vec<Vec<Candidate>>, Vec<Depth>);

fn detected(frames: &[(AgedFrame, Plane)], prepared: &[Option<Prepared>], grain: &Grain, model: &Model) -> Detected {
    let mut depths = Vec::new();
    let mut all = Vec::new();
    for (n, (aged, plane)) in frames.iter().enumerate() {
        let Some(window) = Window::of_shot(prepared, n) else { continue };
        let found = detect(&window, grain, model, &Settings { floor: 0.02, ..Settings::default() });
        if let Some(infrared) = Infrared::new(plane, 1.0) {
            let masks: Vec<&RunMask> = found.iter().map(|c| &c.mask).collect();
            let study = judge(&masks, vec![Vec::new(); masks.len()], &aged.labels);
            let depth = found.iter().zip(&study.judged);
            depths.extend(depth.filter_map(|(c, j)| Some((c.confidence, infrared.depth(&c.mask)?, j.real))));
        }
        all.push(found);
    }
    (all, depths)
}
