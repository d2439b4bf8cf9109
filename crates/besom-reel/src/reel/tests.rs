//! A reel on disk: records come back, artists do not meet in a file, re-detection and damage lose nothing.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;
use std::time::{Duration, Instant};

use besom_detect::Kind;
use besom_scan::{Rect, RunMask};

use super::*;
use crate::error::ReelErrorKind;
use crate::file::candidates::{self, Chunk};
use crate::file::journal;
use crate::fold::samples::{candidate, shot, square};
use crate::model::edit::{Edit, Filter, HandMark};
use crate::model::info::Pattern;

const SIZE: (usize, usize) = (320, 240);

/// A reel folder of 12 frames in two shots, without candidates.
pub(super) fn made() -> tempfile::TempDir {
    let home = tempfile::tempdir().unwrap();
    let pattern = Pattern { prefix: "lamps_".into(), suffix: ".dpx".into(), padding: 5 };
    let mut info = ReelInfo::new("Skerry 2", Path::new("../scans"), pattern, 101, 112, SIZE.0, SIZE.1);
    // The candidates of these tests lie on both sides of one half.
    info.default_sensitivity = 0.5;
    Reel::create(&folder(&home), &info, &[shot(0, 101, 106), shot(1, 107, 112)]).unwrap();
    home
}

pub(super) fn folder(home: &tempfile::TempDir) -> PathBuf {
    home.path().join("skerry.besom")
}

pub(super) fn put(folder: &Path, generation: u32, first: u64, last: u64, list: &[Candidate]) {
    let frames = (first..=last).map(|n| (n, list.to_vec())).collect();
    let (width, height) = (SIZE.0 as u32, SIZE.1 as u32);
    candidates::write(folder, &Chunk { generation, fingerprint: [1; 32], width, height, first, last, frames }).unwrap();
}

fn four() -> Vec<Candidate> {
    let mut list = vec![candidate(0, 0, 0.9), candidate(8, 8, 0.6), candidate(16, 8, 0.4), candidate(24, 16, 0.7)];
    list[3].risk.swarm = true;
    list
}

fn detected() -> tempfile::TempDir {
    let home = made();
    put(&folder(&home), 1, 101, 112, &four());
    home
}

fn decide(reel: &mut Reel, frame: u64, index: u32, decision: Decision) -> crate::Receipt {
    reel.record(Edit::Decide { ids: vec![CandidateId::new(frame, index)], decision }).unwrap()
}

/// Candidates with what stands about them, and the counts: all that records which were taken back must leave alone.
fn stand(reel: &Reel) -> (Vec<Vec<(Candidate, Verdict)>>, crate::Counts) {
    let of = |f: &crate::fold::FrameState| f.candidates.iter().cloned().zip(f.verdicts.iter().copied()).collect();
    (reel.fold.frames.iter().map(of).collect(), reel.total())
}

#[test]
fn what_is_recorded_is_there_after_reopening() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    assert_eq!(reel.frames().len(), 12);
    assert_eq!(decide(&mut reel, 103, 1, Decision::Intended).changed, 1);
    let rule = Edit::Rule { decision: Decision::Accepted, filter: Filter { shot: Some(1), ..Filter::default() } };
    assert_eq!(reel.preview(&rule), 12, "two of four candidates a frame are at 0.5 or more and not at risk");
    assert_eq!(reel.record(rule).unwrap().changed, 12);
    reel.record(Edit::Sensitivity { shot: Some(0), value: 0.3 }).unwrap();
    reel.record(Edit::HandMark(HandMark { frame: 104, mask: square(50, 50) })).unwrap();
    let id = CandidateId::new(107, 0);
    reel.record(Edit::FillChoice { id, choice: FillChoice::Next }).unwrap();
    let rect = Rect::new(-5, 10, 20, 9000);
    reel.record(Edit::Protect { rect, first: 107, last: 108, note: "scuffed slate".into() }).unwrap();
    reel.record(Edit::Note { frame: Some(101), text: "head leader\nis torn".into() }).unwrap();

    let again = Reel::open(&folder(&home), "Mara").unwrap();
    assert_eq!(again.fold, reel.fold);
    assert_eq!(again.decision(CandidateId::new(103, 1)), Decision::Intended);
    assert_eq!(again.verdict(CandidateId::new(103, 1)).unwrap().artist, "Ines");
    assert_eq!(again.fill_choice(id), FillChoice::Next);
    assert_eq!((again.sensitivity(0), again.sensitivity(1)), (0.3, 0.5));
    assert_eq!(again.candidates(104)[4].kind, Kind::Hand);
    assert_eq!(again.decision(CandidateId::new(104, 4)), Decision::Accepted);
    assert_eq!(again.regions()[0].rect, Rect::new(0, 10, 20, 240), "cut to the frame");
    assert!(again.problems().is_empty());
    // Shot 0 at 0.3: three candidates a frame that ask plus the one at risk, one decided; shot 1: the one at risk.
    assert_eq!((again.shot_counts(0).undecided, again.shot_counts(1).undecided), (4 * 6 - 1, 6));
    assert_eq!(again.total().candidates, 12 * 4 + 1);
}

#[test]
fn what_no_repair_may_touch() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    decide(&mut reel, 107, 0, Decision::Accepted);
    decide(&mut reel, 107, 1, Decision::Rejected);
    decide(&mut reel, 107, 2, Decision::Intended);
    reel.record(Edit::Protect { rect: Rect::new(100, 100, 102, 102), first: 106, last: 107, note: String::new() })
        .unwrap();
    assert_eq!(reel.accepted(107).iter().map(|(id, _, _)| id.index).collect::<Vec<_>>(), [0]);
    assert_eq!(reel.protected_mask(107), RunMask::from_rect(&Rect::new(100, 100, 102, 102)));
    let expected = square(8, 8).union(&square(16, 8)).union(&reel.protected_mask(107));
    assert_eq!(reel.untouchable_mask(107), expected);
    assert_eq!(reel.protected_mask(106).area(), 4);
    assert!(reel.protected_mask(108).is_empty());
    let id = reel.regions()[0].id.clone();
    reel.record(Edit::Unprotect { id }).unwrap();
    assert!(reel.protected_mask(107).is_empty());
    assert_eq!(reel.undo().unwrap().as_deref(), Some("ended a protection"));
    assert_eq!(reel.regions().len(), 1);
}

/// A mark on a range is one record and one step; each of its frames can be decided alone afterwards.
#[test]
fn a_mark_on_a_range_is_one_step() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    let mask = square(50, 50);
    reel.record(Edit::HandMark(HandMark { frame: 104, mask: mask.clone() })).unwrap();
    decide(&mut reel, 104, 4, Decision::Rejected);
    let before = stand(&reel);
    let edit = Edit::HandMarks { first: 103, last: 108, mask: mask.clone() };
    assert_eq!(reel.preview(&edit), 6);
    let receipt = reel.record(edit.clone()).unwrap();
    assert_eq!((receipt.matched, receipt.changed), (6, 6));
    assert_eq!(receipt.words, "marked by hand in frames 103 to 108");
    assert_eq!(reel.records().len(), 3);
    assert_eq!((reel.total().hand, reel.total().accepted), (6, 6), "the mark of frame 104 is not made twice");
    assert_eq!((reel.shot_counts(0).hand, reel.shot_counts(1).hand), (4, 2));
    for frame in 103..=108 {
        assert_eq!(reel.accepted(frame).iter().map(|(_, c, _)| &c.mask).collect::<Vec<_>>(), [&mask]);
    }
    assert_eq!(reel.preview(&edit), 0);
    assert_eq!(reel.record(edit).unwrap_err().kind(), ReelErrorKind::Request, "nothing would change");

    decide(&mut reel, 106, 4, Decision::Intended);
    let again = Reel::open(&folder(&home), "Mara").unwrap();
    assert_eq!(again.fold, reel.fold);
    assert_eq!((again.total().accepted, again.total().intended), (5, 1));
    put(&folder(&home), 2, 101, 112, &four()[..2]);
    reel.refresh().unwrap();
    assert_eq!(reel.decision(CandidateId::new(106, 2)), Decision::Intended, "after a new detection too");
    put(&folder(&home), 3, 101, 112, &four());
    reel.refresh().unwrap();
    reel.undo().unwrap();
    reel.undo().unwrap();
    assert!(stand(&reel) == before, "one step takes all of it back");
    assert_eq!(reel.redo().unwrap().as_deref(), Some("marked by hand in frames 103 to 108"));
    assert_eq!(reel.total().hand, 6);
}

#[test]
fn a_region_is_drawn_changed_and_ended() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    let shape = square(10, 10).union(&square(14, 14));
    let edge = square(317, 100);
    let mask = shape.union(&edge);
    reel.record(Edit::ProtectShape { mask: mask.clone(), first: 101, last: 103, note: "slate".into() }).unwrap();
    let kept = mask.minus(&RunMask::from_rect(&Rect::new(320, 0, 330, 240)));
    assert_eq!(reel.protected_mask(102), kept, "cut to the frame");
    let region = reel.regions()[0].clone();
    assert_eq!((region.mask.as_ref(), region.rect), (Some(&kept), Rect::new(10, 10, 320, 104)));

    // Another artist changes it: it keeps its name and its place, in one step.
    let mut mara = Reel::open(&folder(&home), "Mara").unwrap();
    assert_eq!(mara.regions(), reel.regions());
    let (id, note) = (region.id.clone(), "slate, whole".to_owned());
    mara.record(Edit::ChangeRegion { id, mask: square(10, 10), first: 102, last: 108, note }).unwrap();
    reel.refresh().unwrap();
    let changed = reel.regions()[0].clone();
    assert_eq!((&changed.id, changed.artist.as_str()), (&region.id, "Ines"));
    assert_eq!((changed.mask.clone(), changed.rect), (None, Rect::new(10, 10, 14, 14)), "a full rectangle is one");
    assert_eq!((changed.first, changed.last, changed.note.as_str()), (102, 108, "slate, whole"));
    assert!(reel.protected_mask(101).is_empty());
    assert_eq!(reel.protected_mask(108), square(10, 10));
    assert_eq!(mara.undo().unwrap().as_deref(), Some("changed a protected region, now in frames 102 to 108"));
    assert_eq!(mara.regions(), std::slice::from_ref(&region));
    mara.redo().unwrap();
    mara.record(Edit::Unprotect { id: region.id.clone() }).unwrap();
    assert!(mara.regions().is_empty());
    let id = region.id;
    let edit = Edit::ChangeRegion { id, mask: square(0, 0), first: 102, last: 102, note: String::new() };
    assert_eq!(mara.record(edit).unwrap_err().kind(), ReelErrorKind::Request, "it has ended");
}

#[test]
fn undo_and_redo_are_endless_and_last_over_sessions() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    let start = reel.fold.frames.iter().map(|f| f.verdicts.clone()).collect::<Vec<_>>();
    let verdicts = |reel: &Reel| reel.fold.frames.iter().map(|f| f.verdicts.clone()).collect::<Vec<_>>();
    let mut states = vec![start];
    for frame in 101..=106 {
        decide(&mut reel, frame, 0, Decision::Rejected);
        states.push(verdicts(&reel));
    }
    let filter = Filter::default();
    reel.record(Edit::Rule { decision: Decision::Accepted, filter }).unwrap();
    states.push(verdicts(&reel));
    reel.record(Edit::HandMark(HandMark { frame: 104, mask: square(50, 50) })).unwrap();
    states.push(verdicts(&reel));
    for round in 0..2 {
        for state in states.iter().rev().skip(1) {
            assert!(reel.undo().unwrap().is_some());
            assert_eq!(verdicts(&reel), *state, "round {round}");
        }
        assert_eq!(reel.undo().unwrap(), None);
        // Another session goes on where this one stopped.
        drop(reel);
        reel = Reel::open(&folder(&home), "Ines").unwrap();
        for state in &states[1..] {
            assert!(reel.redo().unwrap().is_some());
            assert_eq!(verdicts(&reel), *state, "round {round}");
        }
        assert_eq!(reel.redo().unwrap(), None);
    }
    let grown = &reel.fold;
    assert_eq!(*grown, Reel::open(&folder(&home), "Ines").unwrap().fold);
    assert!(reel.undo().unwrap().is_some());
    decide(&mut reel, 110, 2, Decision::Accepted);
    assert_eq!(reel.redo().unwrap(), None, "after another edit there is nothing to bring back");
}

#[test]
fn nobody_undoes_what_another_did() {
    let home = detected();
    let mut ines = Reel::open(&folder(&home), "Ines").unwrap();
    decide(&mut ines, 101, 0, Decision::Accepted);
    let mut mara = Reel::open(&folder(&home), "Mara").unwrap();
    assert_eq!(mara.undo().unwrap(), None);
    decide(&mut mara, 101, 0, Decision::Rejected);
    ines.refresh().unwrap();
    assert_eq!(ines.decision(CandidateId::new(101, 0)), Decision::Rejected);
    assert!(ines.undo().unwrap().is_some());
    assert_eq!(ines.decision(CandidateId::new(101, 0)), Decision::Rejected);
    mara.refresh().unwrap();
    assert!(mara.undo().unwrap().is_some());
    assert_eq!(mara.decision(CandidateId::new(101, 0)), Decision::Undecided);
}

#[test]
fn the_second_of_two_under_one_name_is_told_and_catches_up() {
    let home = detected();
    let mut first = Reel::open(&folder(&home), "Ines").unwrap();
    let mut second = Reel::open(&folder(&home), "Ines").unwrap();
    decide(&mut first, 101, 0, Decision::Accepted);
    let edit = Edit::Decide { ids: vec![CandidateId::new(102, 0)], decision: Decision::Accepted };
    assert_eq!(second.record(edit.clone()).map_err(|e| e.kind()), Err(ReelErrorKind::InUse));
    assert_eq!(second.decision(CandidateId::new(102, 0)), Decision::Undecided);
    drop(first);
    assert_eq!(second.record(edit).unwrap().sequence, 2, "it reads the first one's record before it writes");
    assert_eq!(second.decision(CandidateId::new(101, 0)), Decision::Accepted);
    assert!(Reel::open(&folder(&home), "INES").unwrap_err().to_string().contains("capitals"));
    assert!(Reel::open(&folder(&home), "../Ines").is_err());
    let mut reader = Reel::open_to_read(&folder(&home)).unwrap();
    assert_eq!(reader.undo().map_err(|e| e.kind()), Err(ReelErrorKind::Request));
}

#[test]
fn a_later_detection_supersedes_and_decisions_move_over() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    decide(&mut reel, 105, 0, Decision::Accepted);
    decide(&mut reel, 105, 1, Decision::Rejected);
    decide(&mut reel, 109, 1, Decision::Rejected);
    assert_eq!(reel.detected_ranges(), [101..=112]);
    assert_eq!(candidates::next_generation(&folder(&home)).unwrap(), 2);
    // Frames 103 to 107 anew: the first mark a pixel further, the second gone.
    put(&folder(&home), 2, 103, 107, &[candidate(30, 30, 0.9), candidate(1, 0, 0.8)]);
    reel.refresh().unwrap();
    assert_eq!(reel.candidates(105).len(), 2);
    assert_eq!(reel.candidates(109).len(), 4);
    assert_eq!(reel.decision(CandidateId::new(105, 1)), Decision::Accepted);
    assert_eq!(reel.decision(CandidateId::new(105, 0)), Decision::Undecided);
    assert_eq!(reel.decision(CandidateId::new(109, 1)), Decision::Rejected);
    let orphans = reel.orphans();
    assert_eq!(orphans.len(), 1);
    assert_eq!((orphans[0].spot.frame, orphans[0].decision, orphans[0].sequence), (105, Decision::Rejected, 2));
    // A damaged chunk is listed; what it superseded counts again.
    let path = folder(&home).join("candidates").join("0000103-0000107.cand");
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.truncate(bytes.len() - 1);
    std::fs::write(&path, bytes).unwrap();
    reel.refresh().unwrap();
    assert_eq!(reel.problems().len(), 1);
    assert!(reel.problems()[0].contains("0000103-0000107.cand"));
    assert_eq!(reel.decision(CandidateId::new(105, 1)), Decision::Rejected);
    assert!(reel.orphans().is_empty());
    reel.refresh().unwrap();
    assert_eq!(reel.problems().len(), 1, "a second look lists it still");
}

#[test]
fn a_torn_line_is_reported_cut_and_written_past() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    decide(&mut reel, 101, 0, Decision::Accepted);
    decide(&mut reel, 102, 0, Decision::Accepted);
    drop(reel);
    let path = journal::path_of(&folder(&home), &Artist::new("Ines").unwrap());
    let whole = std::fs::read(&path).unwrap();
    std::fs::write(&path, &whole[..whole.len() - 9]).unwrap();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    assert_eq!((reel.total().accepted, reel.problems().len()), (1, 1));
    assert_eq!(std::fs::metadata(&path).unwrap().len(), whole.len() as u64 - 9, "opening alone writes nothing");
    assert_eq!(decide(&mut reel, 103, 0, Decision::Accepted).sequence, 2);
    let reel = Reel::open(&folder(&home), "Mara").unwrap();
    assert_eq!((reel.total().accepted, reel.problems().len()), (2, 0));
}

#[test]
fn edits_that_make_no_sense_are_refused_and_leave_no_trace() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    let rule = |filter| Edit::Rule { decision: Decision::Accepted, filter };
    let backwards = std::ops::RangeInclusive::new(105, 103);
    let cases = [
        Edit::Decide { ids: vec![], decision: Decision::Accepted },
        Edit::Decide { ids: vec![CandidateId::new(101, 4)], decision: Decision::Accepted },
        Edit::Decide { ids: vec![CandidateId::new(99, 0)], decision: Decision::Accepted },
        rule(Filter { frames: Some(1..=99), ..Filter::default() }),
        rule(Filter { frames: Some(backwards), ..Filter::default() }),
        rule(Filter { shot: Some(2), ..Filter::default() }),
        rule(Filter { min_confidence: Some(f32::NAN), ..Filter::default() }),
        rule(Filter { min_confidence: Some(0.8), max_confidence: Some(0.2), ..Filter::default() }),
        Edit::Protect { rect: Rect::new(320, 0, 330, 10), first: 101, last: 102, note: String::new() },
        Edit::Protect { rect: Rect::new(0, 0, 9, 9), first: 1, last: 2, note: String::new() },
        Edit::Unprotect { id: crate::RegionId { artist: "Ines".into(), sequence: 1 } },
        Edit::ProtectShape { mask: square(320, 0), first: 101, last: 102, note: String::new() },
        Edit::ProtectShape { mask: square(0, 0), first: 1, last: 2, note: String::new() },
        Edit::ChangeRegion {
            id: crate::RegionId { artist: "Ines".into(), sequence: 1 },
            mask: square(0, 0),
            first: 101,
            last: 102,
            note: String::new(),
        },
        Edit::HandMarks { first: 101, last: 102, mask: RunMask::default() },
        Edit::HandMarks { first: 101, last: 102, mask: square(318, 0) },
        Edit::HandMarks { first: 102, last: 101, mask: square(0, 0) },
        Edit::HandMarks { first: 113, last: 120, mask: square(0, 0) },
        Edit::Sensitivity { shot: None, value: 1.5 },
        Edit::Sensitivity { shot: Some(2), value: 0.5 },
        Edit::HandMark(HandMark { frame: 101, mask: RunMask::default() }),
        Edit::HandMark(HandMark { frame: 101, mask: square(318, 0) }),
        Edit::HandMark(HandMark { frame: 100, mask: square(0, 0) }),
        Edit::Note { frame: None, text: " ".into() },
    ];
    for edit in cases {
        assert_eq!(reel.record(edit.clone()).map_err(|e| e.kind()), Err(ReelErrorKind::Request), "{edit:?}");
    }
    assert!(journal::list(&folder(&home)).unwrap().is_empty());
}

#[test]
fn a_hand_mark_from_elsewhere_is_cut_to_the_frame() {
    let home = detected();
    let path = journal::path_of(&folder(&home), &Artist::new("Tam").unwrap());
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    let line = |sequence: u64, what: &str| {
        format!("(version:1,sequence:{sequence},time:\"2026-03-04T09:30:00Z\",artist:\"Tam\",what:{what})\n")
    };
    let mask = "mask:\"239:310+99;240:0+5\"";
    let marks =
        line(1, &format!("HandMark(frame:101,{mask})")) + &line(2, &format!("HandMarks(frames:(102,999),{mask})"));
    std::fs::write(path, marks).unwrap();
    let reel = Reel::open(&folder(&home), "Ines").unwrap();
    for frame in 101..=112 {
        assert_eq!(reel.accepted(frame)[0].1.bounds(), Rect::new(310, 239, 320, 240));
    }
}

#[test]
fn a_folder_is_made_only_where_nothing_is() {
    let home = detected();
    let info = Reel::open_to_read(&folder(&home)).unwrap().info().clone();
    assert!(Reel::create(&folder(&home), &info, &[shot(0, 101, 112)]).is_err());
    let new = home.path().join("new.besom");
    assert!(Reel::create(&new, &info, &[]).is_err());
    assert!(Reel::create(&new, &ReelInfo { width: 0, ..info }, &[shot(0, 101, 112)]).is_err());
    assert!(!new.exists(), "nothing is left behind");
    assert!(Reel::open(&home.path().join("none"), "Ines").unwrap_err().to_string().contains("not a reel folder"));
}

/// Two people decide at once, a third reads all the while: nothing lost, nothing torn.
#[test]
fn two_writers_and_a_reader_in_one_folder() {
    const EACH: usize = 150;
    let home = detected();
    let at = folder(&home);
    std::thread::scope(|scope| {
        let work = |artist: &'static str, index: u32| {
            let at = at.clone();
            scope.spawn(move || {
                let mut reel = Reel::open(&at, artist).unwrap();
                for step in 0..EACH {
                    let frame = 101 + (step % 12) as u64;
                    decide(&mut reel, frame, index, Decision::ALL[step % 4]);
                }
            })
        };
        let writers = [work("Ines", 0), work("Mara", 1)];
        let mut reel = Reel::open_to_read(&at).unwrap();
        let mut seen = 0;
        while !writers.iter().all(std::thread::ScopedJoinHandle::is_finished) {
            reel.refresh().unwrap();
            assert!(reel.records().len() >= seen, "a record that was read stays");
            seen = reel.records().len();
        }
    });
    let reel = Reel::open_to_read(&at).unwrap();
    assert_eq!(reel.records().len(), 2 * EACH);
    assert!(reel.problems().is_empty());
    for artist in ["Ines", "Mara"] {
        let sequences = reel.records().iter().filter(|r| r.artist == artist).map(|r| r.sequence);
        assert!(sequences.eq(1..=EACH as u64));
    }
}

/// A reel of 20,000 candidates: opening, a rule over all of it, single decisions, undo and counts. The limits are ten
/// times what an unhurried machine takes, so that only a wrong order of growth breaks them.
#[test]
fn twenty_thousand_candidates_are_decided_in_no_time() {
    let home = made();
    let marks: Vec<Candidate> =
        (0..1667u32).map(|i| candidate(i % 64 * 5, i / 64 * 5, 0.3 + (i % 70) as f32 * 0.01)).collect();
    put(&folder(&home), 1, 101, 112, &marks);
    let timed = |what: &str, limit: Duration, started: Instant| {
        assert!(started.elapsed() < limit, "{what} took {:?}", started.elapsed());
    };
    let started = Instant::now();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    timed("opening", Duration::from_secs(2), started);
    assert_eq!(reel.total().candidates, 20_004);
    let started = Instant::now();
    let filter = Filter { min_confidence: Some(0.5), ..Filter::default() };
    let receipt = reel.record(Edit::Rule { decision: Decision::Accepted, filter: filter.clone() }).unwrap();
    let accepted = marks.iter().filter(|m| m.confidence >= 0.5).count() * 12;
    assert_eq!((receipt.changed, reel.total().accepted), (accepted, accepted as u64));
    timed("a rule over the reel", Duration::from_millis(500), started);
    let ids: Vec<CandidateId> = (0..1667).map(|i| CandidateId::new(105, i)).collect();
    let started = Instant::now();
    reel.record(Edit::Decide { ids, decision: Decision::Rejected }).unwrap();
    timed("1,667 at once", Duration::from_millis(500), started);
    let started = Instant::now();
    for index in 0..50 {
        decide(&mut reel, 105, index, Decision::Intended);
    }
    timed("50 single decisions, each synced", Duration::from_secs(3), started);
    let started = Instant::now();
    for _ in 0..52 {
        reel.undo().unwrap();
    }
    timed("52 undos, each synced", Duration::from_secs(3), started);
    assert_eq!(reel.total().accepted, 0);
    let started = Instant::now();
    for by in By::ALL {
        assert_eq!(reel.counts(by).total.counts.candidates, 20_004);
    }
    timed("five ledgers", Duration::from_millis(500), started);
}

/// Rules and taken proposals speak of much that nobody looked at: in a reel that defers its lessons too they follow the
/// newest examples, and their records are those of a reel that learns at once.
#[test]
fn a_rule_waits_for_no_lesson_and_none_is_lost() {
    let flakes = |n: u32| -> Vec<Candidate> {
        let mut list: Vec<Candidate> = (0..8).map(|i| candidate(20 + 30 * i, 40 + 3 * n, 0.9)).collect();
        for c in list.iter_mut().take(6) {
            (c.polarity, c.peak, c.confidence) = (besom_detect::Polarity::Bright, 5.0, 0.52);
        }
        list
    };
    let reels = [made(), made()].map(|home| {
        for frame in 101..=112 {
            put(&folder(&home), 1, frame, frame, &flakes(frame as u32 - 101));
        }
        let reel = Reel::open(&folder(&home), "Ines").unwrap();
        (home, reel)
    });
    let [(_at_once, mut at_once), (home, mut deferred)] = reels;
    deferred.defer_lessons();
    let deeds = |reel: &mut Reel| {
        for (frame, index) in [(101, 0), (102, 3), (103, 1), (104, 4)] {
            decide(reel, frame, index, Decision::Intended);
        }
        let rule = Edit::Rule { decision: Decision::Accepted, filter: Filter { shot: Some(0), ..Filter::default() } };
        let receipt = reel.record(rule).unwrap();
        assert!(reel.lesson_due().is_none(), "the rule had it learned first");
        for index in [2, 5] {
            decide(reel, 105, index, Decision::Rejected);
        }
        receipt
    };
    assert_eq!(deeds(&mut deferred), deeds(&mut at_once));
    let words = |reel: &Reel| reel.records().iter().map(|r| r.deed.clone()).collect::<Vec<_>>();
    assert_eq!(words(&deferred), words(&at_once));
    assert!(
        matches!(&words(&deferred)[4], Deed::Rule { learned, .. } if !learned.is_empty()),
        "it spared what was learned"
    );
    // Whoever opens the reel meanwhile has learned it all; the lesson brings the one that defers to the same.
    assert!(deferred.learning(0).due);
    deferred.refresh().unwrap();
    let due = deferred.lesson_due().unwrap();
    assert!(deferred.take_lesson(due.solve()));
    assert_eq!(deferred.fold, Reel::open(&folder(&home), "Mara").unwrap().fold);
}

#[test]
fn the_like_of_one_are_decided_in_one_record_that_teaches_nothing() {
    let home = made();
    // Twelve small dark squares and, of the same look, one line; six large bright marks.
    let mut list: Vec<Candidate> = (0..12).map(|i| candidate(10 + 20 * (i % 6), 40 + 8 * (i / 6), 0.8)).collect();
    list.push(Candidate { kind: Kind::Line, ..candidate(140, 44, 0.8) });
    list.extend((0..6).map(|i| Candidate {
        mask: RunMask::from_rect(&Rect::new(20 + 40 * i, 100, 44 + 40 * i, 120)),
        polarity: besom_detect::Polarity::Bright,
        peak: 20.0,
        ..candidate(0, 0, 0.8)
    }));
    put(&folder(&home), 1, 101, 112, &list);
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    assert!(reel.alike_due(CandidateId::new(103, 99)).is_none());
    let of = CandidateId::new(103, 3);
    let alike = reel.alike_due(of).unwrap().solve();
    assert!(alike.of == of && alike.ids.contains(&of));
    assert!(alike.ids.iter().all(|id| id.index < 12 && id.frame <= 106), "{:?}", alike.ids);
    assert!(alike.ids.len() > 6, "its like lie on every frame of the shot: {:?}", alike.ids);

    let edit = Edit::DecideAlike { ids: alike.ids.clone(), decision: Decision::Intended };
    assert_eq!(reel.preview(&edit), alike.ids.len());
    let receipt = reel.record(edit).unwrap();
    assert_eq!((receipt.matched, receipt.changed), (alike.ids.len(), alike.ids.len()));
    assert_eq!(receipt.words, format!("intended {} candidates that are alike", alike.ids.len()));
    assert_eq!(reel.records().len(), 1);
    assert_eq!((reel.learning(0).belonging, reel.has_learned(0)), (0, false), "nobody looked at each");
    let again = Reel::open_to_read(&folder(&home)).unwrap();
    assert_eq!(again.fold, reel.fold);
    reel.undo().unwrap();
    assert_eq!(reel.total().intended, 0);
    assert!(reel.record(Edit::DecideAlike { ids: Vec::new(), decision: Decision::Accepted }).is_err());
}

#[test]
fn another_artist_takes_over_without_reopening() {
    let home = detected();
    let mut mara = Reel::open(&folder(&home), "Mara").unwrap();
    decide(&mut mara, 101, 0, Decision::Rejected);
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    decide(&mut reel, 101, 1, Decision::Accepted);
    // Mara goes on meanwhile, and stops.
    decide(&mut mara, 102, 0, Decision::Rejected);
    drop(mara);
    assert!(reel.work_as("mara").is_err() && reel.work_as("a/b").is_err());
    assert_eq!(reel.artist(), Some("Ines"), "nothing changed on an error");
    reel.work_as("Mara").unwrap();
    let receipt = decide(&mut reel, 103, 0, Decision::Intended);
    assert_eq!(receipt.sequence, 3, "her journal goes on where it ended");
    assert_eq!(reel.decision(CandidateId::new(102, 0)), Decision::Rejected);
    reel.undo().unwrap();
    reel.undo().unwrap();
    reel.undo().unwrap();
    assert_eq!(reel.undo().unwrap(), None, "she takes back what she did and nothing else");
    assert_eq!(reel.decision(CandidateId::new(101, 1)), Decision::Accepted);
    reel.work_as("Tam").unwrap();
    assert_eq!(decide(&mut reel, 104, 0, Decision::Accepted).sequence, 1);
    // The first artist's journal is free again for others.
    let mut ines = Reel::open(&folder(&home), "Ines").unwrap();
    decide(&mut ines, 104, 1, Decision::Accepted);
    assert!(Reel::open_to_read(&folder(&home)).unwrap().work_as("Ines").is_err());
}

/// Another shape is one record; what was and will be decided finds the candidate in it, after a new detection too.
#[test]
fn candidates_are_reshaped_parted_and_joined() {
    let home = detected();
    let mut reel = Reel::open(&folder(&home), "Ines").unwrap();
    let id = |index| CandidateId::new(103, index);
    let mask = |reel: &Reel, index| reel.candidate(id(index)).unwrap().mask.clone();
    decide(&mut reel, 103, 0, Decision::Accepted);
    let start = stand(&reel);

    let grown = square(0, 0).grown(1, 320, 240);
    let receipt = reel.record(Edit::Reshape { ids: vec![id(0)], masks: vec![grown.clone()] }).unwrap();
    assert_eq!((receipt.matched, receipt.words.as_str()), (1, "changed the shape of one candidate in frame 103"));
    assert_eq!((mask(&reel, 0), reel.decision(id(0))), (grown.clone(), Decision::Accepted), "the decision stays");
    let (left, right) = (RunMask::from_rect(&Rect::new(0, 0, 2, 5)), RunMask::from_rect(&Rect::new(3, 0, 5, 5)));
    reel.record(Edit::Reshape { ids: vec![id(0)], masks: vec![left.clone(), right.clone()] }).unwrap();
    assert_eq!(reel.accepted(103).iter().map(|(_, c, _)| c.mask.clone()).collect::<Vec<_>>(), [left, right.clone()]);
    assert_eq!(reel.total().candidates, 12 * 4 + 1);
    decide(&mut reel, 103, 4, Decision::Rejected);
    assert_eq!(reel.untouchable_mask(103), right);

    // Joined: one of them goes up in the other, and no rule, count or list speaks of it any more.
    let joined = square(8, 8).union(&square(16, 8));
    reel.record(Edit::Reshape { ids: vec![id(1), id(2)], masks: vec![joined.clone()] }).unwrap();
    assert_eq!((mask(&reel, 1), reel.asks(id(2))), (joined, false));
    let all = Filter { frames: Some(103..=103), min_confidence: Some(0.0), include_at_risk: true, ..Filter::default() };
    assert_eq!(reel.matching(&all).iter().map(|id| id.index).collect::<Vec<_>>(), [0, 1, 3, 4]);
    assert_eq!(reel.record(Edit::Rule { decision: Decision::Accepted, filter: all }).unwrap().matched, 4);
    assert_eq!(reel.frame_counts(103).candidates, 4);
    assert_eq!(reel.accepted(103).len(), 4);
    assert_eq!(Reel::open(&folder(&home), "Mara").unwrap().fold, reel.fold);

    // A new search finds the first mark a pixel further right: it takes the shape that was painted.
    let state = reel.fold.clone();
    let mut anew = four();
    anew[0].mask = square(1, 0);
    put(&folder(&home), 2, 101, 112, &anew);
    reel.refresh().unwrap();
    assert_eq!(
        reel.accepted(103).iter().map(|(_, c, _)| c.area()).sum::<usize>(),
        state.frames[2].candidates.iter().map(Candidate::area).sum::<usize>()
    );
    put(&folder(&home), 3, 101, 112, &four());
    reel.refresh().unwrap();
    assert!(reel.fold.frames == state.frames);
    for _ in 0..5 {
        assert!(reel.undo().unwrap().is_some());
    }
    assert!(stand(&reel) == start);

    for (ids, masks) in [
        (vec![], vec![square(0, 0)]),
        (vec![id(0)], vec![]),
        (vec![id(0)], vec![RunMask::default()]),
        (vec![id(0)], vec![square(318, 0)]),
        (vec![id(0)], vec![square(0, 0)]),
        (vec![id(0)], vec![square(8, 8)]),
        (vec![id(0)], vec![square(50, 50), square(50, 50)]),
        (vec![id(0), CandidateId::new(104, 0)], vec![square(1, 1)]),
        (vec![id(9)], vec![square(1, 1)]),
    ] {
        let edit = Edit::Reshape { ids, masks };
        assert_eq!(reel.record(edit.clone()).map_err(|e| e.kind()), Err(ReelErrorKind::Request), "{edit:?}");
    }
}

/// 16 frames a foot of 35 mm 4-perf, 1,440 frames a minute at 24 a second (laboratories' tables).
#[test]
fn a_place_is_named_by_number_footage_or_timecode() {
    let home = made();
    let reel = Reel::open_to_read(&folder(&home)).unwrap();
    let first = reel.info().first;
    assert_eq!(reel.frame_named(" 107 "), Some(107));
    assert_eq!(reel.frame_named("12+07"), Some(first + 12 * 16 + 7));
    assert_eq!(reel.frame_named("00:01:00:05"), Some(first + 1445));
    for frame in [first, first + 1, first + 200_000] {
        assert_eq!(reel.frame_named(&reel.footage(frame)), Some(frame));
        assert_eq!(reel.frame_named(&reel.timecode(frame)), Some(frame));
    }
    for nonsense in [
        "",
        "-3",
        "12+",
        "+7",
        "1++7",
        "1:2:3",
        "00:00:00:+3",
        "00:00:60:00",
        "00:00:00:24",
        "00:00:00;02",
        "25:00:00:00",
        "x",
    ] {
        assert_eq!(reel.frame_named(nonsense), None, "{nonsense}");
    }
    assert_eq!(reel.frame_named("4294967295+4294967295"), Some(first + 4_294_967_295 * 17));
    assert_eq!(reel.frame_named("99999999999999999999"), None);
}
