//! A frame that is lost whole, accepted by a person and rebuilt from the frames around it.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;

use besom_detect::Kind;
use besom_reel::work::{self, DetectOptions, RepairOptions, StartOptions};
use besom_reel::{Decision, Edit, Filter};
use besom_scan::dpx::{Facts, encode};
use besom_scan::{Plane, Samples, Scan, Silent};
use besom_tests::Road;

/// Root-mean-square difference of two pictures, all channels, in codes.
fn apart(a: &[Plane], b: &[Plane]) -> f64 {
    let squares = a.iter().zip(b).flat_map(|(a, b)| a.as_slice().iter().zip(b.as_slice()));
    let (sum, count) = squares.fold((0.0, 0.0), |(s, c), (a, b)| (s + f64::from(a - b).powi(2), c + 1.0));
    (sum / count).sqrt()
}

fn planes(path: &std::path::Path) -> Vec<Plane> {
    Scan::read(path).unwrap().frame().analysis()
}

#[test]
fn a_lost_frame_is_rebuilt_from_both_sides_and_nobody_copies_from_it() {
    let road = Road::rendered(384, 288, 24, 7);
    let name = |number: u64| format!("skerry_r2.{number:07}.dpx");
    // In the last shot, hands at a winch: things move, and mostly as one. On glitter and flags both neighbours mixed come nearer.
    let lost = 86_421;
    let mut frame = Scan::read(&road.scans().join(name(lost))).unwrap().frame().clone();
    let Samples::U16(samples) = &mut frame.samples else { panic!("the demo reel has 10 bits") };
    samples.iter_mut().enumerate().for_each(|(i, v)| *v = 60 + (i * 7919 % 13) as u16);
    fs::write(road.scans().join(name(lost)), encode(&frame, true, &Facts::default())).unwrap();

    work::start(&road.scans(), &road.reel(), &StartOptions::default(), &Silent).unwrap();
    work::detect(&road.reel(), &DetectOptions::default(), &Silent).unwrap();
    let mut reel = road.open();
    let whole = Filter {
        kind: Some(Kind::Frame),
        frames: Some(lost..=lost),
        min_confidence: Some(0.05),
        include_at_risk: true,
        ..Filter::default()
    };
    let receipt = reel.record(Edit::Rule { decision: Decision::Accepted, filter: whole }).unwrap();
    assert_eq!(receipt.matched, 1, "the survey sees that the frame is lost");
    let others = Filter { include_at_risk: true, min_confidence: Some(0.5), ..Filter::default() };
    reel.record(Edit::Rule { decision: Decision::Accepted, filter: others }).unwrap();
    work::repair(&road.reel(), &road.out(), &RepairOptions::default(), &Silent).unwrap();
    let verified = work::verify(&road.reel(), &road.out(), &Silent).unwrap();
    assert_eq!(verified.first_offence, None);

    let record = work::RepairRecord::read(&road.reel()).unwrap();
    let rebuilt = record.frames[&lost].iter().find(|e| e.kind == Kind::Frame.word()).unwrap();
    assert!(rebuilt.sources.contains(&(lost - 1)) && rebuilt.sources.contains(&(lost + 1)), "{:?}", rebuilt.sources);
    let beside: Vec<_> = record.frames.iter().filter(|(n, _)| **n != lost).flat_map(|(_, entries)| entries).collect();
    assert!(beside.len() > 20 && beside.iter().all(|e| !e.sources.contains(&lost)));

    let clean = |number: u64| planes(&road.path().join("clean").join(name(number)));
    let truth = clean(lost);
    let error = apart(&planes(&road.out().join(name(lost))), &truth);
    // A frame held for the lost one, and both neighbours mixed, are what one does without motion; common practice.
    let (before, after) = (clean(lost - 1), clean(lost + 1));
    let mixed: Vec<Plane> = before
        .iter()
        .zip(&after)
        .map(|(a, b)| Plane::from_fn(a.width(), a.height(), |x, y| f32::midpoint(a.at(x, y), b.at(x, y))))
        .collect();
    let (held, mixed) = (apart(&before, &truth), apart(&mixed, &truth));
    assert!(error < 0.9 * mixed && error < 0.9 * held, "rebuilt {error}, mixed {mixed}, held {held}");
}
