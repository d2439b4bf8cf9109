//! The pixels of a hole that no neighbour could give: filled from around, with what the neighbours did give for picture.
//!
//! A scratch that stands still hides the same picture in every frame but for its edges. Filled apart from what is known
//! beside them, its middle would be a ragged patch.

use besom_scan::{Plane, RunMask};

use crate::fill::fill_whole;
use crate::hole::{Hole, cut_out};
use crate::job::{Choice, Fill, Job};
use crate::prepared::{Prepared, mean_plane};

/// Pixels around the hole in which a fill from around looks for a piece of picture.
const REACH: i32 = 40;

/// Fills the pixels whose values are not known yet (NaN in any channel) in all channels, and returns how: `None`
/// when all are known, or none is.
pub(crate) fn fill_rest(job: &Job, hole: &Hole, values: &mut [Vec<f32>], prepared: &Prepared) -> Option<Fill> {
    let unknown = |i: usize| values.iter().any(|v| v[i].is_nan());
    let missing: Vec<usize> = (0..hole.inside.len()).filter(|i| unknown(*i)).collect();
    if missing.is_empty() || missing.len() == hole.inside.len() {
        return None;
    }
    let rect = hole.bounds().grown(REACH).intersect(&job.skip.rect());
    let local = |x: i32, y: i32| ((x - rect.x0) as usize, (y - rect.y0) as usize);
    let mut planes: Vec<Plane> = job.planes.iter().map(|p| cut_out(p, &rect)).collect();
    let mut skip = cut_out(job.skip, &rect);
    for (i, spot) in hole.inside.iter().enumerate() {
        let (x, y) = local(spot.x, spot.y);
        skip.set(x, y, u8::from(unknown(i)));
        for (plane, values) in planes.iter_mut().zip(values.iter()).filter(|(_, v)| !v[i].is_nan()) {
            plane.set(x, y, values[i]);
        }
    }
    let place = |i: &usize| local(hole.inside[*i].x, hole.inside[*i].y);
    let mask = RunMask::from_pixels(missing.iter().map(place).map(|(x, y)| (x as u32, y as u32)));
    let rest = Job { planes: &planes, skip: &skip, mask: &mask, sources: &[], choice: Choice::Spatial, ..*job };
    let ready = Prepared { luma: mean_plane(&planes), sources: Vec::new(), texture: prepared.texture.clone() };
    let fill = fill_whole(&rest, &ready, &[]);
    for i in missing {
        let (x, y) = local(hole.inside[i].x, hole.inside[i].y);
        for (values, filled) in values.iter_mut().zip(&fill.values) {
            if let Some(v) = filled.get(x as i32 - fill.rect.x0, y as i32 - fill.rect.y0) {
                values[i] = v;
            }
        }
    }
    Some(fill)
}
