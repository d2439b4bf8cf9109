//! `besom groups`: line scratches, gate marks and clouds, each of which one decision can take.

use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::sync::Arc;

use besom_detect::GroupKind;
use besom_reel::{CandidateGroup, Reel};
use serde_json::{Value, json};

use super::known_range;
use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{counted, frames};

/// List what belongs together (lines over frames, gate marks, clouds), to be decided as one
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// Only what lies on these scans
    #[arg(long, value_name = "A-B", value_parser = frames)]
    frames: Option<RangeInclusive<u64>>,
    /// Only this kind: line, gate or cloud
    #[arg(long, value_name = "K", value_parser = kind)]
    kind: Option<GroupKind>,
}

fn kind(text: &str) -> Result<GroupKind, String> {
    GroupKind::from_word(text).ok_or_else(|| {
        let words: Vec<_> = GroupKind::ALL.into_iter().map(GroupKind::word).collect();
        format!("'{text}' is not a kind of group; there are {}", words.join(", "))
    })
}

/// The resolved job: an opened reel and what is asked of it.
pub(crate) struct Job {
    reel: Reel,
    frames: Option<RangeInclusive<u64>>,
    kind: Option<GroupKind>,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Result<Self, Ending> {
        let Arguments { reel: folder, frames, kind } = arguments;
        let reel = Reel::open_to_read(&folder)?;
        if let Some(range) = &frames {
            known_range(&reel, &folder, range)?;
        }
        Ok(Self { reel, frames, kind })
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        let mut rows = Vec::new();
        for shot in self.reel.shots() {
            if self.frames.as_ref().is_some_and(|f| shot.last < *f.start() || *f.end() < shot.first) {
                continue;
            }
            for group in self.reel.groups(shot.index).all().iter().filter(|g| self.asked_for(g)) {
                rows.push((shot.index, Arc::clone(group)));
            }
        }
        if terminal.wants_json() {
            let groups: Vec<Value> = rows.iter().map(|(shot, group)| self.value(*shot, group)).collect();
            return terminal.print(&json!({ "command": "groups", "groups": groups }).to_string());
        }
        if rows.is_empty() {
            return terminal.say("No candidates belong together here.");
        }
        let lines: Vec<String> = rows.iter().map(|(_, group)| self.line(group)).collect();
        terminal.print(&lines.join("\n"))
    }

    fn asked_for(&self, group: &CandidateGroup) -> bool {
        self.kind.is_none_or(|kind| group.id.kind == kind)
            && self.frames.as_ref().is_none_or(|f| *f.start() <= group.last && group.first <= *f.end())
            && !self.reel.group_members(group).is_empty()
    }

    fn line(&self, group: &CandidateGroup) -> String {
        let counts = self.reel.group_counts(group);
        let open = counts.undecided + counts.below;
        let (name, words) = (group.id.to_string(), self.reel.group_words(group));
        let span = if group.frames() > 1 {
            format!(" ({}-{}), {}", group.first, group.last, counted(counts.candidates as usize, "candidate"))
        } else {
            String::new()
        };
        let (risk, confidence) = (counts.at_risk, group.confidence * 100.0);
        format!("{name:<18} {words}{span}; {open} undecided, {risk} at risk, {confidence:.0} % likely damage")
    }

    fn value(&self, shot: usize, group: &CandidateGroup) -> Value {
        let counts = self.reel.group_counts(group);
        json!({
            "group": group.id.to_string(),
            "kind": group.id.kind.word(),
            "shot": shot + 1,
            "first": group.first,
            "last": group.last,
            "candidates": counts.candidates,
            "undecided": counts.undecided + counts.below,
            "accepted": counts.accepted,
            "rejected": counts.rejected,
            "intended": counts.intended,
            "at_risk": counts.at_risk,
            "confidence": group.confidence,
        })
    }
}
