//! What is added up.

use std::ops::AddAssign;

use besom_detect::{Candidate, Kind};

use crate::model::decision::Decision;

/// Counts of a frame, a shot, a kind or a reel. `candidates` = `undecided` + `below` + `accepted` + `rejected` +
/// `intended`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// All candidates that the detector holds (above its floor) and all hand marks.
    pub candidates: u64,
    /// At or above the shot's sensitivity and without a decision: work left.
    pub undecided: u64,
    /// Without a decision and proposed to be left, because of what the shot's decisions taught; would be undecided by the
    /// detector's confidence. Part of `below`.
    pub proposed: u64,
    /// Below the shot's sensitivity and without a decision: nobody is asked.
    pub below: u64,
    /// To be repaired.
    pub accepted: u64,
    /// Left, not a defect.
    pub rejected: u64,
    /// Left, put there by the film-makers.
    pub intended: u64,
    /// At risk of being part of the picture, and at or above the sensitivity or decided.
    pub at_risk: u64,
    /// Of these, still undecided.
    pub at_risk_undecided: u64,
    /// Marked by hand.
    pub hand: u64,
    /// Pixels of accepted candidates (overlaps counted twice).
    pub accepted_area: u64,
    /// Frames.
    pub frames: u64,
    /// Frames that the detector has seen.
    pub frames_detected: u64,
    /// Detected frames that ask for no further decision.
    pub frames_decided: u64,
    /// Frames with at least one accepted candidate.
    pub frames_touched: u64,
}

impl AddAssign for Counts {
    fn add_assign(&mut self, other: Self) {
        self.candidates += other.candidates;
        self.undecided += other.undecided;
        self.proposed += other.proposed;
        self.below += other.below;
        self.accepted += other.accepted;
        self.rejected += other.rejected;
        self.intended += other.intended;
        self.at_risk += other.at_risk;
        self.at_risk_undecided += other.at_risk_undecided;
        self.hand += other.hand;
        self.accepted_area += other.accepted_area;
        self.frames += other.frames;
        self.frames_detected += other.frames_detected;
        self.frames_decided += other.frames_decided;
        self.frames_touched += other.frames_touched;
    }
}

impl Counts {
    /// Adds one candidate, which `asks` for a decision at its shot's sensitivity or does not; frames are not touched.
    pub(crate) fn add_candidate(&mut self, candidate: &Candidate, decision: Decision, asks: bool) {
        let at_risk = candidate.risk.any();
        self.candidates += 1;
        self.hand += u64::from(candidate.kind == Kind::Hand);
        match decision {
            Decision::Undecided if asks => {
                self.undecided += 1;
                self.at_risk_undecided += u64::from(at_risk);
            }
            Decision::Undecided => self.below += 1,
            Decision::Accepted => {
                self.accepted += 1;
                self.accepted_area += candidate.area() as u64;
            }
            Decision::Rejected => self.rejected += 1,
            Decision::Intended => self.intended += 1,
        }
        self.at_risk += u64::from(at_risk && (asks || decision != Decision::Undecided));
    }

    /// Share of frames that ask for no further decision, 0 to 1.
    pub fn share_decided(&self) -> f64 {
        share(self.frames_decided, self.frames)
    }

    /// Share of frames with at least one accepted candidate, 0 to 1.
    pub fn share_touched(&self) -> f64 {
        share(self.frames_touched, self.frames)
    }

    /// Candidates with a decision.
    pub const fn decided(&self) -> u64 {
        self.accepted + self.rejected + self.intended
    }

    /// Frames that still ask for a decision or for the detector.
    pub const fn frames_left(&self) -> u64 {
        self.frames - self.frames_decided
    }
}

fn share(part: u64, whole: u64) -> f64 {
    if whole == 0 { 0.0 } else { part as f64 / whole as f64 }
}
