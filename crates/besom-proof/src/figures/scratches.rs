//! Line scratches counted over frames: a scratch is one object for as long as it lasts.
//!
//! The other counts of lines are by frame, where every piece of a broken scratch that is four pixels or more is an object
//! of its own. Here both the truth's pieces and the candidates are linked over the frames of a shot by
//! [`groups`](besom_detect::groups()); a scratch is found when at least 30 % of the pixels that it has in all its frames are covered,
//! and a linked line is false when less than a tenth of its pixels lie near any truth.

use besom_detect::groups::{GroupKind, groups};
use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_scan::{Plane, RunMask};

use crate::ageing::LINE;
use crate::score::detection::{FALSE_SHARE, FOUND_SHARE, NEAR_SQUARED};
use crate::score::{LEAST_PIXELS, Recall, near, objects};

/// Counts of scratches over frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Scratches {
    /// True scratches.
    pub truth: Recall,
    /// Linked lines of candidates at or above the sensitivity.
    pub claims: u64,
    /// Those of them that are false.
    pub false_claims: u64,
}

impl Scratches {
    /// Counts the scratches of one shot: the truth's label bits, all candidates and the mask of those that count, by frame.
    pub fn of_shot(labels: &[Plane<u8>], candidates: &[Vec<Candidate>], masks: &[Plane<u8>], sensitivity: f32) -> Self {
        let mut counts = Self::default();
        let true_lines: Vec<Vec<Candidate>> = labels
            .iter()
            .map(|labels| {
                let pieces = objects(labels, |bits| bits & LINE != 0, LEAST_PIXELS);
                pieces.into_iter().map(piece).collect()
            })
            .collect();
        for scratch in linked(&true_lines, labels) {
            let (hit, all) = shares(&scratch, &true_lines, masks);
            counts.truth.count(hit as f64 >= FOUND_SHARE * all as f64);
        }
        let kept = |c: &&Candidate| c.kind == Kind::Line && c.confidence >= sensitivity && c.area() >= LEAST_PIXELS;
        let claims: Vec<Vec<Candidate>> =
            candidates.iter().map(|frame| frame.iter().filter(kept).cloned().collect()).collect();
        let near: Vec<Plane<u8>> = labels.iter().map(|labels| near(labels, NEAR_SQUARED)).collect();
        for line in linked(&claims, labels) {
            let (hit, all) = shares(&line, &claims, &near);
            counts.claims += 1;
            counts.false_claims += u64::from((hit as f64) < FALSE_SHARE * all as f64);
        }
        counts
    }

    /// Adds others.
    pub fn merge(&mut self, other: &Self) {
        self.truth.merge(other.truth);
        self.claims += other.claims;
        self.false_claims += other.false_claims;
    }

    /// Share of the linked lines that are not false; `None` without any.
    pub fn precision(&self) -> Option<f64> {
        (self.claims > 0).then(|| 1.0 - self.false_claims as f64 / self.claims as f64)
    }
}

/// A piece of a true scratch, as a candidate: a scratch may be dark on bright ground and bright on dark, so all have one
/// polarity.
fn piece(mask: RunMask) -> Candidate {
    Candidate {
        mask,
        kind: Kind::Line,
        polarity: Polarity::Dark,
        confidence: 1.0,
        risk: Risk::default(),
        origin: Origin::Film,
        peak: 0.0,
        reasons: Vec::new(),
    }
}

/// The lines of a shot, each as its members (frame, place in the frame's list); one that is linked to no other is alone.
fn linked(frames: &[Vec<Candidate>], labels: &[Plane<u8>]) -> Vec<Vec<(usize, usize)>> {
    let Some(first) = labels.first() else { return Vec::new() };
    let numbered: Vec<(u64, &[Candidate])> = frames.iter().enumerate().map(|(n, c)| (n as u64, c.as_slice())).collect();
    let lines = groups(&numbered, first.width(), first.height()).into_iter().filter(|g| g.kind == GroupKind::Line);
    let mut all: Vec<Vec<(usize, usize)>> =
        lines.map(|g| g.members.iter().map(|(n, k)| (*n as usize, *k)).collect()).collect();
    let alone: Vec<Vec<(usize, usize)>> = frames
        .iter()
        .enumerate()
        .flat_map(|(n, frame)| (0..frame.len()).map(move |k| (n, k)))
        .filter(|member| !all.iter().any(|line| line.contains(member)))
        .map(|member| vec![member])
        .collect();
    all.extend(alone);
    all
}

/// Pixels of a line that are not 0 on the planes of their frames, and all its pixels.
fn shares(line: &[(usize, usize)], frames: &[Vec<Candidate>], planes: &[Plane<u8>]) -> (usize, usize) {
    let members = line.iter().filter_map(|(n, k)| Some((planes.get(*n)?, &frames.get(*n)?.get(*k)?.mask)));
    members.fold((0, 0), |(hit, all), (plane, mask)| (hit + marked(plane, mask), all + mask.area()))
}

fn marked(plane: &Plane<u8>, mask: &RunMask) -> usize {
    mask.pixels().filter(|(x, y)| plane.get(*x as i32, *y as i32).is_some_and(|v| v != 0)).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use besom_scan::Rect;

    fn line(x: i32, rows: (i32, i32), confidence: f32) -> Candidate {
        Candidate { confidence, ..piece(RunMask::from_rect(&Rect::new(x, rows.0, x + 2, rows.1))) }
    }

    #[test]
    fn a_scratch_is_one_object_over_its_frames_and_pieces() {
        // Three frames with one scratch in two pieces of 100 and 20 pixels, and in the first frame another one far off.
        let label = |n: usize| {
            Plane::from_fn(200, 100, |x, y| {
                let scratch = (50..52).contains(&x) && (y < 50 || (80..90).contains(&y));
                let other = n == 0 && (150..152).contains(&x);
                if scratch || other { LINE } else { 0 }
            })
        };
        let labels: Vec<Plane<u8>> = (0..3).map(label).collect();
        // Two of the six pieces are covered: 120 of 360 pixels. A line of one frame stands where nothing is, a fainter one
        // is below the sensitivity.
        let candidates = vec![
            vec![line(50, (0, 50), 0.9), line(50, (80, 90), 0.9), line(100, (0, 100), 0.6), line(20, (0, 100), 0.2)],
            Vec::new(),
            Vec::new(),
        ];
        let masks: Vec<Plane<u8>> = labels
            .iter()
            .zip(&candidates)
            .map(|(labels, c)| super::super::tally::mask(labels, c, |c| c.confidence >= 0.35))
            .collect();
        let counts = Scratches::of_shot(&labels, &candidates, &masks, 0.35);
        assert_eq!(counts.truth, Recall { found: 1, all: 2 });
        // Both pieces of the first frame are lines of one frame each: nothing links them over frames.
        assert_eq!((counts.claims, counts.false_claims), (3, 1));
        assert_eq!(counts.precision(), Some(1.0 - 1.0 / 3.0));
        assert_eq!(Scratches::default().precision(), None);
    }
}
