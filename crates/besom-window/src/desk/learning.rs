//! What the current shot has learned from its decisions, at hand for every frame that is drawn.

use besom_reel::{CandidateId, Decision, Learning, LessonDue, LessonSolved};

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

    /// The lesson that is due, to be given to a worker; `None` when there is none or one was given already and nothing
    /// was decided since.
    pub(crate) fn wanted_lesson(&mut self) -> Option<LessonDue> {
        if self.lesson_asked == Some(self.revision) {
            return None;
        }
        self.lesson_asked = Some(self.revision);
        self.reel.lesson_due()
    }

    /// Takes what a worker found out. What is out of date, or of another reel, is let go: whatever made it so changed the
    /// revision, so that the newer lesson was asked for already.
    pub(crate) fn take_lesson(&mut self, solved: LessonSolved) {
        if self.reel.take_lesson(solved) {
            self.changed(None);
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
        let (like, all, word) = (learned.like, learning.learned_from, learning.proposes.word());
        let of = if like == 0 { "a little like".to_owned() } else { format!("like {like} of") };
        Some(format!(
            "{:.0} %, lowered to {:.0} %: {of} the {all} marks that you called {word}",
            was * 100.0,
            is * 100.0
        ))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::small_reel as small;
    use besom_reel::{Edit, Reel};

    #[test]
    fn a_lesson_is_asked_for_once_said_while_it_is_due_and_let_go_when_it_is_late() {
        let folder = tempfile::tempdir().unwrap();
        let reel = Reel::open(&small::reel(folder.path()), "Ines").unwrap();
        let every = |reel: &Reel, frame: u64| -> Vec<CandidateId> {
            (0..reel.candidates(frame).len() as u32).map(|i| CandidateId::new(frame, i)).collect()
        };
        let ids: Vec<CandidateId> =
            (small::FIRST..small::FIRST + small::FRAMES).flat_map(|frame| every(&reel, frame)).collect();
        assert!(ids.len() >= 5, "the specks of the small reel are found");
        let mut desk = Desk::new(reel, None);
        let intend = |desk: &mut Desk, id: CandidateId| {
            desk.record(Edit::Decide { ids: vec![id], decision: Decision::Intended }).unwrap();
        };
        for id in &ids[..2] {
            intend(&mut desk, *id);
            assert!(desk.wanted_lesson().is_none(), "there is nothing to learn yet");
        }
        intend(&mut desk, ids[2]);
        let learning = desk.learning().unwrap();
        assert!(learning.due && learning.proposals.is_empty() && desk.reel().learned(ids[4]).is_none());
        assert_eq!(learning.words().as_deref(), Some("Learning from the 3 marks that you called intended"));
        let late = desk.wanted_lesson().unwrap();
        assert!(desk.wanted_lesson().is_none(), "it was asked for");

        intend(&mut desk, ids[3]);
        let newer = desk.wanted_lesson().unwrap();
        let revision = desk.revision();
        desk.take_lesson(late.solve());
        assert!(desk.learning().unwrap().due && desk.revision() == revision && desk.wanted_lesson().is_none());
        // The slider of the sensitivity is being moved meanwhile: what it shows stays shown.
        desk.try_sensitivity(0, 0.0);
        desk.take_lesson(newer.solve());
        assert_eq!(desk.tallies().sum(0, usize::MAX).shown as usize, ids.len());
        desk.end_trying();
        let learning = desk.learning().unwrap().clone();
        assert_eq!((learning.due, learning.learned_from), (false, 4));
        assert!(desk.reel().learned(ids[4]).is_some() && desk.revision() > revision && desk.wanted_lesson().is_none());
        // What is on disk has taught another the same.
        let again = Reel::open_to_read(desk.reel().folder()).unwrap();
        assert!(ids.iter().all(|id| again.learned(*id) == desk.reel().learned(*id)));
        assert_eq!(again.learning(0), learning);

        desk.undo().unwrap();
        desk.undo().unwrap();
        assert!(!desk.learning().unwrap().due && desk.reel().learned(ids[4]).is_none(), "two teach nothing, at once");
    }
}
