//! Many candidates of a shot decided in one step: which they are, counted before anything is decided.

use std::collections::BTreeSet;

use besom_reel::{Alike, AlikeDue, CandidateId, Decision, Edit, Filter};

use super::Desk;

/// Which candidates of the shot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scope {
    /// The like of the candidate in hand.
    Alike,
    /// Everything from the sensitivity on.
    Above,
}

/// How many candidates a decision would take.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Count {
    /// Those that it takes, in order.
    pub(crate) ids: Vec<CandidateId>,
    /// On how many frames they lie.
    pub(crate) frames: usize,
    /// How many are at risk of being part of the picture, whether it takes them or not.
    pub(crate) at_risk: usize,
}

/// A decision about many that is being prepared. It stands while the same candidate is in hand.
#[derive(Clone, Debug)]
pub(crate) struct Bulk {
    pub(crate) scope: Scope,
    pub(crate) shot: usize,
    hand: Option<CandidateId>,
    /// What was found to be alike; `None` while it is looked for.
    alike: Option<Vec<CandidateId>>,
    /// Also take what is at risk.
    pub(crate) with_risk: bool,
    /// For which decisions and choice it was counted.
    counted: Option<((u64, bool), Count)>,
}

impl Bulk {
    /// Prepares a decision in the current shot. With it comes the question that a worker has to answer, for what is alike;
    /// `None` when there is nothing to begin with: no shot, or no candidate of the detector's in hand for its like.
    pub(crate) fn begin(desk: &Desk, scope: Scope) -> Option<(Self, Option<AlikeDue>)> {
        let shot = desk.shot()?.index;
        let due = match scope {
            Scope::Alike => Some(desk.reel().alike_due(desk.hand()?)?),
            Scope::Above => None,
        };
        let bulk = Self { scope, shot, hand: desk.hand(), alike: None, with_risk: false, counted: None };
        Some((bulk, due))
    }

    /// Takes a worker's answer, unless it is about another candidate.
    pub(crate) fn take_alike(&mut self, found: Alike) {
        if self.scope == Scope::Alike && self.hand == Some(found.of) {
            (self.alike, self.counted) = (Some(found.ids), None);
        }
    }

    /// True while it speaks of what is before the person.
    pub(crate) fn stands(&self, desk: &Desk) -> bool {
        desk.hand() == self.hand && desk.shot().is_some_and(|shot| shot.index == self.shot)
    }

    /// How many there are now; `None` while it is not known yet.
    pub(crate) fn count(&mut self, desk: &Desk) -> Option<&Count> {
        if self.scope == Scope::Above && desk.learning().is_some_and(|learning| learning.due) {
            return None;
        }
        let key = (desk.revision(), self.with_risk);
        if self.counted.as_ref().is_none_or(|(of, _)| *of != key) {
            self.counted = Some((key, self.count_anew(desk)?));
        }
        self.counted.as_ref().map(|(_, count)| count)
    }

    fn count_anew(&self, desk: &Desk) -> Option<Count> {
        let all = match (self.scope, &self.alike) {
            (Scope::Above, _) => desk.reel().matching(&self.filter(true)),
            (Scope::Alike, found) => {
                let waits = |id: &&CandidateId| desk.reel().decision(**id) == Decision::Undecided && desk.shows(**id);
                found.as_ref()?.iter().filter(waits).copied().collect()
            }
        };
        let risky = |id: &CandidateId| desk.reel().candidate(*id).is_some_and(|c| c.risk.any());
        let at_risk = all.iter().filter(|id| risky(id)).count();
        let ids: Vec<CandidateId> = all.into_iter().filter(|id| self.with_risk || !risky(id)).collect();
        let frames = ids.iter().map(|id| id.frame).collect::<BTreeSet<u64>>().len();
        Some(Count { ids, frames, at_risk })
    }

    fn filter(&self, include_at_risk: bool) -> Filter {
        Filter { shot: Some(self.shot), include_at_risk, only_undecided: true, ..Filter::default() }
    }

    /// The one edit that decides what was counted; `None` when that is nothing.
    pub(crate) fn edit(&mut self, desk: &Desk, decision: Decision) -> Option<Edit> {
        let ids = self.count(desk).map(|count| count.ids.clone()).filter(|ids| !ids.is_empty())?;
        Some(match self.scope {
            Scope::Alike => Edit::DecideAlike { ids, decision },
            Scope::Above => Edit::Rule { decision, filter: self.filter(self.with_risk) },
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::small_reel as small;
    use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
    use besom_reel::Reel;
    use besom_scan::{Rect, RunMask};

    fn mark(x: i32, side: i32, confidence: f32, risky: bool) -> Candidate {
        Candidate {
            mask: RunMask::from_rect(&Rect::new(x, 20, x + side, 20 + side)),
            kind: Kind::Dust,
            polarity: if side > 6 { Polarity::Bright } else { Polarity::Dark },
            confidence,
            risk: Risk { swarm: risky, ..Risk::default() },
            origin: Origin::Film,
            peak: side as f32 * 3.0,
            reasons: Vec::new(),
        }
    }

    /// On each frame three small dark marks, one of them at risk and one below the slider, and a large bright one.
    fn desk(folder: &std::path::Path) -> Desk {
        let list =
            || vec![mark(4, 3, 0.9, false), mark(20, 3, 0.8, true), mark(36, 3, 0.1, false), mark(60, 14, 0.7, false)];
        Desk::new(Reel::open(&small::reel_with(folder, |_| list()), "Ines").unwrap(), None)
    }

    #[test]
    fn what_is_counted_is_what_is_decided_and_is_one_step_back() {
        let folder = tempfile::tempdir().unwrap();
        let mut desk = desk(folder.path());
        let frames = small::FRAMES as usize;
        for (with_risk, expected) in [(false, 2 * frames), (true, 3 * frames)] {
            let (mut bulk, due) = Bulk::begin(&desk, Scope::Above).unwrap();
            assert!(due.is_none());
            bulk.with_risk = with_risk;
            let count = bulk.count(&desk).unwrap().clone();
            assert_eq!((count.ids.len(), count.frames, count.at_risk), (expected, frames, frames));
            let edit = bulk.edit(&desk, Decision::Accepted).unwrap();
            assert_eq!(desk.record(edit).unwrap().changed, expected);
            assert_eq!(desk.reel().records().iter().filter(|r| r.deed.undoable()).count(), 1 + usize::from(with_risk));
            assert!(bulk.edit(&desk, Decision::Accepted).is_none() || !with_risk, "nothing is left");
            desk.undo().unwrap();
            assert_eq!(desk.reel().total().accepted, 0);
        }
    }

    #[test]
    fn the_like_are_those_that_wait_and_are_shown() {
        let folder = tempfile::tempdir().unwrap();
        let mut desk = desk(folder.path());
        let hand = CandidateId::new(small::FIRST + 1, 0);
        desk.take(hand);
        let (mut bulk, due) = Bulk::begin(&desk, Scope::Alike).unwrap();
        assert!(bulk.count(&desk).is_none(), "not found out yet");
        let found = due.unwrap().solve();
        bulk.take_alike(Alike { of: CandidateId::new(small::FIRST, 0), ids: Vec::new() });
        assert!(bulk.count(&desk).is_none(), "an answer about another candidate is let go");
        bulk.take_alike(found);
        let count = bulk.count(&desk).unwrap().clone();
        assert!(count.ids.contains(&hand) && count.ids.iter().all(|id| id.index == 0), "{:?}", count.ids);
        assert!(count.ids.len() > 1 && count.frames == count.ids.len());
        // One of them is decided meanwhile: it is counted no more.
        let other = *count.ids.iter().find(|id| **id != hand).unwrap();
        desk.record(Edit::Decide { ids: vec![other], decision: Decision::Rejected }).unwrap();
        assert!(bulk.stands(&desk));
        assert_eq!(bulk.count(&desk).unwrap().ids.len(), count.ids.len() - 1);
        let edit = bulk.edit(&desk, Decision::Intended).unwrap();
        assert_eq!(desk.record(edit).unwrap().changed, count.ids.len() - 1);
        assert_eq!(desk.reel().decision(other), Decision::Rejected);
        desk.take(CandidateId::new(small::FIRST + 2, 3));
        assert!(!bulk.stands(&desk), "another candidate is in hand");
    }
}
