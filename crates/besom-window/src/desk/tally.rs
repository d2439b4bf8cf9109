//! What the reel strip needs of every frame: how much is shown there and how much of it is decided.

use besom_reel::{CandidateId, Decision, Reel};

use super::Desk;

/// Counts of one frame.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Tally {
    /// Candidates shown.
    pub(crate) shown: u32,
    /// Of these, undecided and proposed to be left.
    pub(crate) proposed: u32,
    /// Of these, accepted.
    pub(crate) accepted: u32,
    /// Of these, rejected.
    pub(crate) rejected: u32,
    /// Of these, marked as intended.
    pub(crate) intended: u32,
    /// The detector has seen the frame.
    pub(crate) detected: bool,
}

impl Tally {
    /// Counts one frame.
    pub(super) fn of(desk: &Desk, frame: u64) -> Self {
        let reel = &desk.reel;
        let mut tally = Self { detected: reel.detected(frame), ..Self::default() };
        for index in 0..reel.candidates(frame).len() as u32 {
            let id = CandidateId::new(frame, index);
            if desk.shows(id) {
                tally.shown += 1;
                match reel.decision(id) {
                    Decision::Undecided => tally.proposed += u32::from(desk.proposed(id)),
                    Decision::Accepted => tally.accepted += 1,
                    Decision::Rejected => tally.rejected += 1,
                    Decision::Intended => tally.intended += 1,
                }
            }
        }
        tally
    }

    /// Shown, with a decision.
    pub(crate) const fn decided(self) -> u32 {
        self.accepted + self.rejected + self.intended
    }

    /// Shown and undecided, and not proposed either.
    pub(crate) const fn left(self) -> u32 {
        self.shown.saturating_sub(self.decided() + self.proposed)
    }
}

/// Counts of all frames, by position.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tallies {
    frames: Vec<Tally>,
}

impl Tallies {
    pub(super) fn of(reel: &Reel) -> Self {
        let frames = reel
            .frames()
            .iter()
            .map(|f| {
                let counts = reel.frame_counts(f.number);
                Tally {
                    shown: (counts.undecided + counts.proposed + counts.decided()) as u32,
                    proposed: counts.proposed as u32,
                    accepted: counts.accepted as u32,
                    rejected: counts.rejected as u32,
                    intended: counts.intended as u32,
                    detected: reel.detected(f.number),
                }
            })
            .collect();
        Self { frames }
    }

    pub(super) fn set(&mut self, place: usize, tally: Tally) {
        if let Some(slot) = self.frames.get_mut(place) {
            *slot = tally;
        }
    }

    /// All frames.
    pub(crate) fn frames(&self) -> &[Tally] {
        &self.frames
    }

    /// One frame.
    pub(crate) fn at(&self, place: usize) -> Tally {
        self.frames.get(place).copied().unwrap_or_default()
    }

    /// The sum over positions `from..to`.
    pub(crate) fn sum(&self, from: usize, to: usize) -> Tally {
        let part = self.frames.get(from..to.min(self.frames.len())).unwrap_or_default();
        part.iter().fold(Tally { detected: true, ..Tally::default() }, |sum, t| Tally {
            shown: sum.shown + t.shown,
            proposed: sum.proposed + t.proposed,
            accepted: sum.accepted + t.accepted,
            rejected: sum.rejected + t.rejected,
            intended: sum.intended + t.intended,
            detected: sum.detected && t.detected,
        })
    }
}
