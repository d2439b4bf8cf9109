//! Which candidate a stored decision speaks of: the one that overlaps its pixels most.

use std::collections::HashMap;

use besom_detect::{Candidate, Kind};
use besom_scan::{Rect, RunMask};

/// Least intersection over union at which a candidate counts as the one that was decided. The same share makes a
/// detection a hit in the project's scores; below it two marks merely touch.
const LEAST_OVERLAP: f64 = 0.1;

/// Finds candidates of one frame by their pixels.
#[derive(Default)]
pub(super) struct Finder {
    bounds: Vec<Rect>,
    /// Candidates by their first pixel: where nothing was detected anew, this finds the one at once.
    by_first_pixel: HashMap<(u32, u32), u32>,
}

impl Finder {
    /// Takes in candidates that it has not seen yet (they are only ever added at the end).
    pub(super) fn keep_up(&mut self, candidates: &[Candidate]) {
        for (index, candidate) in candidates.iter().enumerate().skip(self.bounds.len()) {
            self.bounds.push(candidate.bounds());
            if let Some(run) = candidate.mask.runs().first() {
                self.by_first_pixel.entry((run.y, run.x0)).or_insert(index as u32);
            }
        }
    }

    /// The candidate that a decision about these pixels speaks of; of equal overlaps the one of the same kind, then
    /// the first. `None` when nothing overlaps enough.
    pub(super) fn find(&self, candidates: &[Candidate], mask: &RunMask, kind: Kind) -> Option<usize> {
        let first = mask.runs().first()?;
        let at_once = self.by_first_pixel.get(&(first.y, first.x0)).map(|i| *i as usize);
        if let Some(index) = at_once
            && candidates.get(index).is_some_and(|c| c.kind == kind && c.mask == *mask)
        {
            return Some(index);
        }
        let bounds = mask.bounds();
        let area = mask.area();
        let mut best: Option<(f64, bool, usize)> = None;
        for (index, candidate) in candidates.iter().enumerate() {
            if self.bounds.get(index).is_none_or(|b| b.intersect(&bounds).is_empty()) {
                continue;
            }
            let shared = candidate.mask.overlap(mask);
            let overlap = shared as f64 / (candidate.area() + area - shared).max(1) as f64;
            let same = candidate.kind == kind;
            if overlap >= LEAST_OVERLAP && best.is_none_or(|(o, s, _)| (overlap, same) > (o, s)) {
                best = Some((overlap, same, index));
            }
        }
        best.map(|(_, _, index)| index)
    }
}
