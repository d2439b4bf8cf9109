//! A first look at what stays: whether it stands still against the picture or goes with it, read off what stands out of each
//! frame at a few samples. Most of what merely lasts, as all of a still or self-similar picture does, is dismissed here, before
//! anything is aligned.

use besom_motion::Vector;
use besom_scan::{Plane, Rect};

use super::measure::{LEAST_MOTION, Other, Surround};
use super::persistence::Standing;

/// Samples of a mark that are looked at, at most.
const SAMPLES: usize = 24;
/// What a mark loses by going with the picture instead of standing still, as a share of what it stands out by, below which it
/// is dismissed.
const LEAST_GAIN: f32 = 0.02;
/// The same after the two neighbours, below which the frames beyond them are not asked.
const HOPELESS: f32 = -0.15;
/// Motion beyond so many pixels tells no more.
const TELLS: f32 = 3.0;

/// What all first looks of a frame share.
pub(super) struct Glance<'a> {
    pub(super) luma: &'a Plane,
    pub(super) outstanding: &'a Plane<i16>,
    /// The nearest first.
    pub(super) others: &'a [Other<'a>],
    /// What a sample is to a mark: 0 where nothing stays.
    pub(super) class: &'a Plane<i8>,
    /// Scan pixels to a sample.
    pub(super) reduction: usize,
}

impl Glance<'_> {
    /// How much better it explains a mark that it stands still than that it goes with the picture: a share of what it stands
    /// out by, at most 1; `None` where that is too little, or where nothing around moves.
    pub(super) fn gain(&self, mark: &Standing) -> Option<f32> {
        let step = mark.samples.len().div_ceil(SAMPLES).max(1);
        let sample =
            |(x, y): &(u32, u32)| (*x as i32, *y as i32, i32::from(self.outstanding.at(*x as usize, *y as usize)));
        let samples: Vec<(i32, i32, i32)> = mark.samples.iter().step_by(step).map(sample).collect();
        let all = samples.iter().map(|s| s.2.abs()).sum::<i32>().max(1) as f32;
        let bounds = self.in_pixels(&mark.bounds());
        let (mut sum, mut weights) = (0.0, 0.0);
        for (k, other) in self.others.iter().enumerate() {
            if k == 2 && sum < HOPELESS * weights {
                return None;
            }
            let left = |v: Vector| self.left(other, &samples, v) / all;
            let mut motions = other.motions(&bounds);
            motions.retain(|v| v.length() >= LEAST_MOTION);
            let frame_moves = other.of_frame.length() >= LEAST_MOTION;
            // The mark may have held the motion still all around itself.
            if frame_moves && (!motions.is_empty() || self.goes_with_the_frame(other, &bounds)) {
                motions.push(other.of_frame);
            }
            let most = motions.iter().map(|v| v.length()).fold(0.0, f32::max).min(TELLS);
            if most > 0.0 {
                let goes = motions.into_iter().map(left).fold(f32::MAX, f32::min);
                sum += most * (goes - left(Vector::default()));
                weights += most;
            }
        }
        let gain = sum / weights;
        (weights > 0.0 && gain >= LEAST_GAIN).then_some(gain)
    }

    /// What the samples differ by from another frame moved by `v`, each by no more than it stands out: what stands out more
    /// there may be the mark and a speck on it.
    fn left(&self, other: &Other, samples: &[(i32, i32, i32)], v: Vector) -> f32 {
        let scale = 1.0 / self.reduction as f32;
        let (dx, dy) = ((scale * v.dx).round() as i32, (scale * v.dy).round() as i32);
        let one = |(x, y, here): &(i32, i32, i32)| {
            let there = other.outstanding.get(x + dx, y + dy).map_or(0, i32::from);
            (there - here).abs().min(here.abs())
        };
        samples.iter().map(one).sum::<i32>() as f32
    }

    /// Whether the picture around some bounds in pixels, but for what stays, is more like the other frame moved as the whole frame
    /// does than at its own place.
    fn goes_with_the_frame(&self, other: &Other, bounds: &Rect) -> bool {
        let stays = |x: i32, y: i32| {
            let (x, y) = (x as usize / self.reduction, y as usize / self.reduction);
            self.class.at(x, y) != 0
        };
        let around = Surround::gather(self.luma, bounds, stays);
        around.left(&other.frame.luma, other.of_frame) < around.left(&other.frame.luma, Vector::default())
    }

    fn in_pixels(&self, bounds: &Rect) -> Rect {
        let step = self.reduction as i32;
        Rect::new(step * bounds.x0, step * bounds.y0, step * bounds.x1, step * bounds.y1)
    }
}
