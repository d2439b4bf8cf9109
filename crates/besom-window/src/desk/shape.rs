//! Another shape for the candidate in hand: grown, shrunk, parted, joined with the one next to it.

use besom_detect::{Candidate, Kind, components::connected};
use besom_reel::{CandidateId, Edit};
use besom_scan::{Rect, RunMask};

use super::Desk;

/// Farthest neighbour in pixels that the candidate in hand is joined with.
const FARTHEST: i32 = 64;

/// How a shape is changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Change {
    /// One pixel more all around.
    Grow,
    /// One pixel less all around.
    Shrink,
    /// Each connected part a candidate of its own.
    Part,
    /// One candidate with the nearest other one.
    Join,
}

impl Desk {
    /// The candidate in hand, when it has a shape that could be changed: a frame damaged whole has none.
    pub(crate) fn shaped(&self) -> Option<(CandidateId, &Candidate)> {
        let candidate = self.candidate().filter(|c| c.kind != Kind::Frame && !c.mask.is_empty())?;
        Some((self.hand?, candidate))
    }

    /// The edit that changes the shape of the candidate in hand.
    ///
    /// # Errors
    /// A sentence that says why it cannot be changed so.
    pub(crate) fn reshaped(&self, change: Change) -> Result<Edit, &'static str> {
        let (id, candidate) = self.shaped().ok_or("There is no candidate in hand whose shape could be changed.")?;
        let info = self.reel.info();
        let (width, height) = (info.width as u32, info.height as u32);
        let mask = &candidate.mask;
        let (ids, masks) = match change {
            Change::Grow => (vec![id], vec![mask.grown(1, width, height)]),
            Change::Shrink => (vec![id], vec![mask.shrunk(1, width, height)]),
            Change::Part => (vec![id], parts(mask)),
            Change::Join => {
                let near = self.nearest(id, &mask.bounds()).ok_or("No other candidate is shown near this one.")?;
                let other = self.reel.candidate(near).map(|c| c.mask.clone()).unwrap_or_default();
                (vec![id, near], vec![mask.union(&other)])
            }
        };
        match (change, masks.as_slice()) {
            (Change::Shrink, [left]) if left.is_empty() => Err("Nothing would be left of it. Reject it instead."),
            (Change::Part, [_]) => Err("It is of one piece."),
            (Change::Grow, [grown]) if grown == mask => Err("It fills the frame."),
            _ => Ok(Edit::Reshape { ids, masks }),
        }
    }

    /// The shown candidate of the same frame that lies nearest.
    fn nearest(&self, id: CandidateId, bounds: &Rect) -> Option<CandidateId> {
        let others = self.list.iter().filter(|other| **other != id);
        let away = others.filter_map(|other| {
            let candidate = self.reel.candidate(*other).filter(|c| c.kind != Kind::Frame)?;
            Some((gap(bounds, &candidate.bounds()), *other))
        });
        away.filter(|(gap, _)| *gap <= FARTHEST).min().map(|(_, other)| other)
    }
}

/// The connected parts of a mask, the largest first: it stays the candidate that it was.
fn parts(mask: &RunMask) -> Vec<RunMask> {
    let mut parts = connected(mask);
    parts.sort_by_key(|part| (std::cmp::Reverse(part.area()), part.first_pixel()));
    parts
}

/// Pixels between two rectangles, along the axis on which they are farther apart; 0 when they meet.
fn gap(a: &Rect, b: &Rect) -> i32 {
    let across = (a.x0.max(b.x0) - a.x1.min(b.x1)).max(0);
    let down = (a.y0.max(b.y0) - a.y1.min(b.y1)).max(0);
    across.max(down)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_part_stays_the_candidate() {
        let small = RunMask::from_rect(&Rect::new(0, 0, 2, 2));
        let large = RunMask::from_rect(&Rect::new(10, 4, 14, 8));
        assert_eq!(parts(&small.union(&large)), [large, small]);
    }

    #[test]
    fn what_meets_or_overlaps_is_no_way_apart() {
        let at = |x, y| Rect::new(x, y, x + 4, y + 4);
        assert_eq!(gap(&at(0, 0), &at(2, 3)), 0);
        assert_eq!(gap(&at(0, 0), &at(4, 0)), 0);
        assert_eq!((gap(&at(0, 0), &at(10, 2)), gap(&at(10, 2), &at(0, 0))), (6, 6));
        assert_eq!(gap(&at(0, 0), &at(10, 20)), 16);
    }
}
