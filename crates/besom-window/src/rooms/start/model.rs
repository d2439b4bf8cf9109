//! The fields of the first screen.

use std::path::{Path, PathBuf};

/// What is typed.
#[derive(Default)]
pub(crate) struct Start {
    /// Where the scans are.
    pub(crate) scans: String,
    /// Where the new reel folder goes.
    pub(crate) new_reel: String,
    /// A reel folder to open.
    pub(crate) reel: String,
    /// What was last suggested for the new reel folder; typed text is never overwritten.
    suggested: String,
}

impl Start {
    /// Puts scans into the field and suggests a reel folder for them.
    pub(crate) fn set_scans(&mut self, path: &Path) {
        self.scans = path.display().to_string();
        self.suggest();
    }

    /// Puts a folder that a dialog brought where it belongs: a reel folder to open, or where a new one goes.
    pub(crate) fn set_reel(&mut self, path: &Path) {
        if crate::app::reel_folder(path).is_some() {
            self.reel = path.display().to_string();
        } else {
            let name = Path::new(&self.new_reel).file_name().unwrap_or("reel.besom".as_ref()).to_owned();
            self.new_reel = path.join(name).display().to_string();
        }
    }

    /// Suggests a reel folder beside the scans' folder, unless another was typed.
    pub(crate) fn suggest(&mut self) {
        if self.new_reel != self.suggested {
            return;
        }
        self.new_reel = suggestion(Path::new(self.scans.trim())).map(|p| p.display().to_string()).unwrap_or_default();
        self.suggested.clone_from(&self.new_reel);
    }

    /// True when there is enough to begin.
    pub(crate) fn ready(&self) -> bool {
        !self.scans.trim().is_empty() && !self.new_reel.trim().is_empty()
    }

    pub(crate) fn scans_path(&self) -> PathBuf {
        PathBuf::from(self.scans.trim())
    }

    pub(crate) fn reel_path(&self) -> PathBuf {
        PathBuf::from(self.new_reel.trim())
    }
}

/// A folder beside the scans' folder, named after it. Never inside: nothing is written into a folder of scans.
fn suggestion(scans: &Path) -> Option<PathBuf> {
    let file = scans.extension().is_some() || scans.to_string_lossy().contains(['#', '%']);
    let folder = if file { scans.parent()? } else { scans };
    let name = folder.file_name()?.to_string_lossy().into_owned();
    Some(folder.with_file_name(format!("{name}.besom")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reel_folder_is_suggested_beside_the_scans() {
        let cases = [
            ("jobs/skerry 2", "jobs/skerry 2.besom"),
            ("jobs/skerry/s.0001.dpx", "jobs/skerry.besom"),
            ("jobs/skerry/s.####.dpx", "jobs/skerry.besom"),
        ];
        for (scans, reel) in cases {
            assert_eq!(suggestion(Path::new(scans)).as_deref(), Some(Path::new(reel)));
        }
        assert_eq!(suggestion(Path::new("")), None);
    }

    #[test]
    fn what_was_typed_stays() {
        let mut start = Start::default();
        start.set_scans(Path::new("jobs/a"));
        start.set_scans(Path::new("jobs/b"));
        assert_eq!(start.new_reel, "jobs/b.besom");
        start.new_reel = "elsewhere/mine.besom".to_owned();
        start.set_scans(Path::new("jobs/c"));
        assert_eq!(start.new_reel, "elsewhere/mine.besom");
    }
}
