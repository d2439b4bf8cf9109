//! Film gauges: how many frames a foot of film holds.

use std::fmt;

/// A film gauge with its pulldown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Gauge {
    /// 35 mm, four perforations a frame: 16 frames a foot.
    #[default]
    Mm35Perf4,
    /// 35 mm, three perforations a frame: 21 1/3 frames a foot.
    Mm35Perf3,
    /// 35 mm, two perforations a frame: 32 frames a foot.
    Mm35Perf2,
    /// 16 mm: 40 frames a foot.
    Mm16,
    /// Super 8: 72 frames a foot.
    Super8,
    /// 65 mm (70 mm prints), five perforations a frame: 12.8 frames a foot.
    Mm65Perf5,
}

impl Gauge {
    /// All gauges, widest use first.
    pub const ALL: [Self; 6] =
        [Self::Mm35Perf4, Self::Mm35Perf3, Self::Mm35Perf2, Self::Mm16, Self::Super8, Self::Mm65Perf5];

    /// The word that commands and files use, such as `35mm-4perf`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Mm35Perf4 => "35mm-4perf",
            Self::Mm35Perf3 => "35mm-3perf",
            Self::Mm35Perf2 => "35mm-2perf",
            Self::Mm16 => "16mm",
            Self::Super8 => "super8",
            Self::Mm65Perf5 => "65mm-5perf",
        }
    }

    /// The gauge of a word, as [`Gauge::word`] gives it.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|g| g.word() == word)
    }

    /// Frames in a number of feet as `(frames, feet)`, the smallest whole pair: `(64, 3)` for 35 mm 3-perf.
    ///
    /// 35 mm has 64 perforations a foot; 65 mm has 64 perforations a foot and takes five a frame.
    pub const fn frames_in_feet(self) -> (u64, u64) {
        match self {
            Self::Mm35Perf4 => (16, 1),
            Self::Mm35Perf3 => (64, 3),
            Self::Mm35Perf2 => (32, 1),
            Self::Mm16 => (40, 1),
            Self::Super8 => (72, 1),
            Self::Mm65Perf5 => (64, 5),
        }
    }

    /// Length of film in feet.
    pub fn feet(self, frames: u64) -> f64 {
        let (per, feet) = self.frames_in_feet();
        frames as f64 * feet as f64 / per as f64
    }
}

impl fmt::Display for Gauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}
