//! Many candidates that are one thing: a line scratch over frames, a mark in the gate, a cloud of particles.
//!
//! A group is a pure function of the candidates of a shot, worked out after the frames were searched: nothing here is
//! stored, and the same candidates give the same groups. No candidate is in two groups.

mod cloud;

use std::collections::BTreeSet;

use crate::candidate::Candidate;
use crate::link::links;

/// What makes candidates one thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum GroupKind {
    /// One line scratch, followed over frames.
    Line,
    /// One mark in the gate or on the scanner's glass, at the same place in many frames.
    Gate,
    /// A dense cloud of particles on one frame.
    Cloud,
}

impl GroupKind {
    /// All kinds, in the order in which lists show them.
    pub const ALL: [Self; 3] = [Self::Line, Self::Gate, Self::Cloud];

    /// The word that commands, files and the window use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Gate => "gate",
            Self::Cloud => "cloud",
        }
    }

    /// The kind of a word, as [`GroupKind::word`] gives it.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.word() == word)
    }
}

/// Candidates that are one thing, so that one decision can take them all.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// What makes them one thing.
    pub kind: GroupKind,
    /// The frame's number and the candidate's place in that frame's list, in order; never empty. The first one names the
    /// group: no other group has it.
    pub members: Vec<(u64, usize)>,
    /// For a cloud the mean confidence of its members; for what was linked over frames the confidence of the whole.
    pub confidence: f32,
}

/// The groups of a shot, in the order of their first members. `frames` holds the shot's searched frames in the order of
/// their numbers, each with its candidates as they are stored; `width` and `height` are the frame's, in pixels.
pub fn groups(frames: &[(u64, &[Candidate])], width: usize, height: usize) -> Vec<Group> {
    let mut found: Vec<Group> = links(frames, (width, height), &BTreeSet::new());
    let taken: BTreeSet<(u64, usize)> = found.iter().flat_map(|g| g.members.iter().copied()).collect();
    found.extend(cloud::clouds(frames, (width, height), &taken));
    found.sort_by(|a, b| a.members.first().cmp(&b.members.first()));
    found
}
