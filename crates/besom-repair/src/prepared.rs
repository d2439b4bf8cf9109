//! What all holes of one frame share, computed once.

use std::borrow::Cow;

use besom_scan::Plane;

use crate::grain_texture::Texture;
use crate::job::Job;

/// Luma planes of a frame and its neighbours, and the look of its grain. Making one costs one pass over every plane;
/// filling hole after hole with it costs only the holes.
pub struct Prepared<'a> {
    pub(crate) luma: Cow<'a, Plane>,
    pub(crate) sources: Vec<Cow<'a, Plane>>,
    pub(crate) texture: Texture,
}

impl<'a> Prepared<'a> {
    /// Prepares the frame of a job; mask, choice and seed of the job play no part.
    pub fn new(job: &Job<'a>) -> Self {
        let luma = mean_plane(job.planes);
        let sources = job.sources.iter().map(|s| mean_plane(s.planes)).collect();
        let texture = Texture::measure(job.planes, job.skip, job.grain);
        Self { luma, sources, texture }
    }
}

/// The mean of a frame's channels: the plane that motion and choice work on. A single channel is lent, not copied.
pub(crate) fn mean_plane(planes: &[Plane]) -> Cow<'_, Plane> {
    match planes {
        [] => Cow::Owned(Plane::new(0, 0)),
        [one] => Cow::Borrowed(one),
        [a, b, c] => {
            let mut mean = a.clone();
            for ((m, b), c) in mean.as_mut_slice().iter_mut().zip(b.as_slice()).zip(c.as_slice()) {
                *m = (*m + b + c) * (1.0 / 3.0);
            }
            Cow::Owned(mean)
        }
        [first, rest @ ..] => {
            let mut mean = first.clone();
            for plane in rest {
                for (m, v) in mean.as_mut_slice().iter_mut().zip(plane.as_slice()) {
                    *m += v;
                }
            }
            let share = 1.0 / planes.len() as f32;
            mean.as_mut_slice().iter_mut().for_each(|m| *m *= share);
            Cow::Owned(mean)
        }
    }
}
