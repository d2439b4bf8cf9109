//! What is learned follows from what stands decided, and goes with it.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use std::time::Instant;

use besom_detect::{Candidate, Polarity};
use besom_scan::{Rect, RunMask};
use jiff::Timestamp;

use super::super::samples::{candidate, shot};
use super::*;
use crate::model::edit::Filter;
use crate::model::record::Spot;

/// Two flakes and two specks of dust a frame; shot 0 has ten frames, shot 1 five.
fn ground() -> Fold {
    let mut fold = Fold::new((1..=15).collect(), vec![shot(0, 1, 10), shot(1, 11, 15)], 0.3, (640, 480));
    fold.set_candidates((0..15).map(|place| (place, frame(place as u32))).collect());
    fold
}

fn frame(place: u32) -> Vec<Candidate> {
    let at =
        |x: u32, y: u32, w: i32, h: i32| RunMask::from_rect(&Rect::new(x as i32, y as i32, x as i32 + w, y as i32 + h));
    let mut list = vec![
        candidate(20 + 7 * place, 30, 0.6),
        candidate(200 + 11 * place, 300, 0.5),
        candidate(300 + 13 * place, 100, 0.7),
        candidate(80 + 5 * place, 400, 0.8),
    ];
    for (index, c) in list.iter_mut().enumerate() {
        let b = c.bounds();
        if index < 2 {
            (c.polarity, c.peak) = (Polarity::Bright, 5.0 + 0.1 * (place % 3) as f32);
        } else {
            c.mask = at(b.x0 as u32, b.y0 as u32, 9 + (place % 3) as i32, 6);
            c.peak = 14.0;
        }
    }
    list
}

fn record(sequence: u64, deed: Deed) -> Record {
    let time = Timestamp::from_microsecond(1_700_000_000_000_000 + sequence as i64).unwrap();
    Record { time, artist: "Ines".into(), sequence, deed }
}

fn decide(sequence: u64, fold: &Fold, decision: Decision, ids: &[(u64, usize)], examples: u32) -> Record {
    let spot = |(number, index): &(u64, usize)| {
        let c = &fold.frame(*number).unwrap().candidates[*index];
        Spot { frame: *number, mask: c.mask.clone(), kind: c.kind, confidence: c.confidence }
    };
    let spots = ids.iter().map(spot).collect();
    record(sequence, Deed::Decide { decision, spots, group: None, examples })
}

const FOUR: [(u64, usize); 4] = [(1, 0), (3, 1), (6, 0), (9, 1)];

#[test]
fn from_four_flakes_the_others_of_the_shot_are_proposed_and_the_dust_is_not() {
    let mut fold = ground();
    for (sequence, one) in (1..).zip(FOUR) {
        let record = decide(sequence, &fold, Decision::Intended, &[one], 0);
        fold.append(record);
        // One example is not enough, nor are two.
        assert_eq!(fold.has_learned(0), sequence >= 3, "after {sequence}");
        assert_eq!(fold.learning(0).proposals.is_empty(), sequence < 3, "after {sequence}");
    }
    let learning = fold.learning(0);
    assert_eq!((learning.belonging, learning.damage, learning.proposes), (4, 0, Decision::Intended));
    // How many follow is a matter of the figures; that no dust does is not.
    let count = learning.proposals.len() as u64;
    assert!(
        count > 0 && learning.proposals.iter().all(|id| id.index < 2 && !FOUR.contains(&(id.frame, id.index as usize)))
    );
    let counts = fold.shot_counts(0);
    assert_eq!((counts.proposed, counts.undecided), (count, 36 - learning.spared as u64));
    for number in 1..=10 {
        for index in 2..4 {
            let frame = fold.frame(number).unwrap();
            assert_eq!(frame.confidence(index).to_bits(), frame.candidates[index].confidence.to_bits());
        }
    }
    assert_eq!(fold.learning(1), Learning { on: true, ..Learning::default() }, "another shot learns nothing");
    assert_eq!(fold.shot_counts(1).undecided, 20);
}

#[test]
fn undo_and_the_switch_bring_back_what_was() {
    let mut fold = ground();
    let three = decide(1, &fold, Decision::Rejected, &FOUR[..3], 0);
    fold.append(three);
    let before = fold.clone();
    assert_eq!(before.learning(0).proposes, Decision::Rejected);
    let fourth = decide(2, &fold, Decision::Rejected, &FOUR[3..], 0);
    fold.append(fourth);
    assert_ne!(fold.frames, before.frames);
    fold.append(record(3, Deed::Undo { of: 2 }));
    let seen = |fold: &Fold| fold.frames.iter().map(|f| (f.learned.clone(), f.counts)).collect::<Vec<_>>();
    assert_eq!(seen(&fold), seen(&before));
    fold.append(record(4, Deed::Learning { scans: (1, 10), on: false }));
    assert!(fold.frames.iter().all(|f| f.learned.is_empty()));
    assert_eq!((fold.learning(0).on, fold.learning(0).proposals.len()), (false, 0));
    assert_eq!(fold.shot_counts(0).undecided, 37);
    fold.append(record(5, Deed::Undo { of: 4 }));
    assert_eq!(seen(&fold), seen(&before));
    fold.append(record(6, Deed::Undo { of: 1 }));
    assert_eq!(seen(&fold), seen(&ground()), "without examples nothing is learned");
}

#[test]
fn a_rule_spares_what_was_learned_and_its_record_says_so() {
    let mut fold = ground();
    let four = decide(1, &fold, Decision::Intended, &FOUR, 0);
    fold.append(four);
    let filter = Filter::default();
    let stretches = fold.stretches(&filter);
    let learned = fold.learned_for(&filter, &stretches);
    let pixels: usize = learned.iter().map(|(_, pixels)| pixels.area()).sum();
    assert!(pixels >= fold.learning(0).spared && pixels > 0, "a pixel of each candidate that is spared");
    let preview = fold.preview_rule(Decision::Accepted, &filter);
    let effect = fold.append(record(2, Deed::Rule { decision: Decision::Accepted, filter, stretches, learned }));
    assert_eq!(effect, preview);
    // Taking the examples back later changes nothing about what the rule did to the others.
    let others = |fold: &Fold| -> Vec<Decision> {
        let all = (1..=10).flat_map(|n| (0..4).map(move |i| (n, i))).filter(|id| !FOUR.contains(id));
        all.map(|(n, i)| fold.frame(n).unwrap().verdicts[i].decision).collect()
    };
    let before = others(&fold);
    let left = before.iter().filter(|d| **d == Decision::Undecided).count();
    assert!((1..=16).contains(&left), "{left} of the 16 other flakes are spared");
    fold.append(record(3, Deed::Undo { of: 1 }));
    assert_eq!(others(&fold), before);
}

#[test]
fn taken_proposals_and_rules_teach_nothing() {
    let mut fold = ground();
    let four = decide(1, &fold, Decision::Intended, &FOUR, 0);
    fold.append(four);
    let ids: Vec<(u64, usize)> = fold.learning(0).proposals.iter().map(|id| (id.frame, id.index as usize)).collect();
    let learned: Vec<_> = fold.frames.iter().map(|f| f.learned.clone()).collect();
    let take = decide(2, &fold, Decision::Intended, &ids, 4);
    assert_eq!(take.deed.words(), format!("intended {} candidates like 4 decided ones", ids.len()));
    fold.append(take);
    assert_eq!(fold.learning(0).belonging, 4);
    assert!(fold.learning(0).proposals.is_empty());
    assert_eq!(fold.frames.iter().map(|f| f.learned.clone()).collect::<Vec<_>>(), learned);
    assert_eq!(fold.shot_counts(0).intended, 4 + ids.len() as u64);
}

/// A long shot, 2000 frames of 300 candidates. Says how long it takes; `--nocapture` shows it. Clocks are not asserted.
#[test]
fn every_candidate_of_a_long_shot_is_judged() {
    let mut fold = Fold::new((1..=2000).collect(), vec![shot(0, 1, 2000)], 0.3, (2048, 1556));
    let many = |place: usize| -> Vec<Candidate> {
        let of = |n: u32| {
            let v = (place as u32).wrapping_mul(2_654_435_761).wrapping_add(n.wrapping_mul(40_503)) >> 8;
            let mut c = candidate(v % 2000, (v / 7) % 1500, 0.3 + (v % 60) as f32 / 100.0);
            c.peak = 4.0 + (v % 100) as f32 / 10.0;
            c
        };
        (0..300).map(of).collect()
    };
    fold.set_candidates((0..2000).map(|place| (place, many(place))).collect());
    let ids: Vec<(u64, usize)> = (0..31).map(|n| (1 + 60 * n, 7 * n as usize)).collect();
    let first = decide(1, &fold, Decision::Intended, &ids[..30], 0);
    let start = Instant::now();
    fold.append(first);
    let once = start.elapsed();
    let next = decide(2, &fold, Decision::Intended, &ids[30..], 0);
    let start = Instant::now();
    fold.append(next);
    let again = start.elapsed();
    println!("600000 candidates, first time {once:?}, then {again:?}");
    assert!(fold.frames.iter().all(|f| f.learned.len() == 300));
}
