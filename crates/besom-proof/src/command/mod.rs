//! The commands. A new one is a file with an `Arguments` struct and a `run`, a variant of [`Command`] and a line in its
//! `run`.

mod age;
mod demo;
mod figures;
mod gate;
mod infrared;
mod peers;
mod score;
mod train;

use std::error::Error;
use std::fmt;
use std::io::Write;
use std::path::Path;

use besom_proof::ageing::files::read_clean;
use besom_scan::{Plane, ScanError};

/// What the program is asked to do.
#[derive(clap::Subcommand)]
pub(crate) enum Command {
    /// Age a clean clip: grain, weave, flicker and dirt, with the truth beside it.
    Age(age::Arguments),
    /// Render the demo reel, reel 2 of the invented "Lamps of Skerry Point".
    Demo(demo::Arguments),
    /// Score masks, and repaired frames, against a clip's truth.
    Score(score::Arguments),
    /// Run a published detector, and a simple fill, on optical flow computed elsewhere.
    Peers(peers::Arguments),
    /// Train the ensembles that ship with Besom on clips aged here, and show how they do on clips left out.
    Train(train::Arguments),
    /// Count the marks fixed in the gate that are found, and what they cost; or train their ensemble.
    Gate(gate::Arguments),
    /// Show what an infrared plane is worth: figures with and without it, and the likelihood ratios behind its weight.
    Infrared(infrared::Arguments),
    /// Print the whole table that the detector is judged by.
    Figures(figures::Arguments),
}

impl Command {
    /// Runs the command; what it has to say goes to `out`.
    pub(crate) fn run(&self, out: &mut dyn Write) -> Result<(), Failure> {
        match self {
            Self::Age(arguments) => age::run(arguments, out),
            Self::Demo(arguments) => demo::run(arguments, out),
            Self::Score(arguments) => score::run(arguments, out),
            Self::Peers(arguments) => peers::run(arguments, out),
            Self::Train(arguments) => train::run(arguments, out),
            Self::Gate(arguments) => gate::run(arguments, out),
            Self::Infrared(arguments) => infrared::run(arguments, out),
            Self::Figures(arguments) => figures::run(arguments, out),
        }
    }
}

/// Why a command could not finish: one sentence.
#[derive(Debug)]
pub(crate) struct Failure(String);

impl Failure {
    /// A failure about what was asked; `reason` is a clause.
    pub(crate) fn because(reason: impl fmt::Display) -> Self {
        Self(format!("{reason}."))
    }

    /// A failure about one file or folder; `reason` is a clause.
    pub(crate) fn about(path: &Path, reason: impl fmt::Display) -> Self {
        Self(format!("{}: {reason}.", path.display()))
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl<E: Error> From<E> for Failure {
    fn from(error: E) -> Self {
        Self(error.to_string())
    }
}

/// A clean clip's name, which is its folder's, and its first frames, `frames` at most.
fn clean_clip(folder: &Path, frames: usize) -> Result<(String, Vec<Vec<Plane>>), ScanError> {
    let mut clean = read_clean(folder)?;
    clean.truncate(frames);
    Ok((folder.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned()), clean))
}

/// Runs the program with these words behind its name and returns what it prints.
#[cfg(test)]
#[allow(clippy::unwrap_used)]
fn ran(words: &[&str]) -> Result<String, Failure> {
    use clap::Parser;
    let line = crate::Arguments::try_parse_from(std::iter::once("besom-proof").chain(words.iter().copied())).unwrap();
    let mut out = Vec::new();
    line.command.run(&mut out).map(|()| String::from_utf8(out).unwrap())
}
