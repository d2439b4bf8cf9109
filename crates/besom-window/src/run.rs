//! Opening the window, and making one for tests.

use std::fmt::Write as _;
use std::path::PathBuf;

use crate::action::{Group, TABLE};
use crate::app::{App, Settings};
use crate::background::tasks::DemoMaker;
use crate::error::WindowError;
use crate::keymap::Keymap;

/// Smallest window: every room still works in it.
pub(crate) const SMALLEST: [f32; 2] = [1180.0, 680.0];
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
        let open = open.or_else(|| settings.open.clone());
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
    made_for_tests(ctx, Settings::default(), open, artist)
}

/// As [`app_for_tests`], but begun with what another window left in `storage`, the reel that was open included.
///
/// # Errors
/// As [`app_for_tests`].
pub fn app_for_tests_from(
    ctx: &egui::Context,
    storage: &dyn eframe::Storage,
    artist: &str,
) -> Result<App, WindowError> {
    let settings = Settings::load(Some(storage));
    let open = settings.open.clone();
    made_for_tests(ctx, settings, open, artist)
}

fn made_for_tests(
    ctx: &egui::Context,
    settings: Settings,
    open: Option<PathBuf>,
    artist: &str,
) -> Result<App, WindowError> {
    let mut app =
        App::new(ctx, settings, artist.to_owned(), None, true).map_err(|e| WindowError::NoThreads(e.to_string()))?;
    if let Some(path) = open {
        app.open(path);
    }
    Ok(app)
}

/// The page of the manual that lists every key Besom comes with, as Markdown.
pub fn keys_page() -> String {
    let mut page = String::from(
        "# Keys\n\nThe keys that Besom comes with. Each can be changed in the window: the sheet of keys (F1) shows those that \
         count for you.\nThis page is written by `besom keys`.\n",
    );
    for group in Group::ALL {
        let _ = write!(page, "\n## {}\n\n| key | action | what it does |\n| --- | --- | --- |\n", group.label());
        for entry in TABLE.iter().filter(|e| e.group == group) {
            // A bar in a cell would end it.
            let cells = [Keymap::default().all_keys_text(entry.action), entry.label.to_owned(), entry.hint.to_owned()];
            let cells = cells.map(|cell| cell.replace('|', "\\|"));
            let _ = writeln!(page, "| {} |", cells.join(" | "));
        }
    }
    page
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_in_the_manual_is_the_one_that_the_table_makes() {
        let kept = include_str!("../../../assets/manual/keys.md");
        assert_eq!(kept, keys_page(), "write it anew: besom keys > assets/manual/keys.md");
    }
}
