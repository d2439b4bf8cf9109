//! What a shot's decisions teach about its other candidates.
//!
//! Decisions made by hand are examples: what was marked as intended or rejected shows what belongs to the picture, what
//! was accepted shows what does not. From a handful of them a shot learns which of its undecided candidates are of the
//! same sort. Nothing is decided by it: those candidates carry a lower confidence and are proposed, and both go when the
//! decisions are taken back or the learning of the shot is switched off.

use super::decision::{CandidateId, Decision};

/// The state of a shot's learning.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Learning {
    /// False when it was switched off for the shot.
    pub on: bool,
    /// True while the latest examples are still to be learned from: what is proposed and spared follows from those before.
    pub due: bool,
    /// Examples of what belongs to the picture: marked as intended, or rejected, one by one.
    pub belonging: usize,
    /// Examples of damage: accepted one by one.
    pub damage: usize,
    /// Of how many examples of what belongs to the picture the proposals follow; 0 while nothing was learned.
    pub learned_from: usize,
    /// What the proposed candidates are proposed as: intended or rejected, as most of the examples are.
    pub proposes: Decision,
    /// Undecided candidates that are proposed, in the order of frames, then of their lists.
    pub proposals: Vec<CandidateId>,
    /// Undecided candidates that would ask for a decision at the shot's sensitivity and do not, because of what was
    /// learned.
    pub spared: usize,
}

impl Learning {
    /// What the shot has learned, in a sentence; `None` when there is nothing to say.
    pub fn words(&self) -> Option<String> {
        let n = self.belonging;
        match (self.on, n, self.proposals.len()) {
            (_, 0, _) => None,
            (false, ..) => Some("Learning is off for this shot".to_owned()),
            (true, n, _) if n < besom_detect::likeness::LEAST_EXAMPLES => {
                Some(format!("{n} of {} examples that it takes to learn", besom_detect::likeness::LEAST_EXAMPLES))
            }
            (true, n, _) if self.due => Some(format!("Learning from the {n} marks that you called {}", self.word())),
            (true, n, 0) => Some(format!("Nothing undecided is like the {n} marks that you called {}", self.word())),
            (true, n, 1) => Some(format!("1 is like the {n} marks that you called {}", self.word())),
            (true, n, found) => Some(format!("{found} are like the {n} marks that you called {}", self.word())),
        }
    }

    fn word(&self) -> &'static str {
        self.proposes.word()
    }
}
