//! The same scans give the same bytes: with one thread or two, in one run or in ranges.

use std::collections::BTreeMap;
use std::fs;

use crate::bench::{Bench, FIRST, dpx, name, picture};
use besom_scan::verify::sha256;

/// More frames than one chunk of candidates holds, so that chunks are cut and joined.
const FRAMES: u64 = 60;

/// The candidate files by name, with their checksums.
fn candidates(bench: &Bench) -> BTreeMap<String, String> {
    let files = fs::read_dir(bench.path("R.besom/candidates")).unwrap();
    files
        .map(|entry| {
            let path = entry.unwrap().path();
            (path.file_name().unwrap().to_string_lossy().into_owned(), sha256(&fs::read(&path).unwrap()))
        })
        .collect()
}

#[test]
fn threads_ranges_and_stops_change_no_byte() {
    let bench = Bench::empty();
    for number in 0..FRAMES {
        fs::write(bench.scan(FIRST + number), dpx(&picture(number, 96, 80))).unwrap();
    }
    bench.start().succeeds();
    let detect = |arguments: &[&str]| {
        let mut all = vec!["detect", "R.besom", "--json"];
        all.extend(arguments);
        bench.run(&all)
    };
    let again = || fs::remove_dir_all(bench.path("R.besom/candidates")).unwrap();

    let whole = detect(&["--threads", "2"]).succeeds().json();
    assert_eq!(whole["frames"], FRAMES);
    assert!(whole["candidates"].as_u64().unwrap() >= FRAMES, "three specks a frame were painted: {whole}");
    let expected = candidates(&bench);
    assert_eq!(expected.len(), 2, "{expected:?}");

    again();
    detect(&["--threads", "1"]).succeeds();
    assert_eq!(candidates(&bench), expected, "one thread");

    again();
    detect(&["--frames", "86400-86430"]).succeeds();
    let hole = detect(&["--assemble"]);
    hole.refuses(&["R.besom", "86431-86459"]);
    detect(&["--frames", "86431-86459", "--threads", "1"]).succeeds();
    assert_ne!(candidates(&bench), expected, "ranges stand in parts until they are assembled");
    let assembled = detect(&["--assemble"]).succeeds().json();
    assert_eq!((assembled["frames"].as_u64(), assembled["chunks"].as_u64()), (Some(FRAMES), Some(2)));
    assert_eq!(candidates(&bench), expected, "two halves");

    // Overlapping ranges that were made twice, then a whole run on top: nothing is looked at again.
    again();
    detect(&["--frames", "86400-86440"]).succeeds();
    detect(&["--frames", "86420-86459"]).succeeds();
    let rest = detect(&[]).succeeds().json();
    assert_eq!(rest["kept"], FRAMES);
    assert_eq!(candidates(&bench), expected, "overlapping ranges");
}

#[test]
fn repairs_are_the_same_with_one_thread_and_in_two_halves() {
    let bench = Bench::accepted(10);
    bench.run(&["repair", "R.besom", "--to", "whole"]).succeeds();
    let single =
        bench.command(&["repair", "R.besom", "--to", "single"]).env("RAYON_NUM_THREADS", "1").output().unwrap();
    assert!(single.status.success());
    bench.run(&["repair", "R.besom", "--to", "halves", "--frames", "86400-86404"]).succeeds();
    bench.run(&["repair", "R.besom", "--to", "halves", "--frames", "86405-86409"]).succeeds();
    let mut changed = 0;
    for number in FIRST..FIRST + 10 {
        let read = |folder: &str| fs::read(bench.path(folder).join(name(number))).unwrap();
        assert_eq!(read("whole"), read("single"), "{number}");
        assert_eq!(read("whole"), read("halves"), "{number}");
        changed += usize::from(read("whole") != fs::read(bench.scan(number)).unwrap());
    }
    assert!(changed >= 8, "specks were repaired in {changed} of 10 frames");
    // The record of two halves is the record of one run.
    bench.run(&["verify", "R.besom", "--repaired", "halves"]).succeeds();
}
