//! What the window remembers between sessions. Nothing of a reel is kept here: a reel's own folder holds that.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

/// Under which name the settings are stored.
pub(super) const KEY: &str = "besom";
/// Reels remembered.
const MOST_RECENT: usize = 12;

/// A reel that was open.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Recent {
    /// Its folder.
    pub(crate) folder: PathBuf,
    /// The scan one was at.
    pub(crate) frame: u64,
}

/// What is remembered.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Settings {
    /// Newest first.
    pub(crate) recent: Vec<Recent>,
}

impl Settings {
    /// What was stored, or nothing.
    pub(crate) fn load(storage: Option<&dyn eframe::Storage>) -> Self {
        storage.and_then(|s| eframe::get_value(s, KEY)).unwrap_or_default()
    }

    /// Moves a reel to the top of the list.
    pub(super) fn remember(&mut self, folder: &Path, frame: u64) {
        self.forget(folder);
        self.recent.insert(0, Recent { folder: folder.to_owned(), frame });
        self.recent.truncate(MOST_RECENT);
    }

    /// Takes a reel off the list.
    pub(super) fn forget(&mut self, folder: &Path) {
        self.recent.retain(|r| r.folder != folder);
    }

    /// Where one was in a reel.
    pub(super) fn frame(&self, folder: &Path) -> Option<u64> {
        self.recent.iter().find(|r| r.folder == folder).map(|r| r.frame)
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
        assert_eq!(settings.frame(Path::new("reel 12")), Some(99));
        settings.forget(Path::new("reel 12"));
        assert_eq!(settings.frame(Path::new("reel 12")), None);
    }
}
