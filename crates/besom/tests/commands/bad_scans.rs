//! Scans that no reel can be made of: one sentence naming the file and the reason, exit 1, nothing written.

use std::fs;

use crate::bench::{Bench, FIRST, HEIGHT, WIDTH, dpx, name, picture};

/// `start` refuses, says why, leaves no reel folder and the scans as they were.
#[track_caller]
fn refused(bench: &Bench, words: &[&str]) {
    let before = bench.sums("scans");
    bench.start().refuses(words);
    assert!(!bench.path("R.besom").exists(), "no reel folder may be left behind");
    assert_eq!(bench.sums("scans"), before, "the scans are only read");
    let left: Vec<_> = fs::read_dir(bench.path("")).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["scans"], "nothing else may be left either");
}

#[test]
fn no_frames() {
    refused(&Bench::empty(), &["scans", "holds no numbered"]);
}

#[test]
fn no_such_folder() {
    let bench = Bench::empty();
    bench.run(&["start", "nowhere", "--reel", "R.besom"]).refuses(&["nowhere", "no such"]);
}

#[test]
fn an_unknown_format() {
    let bench = Bench::empty();
    fs::write(bench.scan(FIRST), b"lamps of skerry point, as a text").unwrap();
    refused(&bench, &[&name(FIRST), "none of DPX"]);
}

#[test]
fn mixed_sizes_name_the_odd_one_out() {
    let bench = Bench::with_scans(5);
    fs::write(bench.scan(FIRST + 3), dpx(&picture(3, WIDTH + 8, HEIGHT))).unwrap();
    refused(&bench, &[&name(FIRST + 3), "168x120", "160x120"]);
}

#[test]
fn a_truncated_file() {
    let bench = Bench::with_scans(5);
    let whole = fs::read(bench.scan(FIRST + 1)).unwrap();
    fs::write(bench.scan(FIRST + 1), &whole[..whole.len() / 2]).unwrap();
    refused(&bench, &[&name(FIRST + 1), "ends before its pixels"]);
}

#[test]
fn several_damaged_files_are_counted() {
    let bench = Bench::with_scans(6);
    for number in [FIRST + 1, FIRST + 4] {
        fs::write(bench.scan(number), b"SDPX").unwrap();
    }
    refused(&bench, &[&name(FIRST + 1), "2 of 6 scans"]);
}

#[test]
fn a_header_that_claims_more_pixels_than_the_file_holds() {
    let bench = Bench::with_scans(3);
    let mut bytes = fs::read(bench.scan(FIRST + 2)).unwrap();
    // SMPTE ST 268-1: pixels a line at byte 772, lines at 776. Two billion lines would be terabytes.
    bytes[772..776].copy_from_slice(&60_000u32.to_be_bytes());
    bytes[776..780].copy_from_slice(&2_000_000_000u32.to_be_bytes());
    fs::write(bench.scan(FIRST + 2), bytes).unwrap();
    refused(&bench, &[&name(FIRST + 2)]);
}

#[test]
fn one_frame_works_and_says_that_it_has_no_neighbours() {
    let bench = Bench::with_scans(1);
    let answer = bench.start().succeeds();
    assert!(answer.stdout.contains("no neighbours"), "{}", answer.stdout);
    let detect = bench.run(&["detect", "R.besom", "--json"]).succeeds().json();
    assert_eq!(detect["frames"], 1);
    assert_eq!(detect["candidates"], 0);
    assert!(detect["notes"][0].as_str().unwrap().contains("without neighbours"));
    bench.run(&["repair", "R.besom", "--to", "out"]).succeeds();
    assert_eq!(fs::read(bench.path("out").join(name(FIRST))).unwrap(), fs::read(bench.scan(FIRST)).unwrap());
    bench.run(&["verify", "R.besom", "--repaired", "out"]).succeeds();
}

#[test]
fn a_gap_is_named_and_no_reason_to_stop() {
    let bench = Bench::with_scans(9);
    fs::remove_file(bench.scan(FIRST + 4)).unwrap();
    let answer = bench.run(&["start", "scans", "--reel", "R.besom", "--json"]).succeeds().json();
    assert_eq!(answer["frames"], 8);
    assert_eq!(answer["gaps"], serde_json::json!([[FIRST + 4, FIRST + 4]]));
    let detect = bench.run(&["detect", "R.besom", "--json"]).succeeds().json();
    assert_eq!(detect["frames"], 8);
}

#[test]
fn a_scan_damaged_after_the_start_is_left_out_named_and_remembered_in_the_exit_code() {
    let bench = Bench::with_scans(7);
    bench.start().succeeds();
    let whole = fs::read(bench.scan(FIRST + 3)).unwrap();
    fs::write(bench.scan(FIRST + 3), &whole[..3000]).unwrap();
    let answer = bench.run(&["detect", "R.besom", "--json"]);
    answer.refuses(&[&name(FIRST + 3), "ends before its pixels"]);
    let json = answer.json();
    assert_eq!(json["frames"], 6, "the other frames' results stand");
    assert_eq!(json["left_out"][0]["frame"], FIRST + 3);
    // Mended, the missing frame alone is asked for again.
    fs::write(bench.scan(FIRST + 3), whole).unwrap();
    assert_eq!(bench.run(&["detect", "R.besom", "--json"]).succeeds().json()["frames"], 7);
}
