//! The whole road on the demo reel: start, detect, decide, protect, masks, repair, verify, ledger, undo.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;

use besom_detect::Kind;
use besom_reel::work::{self, MaskOptions, RepairOptions, RepairRecord, WhichMasks};
use besom_reel::{By, CandidateId, Decision, Edit, Filter, Reel};
use besom_scan::{Rect, RunMask, Scan, Silent};
use besom_tests::{Road, sums};

/// Candidates of the reel that a hand-written reading of a rule picks, at risk or not.
fn picked(reel: &Reel, wanted: impl Fn(&Reel, CandidateId, &besom_detect::Candidate) -> bool) -> usize {
    let mut count = 0;
    for frame in reel.frames() {
        for (index, candidate) in reel.candidates(frame.number).iter().enumerate() {
            count += usize::from(wanted(reel, CandidateId::new(frame.number, index as u32), candidate));
        }
    }
    count
}

fn sensitivity(reel: &Reel, id: CandidateId) -> f32 {
    reel.sensitivity(reel.shot_of(id.frame).unwrap().index)
}

#[test]
fn the_survey_finds_the_reel_whole_and_its_shots() {
    let road = Road::demo();
    let reel = road.open();
    assert_eq!((reel.info().width, reel.info().height, reel.info().bits), (512, 384, 10));
    assert_eq!((reel.info().first, reel.info().last), (86_400, 86_423));
    assert!(reel.info().problems.is_empty() && reel.info().gaps.is_empty());
    // The renderer knows where it cut.
    let rendered = besom_proof::demo::render(&besom_proof::demo::Settings::default());
    let truth: Vec<(u64, u64)> =
        rendered.shots().iter().map(|s| (86_400 + s.range.start as u64, 86_399 + s.range.end as u64)).collect();
    let found: Vec<(u64, u64)> = reel.shots().iter().map(|s| (s.first, s.last)).collect();
    assert_eq!(found, truth);
    assert!(reel.frames().iter().all(|f| reel.detected(f.number)));
}

#[test]
fn rules_decide_what_they_say() {
    let road = Road::demo();
    let mut reel = road.open();
    let (first, last) = (86_404, 86_413);
    let expected = picked(&reel, |reel, id, c| {
        (first..=last).contains(&id.frame) && c.confidence >= sensitivity(reel, id) && !c.risk.any()
    });
    assert!(expected > 20, "the demo reel is dirty: {expected}");
    let filter = Filter { frames: Some(first..=last), ..Filter::default() };
    let edit = Edit::Rule { decision: Decision::Accepted, filter };
    assert_eq!(reel.preview(&edit), expected);
    let receipt = reel.record(edit).unwrap();
    assert_eq!((receipt.matched, receipt.changed), (expected, expected));
    assert_eq!(picked(&reel, |reel, id, _| reel.decision(id) == Decision::Accepted), expected);

    let hairs = |low: f32| Filter {
        shot: Some(2),
        kind: Some(Kind::Hair),
        min_confidence: Some(low),
        include_at_risk: true,
        ..Filter::default()
    };
    let expected = picked(&reel, |reel, id, c| {
        reel.shot_of(id.frame).unwrap().index == 2 && c.kind == Kind::Hair && c.confidence >= 0.3
    });
    let receipt = reel.record(Edit::Rule { decision: Decision::Intended, filter: hairs(0.3) }).unwrap();
    assert_eq!(receipt.matched, expected);
    // Both records are one step of undo each.
    assert!(reel.undo().unwrap().is_some() && reel.undo().unwrap().is_some());
    assert_eq!(picked(&reel, |reel, id, _| reel.decision(id) != Decision::Undecided), 0);
    assert_eq!(reel.undo().unwrap(), None);
}

/// Accepts the whole reel but for one shot, keeps the brightest marks of one frame as intended, protects a corner.
fn decide(reel: &mut Reel) -> Rect {
    let everything = Filter { include_at_risk: true, ..Filter::default() };
    reel.record(Edit::Rule { decision: Decision::Accepted, filter: everything.clone() }).unwrap();
    let title = Filter { shot: Some(0), ..everything };
    reel.record(Edit::Rule { decision: Decision::Rejected, filter: title }).unwrap();
    let kept: Vec<CandidateId> = reel.accepted(86_406).iter().map(|(id, _, _)| *id).step_by(3).collect();
    assert!(!kept.is_empty());
    reel.record(Edit::Decide { ids: kept, decision: Decision::Intended }).unwrap();
    let rect = Rect::new(0, 0, 256, 384);
    reel.record(Edit::Protect { rect, first: 86_410, last: 86_412, note: "left half kept".into() }).unwrap();
    let edit = Edit::ProtectShape { mask: swath(), first: 86_416, last: 86_417, note: "flags kept".into() };
    reel.record(edit).unwrap();
    rect
}

/// A broad stroke over the whole frame, as a hand draws one.
fn swath() -> RunMask {
    besom_reel::drawn::stroke(&[(30.0, 360.0), (260.0, 170.0), (500.0, 40.0)], 90.0, 512, 384)
}

#[test]
fn only_accepted_pixels_change_and_every_change_is_on_record() {
    let road = Road::demo();
    let before = sums(&road.scans());
    let mut reel = road.open();
    let protected = decide(&mut reel);
    let report = work::repair(&road.reel(), &road.out(), &RepairOptions::default(), &Silent).unwrap();
    assert_eq!(report.frames, 24);
    assert_eq!(report.repaired + report.copied, 24);
    assert!(report.repaired >= 19, "four shots of five were accepted: {}", report.repaired);
    let verified = work::verify(&road.reel(), &road.out(), &Silent).unwrap();
    assert_eq!(verified.first_offence, None);
    assert_eq!((verified.frames, verified.missing), (24, 0));
    assert_eq!((verified.bytes_changed_outside, verified.samples_changed_outside), (0, 0));
    assert_eq!(verified.samples_changed, report.samples);
    assert_eq!(sums(&road.scans()), before, "the scans are only read");

    // The same without `verify`: by decoding both and looking at every pixel.
    let record = RepairRecord::read(&road.reel()).unwrap();
    let swath = swath();
    let crossing = reel.accepted(86_416).iter().filter(|(_, c, _)| c.mask.overlap(&swath) > 0).count();
    assert!(crossing > 0, "some accepted marks lie in the protected shape");
    let mut changed = 0u64;
    for frame in reel.frames() {
        let name = frame.path.file_name().unwrap();
        let (source, repaired) = (Scan::read(&frame.path).unwrap(), Scan::read(&road.out().join(name)).unwrap());
        assert_eq!(source.bytes()[..2048], repaired.bytes()[..2048], "the header is the scan's");
        let masks = record.frames[&frame.number].iter().flat_map(|e| e.mask.runs().iter().copied()).collect();
        let allowed = RunMask::from_runs(masks);
        let intended = RunMask::from_runs(
            reel.candidates(frame.number)
                .iter()
                .enumerate()
                .filter(|(i, _)| reel.decision(CandidateId::new(frame.number, *i as u32)) == Decision::Intended)
                .flat_map(|(_, c)| c.mask.runs().iter().copied())
                .collect(),
        );
        for (y, x) in (0..384).flat_map(|y| (0..512).map(move |x| (y, x))) {
            for channel in 0..3 {
                if source.frame().native_bits(x, y, channel) != repaired.frame().native_bits(x, y, channel) {
                    changed += 1;
                    assert!(allowed.contains(x as u32, y as u32), "frame {} at {x},{y}", frame.number);
                    assert!(
                        !intended.contains(x as u32, y as u32),
                        "intended pixels stay, frame {} at {x},{y}",
                        frame.number
                    );
                    let inside = (86_410..=86_412).contains(&frame.number) && protected.contains(x as i32, y as i32);
                    let drawn = (86_416..=86_417).contains(&frame.number) && swath.contains(x as u32, y as u32);
                    assert!(!drawn, "the drawn shape stays, frame {} at {x},{y}", frame.number);
                    assert!(!inside, "protected pixels stay, frame {} at {x},{y}", frame.number);
                    assert!(reel.shot_of(frame.number).unwrap().index != 0, "the title was rejected");
                }
            }
        }
    }
    assert_eq!(changed, report.samples);
    let table = fs::read_to_string(road.reel().join("exports/repairs.csv")).unwrap();
    assert_eq!(table.lines().count(), report.candidates + 1);
}

#[test]
fn undone_decisions_give_the_scans_back_byte_for_byte() {
    let road = Road::demo();
    let mut reel = road.open();
    decide(&mut reel);
    work::repair(&road.reel(), &road.out(), &RepairOptions::default(), &Silent).unwrap();
    assert_ne!(sums(&road.out()), sums(&road.scans()));
    while reel.undo().unwrap().is_some() {}
    let report = work::repair(&road.reel(), &road.out(), &RepairOptions::default(), &Silent).unwrap();
    assert_eq!((report.repaired, report.copied, report.samples), (0, 24, 0));
    assert_eq!(sums(&road.out()), sums(&road.scans()));
    assert_eq!(work::verify(&road.reel(), &road.out(), &Silent).unwrap().identical, 24);
}

#[test]
fn tampering_with_one_sample_or_one_header_byte_is_caught_and_named() {
    let road = Road::demo();
    decide(&mut road.open());
    work::repair(&road.reel(), &road.out(), &RepairOptions::default(), &Silent).unwrap();
    let record = RepairRecord::read(&road.reel()).unwrap();
    let (frame, name) = (86_420, "skerry_r2.0086420.dpx");
    let taken = RunMask::from_runs(record.frames[&frame].iter().flat_map(|e| e.mask.runs().to_vec()).collect());
    let (x, y) = (0..512).map(|x| (x, 200)).find(|(x, y)| !taken.contains(*x, *y)).unwrap();
    let victim = road.out().join(name);
    let whole = fs::read(&victim).unwrap();
    let offence = |bytes: &[u8]| {
        fs::write(&victim, bytes).unwrap();
        let report = work::verify(&road.reel(), &road.out(), &Silent).unwrap();
        assert!(report.bytes_changed_outside >= 1);
        assert!(report.manifest.is_empty(), "no manifest vouches for a changed file");
        report.first_offence.unwrap()
    };
    // Filled method A at 10 bits: one 32-bit word a pixel, red in the top ten bits (SMPTE ST 268-1).
    let mut sample = whole.clone();
    sample[2048 + 4 * (y as usize * 512 + x as usize) + 1] ^= 0x40;
    let words = offence(&sample);
    assert!(words.contains(name) && words.contains("changed outside"), "{words}");
    // The project's name starts at byte 260.
    let mut header = whole.clone();
    header[262] ^= 0x20;
    let words = offence(&header);
    assert!(words.contains(name) && words.contains("byte 262"), "{words}");
    fs::write(&victim, &whole).unwrap();
    assert_eq!(work::verify(&road.reel(), &road.out(), &Silent).unwrap().first_offence, None);
}

#[test]
fn masks_are_the_candidates_and_nothing_else() {
    let road = Road::demo();
    let mut reel = road.open();
    decide(&mut reel);
    let to = road.path().join("masks");
    let options = MaskOptions { which: WhichMasks::Accepted, min_confidence: None };
    let report = work::masks(&road.reel(), &to, &options, &Silent).unwrap();
    assert_eq!(report.frames, 24);
    let mut pixels = 0;
    for frame in reel.frames() {
        let name = frame.path.file_stem().unwrap().to_string_lossy().into_owned() + ".png";
        let mask = Scan::read(&to.join(name)).unwrap();
        assert_eq!((mask.frame().width, mask.frame().height, mask.frame().channels), (512, 384, 1));
        let accepted = RunMask::from_runs(
            reel.accepted(frame.number).iter().flat_map(|(_, c, _)| c.mask.runs().iter().copied()).collect(),
        );
        let accepted = accepted.minus(&reel.protected_mask(frame.number));
        for (y, x) in (0..384).flat_map(|y| (0..512).map(move |x| (y, x))) {
            let expected = if accepted.contains(x as u32, y as u32) { 255 } else { 0 };
            assert_eq!(mask.frame().native_bits(x, y, 0), expected, "frame {} at {x},{y}", frame.number);
        }
        pixels += accepted.area() as u64;
    }
    assert_eq!(report.pixels, pixels);
    assert!(pixels > 0);
}

#[test]
fn the_ledger_adds_up_in_every_form() {
    let road = Road::demo();
    let mut reel = road.open();
    decide(&mut reel);
    let accepted = picked(&reel, |reel, id, _| reel.decision(id) == Decision::Accepted) as u64;
    let all = picked(&reel, |_, _, _| true) as u64;
    for by in [By::Shot, By::Kind] {
        let table = reel.counts(by);
        assert_eq!(table.rows.iter().map(|row| row.counts.accepted).sum::<u64>(), accepted);
        assert_eq!(table.rows.iter().map(|row| row.counts.candidates).sum::<u64>(), all);
        assert_eq!((table.total.counts.accepted, table.total.counts.candidates), (accepted, all));
    }
    for by in [By::Shot, By::Kind, By::Artist, By::Day] {
        let table = reel.counts(by);
        assert!(table.text().lines().count() > table.rows.len());
        let csv = table.csv();
        let columns: Vec<usize> = csv.lines().map(|line| line.split(',').count()).collect();
        assert!(columns.len() > table.rows.len() && columns.windows(2).all(|pair| pair[0] == pair[1]), "{csv}");
        let json: serde_json::Value = serde_json::from_str(&table.json().to_string()).unwrap();
        assert_eq!(json["total"]["accepted"], accepted);
        assert_eq!(json["rows"].as_array().map(Vec::len), Some(table.rows.len()));
        let html = table.html();
        assert!(html.starts_with("<!") && html.trim_end().ends_with("</html>") && !html.contains("http"), "{by:?}");
    }
}
