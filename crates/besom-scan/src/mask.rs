//! The pixels of one object, as runs along rows.

use crate::{Plane, Rect};

/// Pixels `[x0, x1)` of row `y`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Run {
    /// Row.
    pub y: u32,
    /// First column inside.
    pub x0: u32,
    /// First column outside.
    pub x1: u32,
}

/// A set of pixels as runs sorted by row, then column; runs of one row neither touch nor overlap.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct RunMask {
    runs: Vec<Run>,
}

impl RunMask {
    /// The mask of any runs: sorted and joined, empty ones dropped.
    pub fn from_runs(mut runs: Vec<Run>) -> Self {
        runs.retain(|r| r.x1 > r.x0);
        runs.sort_unstable();
        let mut joined: Vec<Run> = Vec::with_capacity(runs.len());
        for run in runs {
            match joined.last_mut() {
                Some(last) if last.y == run.y && run.x0 <= last.x1 => last.x1 = last.x1.max(run.x1),
                _ => joined.push(run),
            }
        }
        Self { runs: joined }
    }

    /// The mask of single pixels `(x, y)` in any order.
    pub fn from_pixels(pixels: impl Iterator<Item = (u32, u32)>) -> Self {
        // Numbers sort faster than runs.
        let mut places: Vec<u64> = pixels.map(|(x, y)| u64::from(y) << 32 | u64::from(x)).collect();
        places.sort_unstable();
        let mut runs: Vec<Run> = Vec::new();
        for place in places {
            let (x, y) = (place as u32, (place >> 32) as u32);
            match runs.last_mut() {
                Some(last) if last.y == y && x <= last.x1 => last.x1 = last.x1.max(x + 1),
                _ => runs.push(Run { y, x0: x, x1: x + 1 }),
            }
        }
        Self { runs }
    }

    /// Every pixel of a rectangle; the part at negative positions is dropped.
    pub fn from_rect(rect: &Rect) -> Self {
        let r = Rect::new(rect.x0.max(0), rect.y0.max(0), rect.x1, rect.y1);
        if r.is_empty() {
            return Self::default();
        }
        Self { runs: (r.y0..r.y1).map(|y| Run { y: y as u32, x0: r.x0 as u32, x1: r.x1 as u32 }).collect() }
    }

    /// The pixels of `plane` that are not zero, shifted by the plane's place `(x0, y0)` in the frame.
    pub fn from_plane(plane: &Plane<u8>, x0: u32, y0: u32) -> Self {
        let mut runs = Vec::new();
        for y in 0..plane.height() {
            let row = plane.row(y);
            let mut x = 0;
            while x < row.len() {
                if row[x] == 0 {
                    x += 1;
                    continue;
                }
                let start = x;
                while x < row.len() && row[x] != 0 {
                    x += 1;
                }
                runs.push(Run { y: y as u32 + y0, x0: start as u32 + x0, x1: x as u32 + x0 });
            }
        }
        Self { runs }
    }

    /// Row and column of the first pixel in reading order, which lists of masks are ordered by; `None` when empty.
    pub fn first_pixel(&self) -> Option<(u32, u32)> {
        self.runs.first().map(|run| (run.y, run.x0))
    }

    /// The runs, sorted.
    pub fn runs(&self) -> &[Run] {
        &self.runs
    }

    /// True when no pixel is inside.
    pub fn is_empty(&self) -> bool {
        self.runs.is_empty()
    }

    /// Number of pixels.
    pub fn area(&self) -> usize {
        self.runs.iter().map(|r| (r.x1 - r.x0) as usize).sum()
    }

    /// The smallest rectangle around all pixels; empty for an empty mask.
    pub fn bounds(&self) -> Rect {
        let (Some(first), Some(last)) = (self.runs.first(), self.runs.last()) else {
            return Rect::default();
        };
        let x0 = self.runs.iter().map(|r| r.x0).min().unwrap_or(0);
        let x1 = self.runs.iter().map(|r| r.x1).max().unwrap_or(0);
        Rect::new(x0 as i32, first.y as i32, x1 as i32, last.y as i32 + 1)
    }

    /// Every pixel as `(x, y)`, in row order.
    pub fn pixels(&self) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.runs.iter().flat_map(|r| (r.x0..r.x1).map(move |x| (x, r.y)))
    }

    /// True when the pixel is inside.
    pub fn contains(&self, x: u32, y: u32) -> bool {
        let start = self.runs.partition_point(|r| (r.y, r.x1) <= (y, x));
        self.runs.get(start).is_some_and(|r| r.y == y && r.x0 <= x && x < r.x1)
    }

    /// Number of pixels that are in both masks.
    pub fn overlap(&self, other: &Self) -> usize {
        let (Some(first), Some(theirs)) = (self.runs.first(), other.runs.first()) else { return 0 };
        // A small mask is often held against one that crosses the frame.
        let from = |runs: &[Run], y: u32| runs.partition_point(|r| r.y < y);
        let (mut i, mut j, mut shared) = (from(&self.runs, theirs.y), from(&other.runs, first.y), 0usize);
        while let (Some(a), Some(b)) = (self.runs.get(i), other.runs.get(j)) {
            if a.y == b.y {
                shared += (a.x1.min(b.x1)).saturating_sub(a.x0.max(b.x0)) as usize;
            }
            if (a.y, a.x1) <= (b.y, b.x1) {
                i += 1;
            } else {
                j += 1;
            }
        }
        shared
    }

    /// The mask grown by `by` pixels (a square brush), cut to a frame of `width` x `height`.
    #[must_use]
    pub fn grown(&self, by: u32, width: u32, height: u32) -> Self {
        let mut runs = Vec::with_capacity(self.runs.len() * (2 * by as usize + 1));
        for r in &self.runs {
            let (x0, x1) = (r.x0.saturating_sub(by), (r.x1 + by).min(width));
            for y in r.y.saturating_sub(by)..=(r.y + by).min(height.saturating_sub(1)) {
                runs.push(Run { y, x0, x1 });
            }
        }
        Self::from_runs(runs)
    }

    /// The mask without the pixels that lie within `by` (a square brush) of a pixel outside it. The border of the frame of
    /// `width` x `height` takes nothing away.
    #[must_use]
    pub fn shrunk(&self, by: u32, width: u32, height: u32) -> Self {
        let whole = Rect::of_size(width as usize, height as usize);
        let around = Self::from_rect(&self.bounds().grown(by as i32).intersect(&whole)).minus(self);
        self.minus(&around.grown(by, width, height))
    }

    /// Both masks together.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        Self::from_runs(self.runs.iter().chain(&other.runs).copied().collect())
    }

    /// The pixels of this mask that `outside` does not hold.
    #[must_use]
    pub fn minus(&self, outside: &Self) -> Self {
        let mut left = Vec::with_capacity(self.runs.len());
        let mut j = 0;
        for run in &self.runs {
            let mut x0 = run.x0;
            while outside.runs.get(j).is_some_and(|o| (o.y, o.x1) <= (run.y, run.x0)) {
                j += 1;
            }
            for o in outside.runs[j..].iter().take_while(|o| o.y == run.y && o.x0 < run.x1) {
                if o.x0 > x0 {
                    left.push(Run { y: run.y, x0, x1: o.x0 });
                }
                x0 = x0.max(o.x1);
            }
            if x0 < run.x1 {
                left.push(Run { y: run.y, x0, x1: run.x1 });
            }
        }
        Self { runs: left }
    }

    /// The pixels that are in both masks.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        self.minus(&self.minus(other))
    }

    /// Writes `value` into `plane` at every pixel of the mask that lies inside it.
    pub fn paint(&self, plane: &mut Plane<u8>, value: u8) {
        let (width, height) = (plane.width() as u32, plane.height() as u32);
        for r in self.runs.iter().filter(|r| r.y < height && r.x0 < width) {
            plane.row_mut(r.y as usize)[r.x0 as usize..r.x1.min(width) as usize].fill(value);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn masks() -> impl Strategy<Value = RunMask> {
        proptest::collection::vec((0u32..12, 0u32..16, 0u32..6), 0..20)
            .prop_map(|v| RunMask::from_runs(v.into_iter().map(|(y, x0, w)| Run { y, x0, x1: x0 + w }).collect()))
    }

    fn painted(mask: &RunMask) -> Plane<u8> {
        let mut plane = Plane::new(24, 14);
        mask.paint(&mut plane, 1);
        plane
    }

    proptest! {
        #[test]
        fn set_algebra_matches_painted_pixels(a in masks(), b in masks()) {
            let (pa, pb) = (painted(&a), painted(&b));
            let both = pa.as_slice().iter().zip(pb.as_slice()).filter(|(a, b)| **a == 1 && **b == 1).count();
            prop_assert_eq!(a.overlap(&b), both);
            prop_assert_eq!(a.area(), pa.as_slice().iter().filter(|v| **v == 1).count());
            let minus = painted(&a.minus(&b));
            let union = painted(&a.union(&b));
            let shared = painted(&a.intersection(&b));
            for i in 0..pa.as_slice().len() {
                let (x, y) = (pa.as_slice()[i] == 1, pb.as_slice()[i] == 1);
                prop_assert_eq!(minus.as_slice()[i] == 1, x && !y);
                prop_assert_eq!(union.as_slice()[i] == 1, x || y);
                prop_assert_eq!(shared.as_slice()[i] == 1, x && y);
                prop_assert_eq!(a.contains((i % 24) as u32, (i / 24) as u32), x);
            }
            // Backwards, and one of them twice.
            let mut pixels: Vec<(u32, u32)> = a.pixels().chain(a.pixels().next()).collect();
            pixels.reverse();
            prop_assert_eq!(&RunMask::from_pixels(pixels.into_iter()), &a);
            prop_assert_eq!(RunMask::from_plane(&pa, 0, 0), a);
        }
    }
}
