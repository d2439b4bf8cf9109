//! The ledger: counts, film time, pace and forecast, as a table that is written as text, CSV, JSON or HTML.

mod build;
mod counts;
mod html;
mod pace;
mod table;
#[cfg(test)]
mod tests;
mod text;

pub(crate) use build::build;
pub use counts::Counts;
pub use pace::{LEAST_CANDIDATES, LEAST_MINUTES, LONGEST_GAP_SECS, Pace};
pub use table::{By, Column, LedgerTable, Row};
