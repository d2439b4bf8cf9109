//! `besom ledger`: counts, film time done and left, forecast.

use std::path::PathBuf;

use besom_reel::{By, Reel};
use clap::ValueEnum;

use crate::Ending;
use crate::terminal::Terminal;

/// Print the ledger: counts, film time done and left, forecast
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// What a row stands for
    #[arg(long, value_enum, default_value_t = Rows::Shot)]
    by: Rows,
    /// How it is written
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Rows {
    Shot,
    Artist,
    Day,
    Kind,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Format {
    Table,
    Csv,
    Json,
    Html,
}

/// The resolved job: an opened reel and the table asked for.
pub(crate) struct Job {
    reel: Reel,
    by: By,
    format: Format,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Result<Self, Ending> {
        let Arguments { reel, by, format } = arguments;
        let by = match by {
            Rows::Shot => By::Shot,
            Rows::Artist => By::Artist,
            Rows::Day => By::Day,
            Rows::Kind => By::Kind,
        };
        let reel = Reel::open_to_read(&reel)?;
        Ok(Self { reel, by, format })
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        for problem in self.reel.problems() {
            terminal.warn(problem);
        }
        let table = self.reel.counts(self.by);
        // `--json` and `--format json` ask for the same thing.
        let format = if terminal.wants_json() { Format::Json } else { self.format };
        terminal.print(&match format {
            Format::Table => table.text(),
            Format::Csv => table.csv(),
            Format::Json => table.json().to_string(),
            Format::Html => table.html(),
        })
    }
}
