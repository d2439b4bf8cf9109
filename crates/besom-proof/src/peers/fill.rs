//! Simple fills of marked pixels from motion-compensated neighbours.

use besom_scan::Plane;

/// A simple fill. Common practice rather than one paper's; what each does wrong is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// The mean of both neighbours: the lowest error, but half the grain's variance is lost.
    Average,
    /// The median of both neighbours and the current pixel: keeps the picture where the mark was a mistake.
    Median,
    /// The previous frame alone: keeps grain, follows every error of the motion.
    Previous,
    /// The next frame alone.
    Next,
}

impl Fill {
    /// All fills, in the order in which tables list them.
    pub const ALL: [Self; 4] = [Self::Average, Self::Median, Self::Previous, Self::Next];

    /// The word that commands use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Average => "average",
            Self::Median => "median",
            Self::Previous => "previous",
            Self::Next => "next",
        }
    }

    /// The current channel with the pixels of `mask` (not 0) filled. All planes are of one size; the neighbours are as
    /// seen from the current frame. Where a neighbour is not a number (nothing known there), the other is used alone,
    /// and where neither is known the pixel stays as it is.
    pub fn fill(self, current: &Plane, previous: &Plane, next: &Plane, mask: &Plane<u8>) -> Plane {
        Plane::from_fn(current.width(), current.height(), |x, y| {
            let i = current.at(x, y);
            if mask.at(x, y) == 0 {
                return i;
            }
            match (known(previous.at(x, y)), known(next.at(x, y))) {
                (Some(p), Some(n)) => self.value(i, p, n),
                (Some(one), None) | (None, Some(one)) => one,
                (None, None) => i,
            }
        })
    }

    fn value(self, i: f32, p: f32, n: f32) -> f32 {
        match self {
            Self::Average => f32::midpoint(p, n),
            Self::Median => i.clamp(p.min(n), p.max(n)),
            Self::Previous => p,
            Self::Next => n,
        }
    }
}

fn known(value: f32) -> Option<f32> {
    (!value.is_nan()).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(value: f32) -> Plane {
        Plane::filled(1, 1, value)
    }

    #[test]
    fn fills_by_hand() {
        let filled = |fill: Fill, i, p, n| fill.fill(&one(i), &one(p), &one(n), &Plane::filled(1, 1, 9u8)).at(0, 0);
        let all = |i, p, n| Fill::ALL.map(|fill| filled(fill, i, p, n));
        assert_eq!(all(900.0, 100.0, 140.0), [120.0, 140.0, 100.0, 140.0]);
        assert_eq!(all(110.0, 140.0, 100.0), [120.0, 110.0, 140.0, 100.0]);
        assert_eq!(all(900.0, f32::NAN, 100.0), [100.0; 4]);
        assert_eq!(all(900.0, f32::NAN, f32::NAN), [900.0; 4]);
        assert_eq!(Fill::Next.fill(&one(5.0), &one(1.0), &one(2.0), &Plane::new(1, 1)).at(0, 0), 5.0);
    }
}
