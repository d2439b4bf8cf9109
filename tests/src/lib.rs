//! Helpers for the whole-road tests: the demo reel in private folders, taken through the library as the commands and the
//! window take it.
//!
//! Files go through the same functions as in the program; only the process around them is missing. The program itself is
//! driven by the tests of the crate `besom`.
#![forbid(unsafe_code)]
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use besom_proof::demo::{self, Parts, Settings};
use besom_reel::Reel;
use besom_reel::work::{self, DetectOptions, StartOptions};
use besom_scan::Silent;
use besom_scan::verify::sha256;
use tempfile::TempDir;

/// A reel in a folder that is gone at the end of the test.
pub struct Road {
    folder: TempDir,
}

/// The folder with the demo reel's scans: the committed ones.
///
/// # Panics
/// When the repository holds no demo frames.
pub fn demo_frames() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-frames");
    assert!(folder.join("skerry_r2.0086400.dpx").exists(), "there are no demo frames in {}", folder.display());
    folder
}

/// The demo reel started and detected, made once for all tests of a program and then copied.
fn detected() -> &'static TempDir {
    static DETECTED: OnceLock<TempDir> = OnceLock::new();
    DETECTED.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let (scans, reel) = (folder.path().join("scans"), folder.path().join("R.besom"));
        fs::create_dir(&scans).unwrap();
        for name in sums(&demo_frames()).into_keys().filter(|name| name.starts_with("skerry_r2.")) {
            fs::copy(demo_frames().join(&name), scans.join(&name)).unwrap();
        }
        work::start(&scans, &reel, &StartOptions::default(), &Silent).unwrap();
        work::detect(&reel, &DetectOptions::default(), &Silent).unwrap();
        folder
    })
}

impl Road {
    /// An empty folder.
    pub fn empty() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// The demo reel, started and detected.
    pub fn demo() -> Self {
        let road = Self::empty();
        copy(&detected().path().join("scans"), &road.scans());
        copy(&detected().path().join("R.besom"), &road.reel());
        road
    }

    /// A smaller demo reel with its clean pictures and its truth, rendered: the folders `scans`, `clean`, `truth` and
    /// `belongs`.
    pub fn rendered(width: usize, height: usize, frames: usize, seed: u64) -> Self {
        let road = Self::empty();
        let settings = Settings { width, height, frames, seed };
        assert_eq!(demo::write(road.path(), &settings, Parts::Clip, &Silent).unwrap(), frames);
        road
    }

    /// The folder everything is in.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The scans.
    pub fn scans(&self) -> PathBuf {
        self.path().join("scans")
    }

    /// The reel folder.
    pub fn reel(&self) -> PathBuf {
        self.path().join("R.besom")
    }

    /// The folder of repaired frames.
    pub fn out(&self) -> PathBuf {
        self.path().join("out")
    }

    /// The reel, opened by an invented artist.
    pub fn open(&self) -> Reel {
        Reel::open(&self.reel(), "Ines").unwrap()
    }
}

/// Every file of a folder, by its name, with its checksum.
pub fn sums(folder: &Path) -> BTreeMap<String, String> {
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_file());
    files
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), sha256(&fs::read(&path).unwrap())))
        .collect()
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &target);
        } else {
            fs::copy(&path, &target).unwrap();
        }
    }
}
