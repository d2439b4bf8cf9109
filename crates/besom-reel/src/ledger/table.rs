//! The ledger as rows and columns, whatever it is written as.

use super::counts::Counts;
use super::pace::Pace;
use crate::footage::Footage;
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

impl By {
    /// All, in the order in which menus list them.
    pub const ALL: [Self; 5] = [Self::Reel, Self::Shot, Self::Artist, Self::Day, Self::Kind];

    /// The word that commands use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Reel => "reel",
            Self::Shot => "shot",
            Self::Artist => "artist",
            Self::Day => "day",
            Self::Kind => "kind",
        }
    }

    /// What a word stands for, as [`By::word`] gives it.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.word() == word)
    }
}

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What the row stands for.
    pub label: String,
    /// First and last scan, for a shot and the reel.
    pub scans: Option<(u64, u64)>,
    /// Its counts. By artist and by day, a frame is decided by who (and when) made the last decision in it.
    pub counts: Counts,
    /// How fast was decided; empty by shot and by kind, where work cannot be told apart.
    pub pace: Pace,
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
    /// Minutes of one person's work left at the pace so far; `None` where too little was decided to say.
    pub minutes_left: Option<f64>,
}

/// One column of every form of the ledger: a key for machines, a heading for people, and the value.
pub struct Column {
    /// Name in CSV and JSON.
    pub key: &'static str,
    /// Heading for people.
    pub heading: &'static str,
    /// False for columns that only machines get.
    pub for_people: bool,
    value: fn(&LedgerTable, &Row) -> Value,
}

/// A value of a cell.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Value {
    Count(u64),
    /// A number with decimals to show to people.
    Number(f64, usize),
    Text(String),
    /// Not known, or without meaning here.
    Nothing,
}

macro_rules! column {
    ($key:literal, $heading:literal, $people:literal, $value:expr) => {
        Column { key: $key, heading: $heading, for_people: $people, value: $value }
    };
}

/// The columns after the label.
pub(super) const COLUMNS: [Column; 22] = [
    column!("first", "from", true, |_, r| r.scans.map_or(Value::Nothing, |s| Value::Count(s.0))),
    column!("last", "to", true, |_, r| r.scans.map_or(Value::Nothing, |s| Value::Count(s.1))),
    column!("frames", "frames", true, |_, r| Value::Count(r.counts.frames)),
    column!("frames_detected", "detected", false, |_, r| Value::Count(r.counts.frames_detected)),
    column!("candidates", "candidates", true, |_, r| Value::Count(r.counts.candidates)),
    column!("undecided", "undecided", true, |_, r| Value::Count(r.counts.undecided)),
    column!("accepted", "accepted", true, |_, r| Value::Count(r.counts.accepted)),
    column!("rejected", "rejected", true, |_, r| Value::Count(r.counts.rejected)),
    column!("intended", "intended", true, |_, r| Value::Count(r.counts.intended)),
    column!("below_sensitivity", "below", true, |_, r| Value::Count(r.counts.below)),
    column!("at_risk", "at risk", true, |_, r| Value::Count(r.counts.at_risk)),
    column!("at_risk_undecided", "at risk, undecided", false, |_, r| Value::Count(r.counts.at_risk_undecided)),
    column!("hand_marks", "by hand", true, |_, r| Value::Count(r.counts.hand)),
    column!("accepted_area_px", "accepted px", false, |_, r| Value::Count(r.counts.accepted_area)),
    column!("share_touched", "touched %", true, |_, r| percent(r.counts.share_touched(), r.counts.frames)),
    column!("frames_decided", "frames done", false, |_, r| Value::Count(r.counts.frames_decided)),
    column!("share_decided", "done %", true, |_, r| percent(r.counts.share_decided(), r.counts.frames)),
    column!("seconds_done", "done s", true, |t, r| Value::Number(t.rate.duration_secs(r.counts.frames_decided), 1)),
    column!("footage_done", "done ft+fr", true, |t, r| length(t.gauge, r.counts.frames_decided)),
    column!("seconds_left", "left s", true, |t, r| Value::Number(t.rate.duration_secs(r.counts.frames_left()), 1)),
    column!("footage_left", "left ft+fr", false, |t, r| length(t.gauge, r.counts.frames_left())),
    column!("candidates_per_minute", "a minute", true, |_, r| {
        r.pace.per_minute().map_or(Value::Nothing, |p| Value::Number(p, 1))
    }),
];

fn percent(share: f64, of: u64) -> Value {
    if of == 0 { Value::Nothing } else { Value::Number(share * 100.0, 1) }
}

fn length(gauge: Gauge, frames: u64) -> Value {
    Value::Text(Footage::of(gauge, frames).to_string())
}

impl LedgerTable {
    /// The heading of the first column.
    pub(super) const fn label_heading(&self) -> &'static str {
        self.by.word()
    }

    /// A cell.
    pub(super) fn value(&self, row: &Row, column: &Column) -> Value {
        (column.value)(self, row)
    }

    /// A cell as people read it.
    pub(super) fn shown(&self, row: &Row, column: &Column) -> String {
        match self.value(row, column) {
            Value::Count(n) => n.to_string(),
            Value::Number(n, decimals) => format!("{n:.decimals$}"),
            Value::Text(text) => text,
            Value::Nothing => "-".to_owned(),
        }
    }

    /// What is left, in one sentence for people.
    pub fn forecast(&self) -> String {
        let left = self.total.counts.undecided;
        let waiting = self.total.counts.frames - self.total.counts.frames_detected;
        if waiting > 0 {
            return format!("{waiting} frames are not detected yet, so what is left is not known");
        }
        if left == 0 {
            return "nothing is left to decide".to_owned();
        }
        match self.minutes_left.zip(self.total.pace.per_minute()) {
            Some((minutes, pace)) => format!(
                "{left} candidates are left: about {} of one person's work at {pace:.1} candidates a minute",
                hours_and_minutes(minutes)
            ),
            None => format!("{left} candidates are left; there are not enough decisions yet to say how long they take"),
        }
    }
}

fn hours_and_minutes(minutes: f64) -> String {
    let whole = minutes.ceil() as u64;
    if whole < 60 { format!("{whole} min") } else { format!("{} h {:02} min", whole / 60, whole % 60) }
}
