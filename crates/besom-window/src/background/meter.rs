//! Where a long task is, written by its threads and read by the window.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use besom_scan::Progress;

/// Progress of one task. Asks the window for a repaint at most ten times a second.
pub(crate) struct Meter {
    what: Mutex<String>,
    done: AtomicU64,
    steps: AtomicU64,
    stop: AtomicBool,
    ctx: Option<egui::Context>,
}

impl Meter {
    /// A meter that wakes `ctx`, if there is one.
    pub(crate) fn new(ctx: Option<egui::Context>) -> Self {
        let (done, steps) = (AtomicU64::new(0), AtomicU64::new(0));
        Self { what: Mutex::new(String::new()), done, steps, stop: AtomicBool::new(false), ctx }
    }

    /// What goes on, in a few words.
    pub(crate) fn what(&self) -> String {
        self.what.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Steps done and steps in all.
    pub(crate) fn steps(&self) -> (u64, u64) {
        (self.done.load(Ordering::Relaxed), self.steps.load(Ordering::Relaxed))
    }

    /// Asks the task to stop.
    pub(crate) fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// True once it was asked to.
    pub(crate) fn stopping(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    fn wake(&self) {
        if let Some(ctx) = &self.ctx {
            ctx.request_repaint_after(Duration::from_millis(100));
        }
    }
}

impl Progress for Meter {
    fn begin(&self, what: &str, steps: u64) {
        what.clone_into(&mut self.what.lock().unwrap_or_else(PoisonError::into_inner));
        self.done.store(0, Ordering::Relaxed);
        self.steps.store(steps, Ordering::Relaxed);
        self.wake();
    }

    fn advance(&self, steps: u64) {
        self.done.fetch_add(steps, Ordering::Relaxed);
        self.wake();
    }

    fn cancelled(&self) -> bool {
        self.stopping()
    }
}
