//! Opening the window, and making one for tests.

use std::fmt::Write as _;
use std::path::PathBuf;

use crate::action::{Group, TABLE, shortcut_text};
use crate::app::{App, Settings};
use crate::background::tasks::DemoMaker;
use crate::error::WindowError;

/// Smallest window: every room still works in it.
const SMALLEST: [f32; 2] = [1180.0, 680.0];
/// Size at the first start.
const FIRST: [f32; 2] = [1440.0, 900.0];

/// Opens the window and returns when it is closed. `open` is a reel folder, or scans to start one for; `artist` names the
/// journal that decisions go to (see [`besom_reel::Artist`] for the names that can be).
///
/// # Errors
/// When there is no display or the system refuses a window.
pub fn run(open: Option<PathBuf>, artist: String) -> Result<(), WindowError> {
    run_with_demo(open, artist, None)
}

/// As [`run`]; with a maker the first screen also offers the demo reel.
///
/// # Errors
/// As [`run`].
pub fn run_with_demo(open: Option<PathBuf>, artist: String, demo: Option<DemoMaker>) -> Result<(), WindowError> {
    if !has_display() {
        return Err(WindowError::NoDisplay);
    }
    let viewport = egui::ViewportBuilder::default()
        .with_title("Besom")
        .with_app_id("besom")
        .with_inner_size(FIRST)
        .with_min_inner_size(SMALLEST)
        .with_icon(icon())
        .with_drag_and_drop(true);
    let options = eframe::NativeOptions {
        viewport,
        // Dithering would change the values of a picture that people judge.
        dithering: false,
        persist_window: true,
        ..eframe::NativeOptions::default()
    };
    let create = move |context: &eframe::CreationContext<'_>| -> Result<Box<dyn eframe::App>, _> {
        let settings = Settings::load(context.storage);
        let mut app = App::new(&context.egui_ctx, settings, artist, demo, false)
            .map_err(|e| WindowError::NoThreads(e.to_string()))?;
        if let Some(path) = open {
            app.open(path);
        }
        Ok(Box::new(app))
    };
    eframe::run_native("besom", options, Box::new(create)).map_err(|e| WindowError::Refused(e.to_string()))
}

/// X11 and Wayland say by these variables that a screen is there; other systems always have one.
fn has_display() -> bool {
    let set = |name: &str| std::env::var_os(name).is_some_and(|v| !v.is_empty());
    !cfg!(all(unix, not(target_os = "macos"))) || set("DISPLAY") || set("WAYLAND_DISPLAY") || set("WAYLAND_SOCKET")
}

fn icon() -> egui::IconData {
    eframe::icon_data::from_png_bytes(include_bytes!("../../../assets/besom-256.png")).unwrap_or_default()
}

/// A window without threads, display or stored settings, for tests that drive it through its accessibility tree. `open` as for
/// [`run`]. Every question to a worker is answered before the frame that asked it ends.
///
/// # Errors
/// Never without threads; the error is there because making a window may need them.
pub fn app_for_tests(ctx: &egui::Context, open: Option<PathBuf>, artist: &str) -> Result<App, WindowError> {
    let mut app = App::new(ctx, Settings::default(), artist.to_owned(), None, true)
        .map_err(|e| WindowError::NoThreads(e.to_string()))?;
    if let Some(path) = open {
        app.open(path);
    }
    Ok(app)
}

/// All keys as a Markdown table, for the manual.
pub fn keys_table() -> String {
    let mut text = String::new();
    for group in Group::ALL {
        let _ = write!(text, "### {}\n\n| key | action | what it does |\n| --- | --- | --- |\n", group.label());
        for entry in TABLE.iter().filter(|e| e.group == group) {
            let keys: Vec<String> = entry.keys.iter().copied().map(shortcut_text).collect();
            let _ = writeln!(text, "| {} | {} | {} |", keys.join(", "), entry.label, entry.hint);
        }
        text.push('\n');
    }
    text
}
