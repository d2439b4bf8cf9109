//! Feet and frames.
//!
//! Frame 0 of a reel stands at 0 feet 0 frames. Frames a foot come from [`Gauge::frames_in_feet`]: 35 mm 4-perf 16,
//! 16 mm 40, Super 8 72, and 64 perforations a foot shared out by perforations a frame for the others.

use crate::model::gauge::Gauge;

/// A length of film: whole feet, and the frames that begin after them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Footage {
    /// Whole feet.
    pub feet: u64,
    /// Frames past the first frame that begins at or after that foot mark.
    pub frames: u64,
}

impl Footage {
    /// Where the frame at `position` (0 is the first of the reel) begins, or how long `position` frames are.
    ///
    /// Where a foot does not hold a whole number of frames, a foot mark belongs to the first frame that begins at or
    /// after it: 35 mm 3-perf has feet of 22, 21 and 21 frames in turn, 65 mm 5-perf of 13, 13, 13, 13 and 12.
    pub const fn of(gauge: Gauge, position: u64) -> Self {
        let (per, in_feet) = gauge.frames_in_feet();
        let feet = (position / per) * in_feet + (position % per) * in_feet / per;
        Self { feet, frames: position - Self::first_of_foot(gauge, feet) }
    }

    /// The first frame that begins at or after a foot mark.
    pub const fn first_of_foot(gauge: Gauge, feet: u64) -> u64 {
        let (per, in_feet) = gauge.frames_in_feet();
        (feet / in_feet) * per + ((feet % in_feet) * per).div_ceil(in_feet)
    }

    /// The frame that this length names; the inverse of [`Footage::of`].
    pub const fn position(self, gauge: Gauge) -> u64 {
        Self::first_of_foot(gauge, self.feet) + self.frames
    }
}

impl std::fmt::Display for Footage {
    /// `12+07`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}+{:02}", self.feet, self.frames)
    }
}
