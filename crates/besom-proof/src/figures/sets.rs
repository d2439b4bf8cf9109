//! The ways in which every clip is aged for the table.

use crate::ageing::{Level, Settings};

/// One way of ageing a clip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Set {
    /// The light preset.
    Light,
    /// The heavy preset.
    Heavy,
    /// Grain, weave and flicker alone.
    Undamaged,
    /// The light preset with flicker of 3 % and weave of 1.5 pixels.
    LightUnsteady,
    /// The heavy preset with the same.
    HeavyUnsteady,
    /// The light preset with grain of 14 codes.
    LightCoarse,
    /// The heavy preset with the same.
    HeavyCoarse,
    /// Dirt, grain and picture in a style of the clip's own.
    Varied,
}

/// Groups of sets that a run can be kept to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Sets {
    /// Light and heavy dirt.
    Base,
    /// No dirt.
    Undamaged,
    /// Light and heavy dirt with flicker of 3 % and weave of 1.5 pixels.
    Unsteady,
    /// Light and heavy dirt with grain of 14 codes.
    Coarse,
    /// Dirt, grain and picture in a style of the clip's own.
    Varied,
}

impl Sets {
    /// All groups.
    pub const ALL: [Self; 5] = [Self::Base, Self::Undamaged, Self::Unsteady, Self::Coarse, Self::Varied];

    /// The sets of the group.
    pub const fn sets(self) -> &'static [Set] {
        match self {
            Self::Base => &[Set::Light, Set::Heavy],
            Self::Undamaged => &[Set::Undamaged],
            Self::Unsteady => &[Set::LightUnsteady, Set::HeavyUnsteady],
            Self::Coarse => &[Set::LightCoarse, Set::HeavyCoarse],
            Self::Varied => &[Set::Varied],
        }
    }
}

impl Set {
    /// Its word in tables and file names.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Light => "light",
            Self::Heavy => "heavy",
            Self::Undamaged => "undamaged",
            Self::LightUnsteady => "light-unsteady",
            Self::HeavyUnsteady => "heavy-unsteady",
            Self::LightCoarse => "light-coarse",
            Self::HeavyCoarse => "heavy-coarse",
            Self::Varied => "varied",
        }
    }

    /// The settings of the ageing; `seed` chooses the style of [`Set::Varied`].
    pub fn settings(self, seed: u64) -> Settings {
        let (light, heavy) = (Settings::of(Level::Light), Settings::of(Level::Heavy));
        let unsteady = |s: Settings| Settings { flicker: 0.03, weave: 1.5, ..s };
        match self {
            Self::Light => light,
            Self::Heavy => heavy,
            Self::Undamaged => Settings::of(Level::Undamaged),
            Self::LightUnsteady => unsteady(light),
            Self::HeavyUnsteady => unsteady(heavy),
            Self::LightCoarse => Settings { grain: 14.0, ..light },
            Self::HeavyCoarse => Settings { grain: 14.0, ..heavy },
            Self::Varied => Settings::varied(seed),
        }
    }
}
