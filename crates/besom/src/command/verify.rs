//! `besom verify`: proves that only accepted pixels changed.

use std::path::PathBuf;

use besom_reel::work;
use serde_json::json;

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::counted;

/// Prove that only accepted pixels changed, header bytes included, and write the manifest
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// The folder of repaired frames
    #[arg(long, value_name = "DIR")]
    repaired: PathBuf,
}

/// The resolved job.
pub(crate) struct Job {
    reel: PathBuf,
    repaired: PathBuf,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Self {
        Self { reel: arguments.reel, repaired: arguments.repaired }
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        let report = work::verify(&self.reel, &self.repaired, terminal)?;
        let mut lines = vec![format!(
            "{} compared: {} changed inside accepted repairs, {} outside",
            counted(report.frames, "frame"),
            counted(report.samples_changed as usize, "sample"),
            counted(report.bytes_changed_outside as usize, "byte")
        )];
        if report.missing > 0 {
            lines.push(format!(
                "{} of the reel are not in {}",
                counted(report.missing, "frame"),
                self.repaired.display()
            ));
        }
        lines.extend(report.manifest.iter().map(|path| format!("manifest: {}", path.display())));
        let value = json!({
            "command": "verify",
            "repaired": self.repaired,
            "frames": report.frames,
            "missing": report.missing,
            "identical": report.identical,
            "samples_changed": report.samples_changed,
            "bytes_changed_outside": report.bytes_changed_outside,
            "first_offence": report.first_offence,
            "manifest": report.manifest,
        });
        terminal.report(&lines, &value)?;
        report.first_offence.map_or(Ok(()), |sentence| Err(Ending::Failed(sentence)))
    }
}
