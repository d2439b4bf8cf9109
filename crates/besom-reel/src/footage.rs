//! Feet and frames.
//!
//! Frame 0 of a reel stands at 0 feet 0 frames. Frames a foot come from [`Gauge::frames_in_feet`]: 35 mm 4-perf 16,
//! 16 mm 40, Super 8 72, and 64 perforations a foot shared out by perforations a frame for the others.

use crate::digits;
use crate::model::gauge::Gauge;

/// A length of film: whole feet, and the frames that begin after them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Footage {
    /// Whole feet.
    pub feet: u64,
    /// Frames past the frame that this foot mark falls in.
    pub frames: u64,
}

impl Footage {
    /// Where the frame at `position` (0 is the first of the reel) begins, or how long `position` frames are.
    ///
    /// Where a foot does not hold a whole number of frames, a foot mark belongs to the frame that it falls in: 35 mm
    /// 3-perf has feet of 21, 21 and 22 frames in turn (SMPTE RP 195 as film-post manuals give it), 65 mm 5-perf of
    /// 12, 13, 13, 13 and 13.
    pub const fn of(gauge: Gauge, position: u64) -> Self {
        let (per, in_feet) = gauge.frames_in_feet();
        // The last foot mark before the frame's end.
        let feet = (position / per) * in_feet + ((position % per + 1) * in_feet - 1) / per;
        Self { feet, frames: position - Self::first_of_foot(gauge, feet) }
    }

    /// The frame that a foot mark falls in.
    pub const fn first_of_foot(gauge: Gauge, feet: u64) -> u64 {
        let (per, in_feet) = gauge.frames_in_feet();
        (feet / in_feet) * per + (feet % in_feet) * per / in_feet
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

impl std::str::FromStr for Footage {
    type Err = ();

    /// Reads `12+07` (feet and frames); anything else is an error.
    fn from_str(text: &str) -> Result<Self, ()> {
        let (feet, frames) = text.trim().split_once('+').ok_or(())?;
        let number = |text: &str| digits::number::<u32>(text).map(u64::from).ok_or(());
        Ok(Self { feet: number(feet)?, frames: number(frames)? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Frames a foot, feet a minute at 24 frames a second, frames in 1,000 ft: the tables that film laboratories and
    /// manufacturers print (16, 40 and 72 frames a foot, 90 and 36 ft a minute); the rest follows from 64 perforations
    /// a foot.
    #[test]
    fn printed_tables_hold() {
        let table = [
            (Gauge::Mm35Perf4, 16.0, 90.0, 16_000.0),
            (Gauge::Mm35Perf3, 64.0 / 3.0, 67.5, 64_000.0 / 3.0),
            (Gauge::Mm35Perf2, 32.0, 45.0, 32_000.0),
            (Gauge::Mm16, 40.0, 36.0, 40_000.0),
            (Gauge::Mm65Perf5, 12.8, 112.5, 12_800.0),
            (Gauge::Super8, 72.0, 20.0, 72_000.0),
        ];
        assert_eq!(table.len(), Gauge::ALL.len());
        for (gauge, a_foot, feet_a_minute, in_1000_ft) in table {
            let (frames, feet) = gauge.frames_in_feet();
            approx::assert_relative_eq!(frames as f64 / feet as f64, a_foot);
            approx::assert_relative_eq!(gauge.feet(24 * 60), feet_a_minute);
            approx::assert_relative_eq!(gauge.feet(64_000), 64_000.0 * 1000.0 / in_1000_ft);
        }
        // 100 minutes are 9,000 ft of 35 mm or 3,600 ft of 16 mm; 400 ft of 16 mm last as long as 1,000 ft of 35 mm.
        assert_eq!(Footage::of(Gauge::Mm35Perf4, 144_000), Footage { feet: 9000, frames: 0 });
        assert_eq!(Footage::of(Gauge::Mm16, 144_000), Footage { feet: 3600, frames: 0 });
        assert_eq!(Footage { feet: 400, frames: 0 }.position(Gauge::Mm16), 16_000);
        assert_eq!(Footage { feet: 1000, frames: 0 }.position(Gauge::Mm35Perf4), 16_000);
    }

    /// Frame 0 is 0+00. Worked from 16 and 40 frames a foot.
    #[test]
    fn single_frames_have_their_footage() {
        let cases = [
            (Gauge::Mm35Perf4, 0, "0+00"),
            (Gauge::Mm35Perf4, 15, "0+15"),
            (Gauge::Mm35Perf4, 16, "1+00"),
            (Gauge::Mm35Perf4, 15_999, "999+15"),
            (Gauge::Mm35Perf4, 16_000, "1000+00"),
            (Gauge::Mm16, 39, "0+39"),
            (Gauge::Mm16, 40, "1+00"),
            (Gauge::Super8, 71, "0+71"),
            (Gauge::Super8, 72, "1+00"),
            (Gauge::Mm35Perf3, 64, "3+00"),
            (Gauge::Mm65Perf5, 64, "5+00"),
        ];
        for (gauge, position, shown) in cases {
            assert_eq!(Footage::of(gauge, position).to_string(), shown, "{gauge} {position}");
        }
    }

    /// 35 mm 3-perf: feet of 21, 21 and 22 frames (SMPTE RP 195 as film-post manuals give it). 65 mm: worked from 12.8.
    #[test]
    fn uneven_feet_add_up() {
        let lengths = |gauge, feet: u64| -> Vec<u64> {
            (0..feet).map(|f| Footage::first_of_foot(gauge, f + 1) - Footage::first_of_foot(gauge, f)).collect()
        };
        assert_eq!(lengths(Gauge::Mm35Perf3, 6), [21, 21, 22, 21, 21, 22]);
        assert_eq!(lengths(Gauge::Mm65Perf5, 5), [12, 13, 13, 13, 13]);
    }

    proptest! {
        #[test]
        fn footage_and_position_are_inverse(gauge in prop::sample::select(Gauge::ALL.to_vec()), at in 0u64..10_000_000) {
            let footage = Footage::of(gauge, at);
            prop_assert_eq!(footage.position(gauge), at);
            prop_assert_eq!(footage.to_string().parse(), Ok(footage));
            prop_assert!(footage < Footage::of(gauge, at + 1));
            prop_assert!(gauge.feet(at + 1) > footage.feet as f64, "a whole foot lies before the frame's end");
        }
    }
}
