//! `besom proposals` and `besom decide --like-decided`: what a shot's decisions propose is listed, switched off and taken.

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_reel::file::candidates::{self, Chunk};
use besom_reel::{CandidateId, DEFAULT_SENSITIVITY, Decision, Edit, Reel};
use besom_scan::{Rect, RunMask};

use crate::bench::{Answer, Bench, FIRST, HEIGHT, WIDTH};

/// The first so many candidates of every frame are flakes, the others dust.
const FLAKES: u32 = 4;
const FRAMES: u64 = 8;

fn candidate(flake: bool, place: i32) -> Candidate {
    let (x, y) = (place * 37 % 140, place * 23 % 100);
    let (w, h) = if flake { (4, 4) } else { (9 + place % 3, 6) };
    Candidate {
        mask: RunMask::from_rect(&Rect::new(x, y, x + w, y + h)),
        kind: Kind::Dust,
        polarity: if flake { Polarity::Bright } else { Polarity::Dark },
        confidence: if flake { 0.55 } else { 0.8 },
        risk: Risk::default(),
        origin: Origin::Film,
        peak: if flake { 5.0 + 0.1 * (place % 3) as f32 } else { 14.0 },
        reasons: Vec::new(),
    }
}

/// A reel of one shot with snow in it: four flakes and three specks of dust on every frame.
fn snowed() -> Bench {
    let bench = Bench::with_scans(FRAMES);
    bench.start().succeeds();
    let of = |n: u64| (0..7).map(|index| candidate(index < FLAKES as i32, 7 * n as i32 + index)).collect();
    let frames = (0..FRAMES).map(|n| (FIRST + n, of(n))).collect();
    let (width, height) = (WIDTH as u32, HEIGHT as u32);
    let (first, last) = (FIRST, FIRST + FRAMES - 1);
    let chunk = Chunk { generation: 1, fingerprint: [6; 32], width, height, first, last, frames };
    candidates::write(&bench.path("R.besom"), &chunk).unwrap();
    bench
}

/// Calls these flakes intended, one by one, as a person does at the Bench.
fn call_intended(bench: &Bench, flakes: &[(u64, u32)]) {
    let mut reel = Reel::open(&bench.path("R.besom"), "Ines").unwrap();
    for (frame, index) in flakes {
        let ids = vec![CandidateId::new(FIRST + frame, *index)];
        reel.record(Edit::Decide { ids, decision: Decision::Intended }).unwrap();
    }
}

const FOUR: [(u64, u32); 4] = [(0, 0), (2, 1), (4, 2), (6, 3)];

fn proposals(bench: &Bench, more: &[&str]) -> Answer {
    bench.run(&[&["proposals", "R.besom"], more].concat())
}

fn take(bench: &Bench, more: &[&str]) -> Answer {
    let words = ["decide", "R.besom", "intended", "--like-decided", "--shot", "1", "--artist", "Ines"];
    bench.run(&[&words, more].concat())
}

#[test]
fn what_four_flakes_propose_is_listed_and_taken_as_one_record() {
    let bench = snowed();
    call_intended(&bench, &FOUR);
    let listed = proposals(&bench, &["--json"]).succeeds().json();
    let shots = listed["shots"].as_array().unwrap();
    assert_eq!((listed["command"].as_str(), shots.len()), (Some("proposals"), 1));
    let shot = &shots[0];
    assert_eq!((shot["shot"].as_u64(), shot["learning"].as_bool()), (Some(1), Some(true)));
    assert_eq!((shot["intended_or_rejected"].as_u64(), shot["accepted"].as_u64()), (Some(4), Some(0)));
    assert_eq!(shot["proposed_as"].as_str(), Some("intended"));
    let found = shot["proposals"].as_array().unwrap();
    assert!(!found.is_empty() && found.len() as u64 <= shot["spared"].as_u64().unwrap());
    for one in found {
        let (frame, number) = (one["frame"].as_u64().unwrap(), one["candidate"].as_u64().unwrap() as u32);
        assert!((1..=FLAKES).contains(&number), "dust is not proposed: {one}");
        assert!(!FOUR.contains(&(frame - FIRST, number - 1)), "what is decided is not proposed: {one}");
        let asks = |key: &str| one[key].as_f64().unwrap() >= f64::from(DEFAULT_SENSITIVITY);
        assert!(asks("confidence") && !asks("lowered_to") && one["like"].as_u64() > Some(0), "{one}");
    }
    let count = found.len();
    let words = proposals(&bench, &["--quiet"]).succeeds().stdout;
    assert!(words.starts_with(&format!("shot 1: {count} are like the 4 marks that you called intended; ")), "{words}");
    assert!(words.ends_with("besom decide REEL intended --like-decided --shot 1\n"), "{words}");

    let taken = take(&bench, &["--json"]).succeeds().json();
    assert_eq!((taken["matched"].as_u64(), taken["changed"].as_u64()), (Some(count as u64), Some(count as u64)));
    assert_eq!((taken["decision"].as_str(), taken["record"].as_u64()), (Some("intended"), Some(5)));
    let reel = Reel::open_to_read(&bench.path("R.besom")).unwrap();
    assert_eq!((reel.total().intended, reel.records().len()), (4 + count as u64, 5));
    for one in found {
        let (frame, number) = (one["frame"].as_u64().unwrap(), one["candidate"].as_u64().unwrap() as u32);
        assert_eq!(reel.decision(CandidateId::new(frame, number - 1)), Decision::Intended);
    }
    // What was taken is no example of its own.
    let after = proposals(&bench, &["--json"]).succeeds().json();
    assert_eq!(after["shots"][0]["intended_or_rejected"].as_u64(), Some(4));
    assert_eq!(after["shots"][0]["proposals"].as_array().map(Vec::len), Some(0));
    take(&bench, &[]).refuses(&["shot 1 proposes nothing"]);
}

#[test]
fn learning_is_switched_off_and_on_again() {
    let bench = snowed();
    call_intended(&bench, &FOUR);
    let before = proposals(&bench, &["--json"]).succeeds().json();
    let switch = |to: &str| proposals(&bench, &["--shot", "1", "--learning", to, "--artist", "Ines"]).succeeds().stdout;
    assert_eq!(switch("off"), "shot 1: Learning is off for this shot\n");
    take(&bench, &[]).refuses(&["shot 1 proposes nothing", "Learning is off"]);
    let off = proposals(&bench, &["--json"]).succeeds().json();
    assert_eq!(off["shots"][0]["learning"].as_bool(), Some(false));
    assert_eq!(off["shots"][0]["proposals"].as_array().map(Vec::len), Some(0));
    switch("on");
    assert_eq!(proposals(&bench, &["--json"]).succeeds().json(), before);
    assert_eq!(Reel::open_to_read(&bench.path("R.besom")).unwrap().records().len(), 6, "each switch is one record");
}

#[test]
fn too_few_examples_propose_nothing_and_say_so() {
    let bench = snowed();
    let none = proposals(&bench, &[]).succeeds().stdout;
    assert_eq!(none, "No candidate was called intended or rejected one by one here.\n");
    take(&bench, &[]).refuses(&["shot 1 proposes nothing", "nothing in it was called intended or rejected"]);
    call_intended(&bench, &FOUR[..2]);
    let few = proposals(&bench, &[]).succeeds().stdout;
    assert_eq!(few, "shot 1: 2 of 3 examples that it takes to learn\n");
    take(&bench, &[]).refuses(&["shot 1 proposes nothing", "2 of 3 examples"]);
    assert_eq!(Reel::open_to_read(&bench.path("R.besom")).unwrap().records().len(), 2, "nothing was written");
}

#[test]
fn what_makes_no_sense_is_refused() {
    let bench = snowed();
    proposals(&bench, &["--shot", "9"]).refuses(&["R.besom", "no shot 9"]);
    bench.run(&["decide", "R.besom", "intended", "--like-decided", "--shot", "9"]).refuses(&["R.besom", "no shot 9"]);
    bench.run(&["proposals", "nowhere.besom"]).refuses(&["nowhere.besom"]);
    let wrong: [&[&str]; 9] = [
        &["proposals", "R.besom", "--shot", "0"],
        &["proposals", "R.besom", "--shot", "one"],
        &["proposals", "R.besom", "--learning", "off"],
        &["proposals", "R.besom", "--shot", "1", "--learning", "maybe"],
        &["decide", "R.besom", "intended", "--like-decided"],
        &["decide", "R.besom", "intended", "--like-decided", "--shot", "0"],
        &["decide", "R.besom", "intended", "--like-decided", "--shot", "1", "--kind", "dust"],
        &["decide", "R.besom", "intended", "--like-decided", "--shot", "1", "--min-confidence", "0.5"],
        &["decide", "R.besom", "intended", "--like-decided", "--shot", "1", "--group", "cloud-86400-1"],
    ];
    for words in wrong {
        assert_eq!(bench.run(words).code, 2, "{words:?}");
    }
    assert!(Reel::open_to_read(&bench.path("R.besom")).unwrap().records().is_empty());
}
