//! Counts and progress.

mod counts;
mod table;

pub use counts::Counts;
pub use table::{By, LedgerTable, Row};
