//! From what a person asks to what a record keeps: shots become scans, sensitivities become numbers.

use besom_scan::RunMask;

use super::{Effect, Fold, FrameState};
use crate::model::decision::{CandidateId, Decision};
use crate::model::edit::Filter;
use crate::model::record::{Deed, Stretch};

/// The sensitivity of every shot.
pub(super) fn sensitivity(fold: &Fold) -> Vec<f32> {
    settings(fold, fold.default_sensitivity, |deed| match deed {
        Deed::Sensitivity { scans, value } => Some((*scans, *value)),
        _ => None,
    })
}

/// For every shot whether it learns from its decisions; all do until it is switched off.
pub(super) fn learning_on(fold: &Fold) -> Vec<bool> {
    settings(fold, true, |deed| match deed {
        Deed::Learning { scans, on } => Some((Some(*scans), *on)),
        _ => None,
    })
}

/// A setting of every shot, from the records that stand. `said` answers what a record sets, and for the shot of which
/// scans; without scans, for all. It counts for the shot that shares most scans with these, should a new survey have moved
/// the cuts.
fn settings<T: Copy>(fold: &Fold, at_first: T, said: impl Fn(&Deed) -> Option<(Option<(u64, u64)>, T)>) -> Vec<T> {
    let mut values = vec![at_first; fold.shots.len()];
    for (record, _) in fold.records.iter().zip(&fold.active).filter(|(_, stands)| **stands) {
        match said(&record.deed) {
            Some((None, value)) => values.fill(value),
            Some((Some((first, last)), value)) => {
                if let Some(place) = shot_of(fold, first, last).and_then(|s| values.get_mut(s)) {
                    *place = value;
                }
            }
            None => {}
        }
    }
    values
}

/// The shot that shares most scans with these.
fn shot_of(fold: &Fold, first: u64, last: u64) -> Option<usize> {
    let shared = |s: usize| fold.shots.get(s).map_or(0, |s| (s.last.min(last) + 1).saturating_sub(s.first.max(first)));
    // Of equal shares the first: `max_by_key` would take the last.
    (0..fold.shots.len()).rev().max_by_key(|s| shared(*s)).filter(|s| shared(*s) > 0)
}

impl Fold {
    /// The scans that a filter speaks of, with the least confidence it asks for there.
    pub(crate) fn stretches(&self, filter: &Filter) -> Vec<Stretch> {
        let mut stretches: Vec<Stretch> = Vec::new();
        for shot in self.shots.iter().filter(|s| filter.shot.is_none_or(|wanted| s.index == wanted)) {
            let asked = filter.frames.as_ref().map_or((shot.first, shot.last), |f| (*f.start(), *f.end()));
            let (first, last) = (shot.first.max(asked.0), shot.last.min(asked.1));
            if first > last {
                continue;
            }
            let min_confidence = match (filter.min_confidence, filter.max_confidence) {
                (Some(least), _) => least,
                (None, Some(_)) => 0.0,
                (None, None) => self.sensitivity(shot.index),
            };
            match stretches.last_mut() {
                Some(s) if s.last + 1 == first && s.min_confidence == min_confidence => s.last = last,
                _ => stretches.push(Stretch { first, last, min_confidence }),
            }
        }
        stretches
    }

    /// The scans of these stretches, with their numbers.
    fn within<'a>(&'a self, stretches: &[Stretch]) -> impl Iterator<Item = (u64, &'a FrameState)> + use<'a> {
        let places = self.places_of_stretches(stretches).into_iter();
        places.filter_map(|place| Some((*self.numbers.get(place)?, self.frames.get(place)?)))
    }

    /// The candidates about which a rule with this filter answers otherwise because of what their shots have learned,
    /// each by one pixel of it.
    pub(crate) fn learned_for(&self, filter: &Filter, stretches: &[Stretch]) -> Vec<(u64, RunMask)> {
        let frames = self.within(stretches);
        let learned = frames.map(|(number, frame)| (number, frame.learned_for(number, filter, stretches)));
        learned.filter(|(_, pixels)| !pixels.is_empty()).collect()
    }

    /// The candidates that a rule with this filter would speak of.
    pub(crate) fn matching(&self, filter: &Filter) -> Vec<CandidateId> {
        let stretches = self.stretches(filter);
        let mut ids = Vec::new();
        for (number, frame) in self.within(&stretches) {
            let found = frame.matching(number, filter, &stretches);
            ids.extend(found.into_iter().map(|i| CandidateId::new(number, i as u32)));
        }
        ids
    }

    /// What a rule would do.
    pub(crate) fn preview_rule(&self, decision: Decision, filter: &Filter) -> Effect {
        let stretches = self.stretches(filter);
        let mut effect = Effect::default();
        for (number, frame) in self.within(&stretches) {
            effect += frame.preview_rule(number, decision, filter, &stretches);
        }
        effect
    }
}
