//! Counts of one frame, or of any number of them.

use besom_detect::{Candidate, Kind};
use besom_scan::Plane;

use super::scratches::Scratches;
use crate::score::{Detection, LEAST_PIXELS, Reliability, Truth, objects};

/// Sensitivities at which the curve of recall against false candidates is taken.
pub const SENSITIVITIES: [f32; 14] = [0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.995];

/// What is counted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// All candidates at or above the sensitivity.
    pub all: Detection,
    /// Only those that are not at risk.
    pub calm: Detection,
    /// Line candidates at or above the sensitivity, and the false ones among them.
    pub lines: (u64, u64),
    /// Line scratches over frames; counted for a whole shot, 0 for a single frame.
    pub scratches: Scratches,
    /// Stated against observed confidence of every candidate above the floor.
    pub reliability: Reliability,
    /// The same as `all` at each of [`SENSITIVITIES`]; empty where no curve was asked for.
    pub curve: [Detection; SENSITIVITIES.len()],
}

impl Tally {
    /// Counts a frame, with the curve if asked, which costs as much again as the rest.
    pub fn of_frame(labels: &Plane<u8>, candidates: &[Candidate], sensitivity: f32, curve: bool) -> Self {
        let truth = Truth::new(labels);
        let score = |wanted: &dyn Fn(&Candidate) -> bool| {
            truth.score(&objects(&mask(labels, candidates, wanted), |v| v != 0, LEAST_PIXELS))
        };
        let mut tally = Self {
            all: score(&|c| c.confidence >= sensitivity),
            calm: score(&|c| c.confidence >= sensitivity && !c.risk.any()),
            ..Self::default()
        };
        if curve {
            tally.curve = SENSITIVITIES.map(|least| score(&|c| c.confidence >= least));
        }
        for candidate in candidates.iter().filter(|c| counts(c)) {
            let Some(real) = truth.judge(&candidate.mask) else { continue };
            tally.reliability.add(candidate.confidence, real);
            if candidate.kind == Kind::Line && candidate.confidence >= sensitivity {
                tally.lines.0 += 1;
                tally.lines.1 += u64::from(!real);
            }
        }
        tally
    }

    /// Adds another.
    pub fn merge(&mut self, other: &Self) {
        self.all.merge(&other.all);
        self.calm.merge(&other.calm);
        self.lines.0 += other.lines.0;
        self.lines.1 += other.lines.1;
        self.scratches.merge(&other.scratches);
        self.reliability.merge(&other.reliability);
        for (mine, other) in self.curve.iter_mut().zip(&other.curve) {
            mine.merge(other);
        }
    }
}

/// A frame that is damaged whole is no object of it: its candidate would cover every true object.
fn counts(candidate: &Candidate) -> bool {
    candidate.kind != Kind::Frame
}

/// Ones where a wanted candidate lies, on a frame of the labels' size.
pub fn mask(labels: &Plane<u8>, candidates: &[Candidate], wanted: impl Fn(&Candidate) -> bool) -> Plane<u8> {
    let mut mask = Plane::new(labels.width(), labels.height());
    for candidate in candidates.iter().filter(|c| counts(c) && wanted(c)) {
        candidate.mask.paint(&mut mask, 1);
    }
    mask
}
