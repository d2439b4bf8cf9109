//! `besom keys`: the page of the manual that lists the keys of the window.

use serde_json::json;

use crate::Ending;
use crate::terminal::Terminal;

/// Print all keys of the window as a page of Markdown
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {}

/// Prints the page; there is nothing to resolve.
pub(crate) fn run(_: &Arguments, terminal: &Terminal) -> Result<(), Ending> {
    let page = besom_window::keys_page();
    if terminal.wants_json() {
        return terminal.print(&json!({ "command": "keys", "markdown": page }).to_string());
    }
    terminal.print(&page)
}
