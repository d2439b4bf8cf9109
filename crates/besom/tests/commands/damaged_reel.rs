//! Reel folders that are none, damaged, or from a newer Besom.

use std::fs;

use crate::bench::Bench;

const EVERY_COMMAND: [&[&str]; 7] = [
    &["detect", "R.besom"],
    &["decide", "R.besom", "accept"],
    &["protect", "R.besom", "--rect", "0,0,9,9", "--frames", "86400-86401"],
    &["masks", "R.besom", "--to", "masks"],
    &["repair", "R.besom", "--to", "out"],
    &["verify", "R.besom", "--repaired", "scans"],
    &["ledger", "R.besom"],
];

#[test]
fn a_reel_from_a_newer_version_is_refused_by_every_command() {
    let bench = Bench::with_scans(3);
    bench.start().succeeds();
    let path = bench.path("R.besom/reel.ron");
    let text = fs::read_to_string(&path).unwrap();
    let newer = newer(&text);
    assert_ne!(newer, text);
    fs::write(&path, newer).unwrap();
    let before = bench.sums("R.besom");
    for command in EVERY_COMMAND {
        bench.run(command).refuses(&["reel.ron", "newer Besom"]);
    }
    assert_eq!(bench.sums("R.besom"), before, "nothing may be written into a reel that is not understood");
    assert!(!bench.path("out").exists() && !bench.path("masks").exists());
}

/// The text of a file with its version number raised.
fn newer(text: &str) -> String {
    let at = text.find("version").unwrap();
    let digits = at + text[at..].find(|c: char| c.is_ascii_digit()).unwrap();
    let end = digits + text[digits..].find(|c: char| !c.is_ascii_digit()).unwrap();
    format!("{}{}{}", &text[..digits], 999, &text[end..])
}

#[test]
fn a_folder_that_is_no_reel_is_named() {
    let bench = Bench::with_scans(3);
    fs::create_dir(bench.path("R.besom")).unwrap();
    for command in EVERY_COMMAND {
        bench.run(command).refuses(&["R.besom"]);
    }
    assert_eq!(fs::read_dir(bench.path("R.besom")).unwrap().count(), 0);
}

#[test]
fn a_reel_folder_that_is_taken_is_not_overwritten() {
    let bench = Bench::with_scans(3);
    bench.start().succeeds();
    let before = bench.sums("R.besom");
    bench.start().refuses(&["R.besom", "already"]);
    assert_eq!(bench.sums("R.besom"), before);
    fs::write(bench.path("file.besom"), b"x").unwrap();
    bench.run(&["start", "scans", "--reel", "file.besom"]).refuses(&["file.besom"]);
}

#[test]
fn damaged_files_of_a_reel_are_named() {
    let bench = Bench::detected(4);
    for file in ["reel.ron", "shots.ron"] {
        let path = bench.path("R.besom").join(file);
        let whole = fs::read(&path).unwrap();
        fs::write(&path, &whole[..whole.len() / 2]).unwrap();
        bench.run(&["ledger", "R.besom"]).refuses(&[file]);
        fs::write(&path, whole).unwrap();
    }
    bench.run(&["ledger", "R.besom"]).succeeds();
}
