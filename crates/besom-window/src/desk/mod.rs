//! The reel on the desk: which frame, which candidate in hand, what is shown, and where every step leads. No pixels and
//! no drawing; all of it can be tested without a window.

pub(crate) mod bulk;
mod learning;
pub(crate) mod shape;
pub(crate) mod steps;
mod tally;
mod together;

use besom_detect::Candidate;
use besom_reel::{CandidateId, Decision, Edit, FillChoice, Learning, Receipt, Reel, ReelError, Shot};

pub(crate) use tally::{Tallies, Tally};

/// An open reel with the place one works at.
pub(crate) struct Desk {
    reel: Reel,
    /// Position of the frame in the reel's list of frames.
    place: usize,
    hand: Option<CandidateId>,
    /// The candidate whose group was taken whole; it counts while that candidate is in hand.
    whole: Option<CandidateId>,
    worst_first: bool,
    /// A shot's sensitivity while its slider is being moved: shown, not yet recorded.
    live: Option<(usize, f32)>,
    tallies: Tallies,
    /// The frame's shown candidates in the list's order; rebuilt when anything it depends on changes.
    list: Vec<CandidateId>,
    /// What the current shot has learned, and of which shot and state that is.
    learning: Option<((usize, u64), Learning)>,
    /// The revision at which a worker was last asked for the lesson that is due.
    lesson_asked: Option<u64>,
    /// Counts changes of decisions, regions and choices, so that answers computed before one are known to be stale.
    revision: u64,
}

impl Desk {
    /// Puts a reel on the desk, at the frame with this number when there is one.
    pub(crate) fn new(mut reel: Reel, frame: Option<u64>) -> Self {
        reel.defer_lessons();
        let place = frame.and_then(|f| reel.position(f)).unwrap_or(0);
        let tallies = Tallies::of(&reel);
        let mut desk = Self {
            reel,
            place,
            hand: None,
            whole: None,
            worst_first: true,
            live: None,
            tallies,
            list: Vec::new(),
            learning: None,
            lesson_asked: None,
            revision: 0,
        };
        desk.relist();
        desk.hand = desk.first_in_list();
        desk
    }

    /// The reel.
    pub(crate) fn reel(&self) -> &Reel {
        &self.reel
    }

    /// Position of the current frame.
    pub(crate) fn place(&self) -> usize {
        self.place
    }

    /// Number of the current scan; 0 for a reel without frames.
    pub(crate) fn frame(&self) -> u64 {
        self.frame_at(self.place)
    }

    /// Number of the scan at a position.
    pub(crate) fn frame_at(&self, place: usize) -> u64 {
        self.reel.frames().get(place).map_or(0, |f| f.number)
    }

    /// The current shot.
    pub(crate) fn shot(&self) -> Option<&Shot> {
        self.reel.shot_of(self.frame())
    }

    /// The candidate in hand.
    pub(crate) fn hand(&self) -> Option<CandidateId> {
        self.hand
    }

    /// The candidate in hand itself.
    pub(crate) fn candidate(&self) -> Option<&Candidate> {
        self.reel.candidate(self.hand?)
    }

    /// The frame's candidates that are shown, in the list's order.
    pub(crate) fn list(&self) -> &[CandidateId] {
        &self.list
    }

    /// True when the list goes by risk and size.
    pub(crate) fn worst_first(&self) -> bool {
        self.worst_first
    }

    /// Counts of every frame.
    pub(crate) fn tallies(&self) -> &Tallies {
        &self.tallies
    }

    /// Grows with every change.
    pub(crate) fn revision(&self) -> u64 {
        self.revision
    }

    /// The sensitivity that counts now, the slider's included.
    pub(crate) fn sensitivity(&self, shot: usize) -> f32 {
        match self.live {
            Some((live, value)) if live == shot => value,
            _ => self.reel.sensitivity(shot),
        }
    }

    /// True when a candidate is shown: at or above its shot's sensitivity, decided, or proposed.
    pub(crate) fn shows(&self, id: CandidateId) -> bool {
        // What was joined to another candidate has no pixels any more.
        let there = self.reel.candidate(id).is_some_and(|c| !c.mask.is_empty());
        let shot = self.reel.shot_of(id.frame).filter(|_| there);
        shot.is_some_and(|shot| {
            let value = self.sensitivity(shot.index);
            self.reel.decision(id) != Decision::Undecided
                || self.reel.confidence(id) >= value
                || self.reel.proposed(id, value)
        })
    }

    /// Takes a candidate in hand, going to its frame.
    pub(crate) fn take(&mut self, id: CandidateId) {
        if let Some(place) = self.reel.position(id.frame) {
            self.set_place(place);
            self.hand = self.reel.candidate(id).is_some().then_some(id);
        }
    }

    /// Goes to a frame; the first candidate of its list comes to hand.
    pub(crate) fn go(&mut self, place: usize) {
        self.set_place(place.min(self.reel.frames().len().saturating_sub(1)));
        if self.hand.is_none_or(|h| h.frame != self.frame()) {
            self.hand = self.first_in_list();
        }
    }

    fn set_place(&mut self, place: usize) {
        if place != self.place {
            self.place = place;
            self.relist();
        }
    }

    fn first_in_list(&self) -> Option<CandidateId> {
        let open = |id: &&CandidateId| self.open(**id);
        self.list.iter().find(open).or(self.list.first()).copied()
    }

    /// Goes on as the frame was left: with this candidate in hand, if the list shows one there, and in this order.
    pub(crate) fn resume(&mut self, hand: Option<u32>, worst_first: bool) {
        self.worst_first = worst_first;
        self.relist();
        let left = hand.map(|index| CandidateId::new(self.frame(), index)).filter(|id| self.list.contains(id));
        self.hand = left.or_else(|| self.first_in_list());
    }

    /// Switches the order of the list.
    pub(crate) fn toggle_order(&mut self) {
        self.worst_first = !self.worst_first;
        self.relist();
    }

    /// Moves the slider of a shot without recording: shows at once what the setting would show.
    pub(crate) fn try_sensitivity(&mut self, shot: usize, value: f32) {
        self.live = Some((shot, value));
        self.recount_shot(shot);
        self.relist();
        if self.hand.is_some_and(|h| !self.list.contains(&h)) {
            self.hand = self.first_in_list();
        }
    }

    /// Ends trying; the recorded value counts again.
    pub(crate) fn end_trying(&mut self) {
        if let Some((shot, _)) = self.live.take() {
            self.recount_shot(shot);
            self.relist();
        }
    }

    /// Another artist takes over: the reel stays as it is on the desk.
    pub(crate) fn work_as(&mut self, artist: &str) -> Result<(), ReelError> {
        self.reel.work_as(artist)
    }

    /// Records an edit and brings the counts up to date.
    pub(crate) fn record(&mut self, edit: Edit) -> Result<Receipt, ReelError> {
        let touched: Option<Vec<u64>> = match &edit {
            Edit::Decide { ids, .. } | Edit::DecideAlike { ids, .. } => Some(ids.iter().map(|id| id.frame).collect()),
            Edit::DecideGroup { id, .. } => self.reel.group(*id).map(|group| {
                let mut frames: Vec<u64> = group.members.iter().map(|id| id.frame).collect();
                frames.dedup();
                frames
            }),
            Edit::FillChoice { .. } | Edit::Note { .. } | Edit::TimeSpent { .. } => Some(Vec::new()),
            Edit::HandMark(mark) => Some(vec![mark.frame]),
            Edit::Reshape { ids, .. } => Some(ids.iter().map(|id| id.frame).take(1).collect()),
            Edit::HandMarks { first, last, .. } => {
                let frames = self.reel.frames();
                let from = frames.partition_point(|f| f.number < *first);
                let to = frames.partition_point(|f| f.number <= *last);
                Some(frames.get(from..to).unwrap_or_default().iter().map(|f| f.number).collect())
            }
            Edit::Protect { .. } | Edit::ProtectShape { .. } | Edit::ChangeRegion { .. } | Edit::Unprotect { .. } => {
                Some(Vec::new())
            }
            _ => None,
        };
        let shots: Vec<usize> =
            touched.iter().flatten().filter_map(|f| self.reel.shot_of(*f)).map(|s| s.index).collect();
        let learned = |desk: &Self| shots.iter().any(|shot| desk.reel.has_learned(*shot));
        let before = learned(self);
        let receipt = self.reel.record(edit)?;
        // Another example: other frames of the shot show other candidates.
        let touched = touched.filter(|_| !before && !learned(self));
        self.changed(touched.as_deref());
        Ok(receipt)
    }

    /// Takes the last step back; says which.
    pub(crate) fn undo(&mut self) -> Result<Option<String>, ReelError> {
        let words = self.reel.undo()?;
        self.changed(None);
        Ok(words)
    }

    /// Does the last undone step again; says which.
    pub(crate) fn redo(&mut self) -> Result<Option<String>, ReelError> {
        let words = self.reel.redo()?;
        self.changed(None);
        Ok(words)
    }

    /// The source of the fill that follows the one asked for now, for the candidate in hand.
    pub(crate) fn next_choice(&self) -> Option<(CandidateId, FillChoice)> {
        let id = self.hand?;
        let now = self.reel.fill_choice(id);
        let at = FillChoice::ALL.iter().position(|c| *c == now).unwrap_or(0);
        FillChoice::ALL.get((at + 1) % FillChoice::ALL.len()).map(|next| (id, *next))
    }

    fn changed(&mut self, frames: Option<&[u64]>) {
        self.revision += 1;
        match frames {
            None => {
                self.tallies = Tallies::of(&self.reel);
                // A lesson may come while the slider is being moved.
                if let Some((shot, _)) = self.live {
                    self.recount_shot(shot);
                }
            }
            Some(frames) => {
                for frame in frames {
                    self.recount_frame(*frame);
                }
            }
        }
        self.relist();
        if self.hand.is_some_and(|h| self.reel.candidate(h).is_none_or(|c| c.mask.is_empty())) {
            self.hand = self.first_in_list();
        }
    }

    fn recount_frame(&mut self, frame: u64) {
        if let Some(place) = self.reel.position(frame) {
            self.tallies.set(place, Tally::of(self, frame));
        }
    }

    fn recount_shot(&mut self, shot: usize) {
        let Some((first, last)) = self.reel.shots().get(shot).map(|s| (s.first, s.last)) else { return };
        let frames = self.reel.frames();
        let from = frames.partition_point(|f| f.number < first);
        let to = frames.partition_point(|f| f.number <= last);
        for place in from..to {
            self.recount_frame(self.frame_at(place));
        }
    }

    fn relist(&mut self) {
        self.learn();
        self.list = self.ordered(self.frame());
    }

    /// The shown candidates of any frame, in the list's order.
    pub(crate) fn ordered(&self, frame: u64) -> Vec<CandidateId> {
        let all = self.reel.candidates(frame);
        let mut ids: Vec<CandidateId> =
            (0..all.len() as u32).map(|i| CandidateId::new(frame, i)).filter(|id| self.shows(*id)).collect();
        let key = |id: &CandidateId| all.get(id.index as usize).map(|c| (c.risk.any(), c.area(), c.bounds()));
        if self.worst_first {
            ids.sort_by_key(|id| {
                std::cmp::Reverse(key(id).map(|(risk, area, _)| (risk, area, std::cmp::Reverse(id.index))))
            });
        } else {
            ids.sort_by_key(|id| key(id).map(|(_, _, b)| (b.y0, b.x0, id.index)));
        }
        ids
    }
}
