//! Counts of one frame, or of any number of them.

use besom_detect::{Candidate, Kind};
use besom_scan::{Plane, RunMask};

use crate::ageing::DUST;
use crate::score::detection::{FALSE_SHARE, FOUND_SHARE, NEAR_SQUARED, Recall};
use crate::score::{Detection, LEAST_PIXELS, Reliability, near, objects};

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
    /// Stated against observed confidence of every candidate above the floor.
    pub reliability: Reliability,
    /// Dust and claims, as in `all`, at each of [`SENSITIVITIES`]; empty where no curve was asked for.
    pub curve: [Detection; SENSITIVITIES.len()],
    /// Each frame by itself, where several were added up.
    pub frames: Vec<Self>,
}

impl Tally {
    /// Counts a frame, with the curve if asked, which costs as much again as the rest.
    pub fn of_frame(labels: &Plane<u8>, candidates: &[Candidate], sensitivity: f32, curve: bool) -> Self {
        let score = |wanted: &dyn Fn(&Candidate) -> bool| {
            let mask = mask(labels, candidates, wanted);
            Detection::of_frame(labels, &objects(&mask, |v| v != 0, LEAST_PIXELS))
        };
        let mut tally = Self {
            all: score(&|c| c.confidence >= sensitivity),
            calm: score(&|c| c.confidence >= sensitivity && !c.risk.any()),
            ..Self::default()
        };
        let close = near(labels, NEAR_SQUARED);
        if curve {
            tally.curve = self::curve(labels, &close, candidates);
        }
        for candidate in candidates.iter().filter(|c| counts(c) && c.mask.area() >= LEAST_PIXELS) {
            let real = is_real(&candidate.mask, &close);
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
        self.reliability.merge(&other.reliability);
        for (mine, other) in self.curve.iter_mut().zip(&other.curve) {
            mine.merge(other);
        }
    }
}

/// Dust found, claims and false claims at each of [`SENSITIVITIES`].
fn curve(labels: &Plane<u8>, close: &Plane<u8>, candidates: &[Candidate]) -> [Detection; SENSITIVITIES.len()] {
    let dust = objects(labels, |v| v & DUST != 0, LEAST_PIXELS);
    SENSITIVITIES.map(|least| {
        let mask = mask(labels, candidates, |c| c.confidence >= least);
        let claims = objects(&mask, |v| v != 0, LEAST_PIXELS);
        let is_found = |object: &&RunMask| {
            let hit = object.pixels().filter(|(x, y)| mask.at(*x as usize, *y as usize) != 0).count();
            hit as f64 >= FOUND_SHARE * object.area() as f64
        };
        Detection {
            dust: Recall { found: dust.iter().filter(is_found).count() as u64, all: dust.len() as u64 },
            claims: claims.len() as u64,
            false_claims: claims.iter().filter(|claim| !is_real(claim, close)).count() as u64,
            frames: 1,
            pixels: labels.rect().area() as u64,
            ..Detection::default()
        }
    })
}

/// True when enough of a claim's pixels are among those close to the truth.
fn is_real(claim: &RunMask, close: &Plane<u8>) -> bool {
    let hit = claim.pixels().filter(|(x, y)| close.get(*x as i32, *y as i32) == Some(1)).count();
    hit as f64 >= FALSE_SHARE * claim.area() as f64
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
