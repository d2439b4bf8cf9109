//! Where things lie and when they change, as plain arithmetic.

use std::ops::Range;

/// Columns of the reel strip: how many, and which frames each stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Columns {
    frames: usize,
    count: usize,
    left: f32,
    width: f32,
}

impl Columns {
    /// At most one column each `least` points of `width` points, from `left` on.
    pub(super) fn new(frames: usize, left: f32, width: f32, least: f32) -> Self {
        let count = ((width / least) as usize).clamp(1, frames.max(1));
        Self { frames, count, left, width }
    }

    /// Number of columns.
    pub(super) fn len(&self) -> usize {
        if self.frames == 0 { 0 } else { self.count }
    }

    /// Frames that a column stands for, by position.
    pub(super) fn range(&self, column: usize) -> Range<usize> {
        let from = column * self.frames / self.count;
        let to = (column + 1) * self.frames / self.count;
        from..to.max(from + 1)
    }

    /// Left edge and right edge of a column.
    pub(super) fn span(&self, column: usize) -> (f32, f32) {
        let each = self.width / self.count as f32;
        (self.left + column as f32 * each, self.left + (column + 1) as f32 * each)
    }

    /// Left edge of a frame, as if every frame had a column of its own.
    pub(super) fn x_of(&self, place: usize) -> f32 {
        self.left + self.width * place as f32 / self.frames.max(1) as f32
    }

    /// The frame under a place in the window.
    pub(super) fn place_at(&self, x: f32) -> usize {
        let part = ((x - self.left) / self.width).clamp(0.0, 1.0);
        ((part * self.frames as f32) as usize).min(self.frames.saturating_sub(1))
    }
}

/// The automatic flip `elapsed` seconds after it began: whether the repair is shown, and seconds to the next change.
pub(super) fn flip_phase(elapsed: f64, rate: f32) -> (bool, f32) {
    let half = 0.5 / f64::from(rate);
    let halves = (elapsed / half).floor();
    let left = (halves + 1.0) * half - elapsed;
    ((halves as i64).rem_euclid(2) == 1, left.max(0.001) as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::preferences::FLIP_RATES;

    #[test]
    fn columns_cover_every_frame_once() {
        for frames in [1usize, 2, 7, 96, 30_000] {
            let columns = Columns::new(frames, 12.0, 500.0, 3.0);
            let mut next = 0;
            for column in 0..columns.len() {
                let range = columns.range(column);
                assert_eq!(range.start, next);
                next = range.end;
            }
            assert_eq!(next, frames);
            for place in [0, frames / 2, frames - 1] {
                assert_eq!(columns.place_at(columns.x_of(place) + 0.5 * 500.0 / frames as f32), place);
            }
        }
        assert_eq!(Columns::new(0, 0.0, 100.0, 3.0).len(), 0);
    }

    /// WCAG 2.3.1 allows no more than three flashes a second; a flash is a change and its reverse (from memory).
    #[test]
    fn the_automatic_flip_stays_under_three_flashes_a_second() {
        for rate in [*FLIP_RATES.start(), 1.5, *FLIP_RATES.end()] {
            let changes = (0..10_000u32)
                .map(|i| flip_phase(f64::from(i) / 1000.0, rate).0)
                .fold((0u32, false), |(n, was), now| (n + u32::from(was != now), now))
                .0;
            let flashes_a_second = f64::from(changes) / 2.0 / 10.0;
            assert!(flashes_a_second < 3.0, "{flashes_a_second} at {rate}");
            assert!(flashes_a_second >= 0.2);
        }
        let (after, next) = flip_phase(0.0, 1.0);
        assert!(!after);
        assert!((next - 0.5).abs() < 1e-6);
    }
}
