//! Edits: what a person asks for. An edit speaks of the reel as it is loaded now; the journal stores a record of it
//! that stands alone ([`crate::Deed`]).

use std::borrow::Cow;
use std::ops::RangeInclusive;

use besom_detect::Kind;
use besom_scan::{Rect, RunMask};

use super::decision::{CandidateId, Decision, FillChoice};
use super::group::GroupId;

/// Which candidates a rule speaks of. Empty fields ask nothing; the default asks for every candidate at or above its
/// shot's sensitivity that is not at risk.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filter {
    /// Only these scans.
    pub frames: Option<RangeInclusive<u64>>,
    /// Only this shot (its index).
    pub shot: Option<usize>,
    /// Only this kind.
    pub kind: Option<Kind>,
    /// Lowest confidence, 0 to 1. When neither bound is given, each shot's sensitivity is the lowest confidence;
    /// when only `max_confidence` is given, there is no lower bound.
    pub min_confidence: Option<f32>,
    /// Highest confidence, 0 to 1.
    pub max_confidence: Option<f32>,
    /// Also candidates at risk of being part of the picture.
    pub include_at_risk: bool,
    /// Only candidates that nobody decided yet, so that decisions made one by one stay.
    pub only_undecided: bool,
}

/// A mark painted by a person on something the detector missed. It becomes a candidate of kind `hand`, confidence 1,
/// and is accepted from the start; the usual decisions can change that.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandMark {
    /// The scan's number.
    pub frame: u64,
    /// The painted pixels.
    pub mask: RunMask,
}

/// Names a protected region for ever: the journal and the record that made it.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct RegionId {
    /// Whose journal.
    pub artist: String,
    /// Which record of it.
    pub sequence: u64,
}

/// Pixels that no repair may touch, over a range of frames: a rectangle, or any shape that was drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Region {
    /// Its name.
    pub id: RegionId,
    /// The rectangle, or the smallest one around the shape.
    pub rect: Rect,
    /// The very pixels; `None` for the whole rectangle.
    pub mask: Option<RunMask>,
    /// First scan.
    pub first: u64,
    /// Last scan, itself included.
    pub last: u64,
    /// Why, in the artist's words; may be empty.
    pub note: String,
    /// Who protects it.
    pub artist: String,
}

impl Region {
    /// True for the frames that it covers.
    pub const fn covers(&self, frame: u64) -> bool {
        self.first <= frame && frame <= self.last
    }

    /// Its pixels.
    pub fn pixels(&self) -> Cow<'_, RunMask> {
        self.mask.as_ref().map_or_else(|| Cow::Owned(RunMask::from_rect(&self.rect)), Cow::Borrowed)
    }
}

/// One thing a person does to a reel: exactly one record of the journal.
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// Decides candidates one by one.
    Decide {
        /// Which.
        ids: Vec<CandidateId>,
        /// What.
        decision: Decision,
    },
    /// Decides candidates that were found to be alike (see [`crate::Alike`]) in one go. Unlike those decided one by one they
    /// are no examples: nobody looked at each of them.
    DecideAlike {
        /// Which.
        ids: Vec<CandidateId>,
        /// What.
        decision: Decision,
    },
    /// Decides a group as one thing, whatever was decided about single members before: a line or a gate mark on every
    /// frame it is on, a cloud as far as its members are shown (at or above the sensitivity, or decided).
    DecideGroup {
        /// Which.
        id: GroupId,
        /// What.
        decision: Decision,
    },
    /// Decides every candidate that a filter matches.
    Rule {
        /// What.
        decision: Decision,
        /// Which.
        filter: Filter,
    },
    /// Protects a rectangle over a range of frames.
    Protect {
        /// The pixels; cut to the frame.
        rect: Rect,
        /// First scan.
        first: u64,
        /// Last scan, itself included.
        last: u64,
        /// Why; may be empty.
        note: String,
    },
    /// Protects any shape over a range of frames.
    ProtectShape {
        /// The pixels; cut to the frame.
        mask: RunMask,
        /// First scan.
        first: u64,
        /// Last scan, itself included.
        last: u64,
        /// Why; may be empty.
        note: String,
    },
    /// Gives a protected region other pixels, another range or another note; it keeps its name.
    ChangeRegion {
        /// Which.
        id: RegionId,
        /// The pixels from now on; cut to the frame.
        mask: RunMask,
        /// First scan from now on.
        first: u64,
        /// Last scan from now on, itself included.
        last: u64,
        /// The note from now on; may be empty.
        note: String,
    },
    /// Ends a protection.
    Unprotect {
        /// Which.
        id: RegionId,
    },
    /// Sets the confidence threshold of one shot, or of all.
    Sensitivity {
        /// The shot's index; `None` sets every shot.
        shot: Option<usize>,
        /// Lowest confidence that asks for a decision, 0 to 1.
        value: f32,
    },
    /// Switches a shot's learning from its decisions on or off.
    Learning {
        /// The shot's index.
        shot: usize,
        /// On or off.
        on: bool,
    },
    /// Decides everything that a shot's examples propose (see [`super::learned::Learning`]).
    TakeProposals {
        /// The shot's index.
        shot: usize,
        /// What.
        decision: Decision,
    },
    /// Says where the fill of a candidate shall come from.
    FillChoice {
        /// Which candidate.
        id: CandidateId,
        /// From where.
        choice: FillChoice,
    },
    /// Marks by hand what was missed.
    HandMark(HandMark),
    /// Marks the same pixels by hand in every scan of a range, as one step. In a scan where these very pixels are marked
    /// already that mark is accepted instead of made twice.
    HandMarks {
        /// First scan.
        first: u64,
        /// Last scan, itself included.
        last: u64,
        /// The painted pixels.
        mask: RunMask,
    },
    /// Gives candidates of one scan other pixels. One candidate and several masks part it: the first mask stays the candidate,
    /// the others become candidates beside it with the same decision. Several candidates and one mask join them in the
    /// first one.
    Reshape {
        /// Which; all of one scan.
        ids: Vec<CandidateId>,
        /// Their pixels from now on.
        masks: Vec<RunMask>,
    },
    /// A remark on a frame, a shot's first frame, or (without one) the reel.
    Note {
        /// The scan's number.
        frame: Option<u64>,
        /// The remark.
        text: String,
    },
    /// Seconds of work that the journal's own times do not show. Not undone by `undo`.
    TimeSpent {
        /// Seconds.
        seconds: u32,
    },
}

/// What recording an edit did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receipt {
    /// The record's number in this artist's journal.
    pub sequence: u64,
    /// Candidates the edit speaks of.
    pub matched: usize,
    /// Candidates whose decision is another one now (for a fill choice: whose choice is; a hand mark counts one
    /// a scan).
    pub changed: usize,
    /// What was done, in a few words.
    pub words: String,
}
