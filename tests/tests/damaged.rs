//! Damaged scans that a person chose to go on with, and candidate files that contradict each other.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;

use besom_reel::file::candidates;
use besom_reel::work::{self, Damaged, DetectOptions, RepairOptions, StartOptions};
use besom_reel::{Decision, Edit, Filter};
use besom_scan::Silent;
use besom_tests::{Road, sums};

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

#[test]
fn two_files_that_contradict_each_other_are_named_and_kept() {
    let road = Road::demo();
    let files = candidates::list(&road.reel()).unwrap();
    assert_eq!(files.len(), 1, "24 frames are one chunk");
    let mut part = candidates::read(&files[0]).unwrap();
    part.frames.truncate(6);
    part.last = part.frames.last().unwrap().0;
    candidates::write(&road.reel(), &part).unwrap();
    // A part that says the same is joined.
    let report = work::assemble(&road.reel(), &Silent).unwrap();
    assert_eq!((report.frames, report.chunks), (24, 1));
    assert_eq!(candidates::list(&road.reel()).unwrap(), files);

    let forgotten = part.frames.iter_mut().find(|(_, found)| !found.is_empty()).unwrap();
    let number = forgotten.0;
    forgotten.1.pop();
    let liar = candidates::write(&road.reel(), &part).unwrap();
    let folder = road.reel().join("candidates");
    let before = sums(&folder);
    let error = work::assemble(&road.reel(), &Silent).unwrap_err().to_string();
    let name = |path: &std::path::Path| path.file_name().unwrap().to_string_lossy().into_owned();
    assert!(
        error.contains(&name(&liar)) && error.contains(&name(&files[0])) && error.contains(&number.to_string()),
        "{error}"
    );
    assert_eq!(sums(&folder), before);
}

#[test]
fn another_setting_of_grain_makes_results_outdated() {
    let road = Road::demo();
    let files = candidates::list(&road.reel()).unwrap();
    let expected = sums(&road.reel().join("candidates"));
    let mut chunk = candidates::read(&files[0]).unwrap();
    // As a Besom with other settings would have left it.
    chunk.fingerprint[0] ^= 1;
    chunk.frames[3].1.clear();
    candidates::write(&road.reel(), &chunk).unwrap();
    let error = work::assemble(&road.reel(), &Silent).unwrap_err().to_string();
    assert!(error.contains("86400-86423") && error.contains("present settings"), "{error}");
    let report = work::detect(&road.reel(), &DetectOptions::default(), &Silent).unwrap();
    assert_eq!((report.frames, report.kept), (24, 0));
    let found = candidates::read(&candidates::list(&road.reel()).unwrap()[0]).unwrap();
    assert_eq!(found.generation, chunk.generation + 1, "newer results are told from older ones");
    assert_ne!(sums(&road.reel().join("candidates")), expected, "but for the generation they are the same:");
    let again = candidates::Chunk { generation: chunk.generation, ..found };
    candidates::write(&road.reel(), &again).unwrap();
    assert_eq!(sums(&road.reel().join("candidates")), expected);
}
