//! Many decided at once: counted before, one step after; and the last decision again.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::path::Path;

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_reel::{Decision, Reel};
use besom_scan::{Rect, RunMask};
use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use besom_window::App;
use common::{FRAMES, click, press, press_with, reel_with, window};

fn mark(x: i32, side: i32, confidence: f32, risky: bool) -> Candidate {
    Candidate {
        mask: RunMask::from_rect(&Rect::new(x, 20, x + side, 20 + side)),
        kind: Kind::Dust,
        polarity: if side > 6 { Polarity::Bright } else { Polarity::Dark },
        confidence,
        risk: Risk { swarm: risky, ..Risk::default() },
        origin: Origin::Film,
        peak: side as f32 * 3.0,
        reasons: Vec::new(),
    }
}

/// On each frame a small dark mark, one at risk, one below the slider, and a large bright one.
fn marked(folder: &Path) -> std::path::PathBuf {
    let list =
        || vec![mark(4, 3, 0.9, false), mark(20, 3, 0.8, true), mark(36, 3, 0.1, false), mark(60, 14, 0.7, false)];
    reel_with(folder, |_| list())
}

fn bench<'a>() -> (tempfile::TempDir, Harness<'a, App>) {
    let folder = tempfile::tempdir().unwrap();
    let path = marked(folder.path());
    let mut harness = window(Some(path));
    press(&mut harness, Key::F3);
    (folder, harness)
}

fn on_disk(harness: &Harness<'_, App>) -> Reel {
    Reel::open_to_read(harness.state().reel().unwrap().folder()).unwrap()
}

#[test]
fn everything_above_the_slider_is_counted_then_decided_in_one_step() {
    let (_folder, mut harness) = bench();
    press_with(&mut harness, Modifiers::SHIFT, Key::E);
    let (safe, all) = (2 * FRAMES, 3 * FRAMES);
    let said = format!("{safe} undecided candidates at this sensitivity, on {FRAMES} frames of shot 1.");
    assert!(harness.query_by_label(&said).is_some());
    assert_eq!(on_disk(&harness).records().len(), 0, "asking decides nothing");
    click(&mut harness, Role::CheckBox, &format!("{FRAMES} at risk left out: take them too"));
    assert!(harness.query_by_role_and_label(Role::Button, &format!("Accept all {all}")).is_some());
    click(&mut harness, Role::CheckBox, &format!("{FRAMES} at risk among them"));
    click(&mut harness, Role::Button, &format!("Accept all {safe}"));
    let disk = on_disk(&harness);
    assert_eq!((disk.total().accepted, disk.records().len()), (safe, 1));
    let said = harness.state().said().unwrap().to_owned();
    assert!(said.starts_with(&format!("Accepted {safe} candidates")) && said.contains("Ctrl+Z"), "{said}");
    assert!(harness.query_by_label_contains("Accept all").is_none(), "the question is answered");
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).total().accepted, 0, "one step back");
}

#[test]
fn the_like_of_the_one_in_hand_are_decided_by_its_key_and_left_when_the_hand_moves_on() {
    let (_folder, mut harness) = bench();
    while harness.state().hand().unwrap().index != 0 {
        press(&mut harness, Key::ArrowDown);
    }
    let hand = harness.state().hand().unwrap();
    press(&mut harness, Key::K);
    assert!(harness.query_by_label("All its kin in this shot").is_some());
    press(&mut harness, Key::ArrowDown);
    assert!(harness.query_by_label("All its kin in this shot").is_none(), "another one is in hand");
    press(&mut harness, Key::ArrowUp);
    press(&mut harness, Key::K);
    press(&mut harness, Key::Escape);
    assert!(harness.query_by_label("All its kin in this shot").is_none());
    press(&mut harness, Key::K);
    let label = |n: &egui_kittest::Node<'_>| n.accesskit_node().label().unwrap_or_default();
    let button = harness.get_by(|n| n.label().is_some_and(|label| label.starts_with("Call all ")));
    let counted: u64 = label(&button).split(' ').nth(2).and_then(|n| n.parse().ok()).unwrap();
    assert!((2..=FRAMES).contains(&counted), "{counted}");
    press(&mut harness, Key::I);
    let disk = on_disk(&harness);
    assert_eq!((disk.total().intended, disk.records().len()), (counted, 1), "what was counted, in one record");
    assert_eq!(disk.decision(hand), Decision::Intended);
    assert_eq!(disk.learning(0).belonging, 0, "nobody looked at each of them");
}

#[test]
fn the_last_decision_is_given_again_candidate_by_candidate() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::S);
    assert!(harness.state().said().unwrap().starts_with("Nothing was decided yet"));
    press(&mut harness, Key::R);
    let second = harness.state().hand().unwrap();
    press(&mut harness, Key::S);
    let third = harness.state().hand().unwrap();
    assert_ne!(second, third);
    press(&mut harness, Key::U);
    press(&mut harness, Key::S);
    let disk = on_disk(&harness);
    assert_eq!((disk.decision(second), disk.decision(third)), (Decision::Rejected, Decision::Rejected));
    assert_eq!(disk.total().rejected, 3);
}
