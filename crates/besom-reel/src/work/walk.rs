//! Walking over a reel a few frames at a time, with the frames around each one at hand.

use std::collections::BTreeMap;

use besom_scan::Progress;
use rayon::prelude::*;

use crate::error::ReelError;

use super::stop_if_cancelled;

/// The frames in memory at one moment, by their place in the reel.
pub(super) struct Held<T> {
    frames: BTreeMap<usize, T>,
}

impl<T> Held<T> {
    /// The frame at a place, when it was asked for.
    pub(super) fn get(&self, place: usize) -> Option<&T> {
        self.frames.get(&place)
    }
}

/// What a walk needs to know.
pub(super) struct Walk<'a, Needs, Load, Work> {
    /// Places to visit, ascending.
    pub(super) places: &'a [usize],
    /// Visited side by side. Bounds the memory: no more frames are held than two batches need.
    pub(super) batch: usize,
    /// The places a visit reads, its own included. Must not fall back as places rise, so that each is loaded once.
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
    /// While one batch is worked on, the next one is read; each frame is read once. The results do not depend on the
    /// number of threads, because a visit sees nothing but the frames it needs.
    ///
    /// # Errors
    /// When cancelled, and whatever `deliver` answers.
    pub(super) fn run(
        &self,
        progress: &dyn Progress,
        mut deliver: impl FnMut(usize, R) -> Result<(), ReelError>,
    ) -> Result<(), ReelError> {
        let batches: Vec<&[usize]> = self.places.chunks(self.batch.max(1)).collect();
        let mut held = Held { frames: BTreeMap::new() };
        if let Some(first) = batches.first() {
            stop_if_cancelled(progress)?;
            held.frames.extend(self.missing(first, &held));
        }
        for (index, batch) in batches.iter().enumerate() {
            stop_if_cancelled(progress)?;
            let next = batches.get(index + 1).copied().unwrap_or_default();
            let (results, ahead) = rayon::join(
                || batch.par_iter().map(|place| (*place, (self.work)(*place, &held))).collect::<Vec<_>>(),
                || self.missing(next, &held),
            );
            let wanted = self.wanted(next);
            held.frames.retain(|place, _| wanted.contains(place));
            held.frames.extend(ahead);
            for (place, result) in results {
                deliver(place, result)?;
                progress.advance(1);
            }
        }
        Ok(())
    }

    fn wanted(&self, batch: &[usize]) -> Vec<usize> {
        let mut wanted: Vec<usize> = batch.iter().flat_map(|place| (self.needs)(*place)).collect();
        wanted.sort_unstable();
        wanted.dedup();
        wanted
    }

    fn missing(&self, batch: &[usize], held: &Held<T>) -> Vec<(usize, T)> {
        let missing: Vec<usize> = self.wanted(batch).into_iter().filter(|p| !held.frames.contains_key(p)).collect();
        missing.into_par_iter().map(|place| (place, (self.load)(place))).collect()
    }
}

/// Memory that a walk may take for the frames it holds, in bytes.
const BUDGET: usize = 3_000_000_000;
/// Bytes a pixel of a frame in memory: the file, its samples, three planes of floats, luma, and a pyramid.
const BYTES_A_PIXEL: usize = 30;

/// How many frames of `pixels` pixels are worked on side by side: enough to keep the threads busy together with the parallel
/// loops inside a frame, few enough that memory grows neither with the number of processors nor with the frame.
///
/// A walk holds one batch, the next one and two frames on either side.
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

    #[test]
    fn every_frame_is_loaded_once_and_few_are_held() {
        let loads: Vec<AtomicUsize> = (0..40).map(|_| AtomicUsize::new(0)).collect();
        let places: Vec<usize> = (3..37).filter(|p| p % 5 != 0).collect();
        let walk = Walk {
            places: &places,
            batch: 3,
            needs: |place: usize| (place.saturating_sub(2)..=(place + 2).min(39)).collect(),
            load: |place: usize| {
                loads[place].fetch_add(1, Ordering::Relaxed);
                place * 10
            },
            work: |place: usize, held: &Held<usize>| {
                assert!(held.frames.len() <= 9, "{}", held.frames.len());
                (place.saturating_sub(2)..=(place + 2).min(39)).map(|p| *held.get(p).unwrap()).sum::<usize>()
            },
        };
        let mut seen = Vec::new();
        walk.run(&Silent, |place, sum| {
            assert_eq!(sum, place * 50);
            seen.push(place);
            Ok(())
        })
        .unwrap();
        assert_eq!(seen, places);
        assert!(loads.iter().all(|count| count.load(Ordering::Relaxed) <= 1));
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
