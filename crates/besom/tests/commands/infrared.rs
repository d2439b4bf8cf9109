//! `besom start --infrared`: a second sequence, taken, not trusted or refused.

use std::fs;

use besom_scan::{Frame, Samples};

use crate::bench::{Bench, FIRST, HEIGHT, WIDTH, dpx, name, picture};

/// A grey frame whose codes are those of `code`.
fn grey(code: impl Fn(usize, usize) -> f32, width: usize) -> Frame {
    let codes = (0..width * HEIGHT).map(|i| code(i % width, i / width).clamp(0.0, 1023.0) as u16).collect();
    Frame { width, channels: 1, samples: Samples::U16(codes), ..picture(0, WIDTH, HEIGHT) }
}

fn put(bench: &Bench, folder: &str, count: u64, frame: impl Fn(u64) -> Frame) {
    fs::create_dir(bench.path(folder)).unwrap();
    for number in 0..count {
        fs::write(bench.path(folder).join(name(FIRST + number)), dpx(&frame(number))).unwrap();
    }
}

/// Even ground with a grain of its own.
fn even(time: u64) -> Frame {
    let grain = |x: usize, y: usize| ((x * 7919 + y * 104_729 + time as usize * 31) % 23) as f32 - 11.0;
    grey(|x, y| 700.0 + grain(x, y), WIDTH)
}

/// What silver shows: the picture's own green record.
fn silver(time: u64) -> Frame {
    let picture = picture(time, WIDTH, HEIGHT);
    grey(|x, y| picture.native_bits(x, y, 1) as f32, WIDTH)
}

#[test]
fn a_second_sequence_is_taken_in_and_told() {
    let bench = Bench::with_scans(6);
    put(&bench, "ir", 6, even);
    let start = ["start", "scans", "--reel", "R.besom", "--infrared", "ir", "--json"];
    let infrared = bench.run(&start).succeeds().json()["infrared"].clone();
    assert_eq!((infrared["source"].as_str(), infrared["shots"][0]["weight"].as_f64()), (Some("sequence"), Some(1.0)));
    assert_eq!(infrared["words"].as_str(), Some("a sequence of its own, used"));
    bench.run(&["detect", "R.besom"]).succeeds();
    let plain = bench.run(&["start", "scans", "--reel", "P.besom", "--json"]).succeeds();
    assert!(plain.json()["infrared"].is_null());
}

#[test]
fn silver_is_told_and_not_used() {
    let bench = Bench::with_scans(6);
    put(&bench, "ir", 6, silver);
    let answer = bench.run(&["start", "scans", "--reel", "R.besom", "--infrared", "ir"]).succeeds();
    let line = answer.stdout.lines().find(|line| line.starts_with("infrared:")).unwrap_or_default();
    assert!(line.contains("shows the picture itself") && line.contains("is not used"), "{}", answer.stdout);
}

#[test]
fn infrared_that_is_not_there_is_refused_by_name() {
    let bench = Bench::with_scans(3);
    put(&bench, "small", 3, |_| grey(|_, _| 700.0, WIDTH / 2));
    let start = |infrared: &str| bench.run(&["start", "scans", "--reel", "R.besom", "--infrared", infrared]);
    start("channel").refuses(&["scans", "no infrared channel"]);
    start("nowhere").refuses(&["nowhere"]);
    start("scans").refuses(&["scans", "not their infrared"]);
    start("small").refuses(&["small", "none of the infrared frames"]);
    assert!(!bench.path("R.besom").exists());
}
