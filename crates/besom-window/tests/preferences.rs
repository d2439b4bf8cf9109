//! What a person sets counts at once, is there the next time, and spoils nothing when it is nonsense.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use besom_reel::{Decision, Reel};
use egui::accesskit::Role;
use egui::{Key, Modifiers, Theme};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use besom_window::{App, app_for_tests};
use common::{FIRST, Store, click, closed, press, press_with, reel, sized, window, window_from};

fn bench<'a>() -> (tempfile::TempDir, Harness<'a, App>) {
    let folder = tempfile::tempdir().unwrap();
    let path = reel(folder.path());
    let mut harness = window(Some(path));
    press(&mut harness, Key::N);
    (folder, harness)
}

fn open_preferences(harness: &mut Harness<'_, App>) {
    press_with(harness, Modifiers::COMMAND, Key::Comma);
    assert!(harness.query_by_label("Your name").is_some());
}

fn type_name(harness: &mut Harness<'_, App>, name: &str) {
    let field = |harness: &Harness<'_, App>| harness.get_by_role_and_label(Role::TextInput, "Your name").rect();
    assert!(field(harness).width() > 100.0);
    harness.get_by_role_and_label(Role::TextInput, "Your name").focus();
    harness.run();
    press_with(harness, Modifiers::COMMAND, Key::A);
    harness.get_by_role_and_label(Role::TextInput, "Your name").type_text(name);
    harness.run();
}

#[test]
fn a_new_name_has_the_records_from_then_on() {
    let (_folder, mut harness) = bench();
    let first = harness.state().hand().unwrap();
    press(&mut harness, Key::A);
    open_preferences(&mut harness);
    type_name(&mut harness, "Mara");
    click(&mut harness, Role::Button, "Done");
    assert!(harness.query_by_label("Your name").is_none());
    assert_eq!(harness.state().said(), Some("What is recorded from now on is by Mara."));
    let second = harness.state().hand().unwrap();
    press(&mut harness, Key::R);
    let disk = Reel::open_to_read(harness.state().reel().unwrap().folder()).unwrap();
    let by = |id| disk.verdict(id).map(|record| record.artist.clone());
    assert_eq!((by(first).as_deref(), by(second).as_deref()), (Some("Ines"), Some("Mara")));
    // The next window knows the name, and a name that names no file is refused in words.
    let store = closed(&mut harness);
    drop(harness);
    let mut harness = window_from(&store);
    assert_eq!(harness.state().reel().unwrap().artist(), Some("Mara"));
    open_preferences(&mut harness);
    type_name(&mut harness, "Mara/2");
    press(&mut harness, Key::Tab);
    assert!(harness.query_by_label_contains("cannot be used").is_some());
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::Escape);
    assert_eq!(harness.state().reel().unwrap().artist(), Some("Mara"));
}

#[test]
fn look_and_size_count_at_once_and_the_next_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = reel(folder.path());
    let mut harness = sized((2560.0, 1440.0), |ctx| app_for_tests(ctx, Some(path), "Ines").unwrap());
    assert_eq!((harness.ctx.theme(), harness.ctx.zoom_factor()), (Theme::Dark, 1.0));
    press_with(&mut harness, Modifiers::COMMAND, Key::Plus);
    assert!((harness.ctx.zoom_factor() - 1.1).abs() < 1e-3, "by key, with no sheet open");
    open_preferences(&mut harness);
    click(&mut harness, Role::Button, "Light");
    assert_eq!(harness.ctx.theme(), Theme::Light);
    harness.get_by_role_and_label(Role::Slider, "Size of everything").set_value_accesskit(150.0);
    harness.run();
    assert!((harness.ctx.zoom_factor() - 1.5).abs() < 1e-3);
    harness.get_by_role_and_label(Role::Slider, "Automatic flip").set_value_accesskit(9.0);
    harness.run();
    let store = closed(&mut harness);
    assert!(store.0["preferences"].contains("flip_rate:2.8"), "under three a second: {}", store.0["preferences"]);
    // In a smaller window everything is as large as there is room for.
    let mut harness = window_from(&store);
    assert_eq!(harness.ctx.theme(), Theme::Light);
    assert!((1.0..1.1).contains(&harness.ctx.zoom_factor()), "{}", harness.ctx.zoom_factor());
    open_preferences(&mut harness);
    assert!(harness.query_by_label_contains("This window has room for 105 %").is_some());
    click(&mut harness, Role::Button, "As Besom came");
    assert_eq!((harness.ctx.theme(), harness.ctx.zoom_factor()), (Theme::Dark, 1.0));
}

#[test]
fn nonsense_in_the_store_is_as_if_nothing_were_stored() {
    for text in ["", "((((", "(light: 7, keys: 3, artist: [])"] {
        let mut store = Store::default();
        store.0.insert("preferences".to_owned(), text.to_owned());
        store.0.insert("besom".to_owned(), "(recent: [(folder: \"gone.besom\", frame: 4)], later: true)".to_owned());
        let harness = window_from(&store);
        assert_eq!(harness.ctx.theme(), Theme::Dark);
        assert!(harness.query_by_label("Open gone").is_some(), "the list of reels is kept");
    }
}

#[test]
fn a_key_is_changed_on_the_sheet_and_shown_everywhere() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::F1);
    click(&mut harness, Role::Button, "Accept: A");
    click(&mut harness, Role::Button, "Change its key");
    press(&mut harness, Key::Tab);
    assert!(harness.query_by_label_contains("Tab cannot be given away").is_some());
    click(&mut harness, Role::Button, "Change its key");
    press(&mut harness, Key::X);
    assert!(harness.query_by_role_and_label(Role::Button, "Accept: X").is_some());
    press(&mut harness, Key::Escape);
    let id = harness.state().hand().unwrap();
    press(&mut harness, Key::A);
    assert_eq!(harness.state().reel().unwrap().decision(id), Decision::Undecided, "A has no meaning any more");
    press(&mut harness, Key::X);
    assert_eq!(harness.state().reel().unwrap().decision(id), Decision::Accepted);
    harness.get_by_role_and_label(Role::Button, "Accept").hover();
    harness.run_steps(60);
    assert!(harness.query_by_label_contains("on to the next. Key: X").is_some(), "the tooltip");

    let store = closed(&mut harness);
    drop(harness);
    let mut harness = window_from(&store);
    press(&mut harness, Key::N);
    let id = harness.state().hand().unwrap();
    press(&mut harness, Key::X);
    assert_eq!(harness.state().reel().unwrap().decision(id), Decision::Accepted, "the next time too");
}

#[test]
fn a_key_that_is_taken_is_asked_for_and_all_can_be_taken_back() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::F1);
    click(&mut harness, Role::Button, "Fit: F");
    click(&mut harness, Role::Button, "Change its key");
    press_with(&mut harness, Modifiers::SHIFT, Key::A);
    let asked = "Shift+A already stands for “Accept the rest of the frame”: take it from there?";
    assert!(harness.query_by_label(asked).is_some());
    press(&mut harness, Key::Escape);
    assert!(harness.query_by_label(asked).is_none());
    assert!(harness.query_by_role_and_label(Role::Button, "Fit: F").is_some(), "Esc leaves it as it is");
    click(&mut harness, Role::Button, "Change its key");
    press_with(&mut harness, Modifiers::SHIFT, Key::A);
    click(&mut harness, Role::Button, "Take it");
    assert!(harness.query_by_role_and_label(Role::Button, "Fit: Shift+A").is_some());
    // The one that lost it can have it back, from there.
    click(&mut harness, Role::Button, "Accept the rest of the frame: none");
    click(&mut harness, Role::Button, "Take back");
    assert!(harness.query_by_label("Shift+A stands for “Fit” now: take it from there?").is_some());
    click(&mut harness, Role::Button, "Take it");
    assert!(harness.query_by_role_and_label(Role::Button, "Accept the rest of the frame: Shift+A").is_some());
    assert!(harness.query_by_role_and_label(Role::Button, "Fit: F").is_some());

    click(&mut harness, Role::Button, "Change its key");
    press(&mut harness, Key::Q);
    click(&mut harness, Role::Button, "Take all back");
    click(&mut harness, Role::Button, "All of them");
    assert!(harness.query_by_role_and_label(Role::Button, "Accept the rest of the frame: Shift+A").is_some());
    assert_eq!(closed(&mut harness).0["preferences"].matches("AcceptFrame").count(), 0);
}

#[test]
fn a_reel_is_found_as_it_was_left() {
    let (_folder, mut harness) = bench();
    press(&mut harness, Key::W);
    press(&mut harness, Key::Num4);
    press(&mut harness, Key::C);
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::ArrowDown);
    let (frame, hand) = (harness.state().frame(), harness.state().hand());
    assert!(frame > Some(FIRST) && hand.is_some());
    let store = closed(&mut harness);
    drop(harness);
    let mut harness = window_from(&store);
    assert_eq!((harness.state().frame(), harness.state().hand()), (frame, hand));
    let text = &closed(&mut harness).0["besom"];
    assert!(text.contains("top_to_bottom:true") && text.contains("zoom:Some(4.0)"), "{text}");
    assert_eq!(&store.0["besom"], text, "left again at once, it is left the same");
    // The room too, and the first screen when that was shown.
    press(&mut harness, Key::F4);
    let store = closed(&mut harness);
    drop(harness);
    let mut harness = window_from(&store);
    assert!(harness.query_by_label("Along the reel").is_some());
    press_with(&mut harness, Modifiers::COMMAND, Key::O);
    let store = closed(&mut harness);
    drop(harness);
    let harness = window_from(&store);
    assert!(harness.state().reel().is_none() && harness.query_by_label("New scans").is_some());
}

#[test]
fn every_control_of_the_sheets_has_a_name() {
    let (_folder, mut harness) = bench();
    for (modifiers, key) in [(Modifiers::COMMAND, Key::Comma), (Modifiers::NONE, Key::F1), (Modifiers::SHIFT, Key::E)] {
        press_with(&mut harness, modifiers, key);
        let roles = [Role::Button, Role::TextInput, Role::Slider, Role::SpinButton, Role::CheckBox];
        let nameless: Vec<_> = harness
            .query_all_by(|n| roles.contains(&n.role()))
            .filter(|n| n.accesskit_node().label().is_none_or(|l| l.trim().is_empty()))
            .map(|n| format!("{:?} at {:?}", n.accesskit_node().role(), n.rect()))
            .collect();
        assert!(nameless.is_empty(), "{key:?}: {nameless:?}");
        press(&mut harness, Key::Escape);
    }
}
