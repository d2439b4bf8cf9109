//! Random candidates and records for tests.
#![allow(clippy::unwrap_used)]

use besom_detect::{Candidate, Grain, GroupKind, Kind, Origin, Polarity, Risk};
use besom_scan::{Rect, Run, RunMask};
use jiff::Timestamp;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

use crate::model::decision::{Decision, FillChoice};
use crate::model::edit::{Filter, RegionId};
use crate::model::record::{Deed, Record, Spot, Stretch};
use crate::model::shot::{Dirt, Shot};

/// A square mark of 4 pixels' side.
pub(crate) fn square(x: u32, y: u32) -> RunMask {
    RunMask::from_rect(&Rect::new(x as i32, y as i32, x as i32 + 4, y as i32 + 4))
}

/// A candidate on a square.
pub(crate) fn candidate(x: u32, y: u32, confidence: f32) -> Candidate {
    Candidate {
        mask: square(x, y),
        kind: Kind::Dust,
        polarity: Polarity::Dark,
        confidence,
        risk: Risk::default(),
        origin: Origin::Film,
        peak: 6.0,
        reasons: Vec::new(),
    }
}

/// A shot.
pub(crate) fn shot(index: usize, first: u64, last: u64) -> Shot {
    Shot { index, first, last, grain: Grain::flat(3, 6.0), dirt: Dirt::default(), odd: Vec::new() }
}

fn masks() -> impl Strategy<Value = RunMask> {
    vec((0u32..60, 0u32..60, 1u32..9), 1..5)
        .prop_map(|v| RunMask::from_runs(v.into_iter().map(|(y, x0, w)| Run { y, x0, x1: x0 + w }).collect()))
}

fn decisions() -> impl Strategy<Value = Decision> {
    prop::sample::select(Decision::ALL.to_vec())
}

fn kinds() -> impl Strategy<Value = Kind> {
    prop::sample::select(Kind::ALL.to_vec())
}

fn spots() -> impl Strategy<Value = Spot> {
    (1u64..7, prop_oneof![masks(), (0u32..4, 0u32..4).prop_map(|(x, y)| square(x * 8, y * 8))], kinds(), 0f32..=1.0)
        .prop_map(|(frame, mask, kind, confidence)| Spot { frame, mask, kind, confidence })
}

fn frame_ranges() -> impl Strategy<Value = (u64, u64)> {
    (1u64..7, 0u64..6).prop_map(|(first, more)| (first, first + more))
}

prop_compose! {
    fn filters()(
        frames in option::of(frame_ranges()), shot in option::of(0usize..2), kind in option::of(kinds()),
        min in option::of(0f32..=1.0), max in option::of(0f32..=1.0), risk in any::<bool>(), only in any::<bool>(),
    ) -> Filter {
        Filter {
            frames: frames.map(|(a, b)| a..=b),
            shot,
            kind,
            min_confidence: min,
            max_confidence: max,
            include_at_risk: risk,
            only_undecided: only,
        }
    }
}

/// Pixels by frame, in order, each frame once.
fn learned() -> impl Strategy<Value = Vec<(u64, RunMask)>> {
    proptest::collection::btree_map(1u64..7, masks(), 0..3).prop_map(|map| map.into_iter().collect())
}

fn deeds() -> impl Strategy<Value = Deed> {
    prop_oneof![
        4 => (decisions(), vec(spots(), 1..4), option::of(prop::sample::select(GroupKind::ALL.to_vec())))
            .prop_map(|(decision, spots, group)| Deed::Decide { decision, spots, group, examples: 0 }),
        1 => (decisions(), vec(spots(), 1..4), 3u32..9)
            .prop_map(|(decision, spots, examples)| Deed::Decide { decision, spots, group: None, examples }),
        2 => (decisions(), filters(), vec((frame_ranges(), 0f32..=1.0), 0..3), learned()).prop_map(|(decision, filter, s, learned)| {
            let stretches = s.into_iter().map(|((first, last), min_confidence)| Stretch { first, last, min_confidence });
            Deed::Rule { decision, filter, stretches: stretches.collect(), learned }
        }),
        1 => ((0i32..50, 0i32..50, 1i32..20, 1i32..20), frame_ranges(), "[a-zé \"\\\\\n,()]{0,12}").prop_map(
            |((x, y, w, h), (first, last), note)| {
                Deed::Protect { rect: Rect::new(x, y, x + w, y + h), mask: None, first, last, note }
            }
        ),
        1 => (masks(), frame_ranges()).prop_map(|(mask, (first, last))| {
            Deed::Protect { rect: mask.bounds(), mask: Some(mask), first, last, note: String::new() }
        }),
        1 => (masks(), any::<bool>(), frame_ranges(), "Ines|Mara|Tam", 1u64..30).prop_map(
            |(mask, whole, (first, last), artist, sequence)| Deed::ChangeRegion {
                id: RegionId { artist, sequence },
                rect: mask.bounds(),
                mask: (!whole).then_some(mask),
                first,
                last,
                note: String::new(),
            }
        ),
        1 => ("Ines|Mara|Tam", 1u64..30).prop_map(|(artist, sequence)| {
            Deed::Unprotect { id: RegionId { artist, sequence } }
        }),
        1 => (option::of(frame_ranges()), 0f32..=1.0).prop_map(|(scans, value)| Deed::Sensitivity { scans, value }),
        1 => (frame_ranges(), any::<bool>()).prop_map(|(scans, on)| Deed::Learning { scans, on }),
        1 => (spots(), prop::sample::select(FillChoice::ALL.to_vec()))
            .prop_map(|(spot, choice)| Deed::FillChoice { spot, choice }),
        1 => (1u64..7, masks()).prop_map(|(frame, mask)| Deed::HandMark { frame, mask }),
        1 => (frame_ranges(), masks()).prop_map(|((first, last), mask)| Deed::HandMarks { first, last, mask }),
        1 => (vec(spots(), 1..3), vec(masks(), 1..3)).prop_map(|(mut spots, masks)| {
            let frame = spots[0].frame;
            for spot in &mut spots {
                spot.frame = frame;
            }
            Deed::Reshape { spots, masks }
        }),
        1 => (option::of(1u64..7), "\\PC{0,20}").prop_map(|(frame, text)| Deed::Note { frame, text }),
        1 => (0u32..9000).prop_map(|seconds| Deed::TimeSpent { seconds }),
        3 => (1u64..30).prop_map(|of| Deed::Undo { of }),
    ]
}

/// Any record: anybody's, any deed, about frames 1 to 6 or just beyond; times to the microsecond.
pub(crate) fn records() -> impl Strategy<Value = Record> {
    ("Ines|Mara|Tam|Åse O'Dell", 1u64..40, 0i64..4_000_000_000_000_000, deeds()).prop_map(
        |(artist, sequence, micros, deed)| Record {
            time: Timestamp::from_microsecond(micros).unwrap(),
            artist,
            sequence,
            deed,
        },
    )
}

/// Three artists' journals as they could have been written: numbered from 1, times that never go back and often meet.
pub(crate) fn journals() -> impl Strategy<Value = Vec<Vec<Record>>> {
    let one = |artist: &'static str| {
        vec((0i64..3, deeds()), 0..14).prop_map(move |steps| {
            let mut micros = 1_700_000_000_000_000;
            let mut journal = Vec::new();
            for (sequence, (step, deed)) in (1u64..).zip(steps) {
                micros += step;
                let time = Timestamp::from_microsecond(micros).unwrap();
                journal.push(Record { time, artist: artist.to_owned(), sequence, deed });
            }
            journal
        })
    };
    (one("Ines"), one("Mara"), one("Tam")).prop_map(|(a, b, c)| vec![a, b, c])
}
