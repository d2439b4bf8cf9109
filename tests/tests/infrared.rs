//! Infrared over the whole road: a second sequence or a channel of the scans, trusted or not, missing or damaged; and what a
//! repair does to it, which is nothing.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::{Path, PathBuf};

use besom_detect::Candidate;
use besom_proof::ageing::files::ClipFolder;
use besom_proof::ageing::infrared::{Film, Infrared};
use besom_proof::ageing::{Ageing, Level, Settings};
use besom_reel::work::{self, DetectOptions, InfraredFrom, RepairOptions, StartOptions, StartReport};
use besom_reel::{Decision, Edit, Filter, Reel};
use besom_scan::{Plane, Scan, Silent};
use tempfile::TempDir;

const FRAMES: u64 = 7;
const FIRST: u64 = 101;

/// A slowly panning picture with detail, dusty, with its infrared as a fourth channel or a folder `infrared`.
fn clip(film: Film, channel: bool) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { dust: 300.0, hairs: 0.0, lines: 0.0, clouds: 0.0, ..Settings::of(Level::Heavy) };
    let ageing = Ageing::new(&settings, 256, 192, FRAMES as usize, 5);
    let film = Infrared { film, ..Infrared::default() };
    let mut files = ClipFolder::create(folder.path(), "skerry").unwrap();
    if !channel {
        files = files.with_infrared().unwrap();
    }
    for n in 0..FRAMES as usize {
        let code = |x: usize, y: usize, c: usize| {
            let (x, y) = (x as f32 + 0.7 * n as f32, y as f32);
            470.0 + 20.0 * c as f32 + 110.0 * (x / 13.0 + y / 29.0).sin() + 80.0 * (y / 9.0 - x / 31.0).cos()
        };
        let planes: Vec<Plane> = (0..3).map(|c| Plane::from_fn(256, 192, |x, y| code(x, y, c))).collect();
        let frame = ageing.frame(n, &planes);
        let infrared = film.plane(&ageing, n, &frame);
        if channel {
            files.write_with_channel(FIRST + n as u64, &frame, infrared).unwrap();
        } else {
            files.write(FIRST + n as u64, &frame).unwrap();
            files.write_infrared(FIRST + n as u64, &infrared).unwrap();
        }
    }
    folder
}

fn started(clip: &TempDir, name: &str, infrared: Option<InfraredFrom>) -> (PathBuf, StartReport) {
    let reel = clip.path().join(name);
    let options = StartOptions { infrared, ..StartOptions::default() };
    let report = work::start(&clip.path().join("scans"), &reel, &options, &Silent).unwrap();
    (reel, report)
}

fn detected(reel: &Path) -> Vec<Vec<Candidate>> {
    work::detect(reel, &DetectOptions::default(), &Silent).unwrap();
    let reel = Reel::open_to_read(reel).unwrap();
    reel.frames().iter().map(|f| reel.candidates(f.number).to_vec()).collect()
}

fn sequence(clip: &TempDir) -> InfraredFrom {
    InfraredFrom::Sequence(clip.path().join("infrared"))
}

fn says(found: &[Vec<Candidate>], words: &str) -> usize {
    found.iter().flatten().flat_map(|c| &c.reasons).filter(|reason| reason.contains(words)).count()
}

#[test]
fn a_channel_and_a_sequence_say_the_same_and_nothing_is_taken_for_infrared_unasked() {
    let (apart, within) = (clip(Film::Dyes, false), clip(Film::Dyes, true));
    let plain = detected(&started(&apart, "plain.besom", None).0);
    assert_eq!(says(&plain, "infrared"), 0);
    let (reel, report) = started(&within, "plain.besom", None);
    assert_eq!((report.info.channels, &report.info.infrared), (4, &None));
    assert_eq!(detected(&reel), plain, "a fourth channel is alpha until somebody says otherwise");

    let (reel, report) = started(&within, "channel.besom", Some(InfraredFrom::Channel));
    assert_eq!(report.info.infrared.as_ref().unwrap().words(), "a channel of the scans, used");
    let with = detected(&reel);
    assert!(says(&with, "infrared is blocked here") > 10);
    assert_ne!(with, plain);
    let (reel, report) = started(&apart, "sequence.besom", Some(sequence(&apart)));
    assert_eq!(report.info.infrared.as_ref().unwrap().words(), "a sequence of its own, used");
    assert_eq!(detected(&reel), with);
}

#[test]
fn a_film_that_shows_its_picture_in_infrared_is_searched_without_it() {
    for film in [Film::Silver, Film::LeakingCyan] {
        let clip = clip(film, false);
        let (reel, report) = started(&clip, "with.besom", Some(sequence(&clip)));
        let words = report.info.infrared.as_ref().unwrap().words();
        assert!(words.contains("shows the picture itself") && words.contains("not used"), "{words}");
        assert_eq!(detected(&reel), detected(&started(&clip, "without.besom", None).0), "{film:?}");
    }
}

#[test]
fn an_opaque_alpha_channel_is_no_infrared() {
    let clip = clip(Film::Dyes, true);
    for entry in fs::read_dir(clip.path().join("scans")).unwrap() {
        let path = entry.unwrap().path();
        let scan = Scan::read(&path).unwrap();
        let opaque = |y: u32| (0..256).map(move |x| besom_scan::SampleEdit { x, y, channel: 3, bits: 1023 });
        let edits: Vec<_> = (0..192).flat_map(opaque).collect();
        fs::write(&path, scan.patched(&edits).unwrap()).unwrap();
    }
    let (reel, report) = started(&clip, "R.besom", Some(InfraredFrom::Channel));
    let words = report.info.infrared.as_ref().unwrap().words();
    assert!(words.contains("the same everywhere"), "{words}");
    assert_eq!(says(&detected(&reel), "infrared"), 0);
}

#[test]
fn frames_without_usable_infrared_are_named_and_searched_without_it() {
    let clip = clip(Film::Dyes, false);
    let file = |number: u64| clip.path().join(format!("infrared/skerry.{number:07}.dpx"));
    fs::remove_file(file(102)).unwrap();
    let whole = fs::read(file(104)).unwrap();
    fs::write(file(104), &whole[..whole.len() / 2]).unwrap();
    let (reel, report) = started(&clip, "R.besom", Some(sequence(&clip)));
    let notes = report.notes.join("\n");
    assert!(notes.contains("missing for frames 102") && notes.contains("frame 104 cannot be used"), "{notes}");
    // One more is lost after the start.
    fs::write(file(106), b"not a picture").unwrap();
    let report = work::detect(&reel, &DetectOptions::default(), &Silent).unwrap();
    assert_eq!((report.frames, report.unreadable.len()), (FRAMES as usize, 0));
    let notes = report.notes.join("\n");
    assert!(notes.contains("102, 104, 106"), "{notes}");
    let reel = Reel::open_to_read(&reel).unwrap();
    let about = |number: u64| reel.candidates(number).iter().flat_map(|c| &c.reasons).any(|r| r.contains("infrared"));
    assert!(!about(102) && !about(104) && !about(106) && about(103) && about(105));
}

#[test]
fn infrared_that_fits_no_scan_is_refused_in_one_sentence() {
    let (good, other) = (clip(Film::Dyes, false), tempfile::tempdir().unwrap());
    let refused = |infrared: InfraredFrom| {
        let options = StartOptions { infrared: Some(infrared), ..StartOptions::default() };
        let reel = good.path().join("no.besom");
        let sentence = work::start(&good.path().join("scans"), &reel, &options, &Silent).unwrap_err().to_string();
        assert!(!reel.exists());
        sentence
    };
    assert!(refused(InfraredFrom::Channel).contains("no infrared channel"));
    assert!(refused(InfraredFrom::Sequence(good.path().join("scans"))).contains("the scans themselves"));
    assert!(refused(InfraredFrom::Sequence(other.path().join("none"))).contains("none"));
    fs::copy(good.path().join("infrared/skerry.0000101.dpx"), other.path().join("ir.9000.dpx")).unwrap();
    assert!(refused(InfraredFrom::Sequence(other.path().to_owned())).contains("no infrared frame has the number"));
    fs::remove_file(other.path().join("ir.9000.dpx")).unwrap();
    fs::write(other.path().join("ir.0101.dpx"), b"not a picture").unwrap();
    let sentence = refused(InfraredFrom::Sequence(other.path().to_owned()));
    assert!(sentence.contains("ir.0101.dpx") && sentence.contains("none of the infrared"), "{sentence}");
}

#[test]
fn a_repair_never_touches_the_fourth_channel() {
    let (clip, other) = (clip(Film::Dyes, true), clip(Film::Dyes, false));
    let (reel, _) = started(&clip, "R.besom", Some(InfraredFrom::Channel));
    detected(&reel);
    let mut open = Reel::open(&reel, "Ines").unwrap();
    let everything = Filter { include_at_risk: true, ..Filter::default() };
    open.record(Edit::Rule { decision: Decision::Accepted, filter: everything }).unwrap();
    drop(open);
    let (apart, _) = started(&other, "R.besom", Some(sequence(&other)));
    let refused = work::repair(&apart, &other.path().join("infrared"), &RepairOptions::default(), &Silent).unwrap_err();
    assert!(refused.to_string().contains("infrared"), "{refused}");
    let out = clip.path().join("out");
    let repaired = work::repair(&reel, &out, &RepairOptions::default(), &Silent).unwrap();
    assert_eq!(repaired.frames, FRAMES as usize);
    let mut changed = 0;
    for number in FIRST..FIRST + FRAMES {
        let read = |folder: &Path| Scan::read(&folder.join(format!("skerry.{number:07}.dpx"))).unwrap();
        let (before, after) = (read(&clip.path().join("scans")), read(&out));
        for y in 0..192 {
            for x in 0..256 {
                let differs = |c| before.frame().native_bits(x, y, c) != after.frame().native_bits(x, y, c);
                assert!(!differs(3), "infrared changed at {x}, {y} of {number}");
                changed += usize::from((0..3).any(differs));
            }
        }
    }
    assert!(changed > 500, "{changed}");
    assert_eq!(work::verify(&reel, &out, &Silent).unwrap().first_offence, None);
}
