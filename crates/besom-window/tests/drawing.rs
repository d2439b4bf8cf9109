//! Marks and regions drawn on the picture: by pointer and by keys alone, for a frame and for a range, changed and taken back.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_reel::{CandidateId, Decision, Deed, Reel};
use besom_scan::{Rect, RunMask};
use egui::accesskit::Role;
use egui::{Key, Modifiers, Pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use besom_window::App;
use common::{FIRST, FRAMES, press, press_with, reel_with, window};

/// A bench over a reel without candidates.
fn bench<'a>() -> (tempfile::TempDir, Harness<'a, App>) {
    let folder = tempfile::tempdir().unwrap();
    let path = reel_with(folder.path(), |_| Vec::new());
    let mut harness = window(Some(path));
    press(&mut harness, Key::F3);
    assert_eq!(harness.state().frame(), Some(FIRST));
    (folder, harness)
}

fn on_disk(harness: &Harness<'_, App>) -> Reel {
    Reel::open_to_read(harness.state().reel().unwrap().folder()).unwrap()
}

fn click(harness: &mut Harness<'_, App>, role: Role, label: &str) {
    harness.get_by_role_and_label(role, label).click();
    harness.run();
}

/// Presses at the first place, moves over the others and lets go at the last one.
fn draw(harness: &mut Harness<'_, App>, places: &[Pos2]) {
    harness.drag_at(places[0]);
    harness.run_steps(2);
    for place in &places[1..] {
        harness.hover_at(*place);
        harness.run_steps(2);
    }
    harness.drop_at(*places.last().unwrap());
    harness.run();
}

fn middle(harness: &Harness<'_, App>) -> Pos2 {
    harness.get_by(|n| n.role() == Role::Canvas).rect().center()
}

/// The hand marks of a frame.
fn marks(reel: &Reel, frame: u64) -> Vec<RunMask> {
    reel.candidates(frame).iter().filter(|c| c.kind == Kind::Hand).map(|c| c.mask.clone()).collect()
}

#[test]
fn a_painted_mark_is_one_record_accepted_and_in_hand() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::H);
    assert!(harness.query_by_label("Nothing is marked yet").is_some());
    assert!(harness.get_by_role_and_label(Role::Button, "Mark").accesskit_node().is_disabled());
    let at = middle(&harness);
    draw(&mut harness, &[at - vec2(80.0, 0.0), at, at + vec2(80.0, 0.0)]);
    assert!(on_disk(&harness).records().is_empty(), "nothing is recorded while painting");
    press(&mut harness, Key::Enter);
    let disk = on_disk(&harness);
    assert_eq!(disk.records().len(), 1);
    let painted = &marks(&disk, FIRST)[0];
    let bounds = painted.bounds();
    assert!(bounds.width() > 3 * bounds.height(), "a level stroke: {bounds:?}");
    assert!(painted.contains(48, 36), "through the middle of the frame: {bounds:?}");
    assert_eq!(disk.decision(CandidateId::new(FIRST, 0)), Decision::Accepted);
    assert_eq!(harness.state().hand(), Some(CandidateId::new(FIRST, 0)));
    assert!(harness.query_by_label("Nothing is marked yet").is_some(), "ready for the next one");
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert!(marks(&on_disk(&harness), FIRST).is_empty());
}

#[test]
fn the_pointer_draws_and_does_not_move_the_picture_or_take_candidates() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::Num4);
    press(&mut harness, Key::H);
    let at = middle(&harness);
    draw(&mut harness, &[at, at + vec2(40.0, 0.0), at + vec2(40.0, 40.0)]);
    draw(&mut harness, &[at]);
    press(&mut harness, Key::Enter);
    let painted = marks(&on_disk(&harness), FIRST).remove(0);
    // Ten picture pixels each way at 4:1, and the brush around them.
    let bounds = painted.bounds();
    assert!((12..=14).contains(&bounds.width()) && (12..=14).contains(&bounds.height()), "{bounds:?}");
}

#[test]
fn shift_takes_away_by_pointer_and_by_key() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::H);
    for _ in 0..5 {
        press(&mut harness, Key::Period);
    }
    press(&mut harness, Key::D);
    for _ in 0..7 {
        press(&mut harness, Key::Comma);
    }
    press_with(&mut harness, Modifiers::SHIFT, Key::D);
    press(&mut harness, Key::Enter);
    let ring = marks(&on_disk(&harness), FIRST).remove(0);
    assert!(!ring.contains(48, 36), "the middle was taken away");
    assert!(ring.contains(48 + ring.bounds().width() as u32 / 2 - 1, 36), "the rest was not: {:?}", ring.bounds());
}

#[test]
fn a_mark_on_the_whole_shot_by_keys_alone_is_one_step() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::H);
    press_with(&mut harness, Modifiers::ALT, Key::ArrowLeft);
    press_with(&mut harness, Modifiers::ALT, Key::ArrowUp);
    assert_eq!(harness.state().frame(), Some(FIRST), "Alt and arrows move the ring, not the reel");
    press(&mut harness, Key::D);
    harness.get_by_role_and_label(Role::Button, "Shot").focus();
    harness.run();
    press(&mut harness, Key::Enter);
    assert!(on_disk(&harness).records().is_empty(), "Enter works the button that has the focus");
    assert!(harness.query_by_label_contains("marked, for frames 100 to 105").is_some());
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::Enter);
    let disk = on_disk(&harness);
    assert!(matches!(disk.records(), [record] if matches!(record.deed, Deed::HandMarks { first: 100, last: 105, .. })));
    for frame in FIRST..FIRST + FRAMES {
        let bounds = marks(&disk, frame)[0].bounds();
        assert_eq!(
            (bounds.x0 + bounds.x1, bounds.y0 + bounds.y1),
            (2 * 47, 2 * 35),
            "one pixel left and up: {bounds:?}"
        );
        assert_eq!(disk.frame_counts(frame).accepted, 1);
    }
    press(&mut harness, Key::ArrowRight);
    assert_eq!(harness.state().reel().unwrap().frame_counts(FIRST + 1).accepted, 1);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).total().hand, 0);
}

#[test]
fn outlines_and_lines_are_drawn_by_keys_too() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::H);
    press_with(&mut harness, Modifiers::SHIFT, Key::H);
    // A right angle of ten pixels, closed with Enter, recorded with Enter.
    press(&mut harness, Key::D);
    for _ in 0..10 {
        press_with(&mut harness, Modifiers::ALT, Key::ArrowRight);
    }
    press(&mut harness, Key::D);
    for _ in 0..10 {
        press_with(&mut harness, Modifiers::ALT, Key::ArrowDown);
    }
    press(&mut harness, Key::D);
    press(&mut harness, Key::Enter);
    assert!(on_disk(&harness).records().is_empty());
    assert!(harness.query_by_label_contains("pixels marked").is_some());
    press(&mut harness, Key::Enter);
    let corner = marks(&on_disk(&harness), FIRST).remove(0);
    assert!((40..=60).contains(&corner.area()), "half of ten by ten: {}", corner.area());

    press_with(&mut harness, Modifiers::SHIFT, Key::H);
    let at = middle(&harness);
    draw(&mut harness, &[at - vec2(0.0, 150.0), at + vec2(3.0, 10.0), at + vec2(0.0, 150.0)]);
    press(&mut harness, Key::Enter);
    let line = marks(&on_disk(&harness), FIRST).remove(1);
    assert!(line.runs().iter().all(|r| r.x1 - r.x0 <= 4), "straight, whatever way the pointer took");
    assert!(line.bounds().height() > 20, "{:?}", line.bounds());
}

#[test]
fn escape_drops_and_ctrl_z_takes_back_the_last_stroke_before_anything_recorded() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::H);
    press(&mut harness, Key::D);
    press(&mut harness, Key::Enter);
    assert_eq!(on_disk(&harness).records().len(), 1);
    press_with(&mut harness, Modifiers::ALT, Key::ArrowLeft);
    press(&mut harness, Key::D);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert!(harness.query_by_label("Nothing is marked yet").is_some());
    assert_eq!(on_disk(&harness).records().len(), 1, "the stroke went, the record stays");
    press(&mut harness, Key::D);
    press(&mut harness, Key::Escape);
    assert!(harness.query_by_label_contains("pixels marked").is_none(), "the tool is left");
    press(&mut harness, Key::Enter);
    assert_eq!(on_disk(&harness).records().len(), 1);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).total().hand, 0);
}

#[test]
fn a_mark_that_is_there_already_is_told_and_kept_in_the_making() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::H);
    for _ in 0..2 {
        press(&mut harness, Key::D);
        press(&mut harness, Key::Enter);
    }
    assert!(harness.state().said().unwrap().contains("already marked by hand"), "{:?}", harness.state().said());
    assert_eq!(on_disk(&harness).records().len(), 1);
    assert!(harness.query_by_label_contains("pixels marked, for frame 100").is_some());
}

#[test]
fn an_outline_and_a_painted_shape_are_protected_pixel_by_pixel() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::P);
    click(&mut harness, Role::Button, "Outline");
    let at = middle(&harness);
    let corners = [vec2(-100.0, -100.0), vec2(100.0, -100.0), vec2(-100.0, 100.0), vec2(-100.0, -100.0)];
    draw(&mut harness, &corners.map(|c| at + c));
    click(&mut harness, Role::Button, "Protect");
    let region = on_disk(&harness).regions()[0].clone();
    let mask = region.mask.clone().expect("a triangle is no box");
    let share = mask.area() as f32 / (region.rect.width() * region.rect.height()) as f32;
    assert!((0.4..0.6).contains(&share), "half of its box: {share}");
    assert_eq!((region.first, region.last), (FIRST, FIRST + FRAMES - 1));
    assert_eq!(on_disk(&harness).protected_mask(FIRST + 2), mask);

    press(&mut harness, Key::P);
    press_with(&mut harness, Modifiers::SHIFT, Key::H);
    press_with(&mut harness, Modifiers::SHIFT, Key::H);
    press(&mut harness, Key::D);
    press(&mut harness, Key::Enter);
    let regions = on_disk(&harness).regions().to_vec();
    assert_eq!(regions.len(), 2);
    assert!(regions[1].mask.as_ref().is_some_and(|m| m.contains(48, 36)));
}

#[test]
fn regions_are_listed_changed_gone_to_and_ended() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::ArrowRight);
    press(&mut harness, Key::P);
    click(&mut harness, Role::Button, "Frame");
    harness.get_by_role_and_label(Role::TextInput, "Why (may stay empty)").focus();
    harness.run();
    harness.get_by_role_and_label(Role::TextInput, "Why (may stay empty)").type_text("dh slate");
    harness.run();
    press(&mut harness, Key::Enter);
    let region = on_disk(&harness).regions()[0].clone();
    assert_eq!((region.note.as_str(), region.first, region.last), ("dh slate", FIRST + 1, FIRST + 1));
    assert_eq!(region.mask, None);

    press(&mut harness, Key::ArrowRight);
    let row = "Protected region 1, dh slate, box, frames 101";
    assert!(harness.query_by_role_and_label(Role::Button, row).is_some(), "of the same shot");
    click(&mut harness, Role::Button, "Regions of the frame, 0");
    assert!(harness.query_by_role_and_label(Role::Button, row).is_none(), "not of this frame");
    click(&mut harness, Role::Button, "Regions of the reel, 1");
    click(&mut harness, Role::Button, row);
    assert_eq!(harness.state().frame(), Some(FIRST + 1));

    click(&mut harness, Role::Button, "Change region 1");
    click(&mut harness, Role::Button, "Shot");
    click(&mut harness, Role::Button, "Change");
    let changed = on_disk(&harness).regions()[0].clone();
    assert_eq!((changed.first, changed.last, &changed.id), (FIRST, FIRST + FRAMES - 1, &region.id));
    assert_eq!((changed.rect, changed.note.as_str()), (region.rect, "dh slate"));
    assert_eq!(on_disk(&harness).records().len(), 2, "one step");

    // Part of the shape painted away.
    click(&mut harness, Role::Button, "Change region 1");
    click(&mut harness, Role::Button, "Brush");
    press_with(&mut harness, Modifiers::SHIFT, Key::D);
    click(&mut harness, Role::Button, "Change");
    let painted = on_disk(&harness).regions()[0].clone();
    let mask = painted.mask.clone().expect("the box has a hole now");
    assert_eq!(mask.union(&RunMask::from_rect(&region.rect)), RunMask::from_rect(&region.rect));
    assert!(!mask.contains(48, 36));
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    assert_eq!(on_disk(&harness).regions()[0], region);
    click(&mut harness, Role::Button, "Free region 1");
    assert!(on_disk(&harness).regions().is_empty());
}

fn speck(mask: RunMask) -> Candidate {
    Candidate {
        mask,
        kind: Kind::Dust,
        polarity: Polarity::Dark,
        confidence: 0.9,
        risk: Risk::default(),
        origin: Origin::Film,
        peak: 9.0,
        reasons: Vec::new(),
    }
}

fn square(x: i32, y: i32) -> RunMask {
    RunMask::from_rect(&Rect::new(x, y, x + 6, y + 6))
}

/// A bench whose first frame holds two squares as one candidate, and a small square near them.
fn shapes<'a>() -> (tempfile::TempDir, Harness<'a, App>) {
    let folder = tempfile::tempdir().unwrap();
    let two = || square(20, 20).union(&square(30, 20));
    let path = reel_with(folder.path(), |n| {
        if n == FIRST { vec![speck(two()), speck(RunMask::from_rect(&Rect::new(40, 22, 42, 24)))] } else { Vec::new() }
    });
    let mut harness = window(Some(path));
    press(&mut harness, Key::F3);
    assert_eq!(harness.state().hand(), Some(CandidateId::new(FIRST, 0)));
    (folder, harness)
}

#[test]
fn the_candidate_in_hand_grows_shrinks_is_parted_and_joined() {
    let (_folder, mut harness) = shapes();
    let mask = |harness: &Harness<'_, App>, index: u32| {
        on_disk(harness).candidate(CandidateId::new(FIRST, index)).unwrap().mask.clone()
    };
    let before = mask(&harness, 0);
    press_with(&mut harness, Modifiers::SHIFT, Key::G);
    assert_eq!(mask(&harness, 0), before.grown(1, 96, 72));
    press_with(&mut harness, Modifiers::SHIFT, Key::S);
    assert_eq!(mask(&harness, 0), before);
    click(&mut harness, Role::Button, "Part");
    assert_eq!((mask(&harness, 0), mask(&harness, 2)), (square(20, 20), square(30, 20)));
    assert_eq!(on_disk(&harness).frame_counts(FIRST).undecided, 3);
    press(&mut harness, Key::J);
    assert_eq!(mask(&harness, 0), before, "with the nearest one");
    assert_eq!(on_disk(&harness).frame_counts(FIRST).undecided, 2);
    press(&mut harness, Key::A);
    assert_eq!(on_disk(&harness).decision(CandidateId::new(FIRST, 0)), Decision::Accepted);
    assert_eq!(on_disk(&harness).records().len(), 5);
    for _ in 0..5 {
        press_with(&mut harness, Modifiers::COMMAND, Key::Z);
    }
    let disk = on_disk(&harness);
    assert_eq!((disk.candidates(FIRST).len(), mask(&harness, 0)), (2, before));
    press_with(&mut harness, Modifiers::SHIFT, Key::J);
    press(&mut harness, Key::ArrowDown);
    press_with(&mut harness, Modifiers::SHIFT, Key::J);
    assert_eq!(harness.state().said(), Some("It is of one piece."));
}

#[test]
fn the_shape_of_the_candidate_in_hand_is_painted_over() {
    let (_folder, mut harness) = shapes();
    press(&mut harness, Key::E);
    // Between the two squares, then on: one stroke that joins them.
    press_with(&mut harness, Modifiers::SHIFT, Key::H);
    press_with(&mut harness, Modifiers::SHIFT, Key::H);
    press(&mut harness, Key::D);
    for _ in 0..4 {
        press_with(&mut harness, Modifiers::ALT, Key::ArrowRight);
    }
    press(&mut harness, Key::D);
    press(&mut harness, Key::Enter);
    let disk = on_disk(&harness);
    assert!(matches!(disk.records(), [record] if matches!(record.deed, Deed::Reshape { .. })));
    let mask = disk.candidate(CandidateId::new(FIRST, 0)).unwrap().mask.clone();
    assert!(mask.area() > 72 && square(20, 20).union(&square(30, 20)).minus(&mask).is_empty(), "{mask:?}");
    assert_eq!(disk.decision(CandidateId::new(FIRST, 0)), Decision::Undecided, "a shape is no decision");
    assert!(harness.query_by_label("Breadth in pixels").is_none(), "the form is closed");
}

#[test]
fn a_box_stays_a_box() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::P);
    press(&mut harness, Key::Enter);
    let region = on_disk(&harness).regions()[0].clone();
    assert_eq!(region.mask, None);
    assert!(!region.rect.is_empty() && Rect::new(0, 0, 96, 72).intersect(&region.rect) == region.rect);
}
