//! `besom mark`: hand marks from masks painted elsewhere.

use std::path::PathBuf;

use besom_reel::Reel;
use besom_reel::work;
use serde_json::json;

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{counted, default_artist};

/// Mark by hand what was missed, from masks named as the scans: each connected part is accepted for repair
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// The folder of the masks: not black where something is to be repaired
    #[arg(long, value_name = "DIR")]
    masks: PathBuf,
    /// Who marks
    #[arg(long, value_name = "NAME")]
    artist: Option<String>,
}

/// The resolved job: an opened reel.
pub(crate) struct Job {
    reel: Reel,
    masks: PathBuf,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Result<Self, Ending> {
        let artist = arguments.artist.unwrap_or_else(default_artist);
        Ok(Self { reel: Reel::open(&arguments.reel, &artist)?, masks: arguments.masks })
    }

    pub(crate) fn run(mut self, terminal: &Terminal) -> Result<(), Ending> {
        let report = work::mark(&mut self.reel, &self.masks, terminal)?;
        let mut lines =
            vec![format!("{} made from {}", counted(report.marks, "hand mark"), counted(report.frames, "mask"))];
        if report.known > 0 {
            lines.push(format!("{} there already, not marked twice", counted(report.known, "part")));
        }
        let value = json!({
            "command": "mark",
            "masks": report.frames,
            "marks": report.marks,
            "pixels": report.pixels,
            "known": report.known,
            "artist": self.reel.artist(),
        });
        terminal.report(&lines, &value)
    }
}
