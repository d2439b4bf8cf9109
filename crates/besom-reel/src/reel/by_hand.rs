//! Edits of what is drawn by hand: marks, and regions that nobody may change.

use std::collections::HashSet;

use besom_detect::{Candidate, Kind};
use besom_scan::{Rect, RunMask};

use super::Reel;
use crate::error::ReelError;
use crate::model::decision::{CandidateId, Decision};
use crate::model::edit::{HandMark, RegionId};
use crate::model::record::Deed;

impl Reel {
    pub(super) fn protect(&self, rect: &Rect, first: u64, last: u64, note: String) -> Result<Deed, ReelError> {
        let rect = rect.intersect(&self.whole());
        if rect.is_empty() {
            return Err(ReelError::request("the rectangle to protect lies outside the frame"));
        }
        self.check_scans(first, last)?;
        Ok(Deed::Protect { rect, mask: None, first, last, note })
    }

    pub(super) fn protect_shape(&self, mask: &RunMask, first: u64, last: u64, note: String) -> Result<Deed, ReelError> {
        let (rect, mask) = self.area(mask)?;
        self.check_scans(first, last)?;
        Ok(Deed::Protect { rect, mask, first, last, note })
    }

    pub(super) fn change_region(
        &self,
        id: RegionId,
        mask: &RunMask,
        (first, last): (u64, u64),
        note: String,
    ) -> Result<Deed, ReelError> {
        self.check_region(&id)?;
        let (rect, mask) = self.area(mask)?;
        self.check_scans(first, last)?;
        Ok(Deed::ChangeRegion { id, rect, mask, first, last, note })
    }

    pub(super) fn unprotect(&self, id: RegionId) -> Result<Deed, ReelError> {
        self.check_region(&id)?;
        Ok(Deed::Unprotect { id })
    }

    fn whole(&self) -> Rect {
        Rect::of_size(self.info.width, self.info.height)
    }

    fn check_region(&self, id: &RegionId) -> Result<(), ReelError> {
        if self.regions().iter().any(|r| r.id == *id) {
            return Ok(());
        }
        Err(ReelError::request(format!("there is no protected region number {} by {}", id.sequence, id.artist)))
    }

    /// The part of a drawn area that lies inside the frame: a rectangle, and the mask unless it fills it.
    fn area(&self, mask: &RunMask) -> Result<(Rect, Option<RunMask>), ReelError> {
        let mask = mask.intersection(&RunMask::from_rect(&self.whole()));
        if mask.is_empty() {
            return Err(ReelError::request("the area to protect has no pixel inside the frame"));
        }
        let rect = mask.bounds();
        let filled = mask.area() == rect.width() * rect.height();
        Ok((rect, (!filled).then_some(mask)))
    }

    pub(super) fn hand_mark(&self, mark: HandMark) -> Result<Deed, ReelError> {
        let HandMark { frame, mask } = mark;
        self.check_scan(frame)?;
        self.check_painted(&mask)?;
        // A decision finds its candidate by the pixels: two marks of the same pixels could not be told apart.
        let mark = HandMark { frame, mask };
        if self.is_marked(&mark) {
            return Err(ReelError::request(format!("the same pixels are already marked by hand in frame {frame}")));
        }
        Ok(Deed::HandMark { frame, mask: RunMask::from_runs(mark.mask.runs().to_vec()) })
    }

    pub(super) fn hand_marks(&self, first: u64, last: u64, mask: &RunMask) -> Result<Deed, ReelError> {
        self.check_scans(first, last)?;
        self.check_painted(mask)?;
        if self.marks_to_make(first, last, mask).next().is_none() {
            let words = format!("the same pixels are already marked by hand in frames {first} to {last}");
            return Err(ReelError::request(words));
        }
        Ok(Deed::HandMarks { first, last, mask: RunMask::from_runs(mask.runs().to_vec()) })
    }

    /// The scans of a range in which marking these pixels changes something: they are not marked, or not accepted.
    pub(super) fn marks_to_make<'a>(
        &'a self,
        first: u64,
        last: u64,
        mask: &'a RunMask,
    ) -> impl Iterator<Item = u64> + use<'a> {
        let scans = self.fold.numbers().get(self.fold.places_of_scans(first, last)).unwrap_or_default();
        let stands = |(candidate, verdict): (&Candidate, Decision)| {
            candidate.kind == Kind::Hand && candidate.mask == *mask && verdict == Decision::Accepted
        };
        scans.iter().copied().filter(move |frame| {
            let decisions = self.confidences(*frame).map(|(_, decision)| decision);
            !self.candidates(*frame).iter().zip(decisions).any(stands)
        })
    }

    pub(super) fn reshape(&self, ids: &[CandidateId], masks: Vec<RunMask>) -> Result<Deed, ReelError> {
        let mut seen = HashSet::new();
        let spots =
            ids.iter().filter(|id| seen.insert(**id)).map(|id| self.spot(*id)).collect::<Result<Vec<_>, _>>()?;
        let Some(frame) = spots.first().map(|s| s.frame) else {
            return Err(ReelError::request("no candidate was named"));
        };
        if spots.iter().any(|s| s.frame != frame || s.mask.is_empty()) {
            return Err(ReelError::request("only candidates of one frame that have pixels can be given other ones"));
        }
        if masks.is_empty() || masks.iter().any(|mask| self.check_painted(mask).is_err()) {
            return Err(ReelError::request("a candidate needs pixels, all of them inside the frame"));
        }
        // A decision finds its candidate by the pixels: two candidates with the same ones could not be told apart.
        let others = (0u32..).zip(self.candidates(frame)).filter(|(i, _)| !seen.contains(&CandidateId::new(frame, *i)));
        let mut all: HashSet<&RunMask> = others.map(|(_, candidate)| &candidate.mask).collect();
        if masks.iter().any(|mask| !all.insert(mask)) {
            return Err(ReelError::request(format!("another candidate of frame {frame} has these very pixels")));
        }
        if spots.iter().map(|s| &s.mask).eq(&masks) {
            return Err(ReelError::request("these are the candidate's pixels already"));
        }
        let masks = masks.into_iter().map(|mask| RunMask::from_runs(mask.runs().to_vec())).collect();
        Ok(Deed::Reshape { spots, masks })
    }

    fn check_painted(&self, mask: &RunMask) -> Result<(), ReelError> {
        let outside = |x: u32, y: u32| x as usize > self.info.width || y as usize >= self.info.height;
        if mask.is_empty() || mask.runs().iter().any(|r| outside(r.x1, r.y)) {
            return Err(ReelError::request("a hand mark needs pixels, all of them inside the frame"));
        }
        Ok(())
    }

    /// True when the very same pixels were marked by hand before: a mark is not made twice.
    pub fn is_marked(&self, mark: &HandMark) -> bool {
        self.candidates(mark.frame).iter().any(|c| c.kind == Kind::Hand && c.mask == mark.mask)
    }
}
