//! `besom repair`: writes repaired frames.

use std::ops::RangeInclusive;
use std::path::PathBuf;

use besom_reel::work::{self, RepairOptions};
use serde_json::json;

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{counted, frames};

/// Write repaired frames: same names, same format; frames without a repair are copied byte for byte
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// The folder to write to; never the scans' folder
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
    /// Only these scans
    #[arg(long, value_name = "A-B", value_parser = frames)]
    frames: Option<RangeInclusive<u64>>,
}

/// The resolved job.
pub(crate) struct Job {
    reel: PathBuf,
    to: PathBuf,
    options: RepairOptions,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Self {
        let options = RepairOptions { frames: arguments.frames };
        Self { reel: arguments.reel, to: arguments.to, options }
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        let report = work::repair(&self.reel, &self.to, &self.options, terminal)?;
        let mut lines = vec![format!(
            "{} written to {}: {} repaired in {}, {} copied as they are",
            counted(report.frames, "frame"),
            self.to.display(),
            counted(report.candidates, "candidate"),
            counted(report.repaired, "frame"),
            report.copied
        )];
        lines.extend(report.methods.iter().map(|(method, count)| format!("  {count} {method}")));
        lines.extend(report.notes.iter().cloned());
        let methods: serde_json::Map<_, _> = report.methods.iter().map(|(m, n)| (m.clone(), json!(n))).collect();
        let value = json!({
            "command": "repair",
            "to": self.to,
            "frames": report.frames,
            "repaired": report.repaired,
            "copied": report.copied,
            "candidates": report.candidates,
            "samples": report.samples,
            "methods": methods,
            "record": report.record,
            "notes": report.notes,
        });
        terminal.report(&lines, &value)?;
        report.unreadable.first().map_or(Ok(()), |(_, sentence)| Err(Ending::failed(sentence)))
    }
}
