//! Groups of candidates as a reel names them.

use std::fmt;

use besom_detect::GroupKind;

use super::decision::CandidateId;
use crate::digits;

/// Names a group by its kind and its first member. The same candidates give the same names however often a reel is
/// opened; like a candidate's own name it is not stable over a re-detection, and the journal never stores it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct GroupId {
    /// What makes it one thing.
    pub kind: GroupKind,
    /// Its first member.
    pub first: CandidateId,
}

impl GroupId {
    /// The group of a text such as `cloud-86-12`, as it is displayed; `None` when the text names none.
    pub fn from_text(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let kind = GroupKind::from_word(parts.next()?)?;
        let frame = digits::number(parts.next()?)?;
        let number: u32 = digits::number(parts.next()?)?;
        let first = CandidateId::new(frame, number.checked_sub(1)?);
        parts.next().is_none().then_some(Self { kind, first })
    }
}

impl fmt::Display for GroupId {
    /// Kind, frame, and the candidate's number in it as people count, from 1: `cloud-86-12`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{}-{}", self.kind.word(), self.first.frame, u64::from(self.first.index) + 1)
    }
}

/// Candidates that are one thing, so that one decision can take them all.
#[derive(Clone, Debug, PartialEq)]
pub struct CandidateGroup {
    /// Its name.
    pub id: GroupId,
    /// Its candidates in the order of frames, then of their lists; never empty.
    pub members: Vec<CandidateId>,
    /// Probability that it is a defect, 0 to 1.
    pub confidence: f32,
    /// First scan it is on.
    pub first: u64,
    /// Last scan it is on, itself included.
    pub last: u64,
}

impl CandidateGroup {
    /// Scans from the first to the last.
    pub const fn frames(&self) -> u64 {
        self.last - self.first + 1
    }

    /// True when this candidate belongs to it.
    pub fn holds(&self, id: CandidateId) -> bool {
        self.members.binary_search(&id).is_ok()
    }
}

/// A group in a few words: `cloud of 212`, `line over 18 frames`.
pub(crate) fn words(kind: GroupKind, members: usize, frames: u64) -> String {
    match (kind, frames) {
        (GroupKind::Cloud, _) => format!("cloud of {members}"),
        (GroupKind::Line, 1) => "line on 1 frame".to_owned(),
        (GroupKind::Line, frames) => format!("line over {frames} frames"),
        (GroupKind::Gate, 1) => "gate mark on 1 frame".to_owned(),
        (GroupKind::Gate, frames) => format!("gate mark over {frames} frames"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_reads_as_it_is_written() {
        let id = GroupId { kind: GroupKind::Cloud, first: CandidateId::new(86, 11) };
        assert_eq!(id.to_string(), "cloud-86-12");
        for kind in GroupKind::ALL {
            let id = GroupId { kind, first: CandidateId::new(86_400, 0) };
            assert_eq!(GroupId::from_text(&id.to_string()), Some(id));
        }
        for wrong in ["", "cloud", "cloud-86", "cloud-86-0", "cloud-86-1-2", "dust-86-1", "cloud-+86-1", "cloud--1"] {
            assert_eq!(GroupId::from_text(wrong), None, "{wrong}");
        }
    }
}
