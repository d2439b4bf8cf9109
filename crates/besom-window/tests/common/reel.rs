//! A small reel in a private folder: six frames of a slanted ramp with grain, and specks in some of them.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc, dead_code, unreachable_pub)]

use std::path::{Path, PathBuf};

use besom_detect::Candidate;
use besom_reel::file::candidates::{self, Chunk};
use besom_reel::work::{self, DetectOptions, StartOptions};
use besom_scan::{Encoding, Frame, Samples, Silent, Transfer, dpx};

/// Frames of the reel, numbered from [`FIRST`].
pub const FRAMES: u64 = 6;
/// Number of the first scan.
pub const FIRST: u64 = 100;
/// Specks: frame, left, top, side.
pub const SPECKS: [(u64, usize, usize, usize); 7] = [
    (101, 20, 20, 4),
    (101, 60, 44, 3),
    (102, 40, 30, 5),
    (103, 70, 16, 4),
    (103, 24, 50, 4),
    (103, 48, 12, 3),
    (104, 30, 40, 4),
];

/// A hash that looks like grain: the same for everyone who asks for the same place.
fn grain(frame: u64, place: usize) -> i32 {
    let mut v = frame.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (place as u64).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    v ^= v >> 31;
    v = v.wrapping_mul(0x94D0_49BB_1331_11EB);
    v ^= v >> 29;
    (v % 9) as i32 - 4
}

fn scan(number: u64, width: usize, height: usize) -> Frame {
    let mut samples = Vec::with_capacity(width * height * 3);
    for y in 0..height {
        for x in 0..width {
            let wave = ((x as f32 * 0.21).sin() + (y as f32 * 0.17).cos()) * 40.0;
            let speck = SPECKS.iter().any(|(frame, left, top, side)| {
                *frame == number && (*left..left + side).contains(&x) && (*top..top + side).contains(&y)
            });
            for channel in 0..3 {
                let base = 380.0 + x as f32 + wave + channel as f32 * 15.0;
                let code = if speck { 96 } else { base as i32 + grain(number * 3 + channel as u64, y * width + x) };
                samples.push(code.clamp(0, 1023) as u16);
            }
        }
    }
    let encoding = Encoding { bits: 10, transfer: Transfer::PrintingDensity };
    Frame { width, height, channels: 3, samples: Samples::U16(samples), encoding }
}

/// Writes the scans into `folder`/scans and answers with that path.
pub fn scans(folder: &Path) -> PathBuf {
    let scans = folder.join("scans");
    std::fs::create_dir(&scans).unwrap();
    for number in FIRST..FIRST + FRAMES {
        let bytes = dpx::encode(&scan(number, 96, 72), true, &dpx::Facts::default());
        std::fs::write(scans.join(format!("skerry.{number:05}.dpx")), bytes).unwrap();
    }
    scans
}

/// A reel that was surveyed and searched.
pub fn reel(folder: &Path) -> PathBuf {
    let reel = folder.join("Skerry test.besom");
    work::start(&scans(folder), &reel, &StartOptions::default(), &Silent).unwrap();
    work::detect(&reel, &DetectOptions::default(), &Silent).unwrap();
    reel
}

/// Makes the reel folder of the same scans with these candidates on each frame, instead of searching them, and answers
/// with its path.
pub fn reel_with(folder: &Path, of_frame: impl Fn(u64) -> Vec<Candidate>) -> PathBuf {
    let reel = folder.join("Skerry test.besom");
    work::start(&scans(folder), &reel, &StartOptions::default(), &Silent).unwrap();
    let frames = (FIRST..FIRST + FRAMES).map(|n| (n, of_frame(n))).collect();
    let (first, last) = (FIRST, FIRST + FRAMES - 1);
    let chunk = Chunk { generation: 1, fingerprint: [3; 32], width: 96, height: 72, first, last, frames };
    candidates::write(&reel, &chunk).unwrap();
    reel
}
