//! The road against the truth: a rendered reel whose clean pictures are known.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;

use besom_reel::work::{self, DetectOptions, RepairOptions, StartOptions};
use besom_reel::{Decision, Edit, Filter};
use besom_scan::{Scan, Silent};
use besom_tests::Road;

/// Mean squared distance from the clean picture over the pixels that truth or repair names, before and after.
#[test]
fn a_swept_reel_is_nearer_to_the_clean_one() {
    let road = Road::rendered(384, 288, 15, 1961);
    work::start(&road.scans(), &road.reel(), &StartOptions::default(), &Silent).unwrap();
    work::detect(&road.reel(), &DetectOptions::default(), &Silent).unwrap();
    let mut reel = road.open();
    let everything = Filter { include_at_risk: true, ..Filter::default() };
    reel.record(Edit::Rule { decision: Decision::Accepted, filter: everything }).unwrap();
    work::repair(&road.reel(), &road.out(), &RepairOptions::default(), &Silent).unwrap();
    let record = work::RepairRecord::read(&road.reel()).unwrap();
    let (mut before, mut after, mut count) = (0.0f64, 0.0f64, 0u64);
    for frame in reel.frames() {
        let name = frame.path.file_name().unwrap();
        let read = |folder: &str| Scan::read(&road.path().join(folder).join(name)).unwrap();
        let (dirty, clean, swept) = (read("scans"), read("clean"), read("out"));
        let truth = Scan::read(&road.path().join("truth").join(name).with_extension("png")).unwrap();
        let mut pixels: BTreeSet<(u32, u32)> =
            record.frames[&frame.number].iter().flat_map(|e| e.mask.pixels()).collect();
        for (y, x) in (0..288u32).flat_map(|y| (0..384u32).map(move |x| (y, x))) {
            if truth.frame().native_bits(x as usize, y as usize, 0) != 0 {
                pixels.insert((x, y));
            }
        }
        for (x, y) in pixels {
            for channel in 0..3 {
                let code = |scan: &Scan| f64::from(scan.frame().native_bits(x as usize, y as usize, channel));
                before += (code(&dirty) - code(&clean)).powi(2);
                after += (code(&swept) - code(&clean)).powi(2);
                count += 1;
            }
        }
    }
    let (before, after) = ((before / count as f64).sqrt(), (after / count as f64).sqrt());
    assert!(after < 0.6 * before, "root mean square error {before:.1} codes before, {after:.1} after");
}
