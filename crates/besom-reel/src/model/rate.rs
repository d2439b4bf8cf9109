//! Frame rates as exact fractions.

use std::fmt;

/// Frames a second as a fraction, so that 23.976 and 29.97 are exact (SMPTE ST 12-1: nominal rate x 1000/1001).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Rate {
    frames: u32,
    seconds: u32,
}

impl Rate {
    /// 24 frames a second, the rate of sound film.
    pub const FILM: Self = Self { frames: 24, seconds: 1 };

    /// `frames` in `seconds`; `None` when either is 0 or the rate is above 1000 or below 1 a second.
    pub const fn new(frames: u32, seconds: u32) -> Option<Self> {
        if frames == 0 || seconds == 0 || frames < seconds || frames as u64 > seconds as u64 * 1000 {
            return None;
        }
        Some(Self { frames, seconds })
    }

    /// The rate a person writes: `24`, `25`, `16.5`, `23.976`, `29.97`, `24000/1001`. Values within 0.005 of
    /// nominal x 1000/1001 that are not whole are taken as that fraction.
    pub fn parse(text: &str) -> Option<Self> {
        if let Some((frames, seconds)) = text.split_once('/') {
            return Self::new(frames.trim().parse().ok()?, seconds.trim().parse().ok()?);
        }
        Self::from_fps(text.trim().parse().ok()?)
    }

    /// The fraction of a decimal rate; see [`Rate::parse`].
    pub fn from_fps(fps: f64) -> Option<Self> {
        if !fps.is_finite() || !(1.0..=1000.0).contains(&fps) {
            return None;
        }
        if fps.fract() == 0.0 {
            return Self::new(fps as u32, 1);
        }
        let nominal = fps.ceil();
        if (fps - nominal / 1.001).abs() < 0.005 {
            return Self::new(nominal as u32 * 1000, 1001);
        }
        Self::new((fps * 1000.0).round() as u32, 1000)
    }

    /// Numerator: frames in [`Rate::seconds`] seconds.
    pub const fn frames(self) -> u32 {
        self.frames
    }

    /// Denominator.
    pub const fn seconds(self) -> u32 {
        self.seconds
    }

    /// Frames a second.
    pub fn fps(self) -> f64 {
        f64::from(self.frames) / f64::from(self.seconds)
    }

    /// The whole number of frames that a timecode counts to a second: 24 for 23.976, 30 for 29.97.
    pub fn nominal(self) -> u64 {
        u64::from(self.frames.div_ceil(self.seconds))
    }

    /// How long `frames` last, in seconds.
    pub fn duration_secs(self, frames: u64) -> f64 {
        frames as f64 * f64::from(self.seconds) / f64::from(self.frames)
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.frames.is_multiple_of(self.seconds) {
            write!(f, "{}", self.frames / self.seconds)
        } else {
            let text = format!("{:.3}", self.fps());
            f.write_str(text.trim_end_matches('0').trim_end_matches('.'))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn written_rates_become_exact_fractions() {
        let cases = [
            ("24", 24, 1, "24"),
            ("25", 25, 1, "25"),
            ("23.976", 24000, 1001, "23.976"),
            ("23.98", 24000, 1001, "23.976"),
            ("29.97", 30000, 1001, "29.97"),
            ("59.94", 60000, 1001, "59.94"),
            ("16.5", 16500, 1000, "16.5"),
            ("16.667", 16667, 1000, "16.667"),
            ("24000/1001", 24000, 1001, "23.976"),
        ];
        for (text, frames, seconds, shown) in cases {
            let rate = Rate::parse(text);
            assert_eq!(rate.map(|r| (r.frames, r.seconds)), Some((frames, seconds)), "{text}");
            assert_eq!(rate.map(|r| r.to_string()).as_deref(), Some(shown));
        }
        for bad in ["0", "-24", "nan", "inf", "1001", "24/0", "0/1", "x", ""] {
            assert_eq!(Rate::parse(bad), None, "{bad}");
        }
    }
}
