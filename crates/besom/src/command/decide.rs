//! `besom decide`: one rule over many candidates, one record in the journal.

use std::ops::RangeInclusive;
use std::path::PathBuf;

use besom_detect::Kind;
use besom_reel::{Decision, Edit, Filter, GroupId, Reel};
use serde_json::json;

use super::known_shot;
use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{counted, default_artist, frames, probability, shot};

/// Decide candidates by one rule, or a group of them: one record in the journal, undone as one
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// accept, reject, intended (the film-makers put it there) or undecided
    #[arg(value_parser = decision)]
    decision: Decision,
    /// Only these scans
    #[arg(long, value_name = "A-B", value_parser = frames)]
    frames: Option<RangeInclusive<u64>>,
    /// Only this shot, counted from 1
    #[arg(long, value_name = "N", value_parser = shot)]
    shot: Option<usize>,
    /// Only this kind: dust, hair, line, splice, frame or hand
    #[arg(long, value_name = "K", value_parser = kind)]
    kind: Option<Kind>,
    /// Lowest confidence, 0 to 1 [default: each shot's sensitivity]
    #[arg(long, value_name = "P", value_parser = probability)]
    min_confidence: Option<f32>,
    /// Highest confidence, 0 to 1
    #[arg(long, value_name = "P", value_parser = probability)]
    max_confidence: Option<f32>,
    /// Also candidates at risk of being part of the picture
    #[arg(long)]
    include_at_risk: bool,
    /// Instead of a rule: what the shot proposes, being like marks that were decided one by one (see `besom proposals`);
    /// at risk or not
    #[arg(long, requires = "shot", conflicts_with_all = [
        "frames", "kind", "min_confidence", "max_confidence", "include_at_risk", "group",
    ])]
    like_decided: bool,
    /// Instead of a rule: this group, as `besom groups` names it, at risk or not
    #[arg(long, value_name = "ID", value_parser = group, conflicts_with_all = [
        "frames", "shot", "kind", "min_confidence", "max_confidence", "include_at_risk",
    ])]
    group: Option<GroupId>,
    /// Whose decision it is [default: the login name]
    #[arg(long)]
    artist: Option<String>,
}

fn decision(text: &str) -> Result<Decision, String> {
    Decision::from_word(text)
        .ok_or_else(|| format!("'{text}' is not a decision; there are accept, reject, intended and undecided"))
}

fn kind(text: &str) -> Result<Kind, String> {
    Kind::from_word(text).ok_or_else(|| {
        let words: Vec<_> = Kind::ALL.into_iter().map(Kind::word).collect();
        format!("'{text}' is not a kind; there are {}", words.join(", "))
    })
}

fn group(text: &str) -> Result<GroupId, String> {
    GroupId::from_text(text).ok_or_else(|| format!("'{text}' does not name a group; names are such as cloud-86-12"))
}

/// The resolved job: an opened reel and one edit.
pub(crate) struct Job {
    reel: Reel,
    decision: Decision,
    edit: Edit,
    how: String,
    group: Option<GroupId>,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Result<Self, Ending> {
        if let (Some(low), Some(high)) = (arguments.min_confidence, arguments.max_confidence)
            && low > high
        {
            return Err(Ending::Usage(format!("no confidence is at least {low} and at most {high}")));
        }
        let artist = arguments.artist.unwrap_or_else(default_artist);
        let reel = Reel::open(&arguments.reel, &artist)?;
        known_shot(&reel, &arguments.reel, arguments.shot)?;
        let decision = arguments.decision;
        if let Some(id) = arguments.group {
            if reel.group(id).is_none() {
                return Err(Ending::failed(format!("{}: there is no group {id}", arguments.reel.display())));
            }
            return Ok(Self {
                reel,
                decision,
                edit: Edit::DecideGroup { id, decision },
                how: format!("as {id}"),
                group: Some(id),
            });
        }
        if let Some(shot) = arguments.shot.filter(|_| arguments.like_decided) {
            let how = format!("like {} decided one by one", reel.learning(shot).belonging);
            return Ok(Self { reel, decision, edit: Edit::TakeProposals { shot, decision }, how, group: None });
        }
        let filter = Filter {
            frames: arguments.frames,
            shot: arguments.shot,
            kind: arguments.kind,
            min_confidence: arguments.min_confidence,
            max_confidence: arguments.max_confidence,
            include_at_risk: arguments.include_at_risk,
            only_undecided: false,
        };
        Ok(Self { reel, decision, edit: Edit::Rule { decision, filter }, how: "by the rule".to_owned(), group: None })
    }

    pub(crate) fn run(mut self, terminal: &Terminal) -> Result<(), Ending> {
        let receipt = self.reel.record(self.edit)?;
        let word = self.decision.word();
        let line = format!(
            "{} {word} {}, {} of them new; record {} of {}",
            counted(receipt.matched, "candidate"),
            self.how,
            receipt.changed,
            receipt.sequence,
            self.reel.artist().unwrap_or_default()
        );
        let value = json!({
            "command": "decide",
            "decision": word,
            "group": self.group.map(|id| id.to_string()),
            "matched": receipt.matched,
            "changed": receipt.changed,
            "record": receipt.sequence,
            "artist": self.reel.artist(),
        });
        terminal.report(&[line], &value)
    }
}
