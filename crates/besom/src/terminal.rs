//! What a command says: lines for people, one JSON object for programs, progress bars on a terminal.

use std::io::{IsTerminal as _, Write as _};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

use besom_scan::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::Value;

use crate::Ending;
use crate::signal::stop_flag;

/// Where a command's words go.
///
/// Results go to standard output, progress to standard error and only when that is a terminal. `--json` replaces all words
/// by one object; `--quiet` leaves out everything but what was asked for.
pub(crate) struct Terminal {
    quiet: bool,
    json: bool,
    stop: Arc<AtomicBool>,
    bar: Mutex<Option<ProgressBar>>,
}

impl Terminal {
    /// A terminal that follows the two flags every command takes.
    pub(crate) fn new(quiet: bool, json: bool) -> Self {
        Self { quiet, json, stop: stop_flag(), bar: Mutex::new(None) }
    }

    /// True when the answer is to be one JSON object.
    pub(crate) const fn wants_json(&self) -> bool {
        self.json
    }

    /// A line about the work: left out by `--quiet` and `--json`.
    pub(crate) fn say(&self, line: &str) -> Result<(), Ending> {
        if self.quiet || self.json { Ok(()) } else { self.print(line) }
    }

    /// The answer itself, printed even by `--quiet`.
    pub(crate) fn print(&self, text: &str) -> Result<(), Ending> {
        self.clear_bar();
        let mut out = std::io::stdout().lock();
        out.write_all(text.as_bytes())?;
        if !text.ends_with('\n') {
            out.write_all(b"\n")?;
        }
        out.flush()?;
        Ok(())
    }

    /// Ends a command: the JSON object when it was asked for, otherwise the lines.
    pub(crate) fn report(&self, lines: &[String], value: &Value) -> Result<(), Ending> {
        if self.json {
            return self.print(&value.to_string());
        }
        lines.iter().try_for_each(|line| self.say(line))
    }

    /// A warning: on standard error, so that it spoils no output; left out by `--quiet`, and in JSON part of the object.
    pub(crate) fn warn(&self, line: &str) {
        if !self.quiet && !self.json {
            self.clear_bar();
            let _ = writeln!(std::io::stderr(), "besom: {line}");
        }
    }

    fn shows_bars(&self) -> bool {
        !self.quiet && std::io::stderr().is_terminal()
    }

    fn clear_bar(&self) {
        if let Ok(mut bar) = self.bar.lock()
            && let Some(bar) = bar.take()
        {
            bar.finish_and_clear();
        }
    }
}

impl Progress for Terminal {
    fn begin(&self, what: &str, steps: u64) {
        self.clear_bar();
        if !self.shows_bars() {
            return;
        }
        let bar = ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::stderr());
        // The template is fixed text; were it ever wrong, the plain bar is shown instead.
        if let Ok(style) = ProgressStyle::with_template("{msg:<24} {bar:32} {human_pos}/{human_len}  {eta} left") {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.set_message(what.to_owned());
        if let Ok(mut slot) = self.bar.lock() {
            *slot = Some(bar);
        }
    }

    fn advance(&self, steps: u64) {
        if let Ok(slot) = self.bar.lock()
            && let Some(bar) = slot.as_ref()
        {
            bar.inc(steps);
        }
    }

    fn cancelled(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        self.clear_bar();
    }
}
