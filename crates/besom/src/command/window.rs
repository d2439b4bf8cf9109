//! The window, from the command line.

use std::path::Path;

use crate::Ending;
use crate::terminal::Terminal;

/// Opens the window, on a reel when there is one.
pub(super) fn run(reel: Option<&Path>, terminal: &Terminal) -> Result<(), Ending> {
    let _ = (reel, terminal);
    if !has_display() {
        return Err(Ending::failed(
            "there is no display to open the window on; the commands work without one (besom --help)",
        ));
    }
    Err(Ending::failed("the window is not built yet"))
}

/// True when there is a display to open a window on.
pub(super) fn has_display() -> bool {
    // Other systems always have one for a program that a person started.
    let unix = cfg!(all(unix, not(target_os = "macos")));
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !unix || set("DISPLAY") || set("WAYLAND_DISPLAY") || set("WAYLAND_SOCKET")
}
