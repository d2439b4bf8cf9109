//! Ctrl-C and the terminate signal: the work stops, what is there is whole.

use std::fs;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::bench::{Bench, FIRST, dpx, picture};

/// Starts a command, sends a signal once it works, and answers exit code and standard error.
fn interrupted(bench: &Bench, arguments: &[&str], signal: &str, ready: impl Fn() -> bool) -> (Option<i32>, String) {
    let child = bench.command(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let started = Instant::now();
    while !ready() && started.elapsed() < Duration::from_mins(1) {
        std::thread::sleep(Duration::from_millis(5));
    }
    let sent = Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap();
    assert!(sent.success());
    let output = child.wait_with_output().unwrap();
    assert!(started.elapsed() < Duration::from_secs(90));
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
}

#[test]
fn an_interrupted_repair_leaves_whole_files_only_and_can_go_on() {
    let bench = Bench::empty();
    for number in 0..60 {
        fs::write(bench.scan(FIRST + number), dpx(&picture(number, 480, 320))).unwrap();
    }
    bench.start().succeeds();
    bench.run(&["detect", "R.besom", "--frames", "86400-86411"]).succeeds();
    bench.run(&["decide", "R.besom", "accept", "--include-at-risk", "--min-confidence", "0"]).succeeds();
    let out = bench.path("out");
    let begun = || fs::read_dir(&out).is_ok_and(|mut files| files.next().is_some());
    let (code, words) = interrupted(&bench, &["repair", "R.besom", "--to", "out"], "-TERM", begun);
    let files: Vec<_> = fs::read_dir(&out).unwrap().map(|e| e.unwrap().path()).collect();
    assert!(files.iter().all(|f| f.extension().is_some_and(|e| e == "dpx")), "{files:?}");
    if files.len() < 60 {
        assert_eq!((code, words.as_str()), (Some(1), "besom: stopped; nothing half-written was left\n"));
    }
    // What is there is proved, the rest is made by asking again.
    bench.run(&["verify", "R.besom", "--repaired", "out"]).succeeds();
    bench.run(&["repair", "R.besom", "--to", "out"]).succeeds();
    assert_eq!(bench.run(&["verify", "R.besom", "--repaired", "out", "--json"]).succeeds().json()["frames"], 60);
}

#[test]
fn an_interrupted_start_leaves_nothing() {
    let bench = Bench::empty();
    for number in 0..40 {
        fs::write(bench.scan(FIRST + number), dpx(&picture(number, 640, 480))).unwrap();
    }
    let began = Instant::now();
    let soon = || began.elapsed() > Duration::from_millis(40);
    let (code, words) = interrupted(&bench, &["start", "scans", "--reel", "R.besom"], "-INT", soon);
    if code == Some(0) {
        // The machine was quicker than the signal; the reel must then be whole.
        bench.run(&["ledger", "R.besom"]).succeeds();
        return;
    }
    assert_eq!((code, words.as_str()), (Some(1), "besom: stopped; nothing half-written was left\n"));
    let left: Vec<_> = fs::read_dir(bench.path("")).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["scans"]);
}
