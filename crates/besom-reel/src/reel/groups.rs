//! Groups of a shot's candidates: worked out when somebody asks, and kept while the reel is open.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

use besom_detect::Candidate;

use super::Reel;
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

    fn work_out_groups(&self, shot: usize) -> Vec<CandidateGroup> {
        let places = self.fold.places_of_shot(shot);
        let frames: Vec<(u64, &[Candidate])> = places
            .filter_map(|place| Some((*self.fold.numbers().get(place)?, self.fold.frames.get(place)?)))
            .filter(|(_, frame)| frame.seen)
            .map(|(number, frame)| (number, frame.found()))
            .collect();
        let groups = besom_detect::groups(&frames, self.info.width, self.info.height);
        groups.into_iter().filter_map(|group| self.name(&group)).collect()
    }

    fn name(&self, group: &besom_detect::Group) -> Option<CandidateGroup> {
        let members: Vec<CandidateId> =
            group.members.iter().map(|(frame, index)| CandidateId::new(*frame, *index as u32)).collect();
        let (first, last) = (*members.first()?, members.last()?.frame);
        let at_risk = members.iter().filter(|id| self.candidate(**id).is_some_and(|c| c.risk.any())).count();
        let id = GroupId { kind: group.kind, first };
        Some(CandidateGroup { id, confidence: group.confidence, at_risk, first: first.frame, last, members })
    }
}
