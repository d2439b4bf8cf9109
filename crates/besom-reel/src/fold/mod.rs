//! The fold: every artist's records, in the order of (time, artist, sequence), over the candidates that are there.
//!
//! The state of a frame depends on its candidates, the explicit records that speak of it, and the rules, in that
//! order of time; nothing else. So one frame can be replayed alone, a new record is applied without looking back, and
//! the result is the same whatever order the journals were read in.

mod attach;
mod frame;
mod history;
mod learning;
mod reshape;
mod resolve;
#[cfg(test)]
pub(crate) mod samples;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use besom_detect::Candidate;
use rayon::prelude::*;

pub(crate) use frame::{FrameState, Touch, Verdict, is_gone};
pub(crate) use history::Stacks;
pub use learning::{Alike, AlikeDue, LessonDue, LessonSolved};

use crate::ledger::Counts;
use crate::model::edit::{Region, RegionId};
use crate::model::record::{Deed, Record, Stretch};
use crate::model::shot::Shot;

/// What an edit meets: candidates it speaks of, and those whose state it changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Effect {
    pub(crate) matched: usize,
    pub(crate) changed: usize,
}

impl std::ops::AddAssign for Effect {
    fn add_assign(&mut self, other: Self) {
        self.matched += other.matched;
        self.changed += other.changed;
    }
}

/// The state of a reel.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Fold {
    /// The scans' numbers, in order.
    numbers: Vec<u64>,
    pub(crate) shots: Vec<Shot>,
    shot_of: Vec<usize>,
    default_sensitivity: f32,
    pub(crate) frames: Vec<FrameState>,
    pub(crate) records: Vec<Record>,
    /// For each record, whether it stands (is not taken back).
    pub(crate) active: Vec<bool>,
    rules: Vec<u32>,
    pub(crate) regions: Vec<Region>,
    sensitivity: Vec<f32>,
    /// For each shot, whether it learns from its decisions.
    learning_on: Vec<bool>,
    lessons: Vec<learning::Lesson>,
    teaching: learning::Teaching,
    /// Width and height of the frames.
    size: (usize, usize),
    shot_counts: Vec<Counts>,
    total: Counts,
}

impl Fold {
    /// The state without candidates and records. `shots` cover all `numbers`, both in order.
    pub(crate) fn new(numbers: Vec<u64>, shots: Vec<Shot>, default_sensitivity: f32, size: (usize, usize)) -> Self {
        let shot_at = |n: &u64| shots.partition_point(|s| s.last < *n).min(shots.len().saturating_sub(1));
        let mut fold = Self {
            shot_of: numbers.iter().map(shot_at).collect(),
            frames: vec![FrameState::default(); numbers.len()],
            sensitivity: vec![default_sensitivity; shots.len()],
            learning_on: vec![true; shots.len()],
            lessons: vec![learning::Lesson::default(); shots.len()],
            teaching: learning::Teaching::AtOnce,
            size,
            shot_counts: vec![Counts::default(); shots.len()],
            total: Counts::default(),
            numbers,
            shots,
            default_sensitivity,
            records: Vec::new(),
            active: Vec::new(),
            rules: Vec::new(),
            regions: Vec::new(),
        };
        fold.refold();
        fold
    }

    /// Puts the detector's candidates in place of those that were there, by place of the scan; then folds anew.
    pub(crate) fn set_candidates(&mut self, found: BTreeMap<usize, Vec<Candidate>>) {
        for frame in &mut self.frames {
            frame.clear_detected();
        }
        for (position, candidates) in found {
            if let Some(frame) = self.frames.get_mut(position) {
                frame.set_detected(candidates);
            }
        }
        self.forget_lessons();
        self.refold();
    }

    /// Puts these records, in any order and with duplicates, in place of those that were there; then folds anew.
    /// Answers what is contradictory about them.
    pub(crate) fn set_records(&mut self, records: Vec<Record>) -> Vec<String> {
        let (records, problems) = history::in_order(records);
        self.records = records;
        for frame in &mut self.frames {
            frame.touching.clear();
        }
        self.rules.clear();
        for index in 0..self.records.len() {
            self.enlist(index);
        }
        self.refold();
        problems
    }

    fn refold(&mut self) {
        self.active = history::standing(&self.records);
        self.regions = regions(&self.records, &self.active);
        self.sensitivity = resolve::sensitivity(self);
        self.learning_on = resolve::learning_on(self);
        let all = 0..self.frames.len();
        self.replay(all.collect());
    }

    /// Replays the frames at these places and counts them anew.
    fn replay(&mut self, mut places: Vec<usize>) {
        places.sort_unstable();
        places.dedup();
        let Self { numbers, records, active, rules, frames, .. } = self;
        let play = |(place, frame): (usize, &mut FrameState)| {
            if let Some(number) = numbers.get(place) {
                frame.replay(*number, records, active, rules);
            }
        };
        if places.len() * 4 > frames.len() {
            let chosen = |(place, _): &(usize, &mut FrameState)| places.binary_search(place).is_ok();
            frames.par_iter_mut().enumerate().filter(chosen).for_each(play);
        } else {
            for place in &places {
                if let Some(frame) = frames.get_mut(*place) {
                    play((*place, frame));
                }
            }
        }
        self.recount(&places);
    }

    /// Counts the frames at these places anew, and the sums that they are part of; and all frames of a shot whose
    /// candidates carry another confidence, because of what was decided in these frames.
    fn recount(&mut self, places: &[usize]) {
        let shots: BTreeSet<usize> = places.iter().map(|place| self.shot_at(*place)).collect();
        let relearned = self.settle_lessons(shots.into_iter());
        let of_shots = relearned.into_iter().flat_map(|shot| self.places_of_shot(shot));
        let all: Vec<usize> = places.iter().copied().chain(of_shots).collect();
        self.count_places(all);
    }

    /// Counts the frames at these places as they stand, and the sums that they are part of.
    fn count_places(&mut self, places: impl IntoIterator<Item = usize>) {
        let mut stale = vec![false; self.shots.len()];
        for place in places {
            let shot = self.shot_at(place);
            let sensitivity = self.sensitivity(shot);
            if let Some(frame) = self.frames.get_mut(place) {
                frame.count(sensitivity);
            }
            if let Some(flag) = stale.get_mut(shot) {
                *flag = true;
            }
        }
        for shot in (0..stale.len()).filter(|s| stale.get(*s) == Some(&true)) {
            let mut sum = Counts::default();
            for frame in self.frames.get(self.places_of_shot(shot)).unwrap_or_default() {
                sum += frame.counts;
            }
            if let Some(counts) = self.shot_counts.get_mut(shot) {
                *counts = sum;
            }
        }
        self.total = Counts::default();
        for counts in &self.shot_counts {
            self.total += *counts;
        }
    }

    /// Notes a record where the frames it speaks of will find it.
    fn enlist(&mut self, index: usize) {
        let Some(record) = self.records.get(index) else { return };
        let index = index as u32;
        let mut touches = Vec::new();
        match &record.deed {
            Deed::Decide { spots, .. } => {
                touches.extend(spots.iter().zip(0u32..).map(|(s, spot)| (s.frame, Touch { record: index, spot })));
            }
            Deed::FillChoice { spot, .. } => touches.push((spot.frame, Touch { record: index, spot: 0 })),
            Deed::HandMark { frame, .. } => touches.push((*frame, Touch { record: index, spot: 0 })),
            Deed::HandMarks { first, last, .. } => {
                let here = self.numbers.get(self.places_of_scans(*first, *last)).unwrap_or_default();
                touches.extend(here.iter().map(|number| (*number, Touch { record: index, spot: 0 })));
            }
            Deed::Reshape { spots, .. } => {
                touches.extend(spots.first().map(|s| (s.frame, Touch { record: index, spot: 0 })));
            }
            Deed::Rule { .. } => self.rules.push(index),
            _ => {}
        }
        for (number, touch) in touches {
            if let Some(frame) = self.position(number).and_then(|p| self.frames.get_mut(p)) {
                frame.touching.push(touch);
            }
        }
    }

    /// Adds a record that is later than all others, and applies it.
    pub(crate) fn append(&mut self, record: Record) -> Effect {
        let index = self.records.len();
        let is_undo = matches!(record.deed, Deed::Undo { .. });
        self.records.push(record);
        self.active.push(true);
        self.enlist(index);
        if is_undo {
            self.settle_undo();
            return Effect::default();
        }
        let places = self.places_of_record(index);
        let mut effect = Effect::default();
        if let Some(record) = self.records.get(index) {
            for place in &places {
                if let (Some(number), Some(frame)) = (self.numbers.get(*place), self.frames.get_mut(*place)) {
                    effect += frame.apply_last(*number, index as u32, record);
                }
            }
        }
        self.recount(&places);
        self.settle_wide(&[index]);
        effect
    }

    /// After an undo or a redo: replays what the records speak of that stand now and did not before, or the reverse.
    fn settle_undo(&mut self) {
        let standing = history::standing(&self.records);
        let flipped: Vec<usize> = (0..standing.len()).filter(|i| standing.get(*i) != self.active.get(*i)).collect();
        self.active = standing;
        let places = flipped.iter().flat_map(|i| self.places_of_record(*i)).collect();
        self.replay(places);
        self.settle_wide(&flipped);
    }

    /// Brings up to date what does not belong to single frames: regions, and the settings of shots.
    fn settle_wide(&mut self, indices: &[usize]) {
        let deeds = || indices.iter().filter_map(|i| self.records.get(*i)).map(|r| &r.deed);
        let regions_changed =
            deeds().any(|d| matches!(d, Deed::Protect { .. } | Deed::ChangeRegion { .. } | Deed::Unprotect { .. }));
        let settings_changed = deeds().any(|d| matches!(d, Deed::Sensitivity { .. } | Deed::Learning { .. }));
        if regions_changed {
            self.regions = regions(&self.records, &self.active);
        }
        if settings_changed {
            let (sensitivity, learning_on) = (resolve::sensitivity(self), resolve::learning_on(self));
            let differs = |shot: &usize| {
                sensitivity.get(*shot) != self.sensitivity.get(*shot)
                    || learning_on.get(*shot) != self.learning_on.get(*shot)
            };
            let shots = (0..self.shots.len()).filter(differs);
            let places: Vec<usize> = shots.flat_map(|shot| self.places_of_shot(shot)).collect();
            (self.sensitivity, self.learning_on) = (sensitivity, learning_on);
            self.recount(&places);
        }
    }

    /// The places of the frames whose candidates a record speaks of.
    fn places_of_record(&self, index: usize) -> Vec<usize> {
        match self.records.get(index).map(|r| &r.deed) {
            Some(Deed::Decide { spots, .. } | Deed::Reshape { spots, .. }) => {
                let mut places: Vec<usize> = spots.iter().filter_map(|s| self.position(s.frame)).collect();
                places.sort_unstable();
                places.dedup();
                places
            }
            Some(Deed::FillChoice { spot, .. }) => self.position(spot.frame).into_iter().collect(),
            Some(Deed::HandMark { frame, .. }) => self.position(*frame).into_iter().collect(),
            Some(Deed::HandMarks { first, last, .. }) => self.places_of_scans(*first, *last).collect(),
            Some(Deed::Rule { stretches, .. }) => self.places_of_stretches(stretches),
            _ => Vec::new(),
        }
    }

    pub(crate) fn places_of_stretches(&self, stretches: &[Stretch]) -> Vec<usize> {
        let mut places: Vec<usize> = stretches.iter().flat_map(|s| self.places_of_scans(s.first, s.last)).collect();
        places.sort_unstable();
        places.dedup();
        places
    }

    /// Place of a scan among all scans.
    pub(crate) fn position(&self, number: u64) -> Option<usize> {
        self.numbers.binary_search(&number).ok()
    }

    pub(crate) fn numbers(&self) -> &[u64] {
        &self.numbers
    }

    /// The places of the scans `first..=last`.
    pub(crate) fn places_of_scans(&self, first: u64, last: u64) -> Range<usize> {
        let start = self.numbers.partition_point(|n| *n < first);
        let end = self.numbers.partition_point(|n| *n <= last);
        start..end.max(start)
    }

    pub(crate) fn places_of_shot(&self, shot: usize) -> Range<usize> {
        self.shots.get(shot).map_or(0..0, |s| self.places_of_scans(s.first, s.last))
    }

    pub(crate) fn shot_at(&self, place: usize) -> usize {
        self.shot_of.get(place).copied().unwrap_or(0)
    }

    pub(crate) fn sensitivity(&self, shot: usize) -> f32 {
        self.sensitivity.get(shot).copied().unwrap_or(self.default_sensitivity)
    }

    pub(crate) fn frame(&self, number: u64) -> Option<&FrameState> {
        self.frames.get(self.position(number)?)
    }

    pub(crate) const fn total(&self) -> Counts {
        self.total
    }

    pub(crate) fn shot_counts(&self, shot: usize) -> Counts {
        self.shot_counts.get(shot).copied().unwrap_or_default()
    }
}

/// The protected regions that stand, in the order in which they were made.
fn regions(records: &[Record], active: &[bool]) -> Vec<Region> {
    let mut regions: Vec<Region> = Vec::new();
    for (record, _) in records.iter().zip(active).filter(|(_, stands)| **stands) {
        match &record.deed {
            Deed::Protect { rect, mask, first, last, note } => regions.push(Region {
                id: RegionId { artist: record.artist.clone(), sequence: record.sequence },
                rect: *rect,
                mask: mask.clone(),
                first: *first,
                last: *last,
                note: note.clone(),
                artist: record.artist.clone(),
            }),
            Deed::ChangeRegion { id, rect, mask, first, last, note } => {
                if let Some(region) = regions.iter_mut().find(|r| r.id == *id) {
                    (region.rect, region.mask) = (*rect, mask.clone());
                    (region.first, region.last) = (*first, *last);
                    region.note.clone_from(note);
                }
            }
            Deed::Unprotect { id } => regions.retain(|r| r.id != *id),
            _ => {}
        }
    }
    regions
}
