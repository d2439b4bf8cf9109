//! From the state of a reel to the ledger's rows.

use std::collections::BTreeMap;

use besom_detect::Kind;

use super::counts::Counts;
use super::pace::{self, Pace};
use super::table::{By, LedgerTable, Row};
use crate::fold::{Fold, FrameState};
use crate::model::decision::Decision;
use crate::model::info::ReelInfo;
use crate::model::record::Record;

/// The label of what nobody decided: frames that ask for no decision, candidates without one.
const NOBODY: &str = "no decision";

/// Builds the ledger.
pub(crate) fn build(fold: &Fold, info: &ReelInfo, by: By) -> LedgerTable {
    let pace = pace::overall(&fold.records);
    let total = Row { label: info.name.clone(), scans: Some((info.first, info.last)), counts: fold.total(), pace };
    let rows = match by {
        By::Reel => vec![total.clone()],
        By::Shot => by_shot(fold),
        By::Kind => by_kind(fold),
        By::Artist => by_record(fold, |r| r.artist.clone()),
        By::Day => by_record(fold, |r| r.time.strftime("%Y-%m-%d").to_string()),
    };
    LedgerTable {
        reel: info.name.clone(),
        by,
        rate: info.rate,
        gauge: info.gauge,
        rows,
        minutes_left: pace.minutes_for(total.counts.undecided),
        total,
    }
}

fn by_shot(fold: &Fold) -> Vec<Row> {
    let row = |shot: &crate::model::shot::Shot| Row {
        // People count shots from 1, on the command line and in the window alike.
        label: (shot.index + 1).to_string(),
        scans: Some((shot.first, shot.last)),
        counts: fold.shot_counts(shot.index),
        pace: Pace::default(),
    };
    fold.shots.iter().map(row).collect()
}

/// A row a kind. Every row has all the frames: one is decided for a kind when no candidate of the kind is undecided.
fn by_kind(fold: &Fold) -> Vec<Row> {
    let mut sums = Kind::ALL.map(|kind| (kind, Counts::default()));
    for (place, frame) in fold.frames.iter().enumerate() {
        let sensitivity = fold.sensitivity(fold.shot_at(place));
        let mut here = Kind::ALL.map(|kind| (kind, Counts::default()));
        for (index, candidate) in frame.candidates.iter().enumerate() {
            if let Some((_, counts)) = here.iter_mut().find(|(kind, _)| *kind == candidate.kind) {
                frame.count_candidate(index, sensitivity, counts);
            }
        }
        for ((_, sum), (_, mut counts)) in sums.iter_mut().zip(here) {
            counts.frames = 1;
            counts.frames_detected = u64::from(frame.seen);
            counts.frames_decided = u64::from(frame.seen && counts.undecided == 0);
            counts.frames_touched = u64::from(counts.accepted > 0);
            *sum += counts;
        }
    }
    let row = |(kind, counts): (Kind, Counts)| Row {
        label: kind.word().to_owned(),
        scans: None,
        counts,
        pace: Pace::default(),
    };
    sums.into_iter().map(row).collect()
}

/// A row for each label of the records that the standing decisions come from, then one for what nobody decided.
fn by_record(fold: &Fold, label: impl Fn(&Record) -> String) -> Vec<Row> {
    let labels: Vec<String> = fold.records.iter().map(&label).collect();
    let mut sums: BTreeMap<Option<&str>, Counts> = BTreeMap::new();
    for name in &labels {
        sums.entry(Some(name)).or_default();
    }
    sums.entry(None).or_default();
    for (place, frame) in fold.frames.iter().enumerate() {
        add_frame(frame, fold.sensitivity(fold.shot_at(place)), &labels, &mut sums);
    }
    let paces = pace::by_label(&fold.records, label);
    let nobody = sums.remove(&None);
    let named = sums.into_iter().map(|(name, counts)| (name.unwrap_or(NOBODY), counts));
    named
        .chain(nobody.map(|counts| (NOBODY, counts)))
        .map(|(name, counts)| Row {
            label: name.to_owned(),
            scans: None,
            counts,
            pace: paces.get(name).copied().unwrap_or_default(),
        })
        .collect()
}

/// Shares one frame out: each candidate to the record that decided it, the frame itself to the last of these once
/// nothing in it is undecided.
fn add_frame<'a>(
    frame: &FrameState,
    sensitivity: f32,
    labels: &'a [String],
    sums: &mut BTreeMap<Option<&'a str>, Counts>,
) {
    let name_of = |by: Option<u32>| by.and_then(|i| labels.get(i as usize)).map(String::as_str);
    let mut touched: Vec<Option<&str>> = Vec::new();
    let mut last = None;
    for (index, verdict) in frame.verdicts.iter().enumerate() {
        // A decision that was set back to undecided is nobody's.
        let by = verdict.by.filter(|_| verdict.decision != Decision::Undecided);
        let name = name_of(by);
        frame.count_candidate(index, sensitivity, sums.entry(name).or_default());
        last = last.max(by);
        if verdict.decision == Decision::Accepted && !touched.contains(&name) {
            touched.push(name);
        }
    }
    for name in touched {
        sums.entry(name).or_default().frames_touched += 1;
    }
    let decided = frame.counts.frames_decided;
    let owner = if decided == 1 { name_of(last) } else { None };
    let counts = sums.entry(owner).or_default();
    counts.frames += 1;
    counts.frames_detected += frame.counts.frames_detected;
    counts.frames_decided += decided;
}
