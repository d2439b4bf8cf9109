//! The table of figures that the detector is judged by: aged clips and the demo reel, looked at exactly as a reel is.
//!
//! What is found, and what a false candidate is, is counted by [`crate::score`] on the mask of all candidates at or above
//! a sensitivity, whose connected components stand for the candidates. The survey's own cuts and grain are used, so that
//! what they get wrong counts too.

pub mod keep;
pub mod reel;
pub mod scratches;
pub mod sets;
pub mod summary;
pub mod tally;

pub use keep::{CURVE_HEADINGS, TALLY_HEADINGS, keep};
pub use reel::Detector;
pub use scratches::Scratches;
pub use sets::{Set, Sets};
pub use summary::{Row, Summary};
pub use tally::{SENSITIVITIES, Tally};

use besom_scan::Plane;
use rayon::prelude::*;

use crate::ageing::{Aged, age};
use crate::demo;

/// One set of frames, looked at and counted.
#[derive(Clone, Debug)]
pub struct Counted {
    /// The clip's name.
    pub clip: String,
    /// How it was aged.
    pub set: Set,
    /// The counts.
    pub tally: Tally,
    /// Seconds that the detection took, preparation and survey included.
    pub seconds: f64,
}

/// The frames of a set with everything that was counted on them, for those who want to count again.
pub struct Shown {
    /// The frames as they were searched.
    pub frames: Vec<Vec<Plane>>,
    /// Their truth.
    pub labels: Vec<Plane<u8>>,
    /// Ones where a candidate is at or above the sensitivity.
    pub masks: Vec<Plane<u8>>,
    /// What was counted on each.
    pub tallies: Vec<Tally>,
}

/// Seed of a clip's ageing: a hash of its name (FNV-1a, 32 bits), so that a clip is aged alike whatever stands beside it.
pub fn seed_of(name: &str) -> u64 {
    let hash = name.bytes().fold(0x811C_9DC5_u32, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193));
    u64::from(hash)
}

/// Ages a clean clip as a set wants it and counts what the detector makes of it.
pub fn clip(name: &str, clean: &[Vec<Plane>], set: Set, detector: &Detector) -> (Counted, Shown) {
    let seed = seed_of(name);
    let Aged { aged, labels, .. } = age(clean, &set.settings(seed), seed);
    counted(name, set, aged, labels, detector)
}

/// The demo reel as the repository carries it, or its frames before the dirt.
pub fn demo_reel(undamaged: bool, detector: &Detector) -> (Counted, Shown, Vec<demo::Shot>, Vec<Plane<u8>>) {
    let reel = demo::render(&demo::Settings::default());
    let frames: Vec<demo::DemoFrame> =
        (0..reel.settings().frames).into_par_iter().filter_map(|n| reel.frame(n)).collect();
    let belongs = frames.iter().map(|f| f.belongs.clone()).collect();
    let none = |labels: &Plane<u8>| Plane::new(labels.width(), labels.height());
    let (set, planes, labels) = if undamaged {
        let labels = frames.iter().map(|f| none(&f.labels)).collect();
        (Set::Undamaged, frames.into_iter().map(|f| f.clean).collect::<Vec<_>>(), labels)
    } else {
        let labels = frames.iter().map(|f| f.labels.clone()).collect();
        (Set::Heavy, frames.into_iter().map(|f| f.aged).collect(), labels)
    };
    let (counted, shown) = counted("demo reel", set, planes, labels, detector);
    (counted, shown, reel.shots().to_vec(), belongs)
}

fn counted(
    name: &str,
    set: Set,
    frames: Vec<Vec<Plane>>,
    labels: Vec<Plane<u8>>,
    detector: &Detector,
) -> (Counted, Shown) {
    let begun = std::time::Instant::now();
    let candidates = detector.candidates(&frames);
    let seconds = begun.elapsed().as_secs_f64();
    let (tallies, masks): (Vec<Tally>, Vec<Plane<u8>>) = labels
        .par_iter()
        .zip(&candidates)
        .map(|(labels, candidates)| {
            let mask = tally::mask(labels, candidates, |c| c.confidence >= detector.sensitivity);
            (Tally::of_frame(labels, candidates, detector.sensitivity, matches!(set, Set::Light | Set::Heavy)), mask)
        })
        .unzip();
    let mut tally = Tally::default();
    for frame in &tallies {
        tally.merge(frame);
    }
    for shot in reel::shots(&frames) {
        let (labels, candidates, masks) = (&labels[shot.clone()], &candidates[shot.clone()], &masks[shot]);
        tally.scratches.merge(&Scratches::of_shot(labels, candidates, masks, detector.sensitivity));
    }
    (Counted { clip: name.to_owned(), set, tally, seconds }, Shown { frames, labels, masks, tallies })
}

#[cfg(test)]
mod tests;
