//! Where each step leads: frames, flagged frames, candidates, shots.

use besom_reel::CandidateId;

use super::Desk;

/// Which way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// Towards the end of the reel.
    On,
    /// Towards its beginning.
    Back,
}

impl Desk {
    /// One frame on or back.
    pub(crate) fn step(&mut self, way: Way) {
        match way {
            Way::On => self.go(self.place + 1),
            Way::Back => self.go(self.place.saturating_sub(1)),
        }
    }

    /// The nearest frame that shows an undecided candidate; false when there is none that way.
    pub(crate) fn step_flagged(&mut self, way: Way) -> bool {
        let found = self.flagged_from(way);
        if let Some(place) = found {
            self.go(place);
        }
        found.is_some()
    }

    fn flagged_from(&self, way: Way) -> Option<usize> {
        let frames = self.tallies.frames();
        let flagged = |place: &usize| frames.get(*place).is_some_and(|t| t.left() > 0);
        match way {
            Way::On => (self.place + 1..frames.len()).find(flagged),
            Way::Back => (0..self.place).rev().find(flagged),
        }
    }

    /// The next or previous candidate of the list, over frame ends too; false when there is none that way.
    pub(crate) fn step_candidate(&mut self, way: Way) -> bool {
        let at = self.hand.and_then(|h| self.list.iter().position(|id| *id == h));
        let next = match (way, at) {
            (Way::On, Some(at)) => self.list.get(at + 1),
            (Way::Back, Some(at)) => at.checked_sub(1).and_then(|i| self.list.get(i)),
            (Way::On, None) => self.list.first(),
            (Way::Back, None) => self.list.last(),
        };
        if let Some(id) = next.copied() {
            self.hand = Some(id);
            return true;
        }
        let frames = self.tallies.frames();
        let shows = |place: &usize| frames.get(*place).is_some_and(|t| t.shown > 0);
        let place = match way {
            Way::On => (self.place + 1..frames.len()).find(shows),
            Way::Back => (0..self.place).rev().find(shows),
        };
        let Some(place) = place else { return false };
        self.set_place(place);
        self.hand = if way == Way::On { self.list.first() } else { self.list.last() }.copied();
        true
    }

    /// The next undecided candidate: in the rest of this frame's list, then its beginning, then in later frames, then in
    /// earlier ones from the reel's start. False when nothing is left to decide.
    pub(crate) fn step_undecided(&mut self) -> bool {
        let open = |id: &&CandidateId| self.open(**id);
        let at = self.hand.and_then(|h| self.list.iter().position(|id| *id == h)).map_or(0, |at| at + 1);
        let (before, after) = self.list.split_at(at.min(self.list.len()));
        if let Some(id) = after.iter().find(open).or_else(|| before.iter().find(open)).copied() {
            self.hand = Some(id);
            return true;
        }
        let frames = self.tallies.frames();
        let flagged = |place: &usize| frames.get(*place).is_some_and(|t| t.left() > 0);
        let place = (self.place + 1..frames.len()).chain(0..self.place).find(flagged);
        let Some(place) = place else { return false };
        self.hand = None;
        self.go(place);
        true
    }

    /// The first frame of the next shot, or of this one, then of the one before.
    pub(crate) fn step_shot(&mut self, way: Way) {
        let frame = self.frame();
        let shots = self.reel.shots();
        let target = match way {
            Way::On => shots.iter().find(|s| s.first > frame).map(|s| s.first),
            Way::Back => shots.iter().rev().find(|s| s.first < frame).map(|s| s.first),
        };
        if let Some(number) = target {
            self.go(self.reel.frames().partition_point(|f| f.number < number));
        }
    }

    /// The shown undecided candidates of this frame.
    pub(crate) fn open_in_frame(&self) -> Vec<CandidateId> {
        self.list.iter().filter(|id| self.open(**id)).copied().collect()
    }
}
