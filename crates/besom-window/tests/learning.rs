//! Learning at the Bench: flakes that belong are called intended, and the others follow from a worker's lesson.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::path::Path;

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_reel::{CandidateId, Decision, Reel};
use besom_scan::{Rect, RunMask};
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use besom_window::App;
use common::{FIRST, press, press_with, reel_with, window};

fn mark(x: i32, y: i32, flake: bool) -> Candidate {
    let side = if flake { 2 } else { 5 };
    Candidate {
        mask: RunMask::from_rect(&Rect::new(x, y, x + side, y + side)),
        kind: Kind::Dust,
        polarity: if flake { Polarity::Bright } else { Polarity::Dark },
        confidence: if flake { 0.42 } else { 0.9 },
        risk: Risk::default(),
        origin: Origin::Film,
        peak: if flake { 5.0 } else { 12.0 },
        reasons: Vec::new(),
    }
}

/// A reel with four flakes, which fall together, and four specks of dust on every frame.
fn snowy(folder: &Path) -> std::path::PathBuf {
    let of_frame = |number: u64| -> Vec<Candidate> {
        let n = (number - FIRST) as i32;
        let flakes = (0..4).map(|i| mark(8 + 20 * i, 10 + 3 * n + i, true));
        let dust = (0..4).map(|i| mark((70 * i + 23 * n) % 88, (50 + 31 * n + 17 * i) % 64, false));
        flakes.chain(dust).collect()
    };
    reel_with(folder, of_frame)
}

fn bench<'a>() -> (tempfile::TempDir, Harness<'a, App>) {
    let folder = tempfile::tempdir().unwrap();
    let path = snowy(folder.path());
    let mut harness = window(Some(path));
    press(&mut harness, Key::F3);
    (folder, harness)
}

fn state<'h>(harness: &'h Harness<'_, App>) -> &'h Reel {
    harness.state().reel().unwrap()
}

/// Calls the candidate in hand intended while it is a flake, else goes on, until `count` are.
fn intend(harness: &mut Harness<'_, App>, count: u64) {
    for _ in 0..60 {
        if state(harness).total().intended == count {
            return;
        }
        let hand = harness.state().hand().unwrap();
        let flake = state(harness).candidate(hand).unwrap().polarity == Polarity::Bright;
        let key = if flake { Key::I } else { Key::ArrowDown };
        press(harness, key);
    }
    panic!("{count} flakes could not be called intended");
}

#[test]
fn flakes_called_intended_have_the_others_proposed_and_taken() {
    let (_folder, mut harness) = bench();
    intend(&mut harness, 2);
    assert!(state(&harness).learning(0).proposals.is_empty());
    intend(&mut harness, 4);
    let learning = state(&harness).learning(0);
    assert!(!learning.due && learning.learned_from == 4, "the worker's lesson was taken: {learning:?}");
    let dust = |id: &CandidateId| id.index >= 4;
    assert!(!learning.proposals.is_empty() && !learning.proposals.iter().any(dust), "{learning:?}");
    // What another program finds in the folder has learned the same.
    let disk = Reel::open_to_read(state(&harness).folder()).unwrap();
    assert_eq!(disk.learning(0), learning);
    assert!(harness.query_by_label_contains(" are like the 4 marks that you called intended").is_some());

    press_with(&mut harness, Modifiers::SHIFT, Key::I);
    let taken = learning.proposals.len() as u64;
    assert_eq!(state(&harness).total().intended, 4 + taken);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(state(&harness).learning(0), learning);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert!(state(&harness).learning(0).proposals.is_empty(), "two examples are not enough");
    assert_eq!(state(&harness).confidence(CandidateId::new(FIRST + 4, 2)), 0.42);
    assert_eq!(state(&harness).decision(learning.proposals[0]), Decision::Undecided);
}
