//! The ledger as rows of counts.

use super::counts::Counts;
use crate::model::gauge::Gauge;
use crate::model::rate::Rate;

/// What the rows of a ledger stand for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum By {
    /// One row: the reel.
    Reel,
    /// A row a shot.
    #[default]
    Shot,
    /// A row an artist: the decisions that stand and who made them.
    Artist,
    /// A row a day (UTC): the decisions that stand and when they were made.
    Day,
    /// A row a kind of candidate.
    Kind,
}

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What the row stands for.
    pub label: String,
    /// Its counts.
    pub counts: Counts,
    /// Candidates decided one by one a minute of work; `None` where too little was decided to say.
    pub pace_per_minute: Option<f64>,
}

/// The ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct LedgerTable {
    /// The reel's name.
    pub reel: String,
    /// What the rows stand for.
    pub by: By,
    /// Frames a second: turns frames into seconds.
    pub rate: Rate,
    /// Film gauge: turns frames into feet.
    pub gauge: Gauge,
    /// The rows.
    pub rows: Vec<Row>,
    /// The whole reel.
    pub total: Row,
    /// Minutes of work left at the pace so far; `None` where too little was decided to say.
    pub minutes_left: Option<f64>,
}

impl LedgerTable {
    /// As a table for a terminal.
    pub fn text(&self) -> String {
        String::new()
    }

    /// As comma-separated values (RFC 4180), one header line.
    pub fn csv(&self) -> String {
        String::new()
    }

    /// As JSON.
    pub fn json(&self) -> serde_json::Value {
        serde_json::Value::Null
    }

    /// As one self-contained HTML page.
    pub fn html(&self) -> String {
        String::new()
    }
}
