//! Decoded frames kept in memory up to a budget of bytes, shared between threads.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use crate::error::ScanError;
use crate::scan::Scan;

/// A cache of decoded frames that forgets the least recently used first.
///
/// Reading happens outside the lock, so threads that ask for different frames read side by side; two that ask for
/// the same frame at once may both read it, and get the same content. A failed read is not remembered. What a caller
/// gets never depends on what the cache held.
#[derive(Debug)]
pub struct FrameCache {
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    /// Most bytes held.
    budget: usize,
    /// By path: the frame and when it was last asked for.
    entries: BTreeMap<PathBuf, (Arc<Scan>, u64)>,
    bytes: usize,
    clock: u64,
    hits: u64,
    misses: u64,
}

/// What a cache did so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CacheStats {
    /// Requests answered from memory.
    pub hits: u64,
    /// Requests that had to read.
    pub misses: u64,
    /// Frames held now.
    pub frames: usize,
    /// Bytes held now.
    pub bytes: usize,
}

impl FrameCache {
    /// A cache that holds at most `budget` bytes of frames (a 2048 x 1556 10-bit scan takes 32 MB with its source).
    /// A frame larger than the whole budget is handed out but not kept.
    pub fn new(budget: usize) -> Self {
        Self { state: Mutex::new(State { budget, ..State::default() }) }
    }

    /// Holds at most `budget` bytes from now on; what is too much goes at once, the least recently used first.
    pub fn set_budget(&self, budget: usize) {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.budget = budget;
        state.shrink(None);
    }

    /// The frame of a file, from memory or read now.
    ///
    /// # Errors
    /// As [`Scan::read`].
    pub fn get(&self, path: &Path) -> Result<Arc<Scan>, ScanError> {
        if let Some(scan) = self.held(path) {
            return Ok(scan);
        }
        let scan = Arc::new(Scan::read(path)?);
        self.keep(path, &scan);
        Ok(scan)
    }

    /// Forgets everything; frames that are still in use live on until they are dropped.
    pub fn clear(&self) {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.entries.clear();
        state.bytes = 0;
    }

    /// Counts of use.
    pub fn stats(&self) -> CacheStats {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        CacheStats { hits: state.hits, misses: state.misses, frames: state.entries.len(), bytes: state.bytes }
    }

    fn held(&self, path: &Path) -> Option<Arc<Scan>> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.clock += 1;
        let now = state.clock;
        let found = state.entries.get_mut(path).map(|(scan, used)| {
            *used = now;
            Arc::clone(scan)
        });
        if found.is_some() {
            state.hits += 1;
        } else {
            state.misses += 1;
        }
        found
    }

    fn keep(&self, path: &Path, scan: &Arc<Scan>) {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        if scan.memory() > state.budget {
            return;
        }
        let now = state.clock;
        if let Some((old, _)) = state.entries.insert(path.to_owned(), (Arc::clone(scan), now)) {
            state.bytes -= old.memory();
        }
        state.bytes += scan.memory();
        state.shrink(Some(path));
    }
}

impl State {
    /// Forgets the least recently used frames until the budget is kept; `kept` stays.
    fn shrink(&mut self, kept: Option<&Path>) {
        while self.bytes > self.budget {
            // A cache holds some dozens of frames: looking through them all costs nothing beside a read.
            let others = self.entries.iter().filter(|(p, _)| Some(p.as_path()) != kept);
            let Some(oldest) = others.min_by_key(|(_, (_, used))| *used).map(|(p, _)| p.clone()) else { break };
            if let Some((gone, _)) = self.entries.remove(&oldest) {
                self.bytes -= gone.memory();
            }
        }
    }
}
