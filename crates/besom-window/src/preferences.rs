//! What a person set once and for all reels: the name, how the window looks, what it may use, changed keys. Nothing here
//! changes a result.

use std::collections::BTreeMap;

use serde::de::{Deserializer, IgnoredAny};
use serde::{Deserialize, Serialize, Serializer};

use crate::keymap::Keymap;

/// Size of the whole window, in percent.
pub(crate) const SCALES: std::ops::RangeInclusive<u32> = 75..=250;
/// One step of it by key.
pub(crate) const SCALE_STEP: u32 = 10;
/// Size of the letters alone, in percent.
pub(crate) const LETTERS: std::ops::RangeInclusive<u32> = 85..=125;
/// Megabytes of decoded frames kept. The least holds some scans of 4K, so that stepping back and forth needs no reading.
pub(crate) const MEMORY_MB: std::ops::RangeInclusive<u32> = 512..=131_072;
/// Flips a second of the automatic flip. A flip there and back is one flash in the sense of WCAG 2.3.1, which allows three a
/// second.
pub(crate) const FLIP_RATES: std::ops::RangeInclusive<f32> = 0.25..=2.8;
/// What is said wherever the rate can be set.
pub(crate) const FLASH_CAUTION: &str = "Caution: alternating pictures can affect people with photosensitive epilepsy. The \
    rate stays under three flashes a second, but no rate is safe for everyone: who is sensitive should flip by hand.";

/// All of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "Stored")]
pub(crate) struct Preferences {
    /// Whom new records are by; empty for the name that the system gives.
    pub(crate) artist: String,
    /// The light theme instead of the dark one.
    pub(crate) light: bool,
    /// Within [`SCALES`].
    pub(crate) scale: u32,
    /// Within [`LETTERS`].
    pub(crate) letters: u32,
    /// Within [`MEMORY_MB`].
    pub(crate) memory_mb: u32,
    /// Within [`FLIP_RATES`].
    pub(crate) flip_rate: f32,
    /// Which keys run what.
    #[serde(serialize_with = "stored_keys")]
    pub(crate) keys: Keymap,
}

impl Default for Preferences {
    fn default() -> Self {
        Self {
            artist: String::new(),
            light: false,
            scale: 100,
            letters: 100,
            // About 30 scans of 2K.
            memory_mb: 1024,
            flip_rate: 1.5,
            keys: Keymap::default(),
        }
    }
}

fn stored_keys<S: Serializer>(keys: &Keymap, serializer: S) -> Result<S::Ok, S::Error> {
    keys.stored().serialize(serializer)
}

/// As read: what is missing, of another type or out of range is as it was in a new Besom, and nothing else is lost by it.
#[derive(Default, Deserialize)]
#[serde(default)]
struct Stored {
    #[serde(deserialize_with = "lenient")]
    artist: Option<String>,
    #[serde(deserialize_with = "lenient")]
    light: Option<bool>,
    #[serde(deserialize_with = "lenient")]
    scale: Option<u32>,
    #[serde(deserialize_with = "lenient")]
    letters: Option<u32>,
    #[serde(deserialize_with = "lenient")]
    memory_mb: Option<u32>,
    #[serde(deserialize_with = "lenient")]
    flip_rate: Option<f32>,
    #[serde(deserialize_with = "lenient_keys")]
    keys: BTreeMap<String, Vec<String>>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Either<T> {
    Good(T),
    Other(IgnoredAny),
}

impl<T> Either<T> {
    fn good(self) -> Option<T> {
        match self {
            Self::Good(value) => Some(value),
            Self::Other(_) => None,
        }
    }
}

/// The value if it is of its type, and nothing otherwise.
pub(crate) fn lenient<'de, D: Deserializer<'de>, T: Deserialize<'de>>(deserializer: D) -> Result<Option<T>, D::Error> {
    Ok(Either::deserialize(deserializer)?.good())
}

/// Each entry by itself: one that makes no sense takes no other with it.
fn lenient_keys<'de, D: Deserializer<'de>>(deserializer: D) -> Result<BTreeMap<String, Vec<String>>, D::Error> {
    let entries: Option<BTreeMap<String, Either<Vec<String>>>> = lenient(deserializer)?;
    let good = |(name, keys): (String, Either<Vec<String>>)| Some((name, keys.good()?));
    Ok(entries.unwrap_or_default().into_iter().filter_map(good).collect())
}

impl From<Stored> for Preferences {
    fn from(stored: Stored) -> Self {
        let usual = Self::default();
        let within = |value: Option<u32>, range: std::ops::RangeInclusive<u32>, usual: u32| {
            value.filter(|value| range.contains(value)).unwrap_or(usual)
        };
        Self {
            artist: stored.artist.unwrap_or_default().trim().to_owned(),
            light: stored.light.unwrap_or(usual.light),
            scale: within(stored.scale, SCALES, usual.scale),
            letters: within(stored.letters, LETTERS, usual.letters),
            memory_mb: within(stored.memory_mb, MEMORY_MB, usual.memory_mb),
            flip_rate: stored.flip_rate.filter(|rate| FLIP_RATES.contains(rate)).unwrap_or(usual.flip_rate),
            keys: Keymap::from_stored(&stored.keys),
        }
    }
}

impl Preferences {
    /// Bytes of decoded frames kept.
    pub(crate) const fn memory_bytes(&self) -> usize {
        self.memory_mb as usize * 1_000_000
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::action::Action;
    use egui::{Key, KeyboardShortcut, Modifiers};

    #[derive(Default)]
    struct Store(BTreeMap<String, String>);

    impl eframe::Storage for Store {
        fn get_string(&self, key: &str) -> Option<String> {
            self.0.get(key).cloned()
        }
        fn set_string(&mut self, key: &str, value: String) {
            self.0.insert(key.to_owned(), value);
        }
        fn remove_string(&mut self, key: &str) {
            self.0.remove(key);
        }
        fn flush(&mut self) {}
    }

    fn read(text: &str) -> Preferences {
        let mut store = Store::default();
        store.0.insert("p".to_owned(), text.to_owned());
        eframe::get_value(&store, "p").unwrap()
    }

    #[test]
    fn what_is_stored_is_read_back() {
        let mut preferences = Preferences {
            artist: "Mara O'Dell".to_owned(),
            light: true,
            scale: 150,
            letters: 110,
            memory_mb: 4096,
            flip_rate: 0.75,
            keys: Keymap::default(),
        };
        preferences.keys.give(Action::Accept, KeyboardShortcut::new(Modifiers::COMMAND, Key::J));
        let mut store = Store::default();
        eframe::set_value(&mut store, "p", &preferences);
        assert_eq!(eframe::get_value(&store, "p"), Some(preferences));
    }

    #[test]
    fn what_is_missing_unknown_or_nonsense_leaves_the_rest() {
        assert_eq!(read("()"), Preferences::default());
        let odd = read(
            r#"(artist: "  Ines ", light: "maybe", scale: 9000, letters: -3, flip_rate: 12.0, later: [1, (2, "x")],
                keys: {"Accept": ["J"], "Reject": 4, "Beyond": ["B"]}, memory_mb: 2048)"#,
        );
        let mut expected = Preferences { artist: "Ines".to_owned(), memory_mb: 2048, ..Preferences::default() };
        expected.keys.give(Action::Accept, KeyboardShortcut::new(Modifiers::NONE, Key::J));
        assert_eq!(odd, expected);
        assert_eq!(read(r#"(artist: 7, keys: "none")"#), Preferences::default());
    }

    #[test]
    fn no_rate_reaches_three_flashes_a_second() {
        assert!(*FLIP_RATES.end() < 3.0 && FLIP_RATES.contains(&Preferences::default().flip_rate));
        assert!(FLASH_CAUTION.contains("photosensitive"));
    }
}
