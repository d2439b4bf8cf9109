//! What the tests of the window share.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc, dead_code, unused_imports, unreachable_pub)]

mod reel;
mod store;

use std::path::PathBuf;

use besom_window::{App, app_for_tests, app_for_tests_from};
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

pub use reel::{FIRST, FRAMES, reel, reel_with, scans};
pub use store::Store;

/// A window in a harness, opened on `path`, with everything settled.
pub fn window<'a>(path: Option<PathBuf>) -> Harness<'a, App> {
    sized((1280.0, 720.0), |ctx| app_for_tests(ctx, path, "Ines").unwrap())
}

/// A window that goes on where another one left off.
pub fn window_from<'a>(store: &Store) -> Harness<'a, App> {
    sized((1280.0, 720.0), |ctx| app_for_tests_from(ctx, store, "Ines").unwrap())
}

/// What a window leaves behind when it is closed now.
pub fn closed(harness: &mut Harness<'_, App>) -> Store {
    let mut store = Store::default();
    eframe::App::save(harness.state_mut(), &mut store);
    store
}

/// A window of this size, with everything settled.
pub fn sized<'a>(size: (f32, f32), app: impl FnOnce(&egui::Context) -> App) -> Harness<'a, App> {
    let mut harness = Harness::builder()
        .with_size(egui::vec2(size.0, size.1))
        .with_os(egui::os::OperatingSystem::Nix)
        .with_theme(egui::Theme::Dark)
        .with_step_dt(1.0 / 60.0)
        .with_max_steps(120)
        .build_eframe(|context| app(&context.egui_ctx));
    harness.run();
    harness
}

/// Clicks what has this role and name.
pub fn click(harness: &mut Harness<'_, App>, role: egui::accesskit::Role, label: &str) {
    harness.get_by_role_and_label(role, label).click();
    harness.run();
}

/// Presses a key and lets everything settle.
pub fn press(harness: &mut Harness<'_, App>, key: Key) {
    press_with(harness, Modifiers::NONE, key);
}

/// The same with other keys held.
pub fn press_with(harness: &mut Harness<'_, App>, modifiers: Modifiers, key: Key) {
    harness.key_press_modifiers(modifiers, key);
    harness.run();
}
