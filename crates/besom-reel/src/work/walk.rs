//! Walking over a reel a few frames at a time, with the frames around each one at hand.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use besom_scan::Progress;
use rayon::ScopeFifo;

use crate::error::ReelError;

use super::stop_if_cancelled;

/// The frames that one visit reads, by their place in the reel.
pub(super) struct Held<T> {
    frames: BTreeMap<usize, Arc<T>>,
}

impl<T> Held<T> {
    /// The frame at a place, when it was asked for.
    pub(super) fn get(&self, place: usize) -> Option<&T> {
        self.frames.get(&place).map(Arc::as_ref)
    }
}

/// What a walk needs to know.
pub(super) struct Walk<'a, Needs, Load, Work> {
    /// Places to visit, ascending.
    pub(super) places: &'a [usize],
    /// Visited side by side. Bounds the memory: no more frames are held than these and the next visit need.
    pub(super) batch: usize,
    /// The places a visit reads, its own included, ascending. Must not fall back as places rise, so that each is loaded once.
    pub(super) needs: Needs,
    /// Reads and prepares one frame.
    pub(super) load: Load,
    /// The visit itself.
    pub(super) work: Work,
}

impl<T, R, Needs, Load, Work> Walk<'_, Needs, Load, Work>
where
    T: Send + Sync,
    R: Send,
    Needs: Fn(usize) -> Vec<usize> + Sync,
    Load: Fn(usize) -> T + Sync,
    Work: Fn(usize, &Held<T>) -> R + Sync,
{
    /// Visits every place and hands the results over in order.
    ///
    /// A visit begins as soon as a thread is free and the frames it needs are there; meanwhile those of the next visit are
    /// read, each frame once. The results do not depend on the number of threads, because a visit sees nothing but the frames
    /// it needs.
    ///
    /// # Errors
    /// When cancelled, and whatever `deliver` answers.
    pub(super) fn run(
        &self,
        progress: &dyn Progress,
        deliver: impl FnMut(usize, R) -> Result<(), ReelError> + Send,
    ) -> Result<(), ReelError> {
        self.run_with(BTreeMap::new(), progress, deliver)
    }

    /// [`Walk::run`] with frames that have been read already, by their place.
    pub(super) fn run_with(
        &self,
        read: BTreeMap<usize, T>,
        progress: &dyn Progress,
        mut deliver: impl FnMut(usize, R) -> Result<(), ReelError> + Send,
    ) -> Result<(), ReelError> {
        let needs: Vec<Vec<usize>> = self.places.iter().map(|place| (self.needs)(*place)).collect();
        let unread = needs.iter().flatten().copied().filter(|place| !read.contains_key(place)).collect();
        let road = Road {
            places: self.places,
            batch: self.batch.max(1),
            needs,
            progress,
            state: Mutex::new(State::new(
                unread,
                read.into_iter().map(|(place, frame)| (place, Arc::new(frame))).collect(),
            )),
            deliver: Mutex::new(&mut deliver),
        };
        rayon::scope_fifo(|scope| self.go_on(&road, scope));
        road.state.into_inner().unwrap_or_else(PoisonError::into_inner).failure.map_or(Ok(()), Err)
    }

    /// Begins whatever can begin now.
    fn go_on<'s>(&'s self, road: &'s Road<'_, T, R>, scope: &ScopeFifo<'s>) {
        let mut state = road.state();
        let visits: Vec<_> = std::iter::from_fn(|| road.next_visit(&mut state)).collect();
        let loads = road.next_loads(&mut state);
        drop(state);
        for (visit, held) in visits {
            scope.spawn_fifo(move |scope| self.visits(road, scope, visit, held));
        }
        for place in loads {
            scope.spawn_fifo(move |scope| {
                let frame = Arc::new((self.load)(place));
                road.state().read.insert(place, frame);
                self.go_on(road, scope);
            });
        }
    }

    /// A visit, and then those after it for as long as this thread finds one that can begin: handed to another thread it
    /// might be taken up by one that is in the middle of a visit.
    fn visits<'s>(&'s self, road: &'s Road<'_, T, R>, scope: &ScopeFifo<'s>, visit: usize, held: Held<T>) {
        let mut at_hand = Some((visit, held));
        while let Some((visit, held)) = at_hand.take() {
            if let Err(cancelled) = stop_if_cancelled(road.progress) {
                road.state().failure.get_or_insert(cancelled);
                return;
            }
            let Some(place) = self.places.get(visit) else { return };
            let result = (self.work)(*place, &held);
            drop(held);
            let mut state = road.state();
            road.end_visit(&mut state, visit, result);
            at_hand = road.next_visit(&mut state);
            drop(state);
            self.go_on(road, scope);
            road.deliver();
        }
    }
}

/// Takes results over, each with its place.
type Deliver<'a, R> = &'a mut (dyn FnMut(usize, R) -> Result<(), ReelError> + Send);

/// A walk under way.
struct Road<'a, T, R> {
    /// See [`Walk::places`].
    places: &'a [usize],
    /// See [`Walk::batch`]; at least 1.
    batch: usize,
    /// The places that each visit reads.
    needs: Vec<Vec<usize>>,
    progress: &'a dyn Progress,
    state: Mutex<State<T, R>>,
    /// Whoever has set [`State::delivering`] calls it, and nobody else waits for it.
    deliver: Mutex<Deliver<'a, R>>,
}

/// How far a walk has come. Visits are counted from 0.
struct State<T, R> {
    /// Places that are still to be read.
    unread: BTreeSet<usize>,
    read: BTreeMap<usize, Arc<T>>,
    next: usize,
    running: BTreeSet<usize>,
    done: BTreeMap<usize, R>,
    delivered: usize,
    delivering: bool,
    failure: Option<ReelError>,
}

impl<T, R> State<T, R> {
    fn new(unread: BTreeSet<usize>, read: BTreeMap<usize, Arc<T>>) -> Self {
        Self {
            unread,
            read,
            next: 0,
            running: BTreeSet::new(),
            done: BTreeMap::new(),
            delivered: 0,
            delivering: false,
            failure: None,
        }
    }

    /// The first visit that is not done.
    fn first(&self) -> usize {
        self.running.first().copied().unwrap_or(self.next)
    }
}

impl<T, R> Road<'_, T, R> {
    /// Nothing is worked on while this is held: a thread that waits must not be asked for it again.
    fn state(&self) -> MutexGuard<'_, State<T, R>> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The next visit with its frames, when they are there and no more visits are under way than may be.
    fn next_visit(&self, state: &mut State<T, R>) -> Option<(usize, Held<T>)> {
        let needs = self.needs.get(state.next)?;
        if state.failure.is_some() || state.running.len() >= self.batch {
            return None;
        }
        let frame = |place: &usize| state.read.get(place).map(|frame| (*place, Arc::clone(frame)));
        let held = Held { frames: needs.iter().map(frame).collect::<Option<_>>()? };
        let visit = state.next;
        state.running.insert(visit);
        state.next += 1;
        Some((visit, held))
    }

    /// The places that are to be read now: those of the visits that may be under way, and of the one after them.
    fn next_loads(&self, state: &mut State<T, R>) -> BTreeSet<usize> {
        let ahead = (state.first() + self.batch).min(self.needs.len().saturating_sub(1));
        let last = self.needs.get(ahead).and_then(|needs| needs.last());
        let (Some(last), None) = (last, &state.failure) else { return BTreeSet::new() };
        let later = state.unread.split_off(&(last + 1));
        std::mem::replace(&mut state.unread, later)
    }

    /// Keeps a visit's result. What no visit reads any more goes before anything else is read.
    fn end_visit(&self, state: &mut State<T, R>, visit: usize, result: R) {
        state.running.remove(&visit);
        state.done.insert(visit, result);
        let first = self.needs.get(state.first()).and_then(|needs| needs.first());
        state.read = first.map(|first| state.read.split_off(first)).unwrap_or_default();
    }

    /// Hands over what is done, in order, unless somebody is at it already.
    fn deliver(&self) {
        let mut state = self.state();
        if state.delivering {
            return;
        }
        state.delivering = true;
        loop {
            let next = state.delivered;
            let (Some(result), None) = (state.done.remove(&next), &state.failure) else { break };
            state.delivered += 1;
            drop(state);
            let place = self.places.get(next).copied().unwrap_or_default();
            let answer = (self.deliver.lock().unwrap_or_else(PoisonError::into_inner))(place, result);
            self.progress.advance(1);
            state = self.state();
            if let Err(error) = answer {
                state.failure.get_or_insert(error);
            }
        }
        state.delivering = false;
    }
}

/// Memory that a walk may take for the frames it holds, in bytes.
const BUDGET: usize = 3_000_000_000;
/// Bytes a pixel of a frame in memory: the file, its samples, three planes of floats, luma, and a pyramid.
const BYTES_A_PIXEL: usize = 30;

/// How many frames of `pixels` pixels are worked on side by side: enough to keep the threads busy together with the parallel
/// loops inside a frame, few enough that memory grows neither with the number of processors nor with the frame.
///
/// A walk holds the frames of a batch and of the visit after it, each with two frames on either side.
pub(super) fn batch_size(pixels: usize) -> usize {
    let affordable = (BUDGET / (pixels.max(1) * BYTES_A_PIXEL)).saturating_sub(4) / 2;
    rayon::current_num_threads().min(4).min(affordable).max(1)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::sync::atomic::{AtomicUsize, Ordering};

    use besom_scan::Silent;

    use super::*;

    /// A frame that counts how many of its kind there are.
    struct Counted<'a> {
        value: usize,
        living: &'a AtomicUsize,
    }

    impl Drop for Counted<'_> {
        fn drop(&mut self) {
            self.living.fetch_sub(1, Ordering::SeqCst);
        }
    }

    #[test]
    fn every_frame_is_loaded_once_and_few_are_held() {
        for threads in [1, 2, 5] {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let loads: Vec<AtomicUsize> = (0..40).map(|_| AtomicUsize::new(0)).collect();
            let living = AtomicUsize::new(0);
            let places: Vec<usize> = (3..37).filter(|p| p % 5 != 0).collect();
            let around = |place: usize| place.saturating_sub(2)..=(place + 2).min(39);
            let walk = Walk {
                places: &places,
                batch: 3,
                needs: |place: usize| around(place).collect(),
                load: |place: usize| {
                    loads[place].fetch_add(1, Ordering::Relaxed);
                    // Four visits span five places at most, with two more on either side.
                    assert!(living.fetch_add(1, Ordering::SeqCst) < 9);
                    Counted { value: place * 10, living: &living }
                },
                work: |place: usize, held: &Held<Counted>| {
                    // Some visits take longer than those after them.
                    let steps = if place.is_multiple_of(3) { 200_000 } else { 10 };
                    assert!((0..steps).fold(1u64, |v, k| std::hint::black_box(v ^ k)) < u64::MAX);
                    around(place).map(|p| held.get(p).unwrap().value).sum::<usize>()
                },
            };
            let mut seen = Vec::new();
            let deliver = |place: usize, sum: usize| {
                assert_eq!(sum, place * 50);
                seen.push(place);
                Ok(())
            };
            pool.install(|| walk.run(&Silent, deliver)).unwrap();
            assert_eq!(seen, places);
            assert!(loads.iter().all(|count| count.load(Ordering::Relaxed) <= 1));
            assert_eq!(living.load(Ordering::SeqCst), 0);
        }
    }

    #[test]
    fn what_has_been_read_is_not_read_again() {
        let walk = Walk {
            places: &[4, 5, 6],
            batch: 2,
            needs: |place: usize| vec![place - 1, place],
            load: |place: usize| {
                assert!(place > 4);
                place
            },
            work: |place: usize, held: &Held<usize>| held.get(place - 1).zip(held.get(place)).map(|(a, b)| a + b),
        };
        let mut seen = Vec::new();
        let read = BTreeMap::from([(3, 30), (4, 40)]);
        walk.run_with(read, &Silent, |_, sum| {
            seen.push(sum);
            Ok(())
        })
        .unwrap();
        assert_eq!(seen, [Some(70), Some(45), Some(11)]);
    }

    #[test]
    fn what_cannot_be_delivered_ends_the_walk() {
        let places: Vec<usize> = (0..50).collect();
        let walk = Walk {
            places: &places,
            batch: 2,
            needs: |place| vec![place],
            load: |place: usize| place,
            work: |place: usize, held: &Held<usize>| held.get(place).copied(),
        };
        let mut seen = Vec::new();
        let result = walk.run(&Silent, |place, found| {
            assert_eq!(found, Some(place));
            seen.push(place);
            if place == 7 {
                Err(ReelError::new(crate::error::ReelErrorKind::Access, "the disk is full"))
            } else {
                Ok(())
            }
        });
        assert_eq!(result.map_err(|e| e.kind()), Err(crate::error::ReelErrorKind::Access));
        assert_eq!(seen, (0..=7).collect::<Vec<_>>());
    }

    #[test]
    fn places_that_share_no_frame_are_walked_too() {
        let places = [2, 9, 30];
        let walk = Walk {
            places: &places,
            batch: 1,
            needs: |place: usize| vec![place - 1, place],
            load: |place: usize| place,
            work: |place: usize, held: &Held<usize>| held.get(place - 1).zip(held.get(place)).map(|(a, b)| a + b),
        };
        let mut seen = Vec::new();
        walk.run(&Silent, |_, sum| {
            seen.push(sum);
            Ok(())
        })
        .unwrap();
        assert_eq!(seen, [Some(3), Some(17), Some(59)]);
        let none = Walk { places: &[], ..walk };
        assert!(none.run(&Silent, |_, _| Ok(())).is_ok());
    }

    #[test]
    fn memory_is_bounded_for_large_scans() {
        let held = |pixels: usize| (2 * batch_size(pixels) + 4) * pixels * BYTES_A_PIXEL;
        assert!(held(4096 * 3112) <= 3_300_000_000);
        assert!(held(2048 * 1556) <= BUDGET);
        assert_eq!(batch_size(usize::MAX / 64), 1);
    }

    struct StopAtOnce;
    impl Progress for StopAtOnce {
        fn begin(&self, _: &str, _: u64) {}
        fn advance(&self, _: u64) {}
        fn cancelled(&self) -> bool {
            true
        }
    }

    #[test]
    fn a_cancelled_walk_delivers_nothing() {
        let walk = Walk {
            places: &[0, 1],
            batch: 1,
            needs: |place| vec![place],
            load: |place: usize| place,
            work: |place: usize, _: &Held<usize>| place,
        };
        let result = walk.run(&StopAtOnce, |_, _| unreachable!("nothing is delivered"));
        assert_eq!(result.map_err(|e| e.kind()), Err(crate::error::ReelErrorKind::Cancelled));
    }
}
