//! `besom masks`: defect masks as pictures.

use std::path::PathBuf;

use besom_reel::work::{self, MaskOptions, WhichMasks};
use clap::ValueEnum;
use serde_json::json;

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{counted, probability};

/// Write defect masks: 8-bit PNG, 0 or 255, named as the scans
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// The folder to write to
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
    /// Which candidates are white
    #[arg(long, value_enum, default_value_t = Which::Candidates)]
    which: Which,
    /// Lowest confidence, 0 to 1 [default: each shot's sensitivity]
    #[arg(long, value_name = "P", value_parser = probability)]
    min_confidence: Option<f32>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Which {
    Candidates,
    Accepted,
}

/// The resolved job.
pub(crate) struct Job {
    reel: PathBuf,
    to: PathBuf,
    options: MaskOptions,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Self {
        let which = match arguments.which {
            Which::Candidates => WhichMasks::Candidates,
            Which::Accepted => WhichMasks::Accepted,
        };
        let options = MaskOptions { which, min_confidence: arguments.min_confidence };
        Self { reel: arguments.reel, to: arguments.to, options }
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        let report = work::masks(&self.reel, &self.to, &self.options, terminal)?;
        let line = format!(
            "{} written to {}, {} in them",
            counted(report.frames, "mask"),
            self.to.display(),
            counted(report.candidates, "candidate")
        );
        let value = json!({
            "command": "masks",
            "to": self.to,
            "frames": report.frames,
            "candidates": report.candidates,
            "pixels": report.pixels,
        });
        terminal.report(&[line], &value)
    }
}
