//! A worker thread that answers only the newest question: a queue of one, in which a new request replaces an old one that
//! nobody has begun yet. However fast the hand, work never piles up behind it.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

struct Slot<R> {
    request: Option<R>,
    closed: bool,
}

struct Shared<R> {
    slot: Mutex<Slot<R>>,
    changed: Condvar,
}

impl<R> Shared<R> {
    fn lock(&self) -> MutexGuard<'_, Slot<R>> {
        // A panic in a worker leaves nothing half-done in the slot: an option is whole either way.
        self.slot.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The sending end. The thread ends when this is dropped.
pub(crate) struct Lane<R: Send + 'static> {
    shared: Arc<Shared<R>>,
}

/// What a worker may ask while it works.
pub(crate) struct Newer<'a, R>(&'a Shared<R>);

impl<R> Newer<'_, R> {
    /// True once a newer request waits or the lane is closed: what is not yet needed can be left.
    pub(crate) fn waits(&self) -> bool {
        let slot = self.0.lock();
        slot.request.is_some() || slot.closed
    }
}

impl<R: Send + 'static> Lane<R> {
    /// Starts a thread of this name that runs `work` on each request it gets to.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub(crate) fn start(name: &str, mut work: impl FnMut(R, &Newer<'_, R>) + Send + 'static) -> std::io::Result<Self> {
        let shared =
            Arc::new(Shared { slot: Mutex::new(Slot { request: None, closed: false }), changed: Condvar::new() });
        let theirs = Arc::clone(&shared);
        std::thread::Builder::new().name(name.to_owned()).spawn(move || {
            while let Some(request) = next(&theirs) {
                work(request, &Newer(&theirs));
            }
        })?;
        Ok(Self { shared })
    }

    /// Asks; replaces a request that nobody has begun.
    pub(crate) fn ask(&self, request: R) {
        self.shared.lock().request = Some(request);
        self.shared.changed.notify_one();
    }
}

fn next<R>(shared: &Shared<R>) -> Option<R> {
    let mut slot = shared.lock();
    loop {
        if slot.closed {
            return None;
        }
        if let Some(request) = slot.request.take() {
            return Some(request);
        }
        slot = shared.changed.wait(slot).unwrap_or_else(PoisonError::into_inner);
    }
}

impl<R: Send + 'static> Drop for Lane<R> {
    fn drop(&mut self) {
        self.shared.lock().closed = true;
        self.shared.changed.notify_one();
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::sync::mpsc::sync_channel;

    #[test]
    fn the_newest_request_wins_and_none_is_answered_twice() {
        let (begin, begun) = sync_channel::<()>(0);
        let (done, results) = sync_channel(8);
        let lane = Lane::start("test lane", move |request: u32, newer: &Newer<'_, u32>| {
            begin.send(()).unwrap();
            begin.send(()).unwrap();
            done.send((request, newer.waits())).unwrap();
        })
        .unwrap();
        lane.ask(1);
        begun.recv().unwrap();
        lane.ask(2);
        lane.ask(3);
        begun.recv().unwrap();
        assert_eq!(results.recv().unwrap(), (1, true));
        begun.recv().unwrap();
        begun.recv().unwrap();
        assert_eq!(results.recv().unwrap(), (3, false));
        drop(lane);
        assert!(results.recv().is_err(), "the thread ends with the lane");
    }
}
