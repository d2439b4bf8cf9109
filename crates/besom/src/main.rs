//! `besom`: the one executable. All it does is in the library beside it.
#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    besom::run(std::env::args_os())
}
