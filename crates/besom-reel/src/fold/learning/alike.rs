//! Which candidates of a shot are like one of them, to be worked out anywhere.

use std::sync::Arc;

use besom_detect::Candidate;
use besom_detect::likeness::{self, Traits};

use super::super::Fold;
use super::super::frame::{Found, FrameState};
use crate::model::decision::CandidateId;

/// A question about one candidate's like: taken along from [`crate::Reel::alike_due`] and solved on any thread.
#[derive(Clone, Debug)]
pub struct AlikeDue {
    of: CandidateId,
    place: usize,
    numbers: Vec<u64>,
    found: Vec<Found>,
    traits: Option<Arc<Vec<Vec<Traits>>>>,
    size: (usize, usize),
}

/// The candidates of one shot that are like one of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alike {
    /// The one.
    pub of: CandidateId,
    /// The others and itself, whatever was decided about them, in the order of frames, then of their lists.
    pub ids: Vec<CandidateId>,
}

impl AlikeDue {
    /// Compares every candidate of the shot with the one. Alike are those of its kind that an example would count as its
    /// like (see [`likeness::alike`]).
    #[must_use]
    pub fn solve(self) -> Alike {
        let index = self.of.index as usize;
        let one = self.found.get(self.place).and_then(|found| found.list().get(index)).map(|c| c.kind);
        let traits = self.traits.clone().unwrap_or_else(|| {
            let shot: Vec<Option<&[Candidate]>> = self.found.iter().map(Found::searched).collect();
            Arc::new(likeness::traits(&shot, self.size.0, self.size.1))
        });
        let own = traits.get(self.place).and_then(|frame| frame.get(index));
        let like = own.map(|own| likeness::alike(own, &traits)).unwrap_or_default();
        let mut ids = Vec::new();
        for ((number, found), like) in self.numbers.iter().zip(&self.found).zip(&like) {
            for (index, (candidate, like)) in (0u32..).zip(found.list().iter().zip(like)) {
                if *like && Some(candidate.kind) == one {
                    ids.push(CandidateId::new(*number, index));
                }
            }
        }
        Alike { of: self.of, ids }
    }
}

impl Fold {
    /// The question which candidates of its shot are like one; `None` for a hand mark, and for what does not exist.
    pub(crate) fn alike_due(&self, of: CandidateId) -> Option<AlikeDue> {
        let at = self.position(of.frame)?;
        let shot = self.shot_at(at);
        let places = self.places_of_shot(shot);
        let frames = self.frames.get(places.clone())?;
        let place = at.checked_sub(places.start)?;
        frames.get(place)?.found().get(of.index as usize)?;
        Some(AlikeDue {
            of,
            place,
            numbers: self.numbers.get(places)?.to_vec(),
            found: frames.iter().map(FrameState::share_found).collect(),
            traits: self.lessons.get(shot).and_then(|lesson| lesson.traits.0.clone()),
            size: self.size,
        })
    }
}
