//! A close look at a few frames of a shot: motion, grain, plain marks.

use besom_motion::{Flicker, MotionField, Vector, compensate, estimate_field};
use besom_scan::Plane;
use rayon::prelude::*;

use super::grain::curve;
use crate::components::{Thresholds, components};
use crate::evidence::{sigma_table, test};
use crate::grain::{BINS, Grain};
use crate::prepare::Prepared;

/// A frame of a shot looked at closely, with the frame before it and, where there is one, the frame after it.
pub struct Look<'a> {
    current: &'a Prepared,
    fields: Vec<MotionField>,
    seen: Vec<Plane>,
    pub(super) luma: [Option<f32>; BINS],
    pub(super) colours: Vec<[Option<f32>; BINS]>,
}

impl<'a> Look<'a> {
    /// Looks at `current`; `None` when the frames differ in size.
    pub fn new(current: &'a Prepared, before: &Prepared, after: Option<&Prepared>) -> Option<Self> {
        let others: Vec<&Prepared> = std::iter::once(before).chain(after).collect();
        if others.iter().any(|o| o.width() != current.width() || o.height() != current.height()) {
            return None;
        }
        let fields: Vec<MotionField> =
            others.par_iter().map(|other| estimate_field(&current.pyramid, &other.pyramid)).collect();
        let seen: Vec<Plane> = others
            .par_iter()
            .zip(&fields)
            .map(|(other, field)| Flicker::levelled(&current.luma, compensate(&other.luma, field)))
            .collect();
        let luma = seen.first().map_or([None; BINS], |seen| curve(&current.luma, seen));
        let colours = current
            .planes
            .par_iter()
            .zip(&before.planes)
            .map(|(now, there)| curve(now, &Flicker::levelled(now, compensate(there, &fields[0]))))
            .collect();
        Some(Self { current, fields, seen, luma, colours })
    }

    /// How far the frame jumps against both neighbours, in pixels: a steady movement of the camera takes the picture as far
    /// back as ahead, and what is left of the sum is the jitter of three frames, sqrt(3) times that of one against a
    /// steady picture. `None` without a frame after.
    pub fn weave(&self) -> Option<f32> {
        let [before, after] = self.fields.as_slice() else { return None };
        let (b, a) = (before.median(), after.median());
        Some(Vector::new(b.dx + a.dx, b.dy + a.dy).length() / 3f32.sqrt())
    }

    /// Marks that stand out plainly from both neighbours; a quick measure of dirt. `None` without a frame after.
    pub fn plain_marks(&self, grain: &Grain) -> Option<usize> {
        let [a, b] = self.seen.as_slice() else { return None };
        Some(components(&test(&self.current.luma, a, b, &sigma_table(grain)), &PLAIN).len())
    }
}

/// What the eye cannot miss: six grain sigmas from both neighbours, and clear of everything around in them.
const PLAIN: Thresholds = Thresholds { seed: 6.0, rank: 1.5, grow: 3.0, area: 4 };
