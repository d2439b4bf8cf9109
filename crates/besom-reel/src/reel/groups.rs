//! Groups of a shot's candidates: worked out when somebody asks, and kept while the reel is open.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

use besom_detect::{Candidate, GroupKind};

use super::Reel;
use crate::fold::is_gone;
use crate::ledger::Counts;
use crate::model::decision::CandidateId;
use crate::model::group::{CandidateGroup, GroupId};

/// The groups of one shot.
#[derive(Debug, Default, PartialEq)]
pub struct ShotGroups {
    groups: Vec<Arc<CandidateGroup>>,
    of: HashMap<CandidateId, usize>,
}

impl ShotGroups {
    /// All of them, in the order of their first members.
    pub fn all(&self) -> &[Arc<CandidateGroup>] {
        &self.groups
    }

    /// The group that a candidate belongs to; no candidate is in two.
    pub fn of(&self, id: CandidateId) -> Option<&Arc<CandidateGroup>> {
        self.groups.get(*self.of.get(&id)?)
    }

    /// The group of this name.
    pub fn named(&self, id: GroupId) -> Option<&Arc<CandidateGroup>> {
        self.of(id.first).filter(|group| group.id == id)
    }

    fn new(groups: Vec<CandidateGroup>) -> Self {
        let members = groups.iter().enumerate().flat_map(|(place, g)| g.members.iter().map(move |id| (*id, place)));
        Self { of: members.collect(), groups: groups.into_iter().map(Arc::new).collect() }
    }
}

/// What was worked out so far, by shot. It depends on the detector's candidates alone, which change only when the reel is
/// loaded anew.
#[derive(Debug, Default)]
pub(super) struct Cache {
    shots: Mutex<BTreeMap<usize, Arc<ShotGroups>>>,
}

impl Reel {
    /// The groups of a shot's candidates, by the shot's index; none for a shot that does not exist. Worked out at the
    /// first call for a shot, from the frames that the detector has seen. Hand marks are in no group.
    pub fn groups(&self, shot: usize) -> Arc<ShotGroups> {
        // Whatever a caller that panicked left behind is still whole: a shot is put in when it is done.
        let known = self.groups.shots.lock().unwrap_or_else(PoisonError::into_inner).get(&shot).cloned();
        known.unwrap_or_else(|| {
            let groups = Arc::new(ShotGroups::new(self.work_out_groups(shot)));
            let mut shots = self.groups.shots.lock().unwrap_or_else(PoisonError::into_inner);
            shots.insert(shot, Arc::clone(&groups));
            groups
        })
    }

    /// The group that a candidate belongs to.
    pub fn group_of(&self, id: CandidateId) -> Option<Arc<CandidateGroup>> {
        let shot = self.fold.shot_at(self.position(id.frame)?);
        self.groups(shot).of(id).cloned()
    }

    /// The group of this name; `None` when there is none now.
    pub fn group(&self, id: GroupId) -> Option<Arc<CandidateGroup>> {
        self.group_of(id.first).filter(|group| group.id == id)
    }

    /// The members that a decision about the group takes now. Of a cloud those that are shown, so that nobody decides what
    /// nobody sees: what lies below the sensitivity there is picture as often as dirt. Of what was linked over frames all,
    /// since one thing left on a frame in its middle would flash.
    pub fn group_members(&self, group: &CandidateGroup) -> Vec<CandidateId> {
        let gone = |id: &CandidateId| self.candidate(*id).is_some_and(is_gone);
        let all = group.members.iter().copied().filter(|id| !gone(id));
        match group.id.kind {
            GroupKind::Cloud => all.filter(|id| self.asks(*id)).collect(),
            GroupKind::Line | GroupKind::Gate => all.collect(),
        }
    }

    /// Counts of the members that a decision about the group takes now. Frames are not counted.
    pub fn group_counts(&self, group: &CandidateGroup) -> Counts {
        let mut counts = Counts::default();
        let sensitivity = self.position(group.first).map_or(0.0, |place| self.sensitivity(self.fold.shot_at(place)));
        for id in self.group_members(group) {
            if let Some(frame) = self.fold.frame(id.frame) {
                frame.count_candidate(id.index as usize, sensitivity, &mut counts);
            }
        }
        counts
    }

    /// The group in a few words: `cloud of 212`, `line over 18 frames`.
    pub fn group_words(&self, group: &CandidateGroup) -> String {
        // Only a cloud is told by its number, and it lies on one frame: a line over thousands costs nothing here.
        let cloud = group.id.kind == GroupKind::Cloud;
        let members = if cloud { self.group_members(group).len() } else { group.members.len() };
        crate::model::group::words(group.id.kind, members, group.frames())
    }

    fn work_out_groups(&self, shot: usize) -> Vec<CandidateGroup> {
        let places = self.fold.places_of_shot(shot);
        let frames: Vec<(u64, &[Candidate])> = places
            .filter_map(|place| Some((*self.fold.numbers().get(place)?, self.fold.frames.get(place)?)))
            .filter(|(_, frame)| frame.seen)
            .map(|(number, frame)| (number, frame.found()))
            .collect();
        let groups = besom_detect::groups(&frames, self.info.width, self.info.height);
        groups.into_iter().filter_map(|group| named(&group)).collect()
    }
}

/// The group with its name and its candidates as the reel names them.
fn named(group: &besom_detect::Group) -> Option<CandidateGroup> {
    let members: Vec<CandidateId> =
        group.members.iter().map(|(frame, index)| CandidateId::new(*frame, *index as u32)).collect();
    let (first, last) = (*members.first()?, members.last()?.frame);
    let id = GroupId { kind: group.kind, first };
    Some(CandidateGroup { id, confidence: group.confidence, first: first.frame, last, members })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use besom_detect::Kind;

    use super::*;
    use crate::fold::samples::candidate;
    use crate::model::decision::Decision;
    use crate::model::edit::Edit;
    use crate::reel::tests::{folder, made, put};

    /// Sixty-four specks in a corner, two of them below the sensitivity of 0.5, and four far away from them and each other.
    fn dirty() -> Vec<Candidate> {
        let mut list: Vec<Candidate> =
            (0..64).map(|n| candidate(100 + n % 8 * 6, 60 + n / 8 * 6, if n < 2 { 0.3 } else { 0.9 })).collect();
        list[40].risk.reappears = true;
        list.extend([(4, 4), (300, 10), (20, 200), (290, 220)].map(|(x, y)| candidate(x, y, 0.9)));
        list
    }

    /// A reel whose frame 104 carries a cloud.
    fn clouded() -> tempfile::TempDir {
        let home = made();
        // The other frames are clean: specks that stay in their place would be marks in the gate.
        put(&folder(&home), 1, 101, 103, &[]);
        put(&folder(&home), 1, 104, 104, &dirty());
        put(&folder(&home), 1, 105, 112, &[]);
        home
    }

    #[test]
    fn a_cloud_is_named_found_and_decided_as_one() {
        let home = clouded();
        let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
        assert_eq!((reel.groups(0).all().len(), reel.groups(1).all().len(), reel.groups(7).all().len()), (1, 0, 0));
        let group = Arc::clone(&reel.groups(0).all()[0]);
        assert_eq!((group.id.to_string(), group.members.len()), ("cloud-104-1".to_owned(), 64));
        assert_eq!(reel.group_of(CandidateId::new(104, 63)).as_ref(), Some(&group));
        assert_eq!(reel.group_of(CandidateId::new(104, 64)), None, "far away from the cloud");
        assert_eq!(reel.group_words(&group), "cloud of 62", "two are not shown at this sensitivity");
        let counts = reel.group_counts(&group);
        assert_eq!((counts.undecided, counts.below, counts.at_risk), (62, 0, 1));

        let edit = Edit::DecideGroup { id: group.id, decision: Decision::Accepted };
        assert_eq!(reel.preview(&edit), 62);
        let receipt = reel.record(edit).unwrap();
        assert_eq!((receipt.matched, receipt.changed), (62, 62));
        assert_eq!(receipt.words, "accepted a cloud of 62");
        assert_eq!(reel.frame_counts(104).accepted, 62);
        assert_eq!(reel.decision(CandidateId::new(104, 0)), Decision::Undecided);
        assert_eq!(reel.decision(CandidateId::new(104, 65)), Decision::Undecided);
        assert_eq!(reel.records().len(), 1, "one decision is one record");

        let again = Reel::open(&folder(&home), "Mara").unwrap();
        assert_eq!(again.group(group.id).as_ref(), Some(&group), "the name is the same in every reel opened");
        assert_eq!(again.fold, reel.fold);
        assert_eq!(reel.undo().unwrap().as_deref(), Some("accepted a cloud of 62"));
        assert_eq!(reel.frame_counts(104).accepted, 0, "one step takes it back");
        assert_eq!(reel.undo().unwrap(), None);
    }

    #[test]
    fn a_group_decision_overrules_and_can_be_overruled() {
        let home = clouded();
        let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
        let one = CandidateId::new(104, 30);
        let id = reel.group_of(one).unwrap().id;
        reel.record(Edit::Decide { ids: vec![one], decision: Decision::Intended }).unwrap();
        reel.record(Edit::DecideGroup { id, decision: Decision::Rejected }).unwrap();
        assert_eq!(reel.decision(one), Decision::Rejected);
        reel.record(Edit::Decide { ids: vec![one], decision: Decision::Intended }).unwrap();
        assert_eq!(reel.frame_counts(104).rejected, 61);
        // What a group decision took is taken back with it, shown or not.
        reel.record(Edit::Sensitivity { shot: Some(0), value: 0.95 }).unwrap();
        assert_eq!(reel.record(Edit::DecideGroup { id, decision: Decision::Undecided }).unwrap().changed, 62);
        assert!(
            reel.record(Edit::DecideGroup { id, decision: Decision::Accepted }).is_err(),
            "none of it is shown now"
        );
    }

    #[test]
    fn a_group_decision_finds_its_marks_after_a_new_detection() {
        let home = clouded();
        let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
        let id = reel.groups(0).all()[0].id;
        reel.record(Edit::DecideGroup { id, decision: Decision::Accepted }).unwrap();
        // The new search finds marks a pixel larger, in another order, and two of them no more.
        let moved = |c: Candidate| Candidate { mask: c.mask.grown(1, 320, 240), ..c };
        let mut anew: Vec<Candidate> = dirty().into_iter().map(moved).collect();
        anew.reverse();
        anew.retain(|c| c.bounds().x0 != 99 || c.bounds().y0 < 90);
        let gone = dirty().len() - anew.len();
        put(&folder(&home), 2, 104, 104, &anew);
        reel.refresh().unwrap();
        assert_eq!((gone, reel.frame_counts(104).accepted, reel.orphans().len()), (2, 60, 2));
        let group = Arc::clone(&reel.groups(0).all()[0]);
        assert_ne!(group.id, id, "another candidate comes first now");
        assert_eq!(reel.group_counts(&group).accepted, 60);
    }

    #[test]
    fn what_is_no_group_is_refused_and_writes_nothing() {
        let home = clouded();
        let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
        for (kind, first) in [
            (GroupKind::Line, CandidateId::new(104, 0)),
            (GroupKind::Cloud, CandidateId::new(104, 1)),
            (GroupKind::Cloud, CandidateId::new(99, 0)),
        ] {
            let edit = Edit::DecideGroup { id: GroupId { kind, first }, decision: Decision::Accepted };
            assert_eq!(reel.preview(&edit), 0);
            assert!(reel.record(edit).is_err());
        }
        assert!(reel.records().is_empty());
    }

    #[test]
    fn a_hand_mark_in_a_cloud_stays_a_thing_of_its_own() {
        let home = clouded();
        let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
        let mask = crate::fold::samples::square(126, 82);
        reel.record(Edit::HandMark(crate::model::edit::HandMark { frame: 104, mask })).unwrap();
        let again = Reel::open_to_read(&folder(&home)).unwrap();
        let hand = CandidateId::new(104, 68);
        assert_eq!(again.candidate(hand).map(|c| c.kind), Some(Kind::Hand));
        assert_eq!(again.group_of(hand), None);
        assert_eq!(again.groups(0), reel.groups(0));
    }
}
