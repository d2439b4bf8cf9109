//! `besom proposals`: what each shot has learned from its decisions, and the switch of its learning.

use std::path::PathBuf;

use besom_reel::{CandidateId, Edit, Learning, Reel};
use serde_json::{Value, json};

use super::known_shot;
use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{default_artist, shot};

/// List what shots propose to leave, being like marks that were called intended or rejected one by one
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// Only this shot, counted from 1
    #[arg(long, value_name = "N", value_parser = shot)]
    shot: Option<usize>,
    /// Switch the learning of the shot on or off: one record in the journal
    #[arg(long, value_name = "on|off", requires = "shot", value_parser = switch)]
    learning: Option<bool>,
    /// Who switches it [default: the login name]
    #[arg(long)]
    artist: Option<String>,
}

fn switch(text: &str) -> Result<bool, String> {
    match text {
        "on" => Ok(true),
        "off" => Ok(false),
        _ => Err(format!("'{text}' is neither on nor off")),
    }
}

/// The resolved job: an opened reel and what is asked of it.
pub(crate) struct Job {
    reel: Reel,
    shot: Option<usize>,
    learning: Option<bool>,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Result<Self, Ending> {
        let Arguments { reel: folder, shot, learning, artist } = arguments;
        let reel = match learning {
            Some(_) => Reel::open(&folder, &artist.unwrap_or_else(default_artist))?,
            None => Reel::open_to_read(&folder)?,
        };
        known_shot(&reel, &folder, shot)?;
        Ok(Self { reel, shot, learning })
    }

    pub(crate) fn run(mut self, terminal: &Terminal) -> Result<(), Ending> {
        if let (Some(shot), Some(on)) = (self.shot, self.learning) {
            self.reel.record(Edit::Learning { shot, on })?;
        }
        let asked = |shot: &usize| self.shot.is_none_or(|only| only == *shot);
        let rows: Vec<(usize, Learning)> = (0..self.reel.shots().len())
            .filter(asked)
            .map(|shot| (shot, self.reel.learning(shot)))
            .filter(|(_, learning)| self.shot.is_some() || learning.belonging > 0)
            .collect();
        if terminal.wants_json() {
            let shots: Vec<Value> = rows.iter().map(|(shot, learning)| self.value(*shot, learning)).collect();
            return terminal.print(&json!({ "command": "proposals", "shots": shots }).to_string());
        }
        if rows.iter().all(|(_, learning)| learning.belonging == 0 && learning.on) {
            return terminal.say("No candidate was called intended or rejected one by one here.");
        }
        let lines: Vec<String> = rows.iter().map(|(shot, learning)| line(*shot, learning)).collect();
        terminal.print(&lines.join("\n"))
    }

    fn value(&self, shot: usize, learning: &Learning) -> Value {
        let one = |id: &CandidateId| {
            let found = self.reel.candidate(*id).map(|c| c.confidence);
            let like = self.reel.learned(*id).map(|l| l.like);
            json!({
                "frame": id.frame,
                "candidate": id.index + 1,
                "confidence": found,
                "lowered_to": self.reel.confidence(*id),
                "like": like,
            })
        };
        json!({
            "shot": shot + 1,
            "learning": learning.on,
            "intended_or_rejected": learning.belonging,
            "accepted": learning.damage,
            "proposed_as": learning.proposes.word(),
            "spared": learning.spared,
            "proposals": learning.proposals.iter().map(one).collect::<Vec<_>>(),
        })
    }
}

fn line(shot: usize, learning: &Learning) -> String {
    let words = learning.words().unwrap_or_else(|| {
        if learning.on { "Nothing to learn from yet".to_owned() } else { "Learning is off for this shot".to_owned() }
    });
    let found = learning.proposals.len();
    let take = if found > 0 {
        let (word, number) = (learning.proposes.word(), shot + 1);
        format!("; take them with: besom decide REEL {word} --like-decided --shot {number}")
    } else {
        String::new()
    };
    format!("shot {}: {words}{take}", shot + 1)
}
