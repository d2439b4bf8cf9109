//! The window, from the command line.

use std::path::PathBuf;

use crate::Ending;
use crate::values::default_artist;

/// Opens the window, on a reel when there is one, and returns when it is closed.
pub(super) fn run(reel: Option<PathBuf>) -> Result<(), Ending> {
    crate::signal::let_go();
    besom_window::run_with_demo(reel, default_artist(), Some(super::demo::for_window)).map_err(Ending::failed)
}

/// True when there is a display to open a window on.
pub(super) fn has_display() -> bool {
    // Other systems always have one for a program that a person started.
    let unix = cfg!(all(unix, not(target_os = "macos")));
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !unix || set("DISPLAY") || set("WAYLAND_DISPLAY") || set("WAYLAND_SOCKET")
}
