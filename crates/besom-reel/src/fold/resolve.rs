//! From what a person asks to what a record keeps: shots become scans, sensitivities become numbers.

use besom_scan::RunMask;

use super::{Effect, Fold};
use crate::model::decision::{CandidateId, Decision};
use crate::model::edit::Filter;
use crate::model::record::{Deed, Stretch};

/// The sensitivity of every shot. A record about a shot counts for the shot that shares most scans with the one it
/// spoke of, should a new survey have moved the cuts.
pub(super) fn sensitivity(fold: &Fold) -> Vec<f32> {
    let mut values = vec![fold.default_sensitivity; fold.shots.len()];
    for (record, _) in fold.records.iter().zip(&fold.active).filter(|(_, stands)| **stands) {
        match record.deed {
            Deed::Sensitivity { scans: None, value } => values.fill(value),
            Deed::Sensitivity { scans: Some((first, last)), value } => {
                if let Some(place) = shot_of(fold, first, last).and_then(|s| values.get_mut(s)) {
                    *place = value;
                }
            }
            _ => {}
        }
    }
    values
}

/// For every shot whether it learns from its decisions; all do until it is switched off.
pub(super) fn learning_on(fold: &Fold) -> Vec<bool> {
    let mut values = vec![true; fold.shots.len()];
    for (record, _) in fold.records.iter().zip(&fold.active).filter(|(_, stands)| **stands) {
        if let Deed::Learning { scans: (first, last), on } = record.deed
            && let Some(place) = shot_of(fold, first, last).and_then(|s| values.get_mut(s))
        {
            *place = on;
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

    /// The candidates about which a rule with this filter answers otherwise because of what their shots have learned,
    /// each by one pixel of it.
    pub(crate) fn learned_for(&self, filter: &Filter, stretches: &[Stretch]) -> Vec<(u64, RunMask)> {
        let mut learned = Vec::new();
        for place in self.places_of_stretches(stretches) {
            if let (Some(number), Some(frame)) = (self.numbers.get(place), self.frames.get(place)) {
                let pixels = frame.learned_for(*number, filter, stretches);
                if !pixels.is_empty() {
                    learned.push((*number, pixels));
                }
            }
        }
        learned
    }

    /// The candidates that a rule with this filter would speak of.
    pub(crate) fn matching(&self, filter: &Filter) -> Vec<CandidateId> {
        let stretches = self.stretches(filter);
        let mut ids = Vec::new();
        for place in self.places_of_stretches(&stretches) {
            if let (Some(number), Some(frame)) = (self.numbers.get(place), self.frames.get(place)) {
                let found = frame.matching(*number, filter, &stretches);
                ids.extend(found.into_iter().map(|i| CandidateId::new(*number, i as u32)));
            }
        }
        ids
    }

    /// What a rule would do.
    pub(crate) fn preview_rule(&self, decision: Decision, filter: &Filter) -> Effect {
        let stretches = self.stretches(filter);
        let mut effect = Effect::default();
        for place in self.places_of_stretches(&stretches) {
            if let (Some(number), Some(frame)) = (self.numbers.get(place), self.frames.get(place)) {
                effect += frame.preview_rule(*number, decision, filter, &stretches);
            }
        }
        effect
    }
}
