//! How fast people decide, from the times in their journals.
//!
//! Only decisions made one by one and hand marks count: a rule that decides twenty thousand candidates in a second says
//! nothing about the next hour. Between two records of one artist that are at most five minutes apart the artist was at
//! work; a longer gap is a pause and counts for nothing. (Both common practice; no standard speaks of it.)

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::model::record::{Deed, Record};

/// A longer gap between two records is a pause, in seconds.
pub const LONGEST_GAP_SECS: f64 = 300.0;

/// Fewer timed decisions than this give no pace.
pub const LEAST_CANDIDATES: u64 = 20;

/// Less work than this gives no pace, in minutes.
pub const LEAST_MINUTES: f64 = 1.0;

/// Decisions made one by one, and the time they took.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pace {
    /// Candidates decided one by one, or marked by hand, at the end of a timed gap.
    pub candidates: u64,
    /// Minutes of work.
    pub minutes: f64,
}

impl Pace {
    /// Candidates a minute; `None` while there are not enough decisions to say.
    pub fn per_minute(&self) -> Option<f64> {
        let enough = self.candidates >= LEAST_CANDIDATES && self.minutes >= LEAST_MINUTES;
        enough.then(|| self.candidates as f64 / self.minutes)
    }

    /// Minutes of one person's work that `candidates` will take; `None` while there are not enough decisions to say.
    pub fn minutes_for(&self, candidates: u64) -> Option<f64> {
        Some(candidates as f64 / self.per_minute()?)
    }

    fn add(&mut self, other: Self) {
        self.candidates += other.candidates;
        self.minutes += other.minutes;
    }
}

/// The pace of everybody together, by a label of each record (its artist, its day). `records` are in the order of the
/// fold. A gap counts for the label of the record at its end, and only when both ends have it.
pub(super) fn by_label(records: &[Record], label: impl Fn(&Record) -> String) -> BTreeMap<String, Pace> {
    let mut last: BTreeMap<&str, (Timestamp, String)> = BTreeMap::new();
    let mut paces: BTreeMap<String, Pace> = BTreeMap::new();
    for record in records {
        let name = label(record);
        let spoken = paces.entry(name.clone()).or_default();
        if let Deed::TimeSpent { seconds } = record.deed {
            spoken.minutes += f64::from(seconds) / 60.0;
            continue;
        }
        let before = last.insert(&record.artist, (record.time, name.clone()));
        let Some((time, _)) = before.filter(|(_, before)| *before == name) else { continue };
        let gap = record.time.duration_since(time).as_secs_f64();
        if (0.0..=LONGEST_GAP_SECS).contains(&gap) {
            spoken.candidates += one_by_one(&record.deed);
            spoken.minutes += gap / 60.0;
        }
    }
    paces
}

/// The pace of everybody together.
pub(super) fn overall(records: &[Record]) -> Pace {
    let mut all = Pace::default();
    for pace in by_label(records, |_| String::new()).values() {
        all.add(*pace);
    }
    all
}

fn one_by_one(deed: &Deed) -> u64 {
    match deed {
        // Proposals that were taken at once are no decisions made one by one.
        Deed::Decide { spots, examples: 0, .. } => spots.len() as u64,
        // A mark is drawn once, on however many frames it counts.
        Deed::HandMark { .. } | Deed::HandMarks { .. } => 1,
        _ => 0,
    }
}
