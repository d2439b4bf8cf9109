//! What the Ledger shows, computed when something changed and not each frame.

use besom_reel::{By, LedgerTable};

use crate::desk::Desk;
use crate::rooms::survey::clock;

/// The Ledger's choice of rows and its last table.
pub(crate) struct Ledger {
    by: By,
    computed: Option<(u64, LedgerTable)>,
}

impl Default for Ledger {
    fn default() -> Self {
        Self { by: By::Shot, computed: None }
    }
}

impl Ledger {
    /// What the rows stand for.
    pub(crate) fn by(&self) -> By {
        self.by
    }

    /// Chooses other rows.
    pub(crate) fn set_by(&mut self, by: By) {
        self.by = by;
        self.computed = None;
    }

    /// Forgets the table: another reel is on the desk.
    pub(crate) fn forget(&mut self) {
        self.computed = None;
    }

    /// The table, if there is one.
    pub(super) fn table(&self) -> Option<&LedgerTable> {
        self.computed.as_ref().map(|(_, table)| table)
    }

    /// Computes the table anew if a decision was made since.
    pub(super) fn refresh(&mut self, desk: &Desk) {
        if self.computed.as_ref().is_none_or(|(revision, _)| *revision != desk.revision()) {
            self.computed = Some((desk.revision(), desk.reel().counts(self.by)));
        }
    }

    /// The large figures with their captions.
    pub(super) fn figures(&self) -> Vec<(String, String)> {
        let Some(table) = self.table() else { return Vec::new() };
        let counts = &table.total.counts;
        let time = |frames| clock(table.rate.duration_secs(frames));
        let forecast = match table.minutes_left {
            _ if counts.undecided == 0 && counts.frames_detected > 0 => "Nothing".to_owned(),
            Some(minutes) => duration(minutes),
            None => "Not known yet".to_owned(),
        };
        vec![
            (format!("{} of {}", time(counts.frames_decided), time(counts.frames)), "film time done".to_owned()),
            (grouped(counts.undecided), "candidates undecided".to_owned()),
            (grouped(counts.decided()), "decided".to_owned()),
            (grouped(counts.at_risk_undecided), "undecided and at risk".to_owned()),
            (forecast, "work left at the pace so far".to_owned()),
        ]
    }
}

/// Minutes of work in words.
fn duration(minutes: f64) -> String {
    let whole = minutes.ceil().max(1.0) as u64;
    match whole {
        0..60 => format!("{whole} min"),
        _ => format!("{} h {:02} min", whole / 60, whole % 60),
    }
}

/// A count in groups of three, set apart by narrow spaces.
pub(crate) fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut text = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push('\u{2009}');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_read_well() {
        assert_eq!(grouped(7), "7");
        assert_eq!(grouped(1234), "1\u{2009}234");
        assert_eq!(grouped(3_000_000), "3\u{2009}000\u{2009}000");
        assert_eq!(duration(0.2), "1 min");
        assert_eq!(duration(61.0), "1 h 01 min");
    }
}
