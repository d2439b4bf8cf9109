//! `demo`: renders the demo reel.

use std::io::Write;
use std::path::PathBuf;

use besom_proof::demo::{self, Parts, Settings};
use besom_scan::Silent;
use clap::value_parser;

use super::Failure;

#[derive(Clone, Copy, clap::ValueEnum)]
enum PartsName {
    /// The scans alone, straight into the folder.
    Scans,
    /// The scans, and beside them `truth` and `belongs`.
    ScansAndTruth,
    /// The folders `scans`, `clean`, `truth` and `belongs`, as `score` reads them.
    Clip,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Where to write the reel.
    #[arg(long)]
    to: PathBuf,
    /// Columns.
    #[arg(long, default_value_t = Settings::default().width as u32, value_parser = value_parser!(u32).range(32..=8192))]
    width: u32,
    /// Rows; pictures are composed for 4:3.
    #[arg(long, default_value_t = Settings::default().height as u32, value_parser = value_parser!(u32).range(24..=8192))]
    height: u32,
    /// Frames of the whole reel.
    #[arg(long, default_value_t = Settings::default().frames as u32, value_parser = value_parser!(u32).range(1..=172_800))]
    frames: u32,
    /// Another seed gives other clouds, stones and dirt.
    #[arg(long, default_value_t = Settings::default().seed)]
    seed: u64,
    /// What to write.
    #[arg(long, value_enum, default_value = "clip")]
    parts: PartsName,
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let settings = Settings {
        width: arguments.width as usize,
        height: arguments.height as usize,
        frames: arguments.frames as usize,
        seed: arguments.seed,
    };
    let parts = match arguments.parts {
        PartsName::Scans => Parts::Scans,
        PartsName::ScansAndTruth => Parts::ScansAndTruth,
        PartsName::Clip => Parts::Clip,
    };
    let written = demo::write(&arguments.to, &settings, parts, &Silent)?;
    writeln!(
        out,
        "{written} frames of {} x {} written to {}",
        settings.width,
        settings.height,
        arguments.to.display()
    )?;
    Ok(())
}
