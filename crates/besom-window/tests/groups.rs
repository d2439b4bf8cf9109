//! A cloud at the Bench: said in the list, taken in hand whole, decided as one, undone as one.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::path::Path;

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_reel::{CandidateId, Decision, Reel};
use besom_scan::{Rect, RunMask};
use egui::accesskit::{Role, Toggled};
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use besom_window::App;
use common::{FIRST, press, press_with, reel_with, window};

/// The frame with the cloud.
const DIRTY: u64 = 103;

fn speck(x: i32, y: i32) -> Candidate {
    Candidate {
        mask: RunMask::from_rect(&Rect::new(x, y, x + 2, y + 2)),
        kind: Kind::Dust,
        polarity: Polarity::Dark,
        confidence: 0.9,
        risk: Risk::default(),
        origin: Origin::Film,
        peak: 9.0,
        reasons: Vec::new(),
    }
}

/// A reel of frames with one speck each, and on one of them 49 in a heap besides.
fn clouded(folder: &Path) -> std::path::PathBuf {
    let cloud = || (0..49).map(|n| speck(50 + n % 7 * 3, 40 + n / 7 * 3));
    let of_frame = |n: u64| {
        let lone = speck(6 + 3 * (n - FIRST) as i32, 8);
        if n == DIRTY { cloud().chain([lone]).collect() } else { vec![lone] }
    };
    reel_with(folder, of_frame)
}

fn bench<'a>() -> (tempfile::TempDir, Harness<'a, App>) {
    let folder = tempfile::tempdir().unwrap();
    let path = clouded(folder.path());
    let mut harness = window(Some(path));
    press(&mut harness, Key::F3);
    for _ in FIRST..DIRTY {
        press(&mut harness, Key::ArrowRight);
    }
    assert_eq!(harness.state().frame(), Some(DIRTY));
    (folder, harness)
}

/// Walks the list until a member of the cloud is in hand, or none.
fn walk_to(harness: &mut Harness<'_, App>, member: bool) -> CandidateId {
    for _ in 0..60 {
        let hand = harness.state().hand().unwrap();
        if harness.state().reel().unwrap().group_of(hand).is_some() == member && hand.frame == DIRTY {
            return hand;
        }
        press(harness, Key::ArrowDown);
    }
    panic!("the list has no such candidate");
}

fn on_disk(harness: &Harness<'_, App>) -> Reel {
    Reel::open_to_read(harness.state().reel().unwrap().folder()).unwrap()
}

#[test]
fn a_member_of_a_cloud_says_so_and_the_whole_is_decided_by_two_keys() {
    let (_folder, mut harness) = bench();
    let hand = walk_to(&mut harness, true);
    let row = format!("dust {}, undecided, in a cloud of 49", hand.index + 1);
    assert!(harness.query_by_role_and_label(Role::Row, &row).is_some(), "{row}");
    assert!(harness.query_by_label("One of 49 in a cloud").is_some());
    press(&mut harness, Key::T);
    assert!(harness.query_by_label("Deciding all 49").is_some());
    press(&mut harness, Key::A);
    let disk = on_disk(&harness);
    assert_eq!((disk.total().accepted, disk.frame_counts(DIRTY).accepted), (49, 49));
    assert_eq!(disk.records().len(), 1);
    assert_eq!(harness.state().said(), Some("Accepted a cloud of 49. Ctrl+Z takes it back."));
    let next = harness.state().hand().unwrap();
    assert_eq!(disk.decision(next), Decision::Undecided, "on to what is left");
    assert_eq!(disk.group_of(next), None);

    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).total().accepted, 0, "one step takes it back");
    press_with(&mut harness, Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    assert_eq!(on_disk(&harness).total().accepted, 49);
}

#[test]
fn a_step_to_another_candidate_lets_go_of_the_group() {
    let (_folder, mut harness) = bench();
    walk_to(&mut harness, true);
    press(&mut harness, Key::T);
    press(&mut harness, Key::ArrowDown);
    walk_to(&mut harness, true);
    assert!(harness.query_by_label("One of 49 in a cloud").is_some());
    press(&mut harness, Key::R);
    assert_eq!(on_disk(&harness).total().rejected, 1);
    // The switch by mouse, on and off again.
    walk_to(&mut harness, true);
    for on in [Toggled::True, Toggled::False] {
        harness.get_by_role_and_label(Role::Button, "Whole group").click();
        harness.run();
        let button = harness.get_by_role_and_label(Role::Button, "Whole group");
        assert_eq!(button.accesskit_node().toggled(), Some(on));
    }
    press(&mut harness, Key::I);
    assert_eq!(on_disk(&harness).total().intended, 1);
}

#[test]
fn what_belongs_to_nothing_is_decided_alone() {
    let (_folder, mut harness) = bench();
    let lone = walk_to(&mut harness, false);
    assert!(harness.query_by_role_and_label(Role::Button, "Whole group").is_none());
    press(&mut harness, Key::T);
    assert_eq!(
        harness.state().said(),
        Some("The candidate in hand belongs to no cloud, line or gate mark."),
        "the key says why nothing happens"
    );
    press(&mut harness, Key::A);
    let disk = on_disk(&harness);
    assert_eq!((disk.total().accepted, disk.decision(lone)), (1, Decision::Accepted));
}
