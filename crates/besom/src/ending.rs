//! How a command ends when it does not end well, and the exit code for it.

use std::fmt;
use std::io::Write as _;
use std::process::ExitCode;

use besom_reel::{ReelError, ReelErrorKind};

/// Why a command stopped before its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The words on the command line do not fit together. Exit code 2.
    Usage(String),
    /// The work failed: one sentence naming the file and the reason. Exit code 1.
    Failed(String),
    /// The person stopped it. Exit code 1: what was asked for is not there.
    Stopped,
    /// Whoever read the output has gone (`besom ledger R | head`), which is no failure. Exit code 0.
    PipeClosed,
}

impl Ending {
    /// A failure in one sentence.
    pub fn failed(reason: impl fmt::Display) -> Self {
        Self::Failed(reason.to_string())
    }

    /// The exit code that scripts see.
    pub const fn code(&self) -> u8 {
        match self {
            Self::Usage(_) => 2,
            Self::Failed(_) | Self::Stopped => 1,
            Self::PipeClosed => 0,
        }
    }

    /// Says the reason on standard error and gives the exit code.
    pub fn close(self) -> ExitCode {
        let words = self.to_string();
        if !words.is_empty() {
            // Nobody is left to tell when standard error is gone.
            let _ = writeln!(std::io::stderr(), "besom: {words}");
        }
        ExitCode::from(self.code())
    }
}

impl fmt::Display for Ending {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Usage(words) | Self::Failed(words) => f.write_str(words.trim_end()),
            Self::Stopped => f.write_str("stopped; nothing half-written was left"),
            Self::PipeClosed => Ok(()),
        }
    }
}

impl std::error::Error for Ending {}

impl From<ReelError> for Ending {
    fn from(error: ReelError) -> Self {
        match error.kind() {
            ReelErrorKind::Cancelled => Self::Stopped,
            _ => Self::failed(error),
        }
    }
}

impl From<std::io::Error> for Ending {
    /// Only output to the terminal or a pipe comes this way: errors of files are named by the libraries.
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            Self::PipeClosed
        } else {
            Self::Failed(format!("the output could not be written: {error}"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_the_ones_scripts_rely_on() {
        assert_eq!(Ending::Usage(String::new()).code(), 2);
        assert_eq!(Ending::failed("x").code(), 1);
        assert_eq!(Ending::Stopped.code(), 1);
        let gone = std::io::Error::from(std::io::ErrorKind::BrokenPipe);
        assert_eq!(Ending::from(gone).code(), 0);
    }
}
