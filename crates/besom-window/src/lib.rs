//! The window: Survey, Bench and Ledger.
//!
//! Each frame first takes the answers of the workers and the keys ([`App`]'s `logic`), then draws; panels never change the
//! reel but push commands, which one place executes. Nothing is decoded, searched or repaired on the window's thread: workers
//! answer questions (see `background`), and an answer that came too late is dropped by its number. Colours and sizes live in
//! `tokens`, shapes in `glyph`, everything a person can ask for in `action`.
//!
//! Known limits: dialogs of the system run on a thread of their own, which macOS does not allow; there the path fields
//! serve. File names in scripts that the bundled face lacks show as boxes.
#![forbid(unsafe_code)]

mod action;
mod app;
mod background;
mod chord;
mod command;
mod desk;
mod error;
mod glyph;
mod keymap;
mod picture;
mod preferences;
mod rooms;
mod run;
#[cfg(test)]
#[path = "../tests/common/reel.rs"]
mod small_reel;
mod tokens;
mod widgets;

pub use action::Action;
pub use app::App;
pub use background::tasks::DemoMaker;
pub use error::WindowError;
pub use run::{app_for_tests, app_for_tests_from, keys_page, run, run_with_demo};
