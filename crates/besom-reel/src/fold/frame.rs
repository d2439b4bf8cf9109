//! The state of one frame, and how records change it.

use std::sync::Arc;

use besom_detect::likeness::Judged;
use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_scan::{Run, RunMask};

use super::Effect;
use super::attach::Finder;
use crate::ledger::Counts;
use crate::model::decision::{Decision, FillChoice};
use crate::model::edit::Filter;
use crate::model::record::{Deed, Record, Spot, Stretch};

/// A rule as a record keeps it: filter, stretches, and the pixels of what it answers otherwise about.
type Ruled<'a> = (&'a Filter, &'a [Stretch], &'a [(u64, RunMask)]);

/// What stands about one candidate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Verdict {
    pub(crate) decision: Decision,
    pub(crate) choice: FillChoice,
    /// The record that the decision comes from.
    pub(crate) by: Option<u32>,
}

/// One explicit word of a record about this frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Touch {
    /// Which record.
    pub(crate) record: u32,
    /// Which of its spots.
    pub(crate) spot: u32,
}

/// One frame: its candidates, what stands about them, and the records that speak of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct FrameState {
    /// True once the detector has seen the frame.
    pub(crate) seen: bool,
    /// The detector's candidates. Shared, so that a lesson that is worked out elsewhere takes them along without copying them.
    found: Arc<Vec<Candidate>>,
    /// The same in the shapes that people gave them, then what people parted or marked. One that was joined to another has
    /// no pixels here (see [`is_gone`]). Shared with `found` while nobody touched any.
    pub(crate) candidates: Arc<Vec<Candidate>>,
    pub(crate) verdicts: Vec<Verdict>,
    /// What the shot's examples say about each of the detector's candidates; empty while they say nothing.
    pub(crate) learned: Vec<Judged>,
    /// In the order of the fold.
    pub(super) touching: Vec<Touch>,
    /// Words about pixels that no candidate covers.
    pub(crate) strays: Vec<Touch>,
    pub(crate) counts: Counts,
    /// Undecided candidates that ask for no decision because of what was learned, counted with the rest.
    pub(super) spared: usize,
}

/// The detector's candidates of a frame, shared with it.
#[derive(Clone, Debug)]
pub(super) struct Found {
    candidates: Arc<Vec<Candidate>>,
    seen: bool,
}

impl Found {
    pub(super) fn list(&self) -> &[Candidate] {
        &self.candidates
    }

    /// The same; `None` for a frame that the detector has not seen.
    pub(super) fn searched(&self) -> Option<&[Candidate]> {
        self.seen.then(|| self.list())
    }
}

impl FrameState {
    pub(super) fn clear_detected(&mut self) {
        *self = Self { touching: std::mem::take(&mut self.touching), ..Self::default() };
    }

    pub(super) fn set_detected(&mut self, candidates: Vec<Candidate>) {
        self.seen = true;
        self.found = Arc::new(candidates);
        self.candidates = Arc::clone(&self.found);
    }

    /// The detector's candidates as it found them, without hand marks.
    pub(crate) fn found(&self) -> &[Candidate] {
        &self.found
    }

    /// The detector's candidates, to take along.
    pub(super) fn share_found(&self) -> Found {
        Found { candidates: Arc::clone(&self.found), seen: self.seen }
    }

    /// True while these are the candidates that are here.
    pub(super) fn still_has(&self, found: &Found) -> bool {
        Arc::ptr_eq(&self.found, &found.candidates)
    }

    /// Starts from the detector's candidates and applies every record that stands.
    pub(super) fn replay(&mut self, number: u64, records: &[Record], active: &[bool], rules: &[u32]) {
        self.candidates = Arc::clone(&self.found);
        self.verdicts.clear();
        self.verdicts.resize(self.candidates.len(), Verdict::default());
        self.strays.clear();
        let stands = |index: u32| active.get(index as usize) == Some(&true);
        let mut finder = Finder::default();
        let mut rules = rules.iter().copied().filter(|r| stands(*r)).peekable();
        for touch in std::mem::take(&mut self.touching) {
            while let Some(rule) = rules.next_if(|r| *r < touch.record) {
                self.apply_rule(number, rule, records);
            }
            if let Some(record) = records.get(touch.record as usize).filter(|_| stands(touch.record)) {
                self.apply_touch(touch, record, &mut finder);
            }
            self.touching.push(touch);
        }
        for rule in rules {
            self.apply_rule(number, rule, records);
        }
    }

    /// Applies a record that is later than all others.
    pub(super) fn apply_last(&mut self, number: u64, index: u32, record: &Record) -> Effect {
        if let Deed::Rule { decision, filter, stretches, learned } = &record.deed {
            return self.decide_by_rule(number, index, *decision, (filter, stretches, learned));
        }
        let start = self.touching.partition_point(|t| t.record < index);
        let touches = self.touching.get(start..).unwrap_or_default().to_vec();
        let mut finder = Finder::default();
        let mut effect = Effect::default();
        for touch in touches {
            effect += self.apply_touch(touch, record, &mut finder);
        }
        effect
    }

    fn apply_rule(&mut self, number: u64, index: u32, records: &[Record]) {
        if let Some(Deed::Rule { decision, filter, stretches, learned }) = records.get(index as usize).map(|r| &r.deed)
        {
            self.decide_by_rule(number, index, *decision, (filter, stretches, learned));
        }
    }

    /// Applies a rule by the detector's confidence, and the other way round to the candidates that the record names by a
    /// pixel: what the shot had learned is part of the record, so that it stands whatever is decided or taken back later.
    fn decide_by_rule(&mut self, number: u64, by: u32, decision: Decision, rule: Ruled<'_>) -> Effect {
        let (filter, at, learned) = rule;
        let Some(least) = least_confidence(at, number) else { return Effect::default() };
        let turned = learned.binary_search_by_key(&number, |(frame, _)| *frame).ok().and_then(|i| learned.get(i));
        let mut effect = Effect::default();
        for (candidate, verdict) in self.candidates.iter().zip(&mut self.verdicts) {
            let named = turned.is_some_and(|(_, pixels)| candidate.mask.overlap(pixels) > 0);
            let within = within(candidate.confidence, filter, least) != named;
            if within && matches(candidate, verdict.decision, filter) {
                effect.matched += 1;
                effect.changed += usize::from(verdict.decision != decision);
                verdict.decision = decision;
                verdict.by = Some(by);
            }
        }
        effect
    }

    /// What a rule would do.
    pub(super) fn preview_rule(&self, number: u64, decision: Decision, filter: &Filter, at: &[Stretch]) -> Effect {
        let mut effect = Effect::default();
        for index in self.matching(number, filter, at) {
            effect.matched += 1;
            effect.changed += usize::from(self.verdicts.get(index).is_some_and(|v| v.decision != decision));
        }
        effect
    }

    /// The candidates that a rule speaks of.
    pub(super) fn matching(&self, number: u64, filter: &Filter, at: &[Stretch]) -> Vec<usize> {
        let Some(least) = least_confidence(at, number) else { return Vec::new() };
        let all = self.candidates.iter().zip(&self.verdicts).enumerate();
        let asked = |i: usize| within(self.confidence(i), filter, least);
        all.filter(|(i, (c, v))| asked(*i) && matches(c, v.decision, filter)).map(|(i, _)| i).collect()
    }

    /// One pixel of each candidate about which a rule answers otherwise by the confidence that was learned than by the
    /// detector's.
    pub(super) fn learned_for(&self, number: u64, filter: &Filter, at: &[Stretch]) -> RunMask {
        let Some(least) = least_confidence(at, number) else { return RunMask::default() };
        let found = self.candidates.iter().zip(&self.learned);
        let turned = found.filter(|(candidate, learned)| {
            within(candidate.confidence, filter, least) != within(learned.confidence, filter, least)
        });
        RunMask::from_runs(turned.filter_map(|(candidate, _)| inner_pixel(&candidate.mask)).collect())
    }

    /// The confidence that counts: the detector's, or the lower one that the shot's examples leave.
    pub(crate) fn confidence(&self, index: usize) -> f32 {
        let found = self.candidates.get(index).map_or(0.0, |c| c.confidence);
        self.learned.get(index).map_or(found, |l| l.confidence.min(found))
    }

    /// True when a candidate is undecided, asks for no decision because of what was learned, and is proposed.
    pub(crate) fn proposes(&self, index: usize, sensitivity: f32) -> bool {
        self.spares(index, sensitivity) && self.learned.get(index).is_some_and(|l| l.proposed)
    }

    /// True when a candidate is undecided and asks for no decision because of what was learned.
    pub(crate) fn spares(&self, index: usize, sensitivity: f32) -> bool {
        let Some((found, verdict)) = self.candidates.get(index).zip(self.verdicts.get(index)) else { return false };
        !is_gone(found)
            && verdict.decision == Decision::Undecided
            && found.confidence >= sensitivity
            && self.confidence(index) < sensitivity
    }

    fn apply_touch(&mut self, touch: Touch, record: &Record, finder: &mut Finder) -> Effect {
        match &record.deed {
            Deed::Decide { decision, spots, .. } => {
                let Some(spot) = spots.get(touch.spot as usize) else { return Effect::default() };
                self.with_spot(touch, spot, finder, |verdict| {
                    let changed = verdict.decision != *decision;
                    verdict.decision = *decision;
                    verdict.by = Some(touch.record);
                    changed
                })
            }
            Deed::FillChoice { spot, choice } => self.with_spot(touch, spot, finder, |verdict| {
                let changed = verdict.choice != *choice;
                verdict.choice = *choice;
                changed
            }),
            Deed::HandMark { mask, .. } => self.add_hand_mark(touch, mask, &record.artist),
            Deed::HandMarks { mask, .. } => {
                // A range often runs over a frame that was marked before. Two marks of the same pixels could not be told
                // apart by a decision, so the one that is there is accepted.
                let known = self.candidates.iter().position(|c| c.kind == Kind::Hand && c.mask == *mask);
                let Some(verdict) = known.and_then(|index| self.verdicts.get_mut(index)) else {
                    return self.add_hand_mark(touch, mask, &record.artist);
                };
                let changed = usize::from(verdict.decision != Decision::Accepted);
                (verdict.decision, verdict.by) = (Decision::Accepted, Some(touch.record));
                Effect { matched: 1, changed }
            }
            Deed::Reshape { spots, masks } => self.reshape(touch, spots, masks, &record.artist, finder),
            _ => Effect::default(),
        }
    }

    fn add_hand_mark(&mut self, touch: Touch, mask: &RunMask, artist: &str) -> Effect {
        Arc::make_mut(&mut self.candidates).push(hand_mark(mask, artist));
        let by = Some(touch.record);
        self.verdicts.push(Verdict { decision: Decision::Accepted, choice: FillChoice::Automatic, by });
        Effect { matched: 1, changed: 1 }
    }

    fn with_spot(
        &mut self,
        touch: Touch,
        spot: &Spot,
        finder: &mut Finder,
        change: impl FnOnce(&mut Verdict) -> bool,
    ) -> Effect {
        finder.keep_up(&self.candidates);
        let found = finder.find(&self.candidates, &spot.mask, spot.kind);
        let Some(verdict) = found.and_then(|index| self.verdicts.get_mut(index)) else {
            self.strays.push(touch);
            return Effect::default();
        };
        Effect { matched: 1, changed: usize::from(change(verdict)) }
    }

    /// Adds one candidate to a count.
    pub(crate) fn count_candidate(&self, index: usize, sensitivity: f32, counts: &mut Counts) {
        if let Some((candidate, verdict)) = self.candidates.get(index).zip(self.verdicts.get(index))
            && !is_gone(candidate)
        {
            counts.add_candidate(candidate, verdict.decision, self.confidence(index) >= sensitivity);
            counts.proposed += u64::from(self.proposes(index, sensitivity));
        }
    }

    /// Counts the frame at its shot's sensitivity.
    pub(super) fn count(&mut self, sensitivity: f32) {
        let mut counts = Counts { frames: 1, frames_detected: u64::from(self.seen), ..Counts::default() };
        self.spared = 0;
        for index in 0..self.candidates.len() {
            self.count_candidate(index, sensitivity, &mut counts);
            self.spared += usize::from(self.spares(index, sensitivity));
        }
        counts.frames_decided = u64::from(self.seen && counts.undecided == 0);
        counts.frames_touched = u64::from(counts.accepted > 0);
        self.counts = counts;
    }
}

/// True for a candidate that was joined to another one: it keeps its number and has no pixels.
pub(crate) fn is_gone(candidate: &Candidate) -> bool {
    candidate.mask.is_empty()
}

fn least_confidence(stretches: &[Stretch], number: u64) -> Option<f32> {
    stretches.iter().find(|s| s.first <= number && number <= s.last).map(|s| s.min_confidence)
}

fn within(confidence: f32, filter: &Filter, least: f32) -> bool {
    confidence >= least && filter.max_confidence.is_none_or(|most| confidence <= most)
}

/// A pixel well inside a mask, which a mask that is found anew will most likely hold too.
fn inner_pixel(mask: &RunMask) -> Option<Run> {
    let run = mask.runs().get(mask.runs().len() / 2)?;
    let x0 = run.x0 + (run.x1 - run.x0) / 2;
    Some(Run { y: run.y, x0, x1: x0 + 1 })
}

fn matches(candidate: &Candidate, decision: Decision, filter: &Filter) -> bool {
    !is_gone(candidate)
        && filter.kind.is_none_or(|kind| candidate.kind == kind)
        && (filter.include_at_risk || !candidate.risk.any())
        && (!filter.only_undecided || decision == Decision::Undecided)
}

fn hand_mark(mask: &RunMask, artist: &str) -> Candidate {
    Candidate {
        mask: mask.clone(),
        kind: Kind::Hand,
        // Nobody measured it; neither kind of repair looks at this for a hand mark.
        polarity: Polarity::Dark,
        confidence: 1.0,
        risk: Risk::default(),
        origin: Origin::Film,
        peak: 0.0,
        reasons: vec![format!("marked by {artist}")],
    }
}
