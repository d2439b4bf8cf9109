//! Besom's one executable as a library: the command line, and the window when it is started bare.
//!
//! Each command goes through two stages: the arguments as typed ([`clap`] structs beside each command) become a resolved
//! job (an opened reel, checked ranges, built filters), and the job calls the same library functions as the window does.
//! Nothing here knows of pixels or file formats.
#![forbid(unsafe_code)]

use std::ffi::OsString;
use std::process::ExitCode;

use clap::Parser as _;

mod command;
mod ending;
mod signal;
mod terminal;
mod values;

pub use ending::Ending;

/// Runs one command line, program name first, and answers with the exit code: 0 done, 1 failed, 2 wrong usage.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let parsed = match command::Line::try_parse_from(arguments) {
        Ok(line) => line,
        Err(refusal) => {
            // Help and version come this way too. A closed pipe is no reason to complain about a help text.
            let _ = refusal.print();
            return ExitCode::from(u8::try_from(refusal.exit_code()).unwrap_or(2));
        }
    };
    match command::run(parsed) {
        Ok(()) => ExitCode::SUCCESS,
        Err(ending) => ending.close(),
    }
}
