//! The fold is the same whatever order journals are read in, and whether it is built record by record or at once.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::samples::{candidate, journals, shot, square};
use super::*;
use crate::model::decision::Decision;
use crate::model::edit::Filter;
use crate::model::record::Spot;
use besom_detect::Kind;
use jiff::Timestamp;

/// Six frames in two shots; five are detected, with four candidates each, one of them at risk.
fn ground() -> Fold {
    let mut fold = Fold::new((1..=6).collect(), vec![shot(0, 1, 3), shot(1, 4, 6)], 0.5, (64, 64));
    fold.set_candidates((0..5).map(|place| (place, four())).collect());
    fold
}

fn four() -> Vec<Candidate> {
    let mut list = vec![candidate(0, 0, 0.9), candidate(8, 8, 0.6), candidate(16, 8, 0.4), candidate(24, 16, 0.7)];
    list[3].risk.swarm = true;
    list
}

fn folded(records: Vec<Record>) -> Fold {
    let mut fold = ground();
    fold.set_records(records);
    fold
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn any_reading_order_folds_to_the_same(journals in journals(), seed in any::<prop::sample::Index>(), twice in any::<bool>()) {
        let in_turn: Vec<Record> = journals.concat();
        let mut shuffled = in_turn.clone();
        if !shuffled.is_empty() {
            let by = seed.index(shuffled.len());
            shuffled.rotate_left(by);
            shuffled.reverse();
        }
        if twice {
            // The same journal met in two copies of the folder.
            shuffled.extend(journals[1].clone());
        }
        prop_assert_eq!(folded(in_turn), folded(shuffled));
    }

    /// Applying records one by one, as the window does, gives what folding them at once gives: every count, decision,
    /// region and orphan.
    #[test]
    fn one_by_one_is_the_same_as_at_once(journals in journals()) {
        let (ordered, _) = history::in_order(journals.concat());
        let mut grown = ground();
        for (count, record) in ordered.iter().enumerate() {
            grown.append(record.clone());
            if count % 7 == 6 {
                prop_assert_eq!(&grown, &folded(ordered[..=count].to_vec()));
            }
        }
        prop_assert_eq!(grown, folded(ordered));
    }

    #[test]
    fn counts_add_up(journals in journals()) {
        let fold = folded(journals.concat());
        let c = fold.total();
        prop_assert_eq!(c.candidates, c.undecided + c.below + c.accepted + c.rejected + c.intended);
        prop_assert_eq!(c.candidates, fold.frames.iter().flat_map(|f| f.candidates.iter()).filter(|c| !is_gone(c)).count() as u64);
        prop_assert_eq!((c.frames, c.frames_detected), (6, 5));
        prop_assert!(c.frames_decided <= c.frames_detected);
    }

    /// The count of explicit decisions never changes by itself: after any re-detection each is attached or a stray.
    #[test]
    fn re_detection_loses_no_decision(journals in journals(), moved in 0u32..30, kept in 0usize..5) {
        let mut fold = folded(journals.concat());
        let words = |fold: &Fold| -> usize {
            fold.frames.iter().map(|f| f.touching.len()).sum()
        };
        let before = fold.clone();
        let mut list = four();
        list.truncate(kept);
        for c in &mut list {
            let b = c.bounds();
            c.mask = square(b.x0 as u32 + moved, b.y0 as u32);
        }
        fold.set_candidates((0..6).map(|place| (place, list.clone())).collect());
        prop_assert_eq!(words(&fold), words(&before));
        fold.set_candidates((0..5).map(|place| (place, four())).collect());
        prop_assert_eq!(fold, before, "detecting the same again brings everything back");
    }
}

fn spot(frame: u64, mask: besom_scan::RunMask) -> Spot {
    Spot { frame, mask, kind: Kind::Dust, confidence: 0.6 }
}

fn record(sequence: u64, deed: Deed) -> Record {
    let time = Timestamp::from_microsecond(1_700_000_000_000_000 + sequence as i64).unwrap();
    Record { time, artist: "Ines".into(), sequence, deed }
}

fn decide(sequence: u64, decision: Decision, mask: besom_scan::RunMask) -> Record {
    record(sequence, Deed::Decide { decision, spots: vec![spot(2, mask)], group: None, examples: 0 })
}

fn decisions_of(fold: &Fold, place: usize) -> Vec<Decision> {
    fold.frames[place].verdicts.iter().map(|v| v.decision).collect()
}

#[test]
fn a_decision_follows_the_candidate_that_overlaps_it_most() {
    use Decision::{Accepted, Undecided};
    let mut fold = folded(vec![decide(1, Accepted, square(8, 8))]);
    assert_eq!(decisions_of(&fold, 1), [Undecided, Accepted, Undecided, Undecided]);
    // Detected anew: the mark was found two pixels to the right (a third in common), another one pixel of it.
    let anew = vec![candidate(5, 8, 0.9), candidate(10, 8, 0.9), candidate(40, 40, 0.9)];
    fold.set_candidates(BTreeMap::from([(1, anew)]));
    assert_eq!(decisions_of(&fold, 1), [Undecided, Accepted, Undecided]);
    assert!(fold.frames[1].strays.is_empty());
    // One pixel's corner in common is another mark.
    fold.set_candidates(BTreeMap::from([(1, vec![candidate(11, 11, 0.9)])]));
    assert_eq!(decisions_of(&fold, 1), [Undecided]);
    assert_eq!(fold.frames[1].strays.len(), 1);
}

#[test]
fn later_records_win_and_rules_leave_at_risk_alone() {
    use Decision::{Accepted, Intended, Rejected, Undecided};
    let rule = |sequence, decision, include_at_risk, only_undecided| {
        let filter = Filter { include_at_risk, only_undecided, ..Filter::default() };
        let stretches = vec![Stretch { first: 1, last: 3, min_confidence: 0.5 }];
        record(sequence, Deed::Rule { decision, filter, stretches, learned: Vec::new() })
    };
    let fold = folded(vec![decide(1, Rejected, square(0, 0)), rule(2, Accepted, false, true)]);
    assert_eq!(decisions_of(&fold, 1), [Rejected, Accepted, Undecided, Undecided]);
    assert_eq!(decisions_of(&fold, 3), [Undecided; 4], "frame 4 is outside the rule");
    let fold = folded(vec![decide(1, Rejected, square(0, 0)), rule(2, Accepted, false, false)]);
    assert_eq!(decisions_of(&fold, 1), [Accepted, Accepted, Undecided, Undecided]);
    let fold = folded(vec![rule(1, Accepted, true, false), decide(2, Intended, square(0, 0))]);
    assert_eq!(decisions_of(&fold, 1), [Intended, Accepted, Undecided, Accepted]);
}

#[test]
fn undo_of_an_undo_is_a_redo() {
    use Decision::{Accepted, Undecided};
    let undo = |sequence, of| record(sequence, Deed::Undo { of });
    let mut records = vec![decide(1, Accepted, square(8, 8))];
    let expected = [Accepted, Undecided, Accepted, Undecided, Accepted];
    for (step, expected) in expected.into_iter().enumerate() {
        if step > 0 {
            // An odd step takes the edit back, an even one the undo before.
            let of = if step % 2 == 1 { 1 } else { step as u64 };
            records.push(undo(step as u64 + 1, of));
        }
        assert_eq!(decisions_of(&folded(records.clone()), 1)[1], expected, "step {step}");
    }
    // Nobody can take back somebody else's record, a later one, or an undo of themselves.
    let other = Record { artist: "Mara".into(), ..undo(9, 1) };
    let fold = folded(vec![decide(1, Accepted, square(8, 8)), other, undo(2, 2), undo(3, 4), undo(4, 77)]);
    assert_eq!(decisions_of(&fold, 1)[1], Accepted);
}

#[test]
fn two_records_of_one_number_are_both_kept_and_listed() {
    let (a, b) = (decide(1, Decision::Accepted, square(0, 0)), decide(1, Decision::Intended, square(8, 8)));
    let mut fold = ground();
    let problems = fold.set_records(vec![a.clone(), b.clone(), a.clone()]);
    assert_eq!(fold.records.len(), 2);
    assert_eq!(problems.len(), 1);
    assert!(problems[0].contains("number 1 by Ines"), "{problems:?}");
}
