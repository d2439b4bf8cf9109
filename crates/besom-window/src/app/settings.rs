//! What the window remembers between sessions. Nothing of a reel is kept here: a reel's own folder holds that.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::picture::view::Framing;
use crate::preferences::Preferences;

/// Under which name the settings are stored.
const KEY: &str = "besom";
/// Under which name the preferences are: apart, so that neither can spoil the other.
const PREFERENCES: &str = "preferences";
/// Reels remembered.
const MOST_RECENT: usize = 12;

/// A reel that was open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Recent {
    /// Its folder.
    pub(crate) folder: PathBuf,
    /// The scan one was at.
    pub(crate) frame: u64,
    /// How it was left.
    #[serde(default)]
    pub(crate) left: Left,
}

/// How a reel was left, beyond the frame.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Left {
    /// The room, by its word; empty when none was entered.
    pub(crate) room: String,
    /// The candidate in hand, by its place in the frame.
    pub(crate) hand: Option<u32>,
    /// The list went from top to bottom, and not by risk and size.
    pub(crate) top_to_bottom: bool,
    /// How the frame lay on the Bench.
    pub(crate) framing: Framing,
}

/// What is remembered.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Settings {
    /// Newest first.
    pub(crate) recent: Vec<Recent>,
    /// The reel that was on the desk when the window was closed.
    pub(crate) open: Option<PathBuf>,
    /// Kept apart.
    #[serde(skip)]
    pub(crate) preferences: Preferences,
}

impl Settings {
    /// What was stored, or nothing.
    pub(crate) fn load(storage: Option<&dyn eframe::Storage>) -> Self {
        let Some(storage) = storage else { return Self::default() };
        let settings: Self = eframe::get_value(storage, KEY).unwrap_or_default();
        Self { preferences: eframe::get_value(storage, PREFERENCES).unwrap_or_default(), ..settings }
    }

    /// Hands everything over to be stored.
    pub(super) fn save(&self, storage: &mut dyn eframe::Storage) {
        eframe::set_value(storage, KEY, self);
        eframe::set_value(storage, PREFERENCES, &self.preferences);
    }

    /// Moves a reel to the top of the list.
    pub(super) fn remember(&mut self, folder: &Path, frame: u64) {
        let left = self.of(folder).map(|recent| recent.left.clone()).unwrap_or_default();
        self.forget(folder);
        self.recent.insert(0, Recent { folder: folder.to_owned(), frame, left });
        self.recent.truncate(MOST_RECENT);
    }

    /// Takes a reel off the list.
    pub(super) fn forget(&mut self, folder: &Path) {
        self.recent.retain(|r| r.folder != folder);
    }

    /// What is remembered of a reel.
    pub(super) fn of(&self, folder: &Path) -> Option<&Recent> {
        self.recent.iter().find(|r| r.folder == folder)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_reel_stands_first_and_once() {
        let mut settings = Settings::default();
        for i in 0..20u64 {
            settings.remember(Path::new(&format!("reel {i}")), i);
        }
        settings.remember(Path::new("reel 12"), 99);
        assert_eq!(settings.recent.len(), MOST_RECENT);
        assert_eq!(settings.recent[0].folder, Path::new("reel 12"));
        assert_eq!(settings.of(Path::new("reel 12")).map(|r| r.frame), Some(99));
        settings.forget(Path::new("reel 12"));
        assert_eq!(settings.of(Path::new("reel 12")), None);
    }
}
