//! A reel with damaged scans that a person chose to start all the same.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;

use besom_reel::work::{self, Damaged, DetectOptions, RepairOptions, StartOptions};
use besom_reel::{Decision, Edit, Filter};
use besom_scan::Silent;
use besom_tests::Road;

#[test]
fn neighbours_do_without_a_damaged_scan() {
    let road = Road::rendered(192, 144, 18, 7);
    let path = |number: u64| road.scans().join(format!("skerry_r2.{number:07}.dpx"));
    let whole = fs::read(path(86_404)).unwrap();
    fs::write(path(86_404), &whole[..whole.len() - 1000]).unwrap();
    let other = Road::rendered(96, 72, 6, 7);
    fs::copy(other.scans().join("skerry_r2.0086402.dpx"), path(86_410)).unwrap();

    let refused = work::start(&road.scans(), &road.reel(), &StartOptions::default(), &Silent).unwrap_err();
    assert!(refused.to_string().contains("0086404.dpx") && refused.to_string().contains("2 of 18"), "{refused}");
    assert!(!road.reel().exists());

    let options = StartOptions { damaged: Damaged::LeaveOut, ..StartOptions::default() };
    let report = work::start(&road.scans(), &road.reel(), &options, &Silent).unwrap();
    let named: Vec<_> = report.info.problems.iter().map(|p| (p.frame, p.text.as_str())).collect();
    assert_eq!(named.len(), 2, "{named:?}");
    assert!(named[0].0 == Some(86_404) && named[0].1.contains("ends before"), "{named:?}");
    assert!(named[1].0 == Some(86_410) && named[1].1.contains("96x72"), "{named:?}");

    let found = work::detect(&road.reel(), &DetectOptions::default(), &Silent).unwrap();
    assert_eq!((found.frames, found.left_out.len(), found.unreadable.len()), (16, 2, 0));
    let mut reel = road.open();
    assert!(!reel.detected(86_404) && reel.detected(86_403) && reel.detected(86_405));
    let everything = Filter { include_at_risk: true, ..Filter::default() };
    reel.record(Edit::Rule { decision: Decision::Accepted, filter: everything }).unwrap();
    assert!(!reel.accepted(86_405).is_empty(), "the frame beside the damaged one is repaired from the other side");
    let repaired = work::repair(&road.reel(), &road.out(), &RepairOptions::default(), &Silent).unwrap();
    assert_eq!(repaired.frames, 18);
    for number in [86_404, 86_410] {
        let name = path(number).file_name().unwrap().to_owned();
        assert_eq!(
            fs::read(road.out().join(name)).unwrap(),
            fs::read(path(number)).unwrap(),
            "{number} is copied as it is"
        );
    }
    let verified = work::verify(&road.reel(), &road.out(), &Silent).unwrap();
    assert_eq!((verified.first_offence, verified.frames), (None, 18));
    // No fill was taken from a damaged scan.
    let record = work::RepairRecord::read(&road.reel()).unwrap();
    assert!(record.frames.values().flatten().flat_map(|e| &e.sources).all(|s| ![86_404, 86_410].contains(s)));
}
