//! What the tests of the window share.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc, dead_code, unused_imports, unreachable_pub)]

mod reel;

use std::path::PathBuf;

use besom_window::{App, app_for_tests};
use egui::{Key, Modifiers};
use egui_kittest::Harness;

pub use reel::{FIRST, FRAMES, reel, reel_with, scans};

/// A window in a harness, opened on `path`, with everything settled.
pub fn window<'a>(path: Option<PathBuf>) -> Harness<'a, App> {
    let mut harness = Harness::builder()
        .with_size(egui::vec2(1280.0, 720.0))
        .with_os(egui::os::OperatingSystem::Nix)
        .with_theme(egui::Theme::Dark)
        .with_step_dt(1.0 / 60.0)
        .with_max_steps(120)
        .build_eframe(|context| app_for_tests(&context.egui_ctx, path, "Ines").unwrap());
    harness.run();
    harness
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
