//! What is learned follows from what stands decided, and goes with it.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use std::time::Instant;

use besom_detect::{Candidate, Polarity};
use besom_scan::{Rect, RunMask};
use jiff::Timestamp;
use proptest::prelude::*;

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

fn ground_of_many() -> Fold {
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
    fold
}

/// A long shot, 2000 frames of 300 candidates. Says how long it takes; `--nocapture` shows it. Clocks are not asserted.
#[test]
fn every_candidate_of_a_long_shot_is_judged() {
    let mut fold = ground_of_many();
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

    // The same once more, deferred: what the thread that decides is held for.
    let at_once = fold;
    let mut fold = ground_of_many();
    fold.defer_lessons();
    for (sequence, ids) in [(1, &ids[..30]), (2, &ids[30..])] {
        let record = decide(sequence, &fold, Decision::Intended, ids, 0);
        let start = Instant::now();
        fold.append(record);
        let deciding = start.elapsed();
        let start = Instant::now();
        let due = fold.lesson_due().unwrap();
        let leaving = start.elapsed();
        let start = Instant::now();
        let solved = due.solve();
        let elsewhere = start.elapsed();
        let start = Instant::now();
        assert!(fold.take_lesson(solved));
        let taking = start.elapsed();
        let start = Instant::now();
        let found = fold.learning(0).proposals.len();
        let telling = start.elapsed();
        println!(
            "deferred: deciding {deciding:?}, leaving {leaving:?}, elsewhere {elsewhere:?}, taking {taking:?}, telling of {found} {telling:?}"
        );
    }
    assert_eq!(fold, at_once);
}

/// What a person does to the shots, one step at a time; numbers are taken round what there is.
#[derive(Clone, Debug)]
enum Step {
    Decide(Decision, u64, usize),
    Undo(u64),
    Switch(bool),
    Sensitivity(f32),
    Mark(u64, u32),
    /// What is due is taken along.
    Leave,
    /// It comes back solved, however long ago it left.
    Return,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let decision = prop_oneof![
        4 => Just(Decision::Intended),
        1 => Just(Decision::Rejected),
        2 => Just(Decision::Accepted),
        1 => Just(Decision::Undecided),
    ];
    let step = prop_oneof![
        12 => (decision, 1u64..=15, 0usize..4).prop_map(|(d, frame, index)| Step::Decide(d, frame, index)),
        3 => (1u64..40).prop_map(Step::Undo),
        1 => any::<bool>().prop_map(Step::Switch),
        1 => (0.2f32..0.8).prop_map(Step::Sensitivity),
        1 => (1u64..=15, 0u32..600).prop_map(|(frame, x)| Step::Mark(frame, x)),
        4 => Just(Step::Leave),
        4 => Just(Step::Return),
    ];
    proptest::collection::vec(step, 1..40)
}

fn record_of(step: &Step, sequence: u64, fold: &Fold) -> Option<Record> {
    let deed = match step {
        Step::Decide(decision, frame, index) => return Some(decide(sequence, fold, *decision, &[(*frame, *index)], 0)),
        Step::Undo(back) => Deed::Undo { of: sequence.checked_sub(*back).filter(|of| *of > 0)? },
        Step::Switch(on) => Deed::Learning { scans: (1, 10), on: *on },
        Step::Sensitivity(value) => Deed::Sensitivity { scans: Some((1, 10)), value: *value },
        Step::Mark(frame, x) => {
            let mask = RunMask::from_rect(&Rect::new(*x as i32, 5, *x as i32 + 4, 9));
            Deed::HandMark { frame: *frame, mask }
        }
        Step::Leave | Step::Return => return None,
    };
    Some(record(sequence, deed))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// However late lessons come back, and whatever was decided and taken back meanwhile, the state that is reached is that
    /// of a fold that learns at once; and nothing that is out of date is ever taken.
    #[test]
    fn lessons_taken_late_lead_to_the_same_state(steps in steps()) {
        let (mut at_once, mut deferred) = (ground(), ground());
        deferred.defer_lessons();
        let mut away: Vec<LessonDue> = Vec::new();
        for (sequence, step) in (1u64..).zip(&steps) {
            match step {
                Step::Leave => away.extend(deferred.lesson_due()),
                Step::Return if !away.is_empty() => {
                    let due = away.remove(0);
                    let (shot, examples) = (due.shot, due.decided.clone());
                    let taken = deferred.take_lesson(due.solve());
                    prop_assert!(!taken || deferred.lessons[shot].decided == examples);
                    if taken {
                        let of_shot = |fold: &Fold| fold.frames[fold.places_of_shot(shot)].to_vec();
                        prop_assert_eq!(of_shot(&deferred), of_shot(&at_once));
                        prop_assert_eq!(deferred.shot_counts(shot), at_once.shot_counts(shot));
                    }
                }
                _ => {}
            }
            if let Some(record) = record_of(step, sequence, &at_once) {
                let effect = at_once.append(record.clone());
                prop_assert_eq!(deferred.append(record), effect);
                prop_assert_eq!(at_once.lesson_due().map(|due| due.shot), None);
            }
            // What is shown meanwhile agrees with itself.
            for shot in 0..2 {
                let (learning, counts) = (deferred.learning(shot), deferred.shot_counts(shot));
                prop_assert_eq!(learning.proposals.len() as u64, counts.proposed);
                prop_assert!(learning.due || learning == at_once.learning(shot));
            }
        }
        deferred.learn_all_due();
        prop_assert_eq!(&deferred, &at_once);
        // And that is also what whoever opens the reel anew comes to.
        let mut anew = ground();
        anew.set_records(at_once.records.clone());
        prop_assert_eq!(&anew.frames, &at_once.frames);
    }
}

#[test]
fn a_lesson_of_other_examples_or_other_candidates_is_not_taken() {
    let mut fold = ground();
    fold.defer_lessons();
    let three = decide(1, &fold, Decision::Intended, &FOUR[..3], 0);
    fold.append(three);
    assert!(fold.learning(0).due && fold.frames.iter().all(|f| f.learned.is_empty()), "nothing is worked out here");
    let of_three = fold.lesson_due().unwrap();
    let before = fold.clone();
    assert!(fold.take_lesson(of_three.clone().solve()));
    assert!(!fold.take_lesson(of_three.clone().solve()), "once is enough");
    let learned = fold.clone();
    let fourth = decide(2, &fold, Decision::Intended, &FOUR[3..], 0);
    fold.append(fourth);
    assert_eq!((fold.learning(0).due, fold.learning(0).belonging, fold.learning(0).learned_from), (true, 4, 3));
    assert!(!fold.take_lesson(of_three.clone().solve()));
    fold.append(record(3, Deed::Undo { of: 2 }));
    assert!(!fold.learning(0).due, "what stands was learned from these three");
    assert_eq!(
        fold.frames.iter().map(|f| f.counts).collect::<Vec<_>>(),
        learned.frames.iter().map(|f| f.counts).collect::<Vec<_>>()
    );
    // The same candidates read anew are not known to be the same.
    let mut other = before;
    other.set_candidates((0..15).map(|place| (place, frame(place as u32))).collect());
    assert!(!other.take_lesson(of_three.solve()));
    assert!(other.learning(0).due);
    other.learn_all_due();
    assert_eq!(
        other.frames.iter().map(|f| &f.learned).collect::<Vec<_>>(),
        learned.frames.iter().map(|f| &f.learned).collect::<Vec<_>>()
    );
}
