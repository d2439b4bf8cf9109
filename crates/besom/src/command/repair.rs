//! `besom repair`: writes repaired frames.

use std::ops::RangeInclusive;
use std::path::PathBuf;

use besom_reel::work::{self, RepairOptions, SecondLook};
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
        lines.extend(second_look(&report.second_look));
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
            "second_look": report.second_look.iter().map(look_json).collect::<Vec<_>>(),
            "record": report.record,
            "notes": report.notes,
        });
        terminal.report(&lines, &value)?;
        report.unreadable.first().map_or(Ok(()), |(_, sentence)| Err(Ending::failed(sentence)))
    }
}

/// Doubtful repairs that are named one by one.
const NAMED: usize = 12;

fn second_look(looks: &[SecondLook]) -> Vec<String> {
    if looks.is_empty() {
        return Vec::new();
    }
    let named = looks.iter().take(NAMED).map(|look| {
        let (r, error) = (look.bounds, look.predicted_error);
        let error = error.map_or_else(|| "an error that could not be told".to_owned(), |e| format!("error {e:.0}"));
        format!(
            "  frame {}: {} at {},{} of {}x{}, {error}",
            look.id.frame,
            look.kind,
            r.x0,
            r.y0,
            r.width(),
            r.height()
        )
    });
    let head =
        format!("{} worth a second look, by predicted error in codes of 0 to 1023:", counted(looks.len(), "repair"));
    let rest = looks.len().saturating_sub(NAMED);
    let rest = (rest > 0).then(|| format!("  and {rest} more, all in the record's table"));
    std::iter::once(head).chain(named).chain(rest).collect()
}

fn look_json(look: &SecondLook) -> serde_json::Value {
    let r = look.bounds;
    json!({
        "frame": look.id.frame,
        "candidate": look.id.index,
        "kind": look.kind,
        "bounds": [r.x0, r.y0, r.width(), r.height()],
        "predicted_error": look.predicted_error,
    })
}
