//! Records: what the journal keeps of an edit, so that it stands alone in thirty years.

use besom_detect::{GroupKind, Kind};
use besom_scan::{Rect, RunMask};
use jiff::Timestamp;

use super::decision::{Decision, FillChoice};
use super::edit::{Filter, RegionId};

/// One record of one artist's journal.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// When, to the microsecond. Never earlier than any record the writer had seen: an answer stays after its question
    /// even when one machine's clock is slow.
    pub time: Timestamp,
    /// Who.
    pub artist: String,
    /// Place in this artist's journal, from 1, without holes.
    pub sequence: u64,
    /// What.
    pub deed: Deed,
}

/// The pixels a record speaks of, with what the person saw there.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// The scan's number.
    pub frame: u64,
    /// The pixels.
    pub mask: RunMask,
    /// The kind the detector gave it at that time.
    pub kind: Kind,
    /// The confidence the detector gave it at that time.
    pub confidence: f32,
}

/// One stretch of frames of a rule with the confidence it asks for there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// First scan.
    pub first: u64,
    /// Last scan, itself included.
    pub last: u64,
    /// Lowest confidence.
    pub min_confidence: f32,
}

/// What a record says. Masks instead of candidate numbers, frames instead of shot numbers: nothing a re-detection or a
/// new survey could turn into something else.
#[derive(Clone, Debug, PartialEq)]
pub enum Deed {
    /// Candidates decided one by one, or as members of one group.
    Decide {
        /// What.
        decision: Decision,
        /// Which.
        spots: Vec<Spot>,
        /// What made them one thing to decide about; for people, the spots alone count.
        group: Option<GroupKind>,
        /// How many examples they were found to be like: those of a shot whose proposals were taken, 1 for the like of one
        /// candidate in hand; 0 for what a person picked out.
        examples: u32,
    },
    /// Candidates decided by a rule.
    Rule {
        /// What.
        decision: Decision,
        /// The rule as asked for.
        filter: Filter,
        /// The rule as it was resolved when it was made; the fold uses this.
        stretches: Vec<Stretch>,
        /// One pixel of each candidate about which the rule answered otherwise because of what its shot had learned, by
        /// scan, in order: by the detector's confidence the rule would have spoken of those that it did not speak of, and
        /// the other way round. The fold uses this too.
        learned: Vec<(u64, RunMask)>,
    },
    /// A protected region.
    Protect {
        /// The rectangle, or the smallest one around the mask.
        rect: Rect,
        /// The very pixels; `None` for the whole rectangle.
        mask: Option<RunMask>,
        /// First scan.
        first: u64,
        /// Last scan, itself included.
        last: u64,
        /// Why.
        note: String,
    },
    /// Another area, range and note for a protected region.
    ChangeRegion {
        /// Which.
        id: RegionId,
        /// The rectangle, or the smallest one around the mask.
        rect: Rect,
        /// The very pixels; `None` for the whole rectangle.
        mask: Option<RunMask>,
        /// First scan.
        first: u64,
        /// Last scan, itself included.
        last: u64,
        /// Why.
        note: String,
    },
    /// The end of a protection.
    Unprotect {
        /// Which.
        id: RegionId,
    },
    /// The sensitivity of the shot that covers these scans, or of all shots.
    Sensitivity {
        /// First and last scan of the shot; `None` for all.
        scans: Option<(u64, u64)>,
        /// Lowest confidence that asks for a decision.
        value: f32,
    },
    /// Whether the shot that covers these scans learns from its decisions.
    Learning {
        /// First and last scan of the shot.
        scans: (u64, u64),
        /// On or off.
        on: bool,
    },
    /// Where the fill of a candidate shall come from.
    FillChoice {
        /// Which candidate.
        spot: Spot,
        /// From where.
        choice: FillChoice,
    },
    /// A mark painted by hand.
    HandMark {
        /// The scan's number.
        frame: u64,
        /// The pixels.
        mask: RunMask,
    },
    /// The same mark painted by hand in every scan of a range.
    HandMarks {
        /// First scan.
        first: u64,
        /// Last scan, itself included.
        last: u64,
        /// The pixels.
        mask: RunMask,
    },
    /// Other shapes for candidates of one scan: as many or more, which parts them, or fewer, which joins them.
    Reshape {
        /// Which, as they were.
        spots: Vec<Spot>,
        /// Their pixels from now on.
        masks: Vec<RunMask>,
    },
    /// A remark.
    Note {
        /// The scan's number, or the reel.
        frame: Option<u64>,
        /// The remark.
        text: String,
    },
    /// Seconds of work.
    TimeSpent {
        /// Seconds.
        seconds: u32,
    },
    /// Takes back an earlier record of the same artist; taking back an undo is a redo.
    Undo {
        /// The other record's sequence number.
        of: u64,
    },
}

impl Deed {
    /// What was done, in a few words, for lists and undo menus.
    pub fn words(&self) -> String {
        match self {
            Self::Decide { decision, spots, examples: 1, .. } => match spots.len() {
                1 => format!("{} one candidate, alone of its sort", decision.word()),
                count => format!("{} {count} candidates that are alike", decision.word()),
            },
            Self::Decide { decision, spots, examples, .. } if *examples > 0 => {
                format!("{} {} candidates like {examples} decided ones", decision.word(), spots.len())
            }
            Self::Decide { decision, spots, group: Some(kind), .. } => {
                format!("{} a {}", decision.word(), super::group::words(*kind, spots.len(), frames_of(spots)))
            }
            Self::Decide { decision, spots, group: None, .. } => match spots.as_slice() {
                [spot] => format!("{} one candidate in frame {}", decision.word(), spot.frame),
                spots => format!("{} {} candidates", decision.word(), spots.len()),
            },
            Self::Rule { decision, .. } => format!("{} by rule", decision.word()),
            Self::Protect { first, last, .. } => format!("protected a region in frames {first} to {last}"),
            Self::ChangeRegion { first, last, .. } => {
                format!("changed a protected region, now in frames {first} to {last}")
            }
            Self::Unprotect { .. } => "ended a protection".to_owned(),
            Self::Sensitivity { scans: Some((first, last)), value } => {
                format!("sensitivity {value} for frames {first} to {last}")
            }
            Self::Sensitivity { scans: None, value } => format!("sensitivity {value} for the whole reel"),
            Self::Learning { scans: (first, last), on } => {
                format!("learning {} for frames {first} to {last}", if *on { "on" } else { "off" })
            }
            Self::FillChoice { spot, choice } => format!("fill {} in frame {}", choice.word(), spot.frame),
            Self::HandMark { frame, .. } => format!("marked by hand in frame {frame}"),
            Self::HandMarks { first, last, .. } => format!("marked by hand in frames {first} to {last}"),
            Self::Reshape { spots, masks } => {
                let frame = spots.first().map_or(0, |s| s.frame);
                match (spots.len(), masks.len()) {
                    (1, 1) => format!("changed the shape of one candidate in frame {frame}"),
                    (1, parts) => format!("parted one candidate in frame {frame} into {parts}"),
                    (joined, _) => format!("joined {joined} candidates in frame {frame}"),
                }
            }
            Self::Note { frame: Some(frame), .. } => format!("note on frame {frame}"),
            Self::Note { frame: None, .. } => "note on the reel".to_owned(),
            Self::TimeSpent { seconds } => format!("{seconds} seconds of work"),
            Self::Undo { of } => format!("took back record {of}"),
        }
    }

    /// True for what `undo` can take back; time spent stays spent.
    pub const fn undoable(&self) -> bool {
        !matches!(self, Self::TimeSpent { .. } | Self::Undo { .. })
    }
}

/// Scans from the first to the last that spots speak of.
fn frames_of(spots: &[Spot]) -> u64 {
    let numbers = || spots.iter().map(|s| s.frame);
    numbers().max().zip(numbers().min()).map_or(0, |(last, first)| last - first + 1)
}
