//! A private folder with a small invented reel in it, and the real program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use besom_scan::dpx::{Facts, encode};
use besom_scan::verify::sha256;
use besom_scan::{Encoding, Frame, Samples, Transfer};
use tempfile::TempDir;

/// Size of the invented scans.
pub(crate) const WIDTH: usize = 160;
pub(crate) const HEIGHT: usize = 120;
/// Number of the first scan.
pub(crate) const FIRST: u64 = 86_400;

/// A folder that is gone at the end of the test.
pub(crate) struct Bench {
    folder: TempDir,
}

/// What a command left behind.
pub(crate) struct Answer {
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Answer {
    /// The one JSON object on standard output.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|e| panic!("{e}: {:?} {:?}", self.stdout, self.stderr))
    }

    /// The command failed with exactly one sentence that holds all these words.
    #[track_caller]
    pub(crate) fn refuses(&self, words: &[&str]) {
        assert_eq!(self.code, 1, "stdout {:?} stderr {:?}", self.stdout, self.stderr);
        assert_eq!(self.stderr.lines().count(), 1, "one sentence: {:?}", self.stderr);
        for word in words {
            assert!(self.stderr.contains(word), "{word:?} is missing in {:?}", self.stderr);
        }
        assert!(!self.stderr.contains("panicked"), "{:?}", self.stderr);
    }

    #[track_caller]
    pub(crate) fn succeeds(self) -> Self {
        assert_eq!(self.code, 0, "stdout {:?} stderr {:?}", self.stdout, self.stderr);
        self
    }
}

impl From<Output> for Answer {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

impl Bench {
    /// An empty folder.
    pub(crate) fn empty() -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        fs::create_dir(bench.scans()).unwrap();
        bench
    }

    /// A folder with `count` scans of an invented shot.
    pub(crate) fn with_scans(count: u64) -> Self {
        let bench = Self::empty();
        for number in 0..count {
            fs::write(bench.scan(FIRST + number), dpx(&picture(number, WIDTH, HEIGHT))).unwrap();
        }
        bench
    }

    /// The same with the reel started and detected.
    pub(crate) fn detected(count: u64) -> Self {
        let bench = Self::with_scans(count);
        bench.start().succeeds();
        bench.run(&["detect", "R.besom"]).succeeds();
        bench
    }

    /// The same with everything found accepted.
    pub(crate) fn accepted(count: u64) -> Self {
        let bench = Self::detected(count);
        bench.run(&["decide", "R.besom", "accept", "--include-at-risk", "--artist", "Ines"]).succeeds();
        bench
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn scans(&self) -> PathBuf {
        self.path("scans")
    }

    pub(crate) fn scan(&self, number: u64) -> PathBuf {
        self.scans().join(name(number))
    }

    pub(crate) fn start(&self) -> Answer {
        self.run(&["start", "scans", "--reel", "R.besom"])
    }

    /// Runs the program in the folder, without a display.
    pub(crate) fn run(&self, arguments: &[&str]) -> Answer {
        self.command(arguments).output().unwrap().into()
    }

    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_besom"));
        command.args(arguments).current_dir(self.folder.path());
        command.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY").env_remove("WAYLAND_SOCKET");
        command
    }

    /// Every file of a folder with its checksum.
    pub(crate) fn sums(&self, name: &str) -> BTreeMap<PathBuf, String> {
        let mut sums = BTreeMap::new();
        collect(&self.path(name), &mut sums);
        sums
    }
}

fn collect(folder: &Path, sums: &mut BTreeMap<PathBuf, String>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, sums);
        } else {
            sums.insert(path.clone(), sha256(&fs::read(&path).unwrap()));
        }
    }
}

/// File name of a scan.
pub(crate) fn name(number: u64) -> String {
    format!("skerry_{number:07}.dpx")
}

/// A picture as a 10-bit big-endian DPX file.
pub(crate) fn dpx(frame: &Frame) -> Vec<u8> {
    encode(frame, true, &Facts { project: "Lamps of Skerry Point".into(), frame_rate: Some(24.0), ..Facts::default() })
}

/// A deterministic value from -1 to 1 for a lattice point.
fn noise(x: usize, y: usize, z: u64) -> f32 {
    let mut h = (x as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (y as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
        ^ z.wrapping_mul(0x1656_67B1_9E37_79F9);
    h ^= h >> 29;
    h = h.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h ^= h >> 32;
    (h & 0xFFFF) as f32 / 32768.0 - 1.0
}

/// Specks of one frame: column, row, radius, change in codes.
fn specks(time: u64) -> [(f32, f32, f32, f32); 3] {
    let at =
        |k: u64| (20.0 + 60.0 * (1.0 + noise(1, 1, 7 * time + k)), 15.0 + 45.0 * (1.0 + noise(2, 2, 7 * time + k)));
    let ((ax, ay), (bx, by), (cx, cy)) = (at(1), at(2), at(3));
    [(ax, ay, 3.0, -260.0), (bx, by, 2.2, 300.0), (cx, cy, 4.0, -220.0)]
}

/// A grey-green sea wall that moves slowly, with grain and three specks of dust.
pub(crate) fn picture(time: u64, width: usize, height: usize) -> Frame {
    let mut samples = Vec::with_capacity(width * height * 3);
    let shift = time as f32 * 0.7;
    for y in 0..height {
        for x in 0..width {
            let (u, v) = (x as f32 + shift, y as f32);
            let wall = 430.0 + 70.0 * (u * 0.13).sin() * (v * 0.09).cos() + 40.0 * ((u + 2.0 * v) * 0.31).sin();
            let dust: f32 = specks(time)
                .into_iter()
                .filter(|(cx, cy, r, _)| (x as f32 - cx).hypot(v - cy) < *r)
                .map(|(_, _, _, change)| change)
                .sum();
            for channel in 0..3 {
                let grain = 6.0 * noise(x, y * 3 + channel, time);
                samples.push((wall + dust + grain + 15.0 * channel as f32).clamp(0.0, 1023.0) as u16);
            }
        }
    }
    let encoding = Encoding { bits: 10, transfer: Transfer::PrintingDensity };
    Frame { width, height, channels: 3, samples: Samples::U16(samples), encoding }
}
