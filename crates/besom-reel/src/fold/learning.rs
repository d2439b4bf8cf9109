//! What each shot learns from its decisions: a pure function of the shot's candidates and of what stands decided about
//! them, worked out anew whenever the shot's examples change, at once or as a lesson that is due (see [`LessonDue`]).

mod alike;
mod lesson;

use std::ops::Range;
use std::sync::Arc;

use besom_detect::likeness::{self, Traits};

pub use alike::{Alike, AlikeDue};
pub use lesson::{LessonDue, LessonSolved};

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

/// When a shot's lesson is worked out.
#[derive(Clone, Copy, Debug)]
pub(super) enum Teaching {
    /// As soon as its examples change.
    AtOnce,
    /// When somebody takes what is due along and brings it back solved; until then what stood before stands.
    Deferred,
}

/// Two folds are the same whichever way they learn, once nothing is due.
impl PartialEq for Teaching {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// What a shot has learned so far.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Lesson {
    /// Not switched off.
    on: bool,
    /// The examples that stand.
    decided: Decided,
    /// The examples that what stands about the candidates was worked out from; none while nothing is said of them.
    taught: Decided,
    traits: Kept,
}

/// The traits of a shot's candidates, once they were needed. They follow from the candidates alone, so two folds are the
/// same whether or not they have them.
#[derive(Clone, Debug, Default)]
struct Kept(Option<Arc<Vec<Vec<Traits>>>>);

impl PartialEq for Kept {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Lesson {
    /// There are examples enough, and it is not switched off.
    const fn says_something(&self) -> bool {
        self.on && self.decided.belonging.len() >= likeness::LEAST_EXAMPLES
    }

    fn is_due(&self) -> bool {
        self.says_something() && self.taught != self.decided
    }
}

impl Fold {
    /// Forgets everything that was worked out: other candidates came.
    pub(super) fn forget_lessons(&mut self) {
        self.lessons = vec![Lesson::default(); self.shots.len()];
    }

    /// From now on lessons are due, and not worked out here.
    pub(crate) const fn defer_lessons(&mut self) {
        self.teaching = Teaching::Deferred;
    }

    /// True when lessons are due, and not worked out here.
    pub(crate) const fn defers_lessons(&self) -> bool {
        matches!(self.teaching, Teaching::Deferred)
    }

    /// Brings the learning of these shots up to date. Answers those whose candidates carry another confidence now.
    pub(super) fn settle_lessons(&mut self, shots: impl Iterator<Item = usize>) -> Vec<usize> {
        shots.filter(|shot| self.settle_lesson(*shot)).collect()
    }

    fn settle_lesson(&mut self, shot: usize) -> bool {
        let places = self.places_of_shot(shot);
        let on = self.learning_on.get(shot).copied().unwrap_or(true);
        let decided = decided(self.frames.get(places.clone()).unwrap_or_default(), &self.records);
        let Some(lesson) = self.lessons.get_mut(shot) else { return false };
        if lesson.on == on && lesson.decided == decided {
            return false;
        }
        (lesson.on, lesson.decided) = (on, decided);
        if !lesson.says_something() {
            lesson.taught = Decided::default();
            let Some(frames) = self.frames.get_mut(places) else { return false };
            let had = frames.iter().any(|f| !f.learned.is_empty());
            for frame in frames {
                frame.learned = Vec::new();
            }
            return had;
        }
        match (self.teaching, self.lesson_of(shot)) {
            (Teaching::AtOnce, Some(due)) => self.learn(due.solve()),
            _ => false,
        }
    }

    /// The lesson of the first shot that has one due, to be worked out anywhere.
    pub(crate) fn lesson_due(&self) -> Option<LessonDue> {
        self.lesson_of(self.lessons.iter().position(Lesson::is_due)?)
    }

    fn lesson_of(&self, shot: usize) -> Option<LessonDue> {
        let lesson = self.lessons.get(shot).filter(|lesson| lesson.is_due())?;
        Some(LessonDue {
            shot,
            found: self.frames.get(self.places_of_shot(shot))?.iter().map(FrameState::share_found).collect(),
            decided: lesson.decided.clone(),
            traits: lesson.traits.0.clone(),
            size: self.size,
        })
    }

    /// Takes a lesson back and counts anew; false when the shot's candidates or examples are others by now, and then it
    /// is due again unless there is nothing to learn any more.
    pub(crate) fn take_lesson(&mut self, solved: LessonSolved) -> bool {
        let shot = solved.due.shot;
        let taken = self.learn(solved);
        if taken {
            self.count_places(self.places_of_shot(shot));
        }
        taken
    }

    /// Works out here what is due.
    pub(crate) fn learn_all_due(&mut self) {
        while let Some(due) = self.lesson_due() {
            if !self.take_lesson(due.solve()) {
                return;
            }
        }
    }

    fn learn(&mut self, solved: LessonSolved) -> bool {
        let LessonSolved { due, traits, judged } = solved;
        let places = self.places_of_shot(due.shot);
        let (Some(lesson), Some(frames)) = (self.lessons.get_mut(due.shot), self.frames.get_mut(places)) else {
            return false;
        };
        let same =
            frames.len() == due.found.len() && frames.iter().zip(&due.found).all(|(f, found)| f.still_has(found));
        if !same {
            return false;
        }
        lesson.traits = Kept(Some(traits));
        if !lesson.is_due() || lesson.decided != due.decided {
            return false;
        }
        for (frame, judged) in frames.iter_mut().zip(judged) {
            frame.learned = judged;
        }
        lesson.taught = due.decided;
        true
    }

    /// True when a shot has examples enough and its learning is on.
    pub(crate) fn has_learned(&self, shot: usize) -> bool {
        self.lessons.get(shot).is_some_and(Lesson::says_something)
    }

    /// What is known of a shot's learning, and what it proposes.
    pub(crate) fn learning(&self, shot: usize) -> Learning {
        let places = self.places_of_shot(shot);
        let Some(lesson) = self.lessons.get(shot) else { return Learning::default() };
        let mut learning = Learning {
            on: self.learning_on.get(shot).copied().unwrap_or(true),
            due: lesson.is_due(),
            belonging: lesson.decided.belonging.len(),
            damage: lesson.decided.damage.len(),
            learned_from: lesson.taught.belonging.len(),
            proposes: lesson.decided.proposes,
            ..Learning::default()
        };
        let sensitivity = self.sensitivity(shot);
        let numbered = self.numbers.get(places.clone()).unwrap_or_default().iter();
        for (number, frame) in numbered.zip(self.frames.get(places).unwrap_or_default()) {
            learning.spared += frame.spared;
            // Few frames propose anything, and whoever asks must not wait for the others.
            let indices = if frame.counts.proposed > 0 { 0..frame.learned.len() } else { 0..0 };
            let proposed = indices.filter(|index| frame.proposes(*index, sensitivity));
            learning.proposals.extend(proposed.map(|index| CandidateId::new(*number, index as u32)));
        }
        learning
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
