//! What each shot learns from its decisions: a pure function of the shot's candidates and of what stands decided about
//! them, worked out anew whenever the shot's examples change.

use std::ops::Range;

use besom_detect::likeness::{self, Examples, Traits};
use rayon::prelude::*;

use super::{Fold, FrameState};
use crate::model::decision::{CandidateId, Decision};
use crate::model::learned::Learning;
use crate::model::record::{Deed, Record};

/// The latest so many examples of each sort count: enough for any shot, and the work stays bounded.
const MOST_EXAMPLES: usize = 32;

/// The examples of a shot, by place of the frame and of the candidate, in the order in which they were decided.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Decided {
    belonging: Vec<(usize, usize)>,
    damage: Vec<(usize, usize)>,
    proposes: Decision,
}

/// What a shot has learned so far.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Lesson {
    /// Not switched off.
    on: bool,
    decided: Decided,
    traits: Kept,
}

/// The traits of a shot's candidates, once they were needed. They follow from the candidates alone, so two folds are the
/// same whether or not they have them.
#[derive(Clone, Debug, Default)]
struct Kept(Option<Vec<Vec<Traits>>>);

impl PartialEq for Kept {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Fold {
    /// Forgets everything that was worked out: other candidates came.
    pub(super) fn forget_lessons(&mut self) {
        self.lessons = vec![Lesson::default(); self.shots.len()];
    }

    /// Brings the learning of these shots up to date. Answers those whose candidates carry another confidence now.
    pub(super) fn settle_lessons(&mut self, shots: impl Iterator<Item = usize>) -> Vec<usize> {
        shots.filter(|shot| self.settle_lesson(*shot)).collect()
    }

    fn settle_lesson(&mut self, shot: usize) -> bool {
        let places = self.places_of_shot(shot);
        let on = self.learning_on.get(shot).copied().unwrap_or(true);
        let frames = self.frames.get(places).unwrap_or_default();
        let decided = decided(frames, &self.records);
        let places = self.places_of_shot(shot);
        let Some(lesson) = self.lessons.get_mut(shot) else { return false };
        if lesson.on == on && lesson.decided == decided {
            return false;
        }
        (lesson.on, lesson.decided) = (on, decided);
        let Some(frames) = self.frames.get_mut(places) else { return false };
        if !lesson.on || lesson.decided.belonging.len() < likeness::LEAST_EXAMPLES {
            let had = frames.iter().any(|f| !f.learned.is_empty());
            for frame in frames {
                frame.learned = Vec::new();
            }
            return had;
        }
        lesson.teach(frames, self.size);
        true
    }

    /// True when a shot has examples enough and its learning is on.
    pub(crate) fn has_learned(&self, shot: usize) -> bool {
        self.lessons.get(shot).is_some_and(|l| l.on && l.decided.belonging.len() >= likeness::LEAST_EXAMPLES)
    }

    /// What is known of a shot's learning, and what it proposes.
    pub(crate) fn learning(&self, shot: usize) -> Learning {
        let places = self.places_of_shot(shot);
        let Some(lesson) = self.lessons.get(shot) else { return Learning::default() };
        let mut learning = Learning {
            on: self.learning_on.get(shot).copied().unwrap_or(true),
            belonging: lesson.decided.belonging.len(),
            damage: lesson.decided.damage.len(),
            proposes: lesson.decided.proposes,
            ..Learning::default()
        };
        let sensitivity = self.sensitivity(shot);
        let numbered = self.numbers.get(places.clone()).unwrap_or_default().iter();
        for (number, frame) in numbered.zip(self.frames.get(places).unwrap_or_default()) {
            for index in 0..frame.learned.len() {
                if frame.proposes(index, sensitivity) {
                    learning.proposals.push(CandidateId::new(*number, index as u32));
                }
                learning.spared += usize::from(frame.spares(index, sensitivity));
            }
        }
        learning
    }
}

impl Lesson {
    fn teach(&mut self, frames: &mut [FrameState], size: (usize, usize)) {
        if self.traits.0.is_none() {
            let of = |f: &FrameState| likeness::traits(f.found(), size.0, size.1);
            self.traits.0 = Some(frames.par_iter().map(of).collect());
        }
        let Some(traits) = &self.traits.0 else { return };
        let named = |list: &[(usize, usize)]| -> Vec<Traits> {
            list.iter().filter_map(|(frame, index)| traits.get(*frame)?.get(*index)).copied().collect()
        };
        let examples = Examples::new(&named(&self.decided.belonging), &named(&self.decided.damage), traits);
        frames.par_iter_mut().zip(traits).for_each(|(frame, traits)| {
            let judged =
                traits.iter().zip(frame.found()).map(|(traits, found)| examples.judge(traits, found.confidence));
            frame.learned = judged.collect();
        });
    }
}

/// The examples among these frames: decided by hand and one by one, which neither a rule nor a group nor a taken
/// proposal is, so that what was learned never teaches itself.
fn decided(frames: &[FrameState], records: &[Record]) -> Decided {
    let mut found: Vec<(u32, usize, usize, Decision)> = Vec::new();
    for (place, frame) in frames.iter().enumerate() {
        for (index, verdict) in frame.verdicts.iter().take(frame.found().len()).enumerate() {
            let Some(by) = verdict.by.filter(|_| verdict.decision != Decision::Undecided) else { continue };
            if matches!(records.get(by as usize).map(|r| &r.deed), Some(Deed::Decide { group: None, examples: 0, .. }))
            {
                found.push((by, place, index, verdict.decision));
            }
        }
    }
    found.sort_unstable_by_key(|(by, place, index, _)| (*by, *place, *index));
    let latest = |wanted: &dyn Fn(Decision) -> bool| -> Vec<(usize, usize)> {
        let all: Vec<_> = found.iter().filter(|f| wanted(f.3)).map(|f| (f.1, f.2)).collect();
        all.get(range_of_last(all.len())).unwrap_or_default().to_vec()
    };
    let intended = found.iter().filter(|f| f.3 == Decision::Intended).count();
    let rejected = found.iter().filter(|f| f.3 == Decision::Rejected).count();
    Decided {
        belonging: latest(&|d| matches!(d, Decision::Intended | Decision::Rejected)),
        damage: latest(&|d| d == Decision::Accepted),
        proposes: match (intended, rejected) {
            (0, 0) => Decision::Undecided,
            (i, r) if i >= r => Decision::Intended,
            _ => Decision::Rejected,
        },
    }
}

fn range_of_last(count: usize) -> Range<usize> {
    count.saturating_sub(MOST_EXAMPLES)..count
}

#[cfg(test)]
mod tests;
