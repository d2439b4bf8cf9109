//! Timecode: hours, minutes, seconds and frames as a label for a frame count (SMPTE ST 12-1).

use std::fmt;

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
        let is_dropped = self.minutes % 10 != 0 && self.seconds == 0 && u64::from(self.frames) < dropped;
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
