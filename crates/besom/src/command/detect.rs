//! `besom detect`: finds candidates, and joins ranges that were detected elsewhere.

use std::ops::RangeInclusive;
use std::path::PathBuf;

use besom_reel::work::{self, AssembleReport, DetectOptions, DetectReport};
use serde_json::{Value, json};

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{counted, frames, threads};

/// Find candidates on the whole reel or a range of it
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// Only these scans
    #[arg(long, value_name = "A-B", value_parser = frames)]
    frames: Option<RangeInclusive<u64>>,
    /// Processor threads [default: all]
    #[arg(long, value_name = "N", value_parser = threads)]
    threads: Option<usize>,
    /// Join ranges detected elsewhere; refuses a hole
    #[arg(long, conflicts_with_all = ["frames", "threads"])]
    assemble: bool,
}

/// The resolved job.
pub(crate) enum Job {
    /// Look at frames.
    Detect {
        /// The reel folder.
        reel: PathBuf,
        /// Which frames, on how many threads.
        options: DetectOptions,
    },
    /// Join what was found.
    Assemble {
        /// The reel folder.
        reel: PathBuf,
    },
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Self {
        let reel = arguments.reel;
        if arguments.assemble {
            return Self::Assemble { reel };
        }
        let options = DetectOptions { frames: arguments.frames, threads: arguments.threads };
        Self::Detect { reel, options }
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        match self {
            Self::Detect { reel, options } => {
                let report = work::detect(&reel, &options, terminal)?;
                terminal.report(&lines(&report), &value(&report))?;
                // The other frames' results stand, but a script must not take the reel for whole.
                report.unreadable.first().map_or(Ok(()), |(_, sentence)| Err(Ending::failed(sentence)))
            }
            Self::Assemble { reel } => {
                let report = work::assemble(&reel, terminal)?;
                let line =
                    format!("{} joined into {}", counted(report.frames, "frame"), counted(report.chunks, "chunk"));
                terminal.report(&[line], &assembled(&report))
            }
        }
    }
}

/// What was found, in lines for people.
pub(super) fn lines(report: &DetectReport) -> Vec<String> {
    let mut lines = vec![format!(
        "{} looked at, {} found, {} of them at or above the sensitivity",
        counted(report.frames, "frame"),
        counted(report.candidates, "candidate"),
        report.above_sensitivity
    )];
    if report.kept > 0 {
        lines.push(format!(
            "{} had been looked at before with the same settings and were kept",
            counted(report.kept, "frame")
        ));
    }
    for (frame, reason) in &report.left_out {
        lines.push(format!("frame {frame} was left out: {reason}"));
    }
    lines.extend(report.notes.iter().cloned());
    lines
}

/// What was found, as one object.
pub(super) fn value(report: &DetectReport) -> Value {
    let left_out = report.left_out.iter().chain(&report.unreadable);
    json!({
        "command": "detect",
        "frames": report.frames,
        "kept": report.kept,
        "candidates": report.candidates,
        "above_sensitivity": report.above_sensitivity,
        "left_out": left_out.map(|(frame, reason)| json!({"frame": frame, "reason": reason})).collect::<Vec<_>>(),
        "notes": report.notes,
    })
}

fn assembled(report: &AssembleReport) -> Value {
    json!({"command": "detect", "assembled": true, "frames": report.frames, "chunks": report.chunks})
}
