//! How long work reports where it is and learns that it should stop.

/// Receives progress and answers whether to go on. Shared between threads.
pub trait Progress: Sync {
    /// The work now at hand (a few words, such as "Detecting") and how many steps it has.
    fn begin(&self, what: &str, steps: u64);
    /// `steps` more are done.
    fn advance(&self, steps: u64);
    /// True once the work should stop; asked at least once a frame.
    fn cancelled(&self) -> bool {
        false
    }
}

/// Reports nothing and never cancels.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {
    fn begin(&self, _what: &str, _steps: u64) {}
    fn advance(&self, _steps: u64) {}
}
