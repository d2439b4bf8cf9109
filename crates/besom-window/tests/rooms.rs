//! Every room driven through its accessibility tree, on a small reel that the real work functions made.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use besom_reel::{Decision, Reel};
use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use besom_window::App;
use common::{FIRST, FRAMES, click, press, press_with, reel, scans, window};

fn bench<'a>() -> (tempfile::TempDir, Harness<'a, App>) {
    let folder = tempfile::tempdir().unwrap();
    let path = reel(folder.path());
    let harness = window(Some(path));
    (folder, harness)
}

/// What another program would find in the reel folder now.
fn on_disk(harness: &Harness<'_, App>) -> Reel {
    Reel::open_to_read(harness.state().reel().unwrap().folder()).unwrap()
}

#[test]
fn the_first_screen_starts_a_reel_from_a_typed_path() {
    let folder = tempfile::tempdir().unwrap();
    let path = scans(folder.path());
    let mut harness = window(None);
    assert!(harness.get_by_role_and_label(Role::Button, "Survey the scans").accesskit_node().is_disabled());
    harness.get_by_role_and_label(Role::TextInput, "Scans").focus();
    harness.run();
    harness.get_by_role_and_label(Role::TextInput, "Scans").type_text(&path.display().to_string());
    harness.run();
    let suggested = harness.get_by_role_and_label(Role::TextInput, "New reel folder").value();
    assert_eq!(suggested.as_deref(), Some(folder.path().join("scans.besom").display().to_string().as_str()));
    click(&mut harness, Role::Button, "Survey the scans");
    assert_eq!(harness.state().reel().unwrap().frames().len() as u64, FRAMES);
    assert!(harness.query_by_label_contains("No frame has been searched").is_some(), "the Survey is shown");
    click(&mut harness, Role::Button, "Find candidates");
    assert!(harness.state().reel().unwrap().total().candidates >= 7);
    assert!(harness.query_by_label_contains("Every frame searched").is_some());
}

#[test]
fn a_path_that_leads_nowhere_is_answered_with_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let harness = window(Some(folder.path().join("nothing.besom")));
    assert!(harness.state().reel().is_none());
    let said = harness.state().said().unwrap();
    assert!(said.contains("nothing.besom") && said.ends_with('.'), "{said}");
}

#[test]
fn frames_and_flagged_frames_are_stepped_by_key_and_button() {
    let (_folder, mut harness) = bench();
    assert_eq!(harness.state().frame(), Some(FIRST));
    press(&mut harness, Key::ArrowRight);
    press(&mut harness, Key::ArrowRight);
    assert_eq!(harness.state().frame(), Some(FIRST + 2));
    click(&mut harness, Role::Button, "Previous frame");
    assert_eq!(harness.state().frame(), Some(FIRST + 1));
    press(&mut harness, Key::End);
    assert_eq!(harness.state().frame(), Some(FIRST + FRAMES - 1));
    press_with(&mut harness, Modifiers::SHIFT, Key::ArrowLeft);
    let flagged = harness.state().frame().unwrap();
    assert!(harness.state().reel().unwrap().frame_counts(flagged).undecided > 0);
    press(&mut harness, Key::Home);
    press_with(&mut harness, Modifiers::SHIFT, Key::ArrowRight);
    assert_eq!(harness.state().frame(), Some(FIRST + 1), "the first frame with specks");
}

#[test]
fn a_step_by_arrow_leaves_the_keyboard_focus_where_it_is() {
    let (_folder, mut harness) = bench();
    harness.get_by_role_and_label(Role::Button, "Next frame").focus();
    harness.run();
    press(&mut harness, Key::ArrowRight);
    assert_eq!(harness.state().frame(), Some(FIRST + 1));
    assert!(harness.get_by_role_and_label(Role::Button, "Next frame").is_focused());
}

#[test]
fn a_decision_is_recorded_and_the_next_candidate_comes_to_hand() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::N);
    let first = harness.state().hand().unwrap();
    press(&mut harness, Key::A);
    let second = harness.state().hand().unwrap();
    assert_ne!(first, second);
    press(&mut harness, Key::R);
    press(&mut harness, Key::I);
    let disk = on_disk(&harness);
    assert_eq!(disk.decision(first), Decision::Accepted);
    assert_eq!(disk.decision(second), Decision::Rejected);
    assert_eq!((disk.total().accepted, disk.total().rejected, disk.total().intended), (1, 1, 1));

    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).decision(second), Decision::Undecided);
    press_with(&mut harness, Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    assert_eq!(on_disk(&harness).decision(second), Decision::Rejected);
}

#[test]
fn the_four_decisions_have_buttons_and_the_rest_of_a_frame_is_one_step() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::N);
    let id = harness.state().hand().unwrap();
    for (label, decision) in [
        ("Reject", Decision::Rejected),
        ("Accept", Decision::Accepted),
        ("Intended", Decision::Intended),
        ("Undecided", Decision::Undecided),
    ] {
        while harness.state().hand() != Some(id) {
            press(&mut harness, Key::ArrowUp);
        }
        click(&mut harness, Role::Button, label);
        assert_eq!(harness.state().reel().unwrap().decision(id), decision, "{label}");
    }
    let counts = harness.state().reel().unwrap().frame_counts(id.frame);
    let safe = counts.undecided - counts.at_risk_undecided;
    assert!(safe > 0);
    press_with(&mut harness, Modifiers::SHIFT, Key::A);
    assert_eq!(on_disk(&harness).frame_counts(id.frame).accepted, safe, "what is at risk is left");
    press_with(&mut harness, Modifiers::SHIFT, Key::R);
    assert_eq!(on_disk(&harness).frame_counts(id.frame).undecided, 0, "rejecting harms nothing");
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).frame_counts(id.frame).accepted, 0);
}

#[test]
fn the_slider_sets_the_shots_sensitivity() {
    let (_folder, mut harness) = bench();
    let before = harness.state().reel().unwrap().shot_counts(0).undecided;
    harness.get_by_role_and_label(Role::Slider, "Sensitivity").set_value_accesskit(0.05);
    harness.run();
    let reel = harness.state().reel().unwrap();
    assert!((reel.sensitivity(0) - 0.05).abs() < 0.006, "{}", reel.sensitivity(0));
    assert!(reel.shot_counts(0).undecided >= before);
    press(&mut harness, Key::L);
    assert!((on_disk(&harness).sensitivity(0) - 0.06).abs() < 1e-6);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert!((on_disk(&harness).sensitivity(0) - 0.05).abs() < 1e-6);
}

#[test]
fn a_region_is_protected_listed_and_freed() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::P);
    click(&mut harness, Role::Button, "Frame");
    click(&mut harness, Role::Button, "Protect");
    let regions = on_disk(&harness).regions().to_vec();
    assert_eq!(regions.len(), 1);
    assert_eq!((regions[0].first, regions[0].last), (FIRST, FIRST));
    assert!(!regions[0].rect.is_empty());
    click(&mut harness, Role::Button, "Free region 1");
    assert!(on_disk(&harness).regions().is_empty());
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).regions().len(), 1);
}

#[test]
fn a_region_can_be_drawn_on_the_picture() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::P);
    let canvas = harness.get_by(|n| n.role() == Role::Canvas).rect();
    harness.drag_at(canvas.center() - egui::vec2(120.0, 90.0));
    harness.run_steps(2);
    harness.hover_at(canvas.center() + egui::vec2(60.0, 45.0));
    harness.run_steps(2);
    harness.drop_at(canvas.center() + egui::vec2(60.0, 45.0));
    harness.run();
    click(&mut harness, Role::Button, "Protect");
    let rect = on_disk(&harness).regions()[0].rect;
    let (width, height) = (rect.width() as f32, rect.height() as f32);
    assert!((width / height - 180.0 / 135.0).abs() < 0.15, "{rect:?}");
}

#[test]
fn before_and_after_flip_shows_the_repair() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::N);
    assert!(!harness.state().shows_after());
    press(&mut harness, Key::Space);
    assert!(harness.state().shows_after());
    assert!(harness.query_by_label_contains("Filled from").is_some(), "how the candidate in hand would be filled");
    press(&mut harness, Key::Space);
    assert!(!harness.state().shows_after());
}

#[test]
fn before_and_after_stand_beside_each_other_and_the_line_is_moved_by_pointer_and_key() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::N);
    press(&mut harness, Key::B);
    let name = "Line between before and after";
    let x = |harness: &Harness<'_, App>| harness.get_by_role_and_label(Role::Slider, name).rect().center().x;
    let start = x(&harness);
    let frame = harness.state().frame();
    harness.get_by_role_and_label(Role::Slider, name).focus();
    harness.run();
    press(&mut harness, Key::ArrowRight);
    press(&mut harness, Key::ArrowRight);
    let moved = x(&harness);
    assert!(moved > start + 10.0, "{start} to {moved}");
    assert_eq!(harness.state().frame(), frame, "the arrows are the line's while it has the keyboard");
    let at = harness.get_by_role_and_label(Role::Slider, name).rect().center();
    harness.drag_at(at);
    harness.run();
    harness.drop_at(at - egui::vec2(80.0, 0.0));
    harness.run();
    assert!((x(&harness) - (moved - 80.0)).abs() < 2.0, "{}", x(&harness));
    press(&mut harness, Key::Space);
    assert!(harness.query_by_role_and_label(Role::Slider, name).is_none(), "the flip takes its place");
    assert!(harness.state().shows_after());
    press(&mut harness, Key::B);
    assert!(!harness.state().shows_after());
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::Escape);
    assert!(harness.query_by_role_and_label(Role::Slider, name).is_none());
}

#[test]
fn rooms_are_entered_by_tab_and_key_and_the_ledger_counts() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::N);
    press(&mut harness, Key::A);
    click(&mut harness, Role::Tab, "Survey");
    assert!(harness.query_by_label("What arrived").is_some());
    assert!(harness.query_by_role_and_label(Role::Row, "Shot 1, frames 100 to 105").is_some());
    press(&mut harness, Key::F4);
    assert!(harness.query_by_label_contains("Whole reel: ").is_some());
    assert!(harness.query_all_by_label_contains(", 1 accepted").next().is_some());
    for label in ["By kind", "By artist", "By day", "By shot"] {
        click(&mut harness, Role::Button, label);
    }
    press(&mut harness, Key::F3);
    assert!(harness.query_by_label("This frame").is_some());
}

#[test]
fn the_sheet_of_keys_opens_and_closes() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::F1);
    assert!(harness.query_by_label("Next flagged frame: Shift+Right").is_some());
    assert!(harness.query_by_label("Accept the rest of the frame: Shift+A").is_some());
    press(&mut harness, Key::A);
    assert_eq!(harness.state().reel().unwrap().total().accepted, 0, "under the sheet nothing is decided");
    press(&mut harness, Key::Escape);
    assert!(harness.query_by_label("Accept the rest of the frame: Shift+A").is_none());
}

#[test]
fn letters_typed_into_a_field_decide_nothing() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::N);
    press_with(&mut harness, Modifiers::COMMAND, Key::G);
    assert!(harness.get_by_role_and_label(Role::TextInput, "Frame number").is_focused());
    press(&mut harness, Key::A);
    assert_eq!(harness.state().reel().unwrap().total().accepted, 0);
    harness.get_by_role_and_label(Role::TextInput, "Frame number").type_text("104");
    harness.run();
    press(&mut harness, Key::Enter);
    assert_eq!(harness.state().frame(), Some(104));
    // The same place by footage and by timecode, which count from the reel's first scan.
    for (typed, frame) in [("0+02", 102), ("00:00:00:03", 103), ("no place", 103)] {
        press_with(&mut harness, Modifiers::COMMAND, Key::G);
        harness.get_by_role_and_label(Role::TextInput, "Frame number").type_text(typed);
        harness.run();
        press(&mut harness, Key::Enter);
        assert_eq!(harness.state().frame(), Some(frame), "{typed}");
    }
}

#[test]
fn what_is_accepted_is_repaired_and_verified_from_the_window() {
    let (folder, mut harness) = bench();
    press(&mut harness, Key::N);
    press_with(&mut harness, Modifiers::SHIFT, Key::A);
    press_with(&mut harness, Modifiers::COMMAND, Key::R);
    click(&mut harness, Role::Button, "Repair");
    let said = harness.state().said().unwrap().to_owned();
    assert!(said.contains("repaired in 1 frames"), "{said}");
    let target = folder.path().join("Skerry test repaired");
    assert_eq!(std::fs::read_dir(&target).unwrap().count() as u64, FRAMES);
    press_with(&mut harness, Modifiers::COMMAND, Key::E);
    click(&mut harness, Role::Button, "Verify");
    let said = harness.state().said().unwrap().to_owned();
    assert!(said.starts_with("Proved: 6 frames compared"), "{said}");
}

#[test]
fn every_control_of_every_room_has_a_name() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::V);
    press(&mut harness, Key::P);
    for key in [Key::F3, Key::F2, Key::F4] {
        press(&mut harness, key);
        let roles =
            [Role::Button, Role::TextInput, Role::Slider, Role::SpinButton, Role::CheckBox, Role::Tab, Role::Row];
        let nameless: Vec<_> = harness
            .query_all_by(|n| roles.contains(&n.role()))
            .filter(|n| n.accesskit_node().label().is_none_or(|l| l.trim().is_empty()))
            .map(|n| format!("{:?} at {:?}", n.accesskit_node().role(), n.rect()))
            .collect();
        assert!(nameless.is_empty(), "{key:?}: {nameless:?}");
    }
}
