//! The demo reel without a display: everything but the window.

use std::fs;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use besom_scan::verify::sha256;

use crate::bench::Bench;

#[test]
fn the_demo_is_made_in_a_fresh_folder_each_time() {
    let bench = Bench::empty();
    let answer = bench.command(&["demo"]).env("XDG_DATA_HOME", bench.path("data")).output().unwrap();
    let words = String::from_utf8_lossy(&answer.stdout).into_owned();
    assert!(answer.status.success(), "{answer:?}");
    let reel = bench.path("data/besom/lamps-of-skerry-point/lamps-of-skerry-point.besom");
    assert!(words.contains("shot") && words.contains("total"), "the ledger is printed: {words}");
    assert!(words.trim_end().ends_with(&reel.display().to_string()), "it says where the reel is: {words}");
    assert!(reel.join("reel.ron").exists());

    // The scans are the committed ones, byte for byte.
    let scans = bench.sums("data/besom/lamps-of-skerry-point/scans");
    assert_eq!(scans.len(), 24);
    for (path, sum) in &scans {
        let committed = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo-frames/").to_owned();
        let source = committed + &path.file_name().unwrap().to_string_lossy();
        assert_eq!(&sha256(&fs::read(source).unwrap()), sum);
    }

    let again = bench.command(&["demo", "--quiet"]).env("XDG_DATA_HOME", bench.path("data")).output().unwrap();
    let words = String::from_utf8_lossy(&again.stdout).into_owned();
    assert!(words.contains("lamps-of-skerry-point-2") && words.lines().count() == 1, "{words}");
}

#[test]
fn a_named_folder_is_used_and_never_overwritten() {
    let bench = Bench::empty();
    let made = bench.run(&["demo", "--to", "demo", "--json"]).succeeds().json();
    assert_eq!(made["command"], "demo");
    assert_eq!(made["start"]["frames"], 24);
    assert_eq!(made["detect"]["frames"], 24);
    assert!(made["detect"]["candidates"].as_u64().unwrap() > 100);
    assert!(made["ledger"]["rows"].as_array().unwrap().len() >= 4);
    let before = bench.sums("demo");
    bench.run(&["demo", "--to", "demo"]).refuses(&["demo", "already"]);
    assert_eq!(bench.sums("demo"), before);
}

#[test]
fn far_from_the_sources_the_reel_is_rendered_and_a_stopped_rendering_leaves_nothing() {
    let bench = Bench::empty();
    let program = bench.path("besom");
    fs::copy(env!("CARGO_BIN_EXE_besom"), &program).unwrap();
    let mut command = Command::new(&program);
    command
        .args(["demo", "--to", "demo"])
        .current_dir(bench.path(""))
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY");
    let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let part = bench.path("demo/.scans.part");
    let started = Instant::now();
    let rendered = || fs::read_dir(&part).is_ok_and(|mut files| files.next().is_some());
    while !rendered() && started.elapsed() < Duration::from_mins(2) {
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(rendered(), "the first frame is there after {:?}", started.elapsed());
    assert!(Command::new("kill").args(["-TERM", &child.id().to_string()]).status().unwrap().success());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(String::from_utf8_lossy(&output.stderr).contains("stopped"));
    assert!(!bench.path("demo").exists());
}
