//! Planes that one comparison after another is worked out in.
//!
//! A comparison fills a dozen planes and has no use for them afterwards. Taken from the system anew each time, their pages have to
//! be found, cleared and mapped again, which costs as much as some of the kernels that fill them.

use std::sync::{Mutex, PoisonError};

use besom_scan::Plane;

/// Planes that are not in use at present. Whoever goes over a reel keeps one of these for all of it; no more planes gather in it than
/// were in use at one time.
///
/// No result depends on it: what takes a plane from here writes every sample of it before it reads any.
#[derive(Debug, Default)]
pub struct Spares(Mutex<Vec<Vec<f32>>>);

impl Spares {
    /// A plane with whatever samples were left in it: each of them is to be written.
    pub(crate) fn plane(&self, width: usize, height: usize) -> Plane {
        let mut spare = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let known = spare.iter().rposition(|samples| samples.len() == width * height);
        let samples = known.map(|k| spare.swap_remove(k));
        drop(spare);
        let plane = samples.and_then(|samples| Plane::from_vec(width, height, samples));
        let mut plane = plane.unwrap_or_else(|| Plane::new(width, height));
        if cfg!(debug_assertions) {
            // Whoever reads what he has not written shall notice.
            plane.as_mut_slice().fill(f32::NAN);
        }
        plane
    }

    /// Keeps planes for the next comparison.
    pub(crate) fn take_back(&self, planes: impl IntoIterator<Item = Plane>) {
        let mut spare = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        spare.extend(planes.into_iter().map(Plane::into_vec));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_of_the_same_size_is_used_again() {
        let spares = Spares::default();
        let (large, small) = (Plane::filled(9, 7, 3.0), Plane::filled(4, 3, 5.0));
        let place = large.as_slice().as_ptr();
        spares.take_back([large, small]);
        let again = spares.plane(7, 9);
        assert_eq!((again.width(), again.height(), again.as_slice().as_ptr()), (7, 9, place));
        assert_ne!(spares.plane(7, 9).as_slice().as_ptr(), place, "it is in use");
        assert_eq!(spares.plane(2, 2).as_slice().len(), 4);
    }
}
