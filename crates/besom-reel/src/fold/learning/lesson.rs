//! A lesson that can be worked out anywhere: it holds all that it needs, and the fold goes on meanwhile.

use std::sync::Arc;

use besom_detect::Candidate;
use besom_detect::likeness::{self, Examples, Judged, Traits};
use rayon::prelude::*;

use super::super::frame::Found;
use super::Decided;

/// What a shot is to learn from the examples that stand: taken along from [`crate::Reel::lesson_due`], solved on any
/// thread, and brought back by [`crate::Reel::take_lesson`].
#[derive(Clone, Debug)]
pub struct LessonDue {
    pub(super) shot: usize,
    pub(super) found: Vec<Found>,
    pub(super) decided: Decided,
    /// When an earlier lesson of the shot worked them out.
    pub(super) traits: Option<Arc<Vec<Vec<Traits>>>>,
    pub(super) size: (usize, usize),
}

/// A lesson worked out, with what it was worked out from.
#[derive(Debug)]
pub struct LessonSolved {
    pub(super) due: LessonDue,
    pub(super) traits: Arc<Vec<Vec<Traits>>>,
    pub(super) judged: Vec<Vec<Judged>>,
}

impl LessonDue {
    /// Judges every candidate of the shot, on all threads there are; the same bits on any number of them.
    #[must_use]
    pub fn solve(self) -> LessonSolved {
        let (width, height) = self.size;
        let traits = self.traits.clone().unwrap_or_else(|| {
            let shot: Vec<Option<&[Candidate]>> = self.found.iter().map(Found::searched).collect();
            Arc::new(likeness::traits(&shot, width, height))
        });
        let named = |list: &[(usize, usize)]| -> Vec<Traits> {
            list.iter().filter_map(|(frame, index)| traits.get(*frame)?.get(*index)).copied().collect()
        };
        let examples = Examples::new(&named(&self.decided.belonging), &named(&self.decided.damage), &traits);
        let of_frame = |(found, traits): (&Found, &Vec<Traits>)| -> Vec<Judged> {
            traits.iter().zip(found.list()).map(|(traits, found)| examples.judge(traits, found.confidence)).collect()
        };
        let judged = self.found.par_iter().zip(traits.par_iter()).map(of_frame).collect();
        LessonSolved { due: self, traits, judged }
    }
}
