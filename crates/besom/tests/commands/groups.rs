//! `besom groups` and `besom decide --group`: what belongs together is named, listed and decided as one.

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_reel::Reel;
use besom_reel::file::candidates::{self, Chunk};
use besom_scan::{Rect, RunMask};

use crate::bench::{Bench, FIRST, HEIGHT, WIDTH};

fn speck(x: i32, y: i32, confidence: f32) -> Candidate {
    Candidate {
        mask: RunMask::from_rect(&Rect::new(x, y, x + 3, y + 3)),
        kind: Kind::Dust,
        polarity: Polarity::Bright,
        confidence,
        risk: Risk { reappears: x == 60, ..Risk::default() },
        origin: Origin::Film,
        peak: 9.0,
        reasons: Vec::new(),
    }
}

/// A reel of five frames with one speck each; the third has a heap of 48 besides, two of them unlikely, eight at risk.
fn clouded() -> Bench {
    let bench = Bench::with_scans(5);
    bench.start().succeeds();
    let heap = |n: i32| speck(60 + n % 6 * 5, 40 + n / 6 * 5, if n < 2 { 0.1 } else { 0.9 });
    let frames = (0..5)
        .map(|n| {
            let lone = speck(10 + 20 * n as i32, 100, 0.9);
            (FIRST + n, if n == 2 { (0..48).map(heap).chain([lone]).collect() } else { vec![lone] })
        })
        .collect();
    let (width, height) = (WIDTH as u32, HEIGHT as u32);
    let chunk = Chunk { generation: 1, fingerprint: [5; 32], width, height, first: FIRST, last: FIRST + 4, frames };
    candidates::write(&bench.path("R.besom"), &chunk).unwrap();
    bench
}

#[test]
fn a_cloud_is_listed_and_decided_by_its_name() {
    let bench = clouded();
    let listed = bench.run(&["groups", "R.besom", "--json"]).succeeds().json();
    let groups = listed["groups"].as_array().unwrap();
    assert_eq!((listed["command"].as_str(), groups.len()), (Some("groups"), 1));
    let cloud = &groups[0];
    let name = cloud["group"].as_str().unwrap();
    assert_eq!((name, cloud["kind"].as_str()), ("cloud-86402-1", Some("cloud")));
    assert_eq!(
        (cloud["first"].as_u64(), cloud["last"].as_u64(), cloud["shot"].as_u64()),
        (Some(86402), Some(86402), Some(1))
    );
    // Below the sensitivity nobody is asked, in a group as elsewhere: 46 of 48, and 7 of 8 at risk.
    let count = |key: &str| cloud[key].as_u64().unwrap();
    assert_eq!((count("candidates"), count("undecided"), count("accepted"), count("at_risk")), (46, 46, 0, 7));
    let words = bench.run(&["groups", "R.besom", "--quiet"]).succeeds().stdout;
    assert!(words.starts_with("cloud-86402-1 ") && words.contains("cloud of 46; 46 undecided, 7 at risk"), "{words}");

    let decide = ["decide", "R.besom", "accept", "--group", name, "--artist", "Ines", "--json"];
    let answer = bench.run(&decide).succeeds().json();
    assert_eq!((answer["matched"].as_u64(), answer["changed"].as_u64()), (Some(46), Some(46)));
    assert_eq!((answer["group"].as_str(), answer["record"].as_u64()), (Some(name), Some(1)));
    assert_eq!(bench.run(&decide).succeeds().json()["changed"].as_u64(), Some(0));
    let reel = Reel::open_to_read(&bench.path("R.besom")).unwrap();
    assert_eq!((reel.total().accepted, reel.frame_counts(FIRST + 2).accepted), (46, 46));
    let listed = bench.run(&["groups", "R.besom", "--json"]).succeeds().json();
    assert_eq!(listed["groups"][0]["accepted"].as_u64(), Some(46));
}

#[test]
fn only_what_was_asked_for_is_listed() {
    let bench = clouded();
    let count = |arguments: &[&str]| {
        let mut whole = vec!["groups", "R.besom", "--json"];
        whole.extend(arguments);
        bench.run(&whole).succeeds().json()["groups"].as_array().unwrap().len()
    };
    assert_eq!((count(&["--kind", "cloud"]), count(&["--kind", "line"]), count(&["--kind", "gate"])), (1, 0, 0));
    assert_eq!((count(&["--frames", "86402"]), count(&["--frames", "86400-86401"])), (1, 0));
    let none = bench.run(&["groups", "R.besom", "--kind", "line"]).succeeds().stdout;
    assert_eq!(none, "No candidates belong together here.\n");
    bench.run(&["groups", "R.besom", "--frames", "1-9"]).refuses(&["R.besom", "1-9"]);
    bench.run(&["groups", "nowhere.besom"]).refuses(&["nowhere.besom"]);
}

#[test]
fn what_is_no_group_is_refused() {
    let bench = clouded();
    for unknown in ["cloud-86402-2", "line-86402-1", "cloud-86403-1", "cloud-1-1"] {
        bench.run(&["decide", "R.besom", "accept", "--group", unknown]).refuses(&["R.besom", unknown]);
    }
    let wrong: [&[&str]; 5] = [
        &["--group", "heap"],
        &["--group", "cloud-86402-0"],
        &["--group", "cloud-86402-1", "--include-at-risk"],
        &["--group", "cloud-86402-1", "--shot", "1"],
        &["--group", "cloud-86402-1", "--min-confidence", "0.5"],
    ];
    for arguments in wrong {
        let mut whole = vec!["decide", "R.besom", "accept"];
        whole.extend(arguments);
        assert_eq!(bench.run(&whole).code, 2, "{arguments:?}");
    }
    assert_eq!(bench.run(&["groups", "R.besom", "--kind", "dust"]).code, 2);
    assert!(Reel::open_to_read(&bench.path("R.besom")).unwrap().records().is_empty());
}
