//! Timecode: hours, minutes, seconds and frames as a label for a frame count (SMPTE ST 12-1).

use std::fmt;

use crate::digits;
use crate::model::rate::Rate;

/// A timecode label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Timecode {
    /// Hours, 0 to 23.
    pub hours: u8,
    /// Minutes.
    pub minutes: u8,
    /// Seconds.
    pub seconds: u8,
    /// Frames.
    pub frames: u16,
    /// True when labels are dropped so that the label keeps up with the clock.
    pub drop_frame: bool,
}

impl Timecode {
    /// The label of the frame at `position` (0 is 00:00:00:00), counted on over midnight.
    ///
    /// `drop_frame` is honoured for rates of nominal 30 or 60 x 1000/1001 only: two (or four) labels are left out at
    /// the start of each minute, except each tenth. Other rates have no drop-frame.
    pub fn of(rate: Rate, position: u64, drop_frame: bool) -> Self {
        let nominal = rate.nominal();
        let drop_frame = drop_frame && can_drop(rate);
        let label = if drop_frame { with_dropped_labels(position, nominal) } else { position };
        let seconds = label / nominal;
        Self {
            hours: (seconds / 3600 % 24) as u8,
            minutes: (seconds / 60 % 60) as u8,
            seconds: (seconds % 60) as u8,
            frames: (label % nominal) as u16,
            drop_frame,
        }
    }

    /// The frame that this label names; `None` for a label that does not exist at this rate (a dropped one, or parts
    /// out of range).
    pub fn position(self, rate: Rate) -> Option<u64> {
        let nominal = rate.nominal();
        if self.hours > 23 || self.minutes > 59 || self.seconds > 59 || u64::from(self.frames) >= nominal {
            return None;
        }
        let minutes = u64::from(self.hours) * 60 + u64::from(self.minutes);
        let label = (minutes * 60 + u64::from(self.seconds)) * nominal + u64::from(self.frames);
        if !self.drop_frame {
            return Some(label);
        }
        let dropped = nominal / 15;
        let is_dropped = !self.minutes.is_multiple_of(10) && self.seconds == 0 && u64::from(self.frames) < dropped;
        if !can_drop(rate) || is_dropped {
            return None;
        }
        Some(label - dropped * (minutes - minutes / 10))
    }
}

/// Drop-frame exists where the nominal rate is 30 or 60 and the true one slower by 1000/1001.
fn can_drop(rate: Rate) -> bool {
    rate.nominal().is_multiple_of(30) && rate.seconds() == 1001
}

/// The label number of a frame: 2 labels (4 at 60) are skipped each minute but each tenth, so ten minutes hold 17,982
/// frames at 30.
const fn with_dropped_labels(position: u64, nominal: u64) -> u64 {
    let dropped = nominal / 15;
    let in_minute = nominal * 60 - dropped;
    let in_ten = in_minute * 10 + dropped;
    let tens = position / in_ten;
    let rest = position % in_ten;
    // The first minute of ten is whole; each later one begins `dropped` labels late.
    let minutes_begun = if rest < nominal * 60 { 0 } else { (rest - nominal * 60) / in_minute + 1 };
    position + dropped * (tens * 9 + minutes_begun)
}

impl fmt::Display for Timecode {
    /// `01:00:00:00`, or `01:00:00;00` with dropped labels.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mark = if self.drop_frame { ';' } else { ':' };
        write!(f, "{:02}:{:02}:{:02}{mark}{:02}", self.hours, self.minutes, self.seconds, self.frames)
    }
}

impl std::str::FromStr for Timecode {
    type Err = ();

    /// Reads `01:00:00:00`, or `01:00:00;00` with dropped labels; anything else is an error. Whether the label exists at a
    /// rate is for [`Timecode::position`] to say.
    fn from_str(text: &str) -> Result<Self, ()> {
        let drop_frame = text.contains(';');
        let parts: Vec<&str> = text.trim().split([':', ';']).collect();
        let [hours, minutes, seconds, frames] = parts.as_slice() else { return Err(()) };
        let number = |text: &str| digits::number::<u8>(text).ok_or(());
        Ok(Self {
            hours: number(hours)?,
            minutes: number(minutes)?,
            seconds: number(seconds)?,
            frames: number(frames)?.into(),
            drop_frame,
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    fn rate(text: &str) -> Rate {
        Rate::parse(text).unwrap()
    }

    fn shown(text: &str, position: u64, drop: bool) -> String {
        Timecode::of(rate(text), position, drop).to_string()
    }

    /// 1,000 ft of 35 mm 4-perf are 16,000 frames: 11 min 6 s 16 frames at 24, 10 min 40 s at 25 (laboratories' tables).
    #[test]
    fn printed_tables_hold() {
        assert_eq!(shown("24", 16_000, false), "00:11:06:16");
        assert_eq!(shown("25", 16_000, false), "00:10:40:00");
        assert_eq!(shown("24", 72_000, false), "00:50:00:00");
        assert_eq!(shown("25", 72_000, false), "00:48:00:00");
        assert_eq!(shown("23.976", 24 * 3600, false), "01:00:00:00");
        assert_eq!(shown("24", 24 * 86_400 + 1, false), "00:00:00:01");
        approx::assert_relative_eq!(rate("24").duration_secs(16_000), 666.67, epsilon = 0.005);
        approx::assert_relative_eq!(rate("24").duration_secs(172_800), 7200.0);
    }

    /// Drop-frame (SMPTE ST 12-1): labels 00 and 01 are left out each minute except each tenth, 108 an hour; ten
    /// minutes hold 17,982 frames, an hour 107,892.
    #[test]
    fn drop_frame_labels_are_those_of_the_standard() {
        assert_eq!(shown("29.97", 1799, true), "00:00:59;29");
        assert_eq!(shown("29.97", 1800, true), "00:01:00;02");
        assert_eq!(shown("29.97", 1800 + 1798, true), "00:02:00;02");
        assert_eq!(shown("29.97", 17_981, true), "00:09:59;29");
        assert_eq!(shown("29.97", 17_982, true), "00:10:00;00");
        assert_eq!(shown("29.97", 107_892, true), "01:00:00;00");
        assert_eq!(shown("29.97", 107_892, false), "00:59:56:12");
        assert_eq!(shown("59.94", 3600, true), "00:01:00;04");
        assert_eq!(shown("59.94", 2 * 17_982, true), "00:10:00;00");
        // No drop-frame exists at these rates, so none is made up.
        for text in ["24", "25", "30", "23.976"] {
            assert_eq!(shown(text, 1800, true), shown(text, 1800, false), "{text}");
        }
        let dropped = Timecode { hours: 0, minutes: 1, seconds: 0, frames: 1, drop_frame: true };
        assert_eq!(dropped.position(rate("29.97")), None);
        assert_eq!(Timecode { minutes: 10, ..dropped }.position(rate("29.97")), Some(17_983));
    }

    /// Every label of a day at 29.97 drop-frame, counted up the way a clock does it.
    #[test]
    fn a_day_of_drop_frame_counts_as_a_clock() {
        let (mut position, rate) = (0u64, rate("29.97"));
        for minute in 0..1440u64 {
            for label in 0..1800u64 {
                if label < 2 && minute % 10 != 0 {
                    continue;
                }
                let code = Timecode::of(rate, position, true);
                let expected = (minute / 60, minute % 60, label / 30, label % 30);
                let got = (code.hours.into(), code.minutes.into(), code.seconds.into(), code.frames.into());
                assert_eq!(got, expected, "frame {position}");
                position += 1;
            }
        }
        assert_eq!(position, 24 * 107_892);
    }

    proptest! {
        #[test]
        fn labels_and_positions_are_inverse(
            at in 0u64..16 * 86_400,
            text in prop::sample::select(vec!["24", "25", "30", "29.97", "23.976", "59.94", "16", "18"]),
            drop in any::<bool>(),
        ) {
            let rate = rate(text);
            prop_assert_eq!(Timecode::of(rate, at, drop).position(rate), Some(at));
        }
    }
}
