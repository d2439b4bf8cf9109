//! `besom-proof`: ages clean clips, renders the demo reel, runs reference detectors and scores results.
//!
//! One file a command in [`command`]; each prints what it made and ends with one sentence when something is wrong.
#![forbid(unsafe_code)]

mod command;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

#[derive(Parser)]
#[command(name = "besom-proof", version, about = "Aged clips with known truth, reference detectors, and scores.")]
struct Arguments {
    #[command(subcommand)]
    command: command::Command,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let mut out = std::io::stdout().lock();
    match arguments.command.run(&mut out) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            // Nothing is left to do when even this cannot be written.
            let _ = writeln!(std::io::stderr(), "besom-proof: {failure}");
            ExitCode::FAILURE
        }
    }
}
