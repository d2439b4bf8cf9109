//! What the current shot has learned from its decisions, at hand for every frame that is drawn.

use besom_reel::{CandidateId, Decision, Learning};

use super::Desk;

impl Desk {
    /// What the current shot has learned; `None` while it has no example.
    pub(crate) fn learning(&self) -> Option<&Learning> {
        self.learning.as_ref().map(|(_, learning)| learning).filter(|learning| learning.belonging > 0)
    }

    /// Works out anew what the current shot has learned, when it is another shot or something was decided.
    pub(super) fn learn(&mut self) {
        let Some(shot) = self.shot().map(|s| s.index) else { return };
        let key = (shot, self.revision);
        if self.learning.as_ref().is_none_or(|(of, _)| *of != key) {
            self.learning = Some((key, self.reel.learning(shot)));
        }
    }

    /// True when a candidate waits for a decision: undecided, and not proposed.
    pub(crate) fn open(&self, id: CandidateId) -> bool {
        self.reel.decision(id) == Decision::Undecided && !self.proposed(id)
    }

    /// True when a candidate is proposed at the sensitivity that counts now.
    pub(crate) fn proposed(&self, id: CandidateId) -> bool {
        self.reel.shot_of(id.frame).is_some_and(|shot| self.reel.proposed(id, self.sensitivity(shot.index)))
    }

    /// What is said of a candidate whose confidence was lowered: `81 %, lowered to 22 %: like 3 of the 4 marks that you
    /// called intended`.
    pub(crate) fn lowered(&self, id: CandidateId) -> Option<String> {
        let learned = self.reel.learned(id)?;
        let (was, is) = (self.reel.candidate(id)?.confidence, self.reel.confidence(id));
        if was - is < 0.005 {
            return None;
        }
        let shot = self.reel.shot_of(id.frame)?.index;
        let (_, learning) = self.learning.as_ref().filter(|((of, _), _)| *of == shot)?;
        let (like, all, word) = (learned.like, learning.belonging, learning.proposes.word());
        let of = if like == 0 { "a little like".to_owned() } else { format!("like {like} of") };
        Some(format!(
            "{:.0} %, lowered to {:.0} %: {of} the {all} marks that you called {word}",
            was * 100.0,
            is * 100.0
        ))
    }
}
