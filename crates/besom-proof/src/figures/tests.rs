//! Counts and rows worked out by hand.
#![allow(clippy::unwrap_used)]

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_scan::{Plane, Rect, RunMask};

use super::*;
use crate::ageing::{DUST, LINE};
use crate::score::Detection;

fn candidate(rect: Rect, kind: Kind, confidence: f32, fast_motion: bool) -> Candidate {
    Candidate {
        mask: RunMask::from_rect(&rect),
        kind,
        polarity: Polarity::Dark,
        confidence,
        risk: Risk { fast_motion, ..Risk::default() },
        origin: Origin::Film,
        peak: 9.0,
        reasons: Vec::new(),
    }
}

/// Dust of 36 pixels at (10, 10), a line at x = 40.
fn truth() -> Plane<u8> {
    Plane::from_fn(60, 50, |x, y| {
        let dust = (10..16).contains(&x) && (10..16).contains(&y);
        if dust {
            DUST
        } else if x == 40 {
            LINE
        } else {
            0
        }
    })
}

#[test]
fn a_frame_is_counted_as_it_looks() {
    let found = [
        candidate(Rect::new(10, 10, 14, 16), Kind::Dust, 0.9, false),
        candidate(Rect::new(25, 30, 28, 33), Kind::Dust, 0.5, true),
        candidate(Rect::new(50, 0, 51, 50), Kind::Line, 0.4, false),
        candidate(Rect::new(40, 0, 41, 20), Kind::Line, 0.6, false),
        // Below the sensitivity, and the whole frame.
        candidate(Rect::new(3, 40, 6, 43), Kind::Dust, 0.1, false),
        candidate(Rect::new(0, 0, 60, 50), Kind::Frame, 0.9, false),
    ];
    let tally = Tally::of_frame(&truth(), &found, 0.2, true);
    assert_eq!((tally.all.dust.found, tally.all.dust.all, tally.all.large_dust.found), (1, 1, 1));
    // 20 of the line's 50 pixels are covered.
    assert_eq!((tally.all.line.found, tally.all.line.all), (1, 1));
    assert_eq!((tally.all.claims, tally.all.false_claims), (4, 2));
    assert_eq!((tally.calm.claims, tally.calm.false_claims), (3, 1));
    assert_eq!(tally.lines, (2, 1));
    let counts: Vec<u64> = tally.reliability.bins().iter().map(|b| b.count).collect();
    assert_eq!(counts, [0, 1, 0, 0, 1, 1, 1, 0, 0, 1]);
    // At 0.2 the curve is what was counted.
    let (at, all) = (&tally.curve[3], &tally.all);
    assert_eq!((at.dust, at.claims, at.false_claims, at.pixels), (all.dust, all.claims, all.false_claims, all.pixels));
    assert_eq!(Tally::of_frame(&truth(), &found, 0.2, false).curve[3], Detection::default());
    // At 0.05 the weak speck counts too; at 0.6 only the two best are left.
    assert_eq!((tally.curve[0].claims, tally.curve[7].claims, tally.curve[7].false_claims), (5, 2, 0));
}

fn counted(clip: &str, set: Set, found: u64, all: u64, false_claims: u64) -> Counted {
    let mut tally = Tally::default();
    tally.all.dust.found = found;
    tally.all.dust.all = all;
    tally.all.claims = found + false_claims;
    tally.all.false_claims = false_claims;
    tally.all.pixels = 500_000;
    tally.all.frames = 1;
    Counted { clip: clip.to_owned(), set, tally, seconds: 1.0 }
}

#[test]
fn rows_are_means_of_clips_and_name_the_worst() {
    let all = [
        counted("buoy", Set::Light, 8, 10, 0),
        counted("buoy", Set::Heavy, 60, 100, 20),
        counted("lamp", Set::Light, 9, 10, 1),
        counted("buoy", Set::LightUnsteady, 7, 10, 0),
        counted("buoy", Set::HeavyUnsteady, 60, 100, 60),
        counted("lamp", Set::Undamaged, 0, 0, 3),
        counted("buoy", Set::Undamaged, 0, 0, 1),
    ];
    let summary = Summary::of(&all);
    let row = |name: &str| summary.rows.iter().find(|r| r.name == name).unwrap();
    let recall = row("dust recall");
    // Buoy: 0.7; lamp: 0.9.
    approx::assert_abs_diff_eq!(recall.mean.unwrap(), 0.8, epsilon = 1e-9);
    assert_eq!(recall.worst.as_ref().unwrap().1, "buoy");
    approx::assert_abs_diff_eq!(recall.pooled.unwrap(), 77.0 / 120.0, epsilon = 1e-9);
    // False a frame and megapixel: 6 and 2.
    let clean = row("undamaged: false a frame and Mpx");
    approx::assert_abs_diff_eq!(clean.mean.unwrap(), 4.0, epsilon = 1e-9);
    assert_eq!(clean.worst.as_ref().unwrap().1, "lamp");
    // Only buoy is unsteady: 0.7 becomes 0.65, its precision (1 + 0.75) / 2 becomes (1 + 0.5) / 2.
    approx::assert_abs_diff_eq!(row("flicker 3 %, weave 1.5 px: loss of recall").mean.unwrap(), 0.05, epsilon = 1e-9);
    let lost = row("flicker 3 %, weave 1.5 px: loss of precision");
    approx::assert_abs_diff_eq!(lost.mean.unwrap(), 0.125, epsilon = 1e-9);
    assert!(summary.rows.iter().all(|r| !r.name.starts_with("grain 14")), "no such films were given");
    let text = summary.text();
    assert!(text.lines().any(|l| l.starts_with("dust recall") && l.contains("MISSED")), "{text}");
    assert_eq!(row("hair recall").mean, None, "there were no hairs");
}

#[test]
fn seeds_are_the_published_hash() {
    // Test vectors of FNV-1a, 32 bits (from memory).
    assert_eq!(seed_of(""), 0x811C_9DC5);
    assert_eq!(seed_of("a"), 0xE40C_292C);
    assert_eq!(seed_of("foobar"), 0xBF9C_F968);
}
