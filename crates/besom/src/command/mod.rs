//! The command line: one file a command, each with its arguments as typed, its resolved job and its run.

use std::ops::RangeInclusive;
use std::path::Path;

use besom_reel::Reel;
use clap::{Parser, Subcommand};

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::counted;

mod decide;
mod demo;
mod detect;
mod groups;
mod keys;
mod ledger;
mod mark;
mod masks;
mod proposals;
mod protect;
mod repair;
mod start;
mod verify;
mod window;

/// Sweeps a scanned film reel clean of dust, hairs and scratches, and touches nothing that the film-makers put there.
///
/// Started bare, it opens the window.
#[derive(Debug, Parser)]
#[command(name = "besom", version, max_term_width = 100)]
pub(crate) struct Line {
    #[command(subcommand)]
    command: Option<Command>,
    /// Print nothing but what was asked for, and errors
    #[arg(long, global = true)]
    quiet: bool,
    /// Answer with one JSON object on standard output
    #[arg(long, global = true)]
    json: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    Start(start::Arguments),
    Detect(detect::Arguments),
    Groups(groups::Arguments),
    Proposals(proposals::Arguments),
    Decide(decide::Arguments),
    Protect(protect::Arguments),
    Mark(mark::Arguments),
    Masks(masks::Arguments),
    Repair(repair::Arguments),
    Verify(verify::Arguments),
    Ledger(ledger::Arguments),
    Demo(demo::Arguments),
    Keys(keys::Arguments),
}

/// Resolves the arguments into a job and runs it.
pub(crate) fn run(line: Line) -> Result<(), Ending> {
    let terminal = Terminal::new(line.quiet, line.json);
    match line.command {
        None => window::run(None),
        Some(Command::Start(arguments)) => start::Job::resolve(arguments).run(&terminal),
        Some(Command::Detect(arguments)) => detect::Job::resolve(arguments).run(&terminal),
        Some(Command::Groups(arguments)) => groups::Job::resolve(arguments)?.run(&terminal),
        Some(Command::Proposals(arguments)) => proposals::Job::resolve(arguments)?.run(&terminal),
        Some(Command::Decide(arguments)) => decide::Job::resolve(arguments)?.run(&terminal),
        Some(Command::Protect(arguments)) => protect::Job::resolve(arguments)?.run(&terminal),
        Some(Command::Mark(arguments)) => mark::Job::resolve(arguments)?.run(&terminal),
        Some(Command::Masks(arguments)) => masks::Job::resolve(arguments).run(&terminal),
        Some(Command::Repair(arguments)) => repair::Job::resolve(arguments).run(&terminal),
        Some(Command::Verify(arguments)) => verify::Job::resolve(arguments).run(&terminal),
        Some(Command::Ledger(arguments)) => ledger::Job::resolve(arguments)?.run(&terminal),
        Some(Command::Demo(arguments)) => demo::Job::resolve(arguments)?.run(&terminal),
        Some(Command::Keys(arguments)) => keys::run(&arguments, &terminal),
    }
}

/// Refuses a range of frames that the reel does not reach.
fn known_range(reel: &Reel, folder: &Path, range: &RangeInclusive<u64>) -> Result<(), Ending> {
    if reel.frames().iter().any(|frame| range.contains(&frame.number)) {
        return Ok(());
    }
    let (folder, info) = (folder.display(), reel.info());
    let (start, end) = (range.start(), range.end());
    Err(Ending::failed(format!(
        "{folder}: there are no frames {start}-{end}, the reel has {} to {}",
        info.first, info.last
    )))
}

/// Refuses a shot, by its index, that the reel does not have.
fn known_shot(reel: &Reel, folder: &Path, shot: Option<usize>) -> Result<(), Ending> {
    let shots = reel.shots().len();
    match shot.filter(|shot| *shot >= shots) {
        None => Ok(()),
        Some(shot) => {
            let (folder, number, has) = (folder.display(), shot + 1, counted(shots, "shot"));
            Err(Ending::failed(format!("{folder}: there is no shot {number}, the reel has {has}")))
        }
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory as _;

    use super::*;

    #[test]
    fn the_command_line_is_well_formed() {
        Line::command().debug_assert();
    }

    #[test]
    fn quiet_and_json_stand_before_or_after_the_command() {
        for words in [["besom", "--json", "ledger", "R"], ["besom", "ledger", "R", "--json"]] {
            assert!(Line::try_parse_from(words).is_ok_and(|line| line.json && !line.quiet));
        }
    }
}
