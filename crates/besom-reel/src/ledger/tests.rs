//! The ledger's sums, times and forms.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::path::Path;

use besom_detect::Kind;
use jiff::Timestamp;

use super::*;
use crate::fold::Fold;
use crate::fold::samples::{candidate, shot, square};
use crate::model::decision::Decision;
use crate::model::edit::Filter;
use crate::model::info::{Pattern, ReelInfo};
use crate::model::record::{Deed, Record, Spot, Stretch};

/// 2026-03-04 09:00 UTC.
const MORNING: i64 = 1_772_614_800;

fn record(artist: &str, sequence: u64, seconds: i64, deed: Deed) -> Record {
    let time = Timestamp::from_second(MORNING + seconds).unwrap();
    Record { time, artist: artist.into(), sequence, deed }
}

fn decide(frame: u64, x: u32, decision: Decision) -> Deed {
    let spot = Spot { frame, mask: square(x, 0), kind: Kind::Dust, confidence: 0.9 };
    Deed::Decide { decision, spots: vec![spot], group: None, examples: 0 }
}

/// 48 frames in two shots, three candidates in each of the first 40: 0.9, 0.6 and 0.2.
fn reel(records: Vec<Record>) -> (Fold, ReelInfo) {
    let mut info = ReelInfo::new("Skerry <2> & \"co\"", Path::new("scans"), Pattern::default(), 1, 48, 320, 240);
    info.gauge = crate::Gauge::Mm16;
    let mut fold = Fold::new((1..=48).collect(), vec![shot(0, 1, 24), shot(1, 25, 48)], 0.5, (64, 64));
    let list = vec![candidate(0, 0, 0.9), candidate(8, 0, 0.6), candidate(16, 0, 0.2)];
    fold.set_candidates((0..40).map(|place| (place, list.clone())).collect::<BTreeMap<_, _>>());
    fold.set_records(records);
    (fold, info)
}

fn a_day_of_two() -> Vec<Record> {
    let mut records = Vec::new();
    // Ines decides both that ask in frames 1 to 15, one every six seconds; Mara rejects one and sleeps over it.
    for step in 0..30u64 {
        let deed = decide(1 + step / 2, (step % 2) as u32 * 8, Decision::Accepted);
        records.push(record("Ines", step + 1, step as i64 * 6, deed));
    }
    records.push(record("Mara", 1, 3600, decide(20, 0, Decision::Rejected)));
    records.push(record("Mara", 2, 86_400, decide(20, 8, Decision::Intended)));
    let filter = Filter { shot: Some(1), max_confidence: Some(0.3), ..Filter::default() };
    let stretches = vec![Stretch { first: 25, last: 48, min_confidence: 0.0 }];
    records.push(record(
        "Mara",
        3,
        86_410,
        Deed::Rule { decision: Decision::Rejected, filter, stretches, learned: Vec::new() },
    ));
    records
}

fn row<'a>(table: &'a LedgerTable, label: &str) -> &'a Row {
    table.rows.iter().find(|r| r.label == label).unwrap()
}

#[test]
fn every_view_adds_up_to_the_reel() {
    let (fold, info) = reel(a_day_of_two());
    for by in By::ALL {
        let table = build(&fold, &info, by);
        let mut sum = Counts::default();
        for row in &table.rows {
            sum += row.counts;
        }
        let total = table.total.counts;
        assert_eq!(
            (sum.candidates, sum.undecided, sum.below, sum.accepted, sum.rejected, sum.intended, sum.accepted_area),
            (
                total.candidates,
                total.undecided,
                total.below,
                total.accepted,
                total.rejected,
                total.intended,
                total.accepted_area
            ),
            "{by:?}"
        );
        if by != By::Kind {
            assert_eq!((sum.frames, sum.frames_decided), (total.frames, total.frames_decided), "{by:?}");
        }
    }
}

#[test]
fn counts_are_those_of_a_reel_counted_by_hand() {
    let (fold, info) = reel(a_day_of_two());
    let total = fold.total();
    assert_eq!((total.candidates, total.accepted, total.rejected, total.intended), (120, 30, 1 + 16, 1));
    // Two of three ask in 40 frames, 32 of them are decided; of 40 below, the rule took 16.
    assert_eq!((total.undecided, total.below), (80 - 32, 24));
    assert_eq!((total.frames, total.frames_detected, total.frames_decided, total.frames_touched), (48, 40, 16, 15));
    assert_eq!(total.accepted_area, 30 * 16);
    let by_artist = build(&fold, &info, By::Artist);
    let (ines, mara) = (row(&by_artist, "Ines"), row(&by_artist, "Mara"));
    assert_eq!((ines.counts.accepted, ines.counts.frames_decided, ines.counts.frames_touched), (30, 15, 15));
    assert_eq!((mara.counts.rejected, mara.counts.intended, mara.counts.frames_decided), (17, 1, 1));
    let by_day = build(&fold, &info, By::Day);
    let labels: Vec<&str> = by_day.rows.iter().map(|r| r.label.as_str()).collect();
    assert_eq!(labels, ["2026-03-04", "2026-03-05", "no decision"]);
    assert_eq!(row(&by_day, "2026-03-04").counts.rejected, 1);
    assert_eq!(row(&by_day, "2026-03-05").counts.frames_decided, 1, "frame 20 was finished on the second day");
}

#[test]
fn pace_counts_work_and_leaves_out_pauses_and_rules() {
    let (fold, info) = reel(a_day_of_two());
    let table = build(&fold, &info, By::Artist);
    let ines = row(&table, "Ines").pace;
    // 29 gaps of six seconds: ten a minute. The first decision has no gap before it.
    assert_eq!(ines.candidates, 29);
    approx::assert_relative_eq!(ines.per_minute().unwrap(), 10.0, epsilon = 1e-9);
    let mara = row(&table, "Mara").pace;
    assert_eq!((mara.candidates, mara.per_minute()), (0, None), "an hour's and a night's pause, then a rule");
    // Everybody: 29 candidates in 174 s plus Mara's ten before the rule; 48 are left.
    let minutes = 48.0 / (29.0 / (184.0 / 60.0));
    approx::assert_relative_eq!(table.minutes_left.unwrap(), minutes, epsilon = 1e-9);
    let few = reel(a_day_of_two().into_iter().take(20).collect());
    let table = build(&few.0, &few.1, By::Reel);
    assert_eq!(table.minutes_left, None, "19 timed decisions are not enough");
}

#[test]
fn the_forecast_is_honest() {
    let (fold, info) = reel(a_day_of_two());
    assert!(build(&fold, &info, By::Reel).forecast().starts_with("8 frames are not detected yet"));
    let all_detected = |records| {
        let (mut fold, info) = reel(records);
        fold.set_candidates((0..48).map(|place| (place, vec![candidate(0, 0, 0.9), candidate(8, 0, 0.6)])).collect());
        build(&fold, &info, By::Reel).forecast()
    };
    assert_eq!(
        all_detected(a_day_of_two()),
        "64 candidates are left: about 7 min of one person's work at 9.5 candidates a minute"
    );
    assert!(all_detected(Vec::new()).contains("not enough decisions yet"));
    let rule = Deed::Rule {
        decision: Decision::Accepted,
        filter: Filter::default(),
        stretches: vec![Stretch { first: 1, last: 48, min_confidence: 0.5 }],
        learned: Vec::new(),
    };
    assert_eq!(all_detected(vec![record("Ines", 1, 0, rule)]), "nothing is left to decide");
}

#[test]
fn film_time_is_in_seconds_and_feet() {
    let (fold, info) = reel(a_day_of_two());
    let json = build(&fold, &info, By::Shot).json();
    // 16 frames at 24 a second; 16 mm has 40 frames a foot.
    approx::assert_relative_eq!(json["total"]["seconds_done"].as_f64().unwrap(), 16.0 / 24.0);
    assert_eq!(json["total"]["footage_done"], "0+16");
    assert_eq!(json["total"]["footage_left"], "0+32");
    assert_eq!(json["rows"][1]["first"], 25);
    assert_eq!(json["minutes_left"].as_f64().map(|m| m > 0.0), Some(true));
}

#[test]
fn forms_escape_what_comes_from_outside() {
    let mut records = a_day_of_two();
    for r in &mut records {
        if r.artist == "Mara" {
            r.artist = "=Mara,\"<script>\"".into();
        }
    }
    let (fold, info) = reel(records);
    let table = build(&fold, &info, By::Artist);
    let csv = table.csv();
    assert!(csv.contains("\r\n\"'=Mara,\"\"<script>\"\"\","), "{csv}");
    let columns = csv.lines().next().unwrap().split(',').count();
    assert_eq!(csv.lines().nth(2).unwrap().split(',').count(), columns, "a line without quotes has every column");
    let html = table.html();
    assert!(html.contains("Skerry &lt;2&gt; &amp; &quot;co&quot;"));
    assert!(!html.contains("<script>"));
    assert!(!html.contains("http"), "nothing is fetched");
    let text = table.text();
    assert_eq!(text.lines().count(), 1 + table.rows.len() + 1 + 1);
    assert!(text.lines().next().unwrap().starts_with("artist"));
}
