//! `besom mark`: masks painted elsewhere become hand marks, and go the road of every other repair.

use std::fs;

use besom_scan::{Encoding, Frame, Samples, Transfer};

use crate::bench::{Bench, FIRST, HEIGHT, WIDTH, dpx, name};

/// A mask with rectangles (left, top, width, height) in it.
fn mask(width: usize, height: usize, rects: &[(usize, usize, usize, usize)]) -> Vec<u8> {
    let inside =
        |x: usize, y: usize| rects.iter().any(|(l, t, w, h)| (*l..l + w).contains(&x) && (*t..t + h).contains(&y));
    let samples = (0..width * height * 3).map(|i| if inside(i / 3 % width, i / 3 / width) { 1023 } else { 0 });
    let encoding = Encoding { bits: 10, transfer: Transfer::PrintingDensity };
    dpx(&Frame { width, height, channels: 3, samples: Samples::U16(samples.collect()), encoding })
}

fn marked(bench: &Bench) -> crate::bench::Answer {
    bench.run(&["mark", "R.besom", "--masks", "painted", "--artist", "Ines", "--json"])
}

#[test]
fn what_is_painted_is_repaired_and_nothing_else() {
    let bench = Bench::with_scans(5);
    bench.start().succeeds();
    fs::create_dir(bench.path("painted")).unwrap();
    let rects = [(20, 30, 6, 5), (90, 60, 8, 8)];
    fs::write(bench.path("painted").join(name(FIRST + 2)), mask(WIDTH, HEIGHT, &rects)).unwrap();
    let answer = marked(&bench).succeeds().json();
    assert_eq!((&answer["marks"], &answer["masks"], &answer["pixels"]), (&2.into(), &1.into(), &94.into()));
    // The same again marks nothing twice.
    let again = marked(&bench).succeeds().json();
    assert_eq!((&again["marks"], &again["known"]), (&0.into(), &2.into()));

    let repaired = bench.run(&["repair", "R.besom", "--to", "out", "--json"]).succeeds().json();
    assert_eq!(
        (&repaired["candidates"], &repaired["repaired"], &repaired["copied"]),
        (&2.into(), &1.into(), &4.into())
    );
    let proof = bench.run(&["verify", "R.besom", "--repaired", "out", "--json"]).succeeds().json();
    assert_eq!((&proof["first_offence"], &proof["bytes_changed_outside"]), (&serde_json::Value::Null, &0.into()));
}

#[test]
fn masks_that_besom_wrote_can_be_brought_to_another_copy() {
    let bench = Bench::detected(4);
    let masks = bench.run(&["masks", "R.besom", "--to", "painted", "--json"]).succeeds().json();
    assert!(masks["candidates"].as_u64() > Some(4), "{masks}");
    fs::rename(bench.path("R.besom"), bench.path("Other.besom")).unwrap();
    bench.start().succeeds();
    let answer = marked(&bench).succeeds().json();
    assert_eq!((&answer["masks"], &answer["pixels"]), (&4.into(), &masks["pixels"]));
}

#[test]
fn a_bad_mask_marks_nothing() {
    let bench = Bench::with_scans(3);
    bench.start().succeeds();
    fs::create_dir(bench.path("painted")).unwrap();
    let paint = |number: u64, bytes: Vec<u8>| fs::write(bench.path("painted").join(name(number)), bytes).unwrap();
    paint(FIRST, mask(WIDTH, HEIGHT, &[(5, 5, 4, 4)]));
    paint(FIRST + 1, mask(WIDTH / 2, HEIGHT, &[(5, 5, 4, 4)]));
    let run = || bench.run(&["mark", "R.besom", "--masks", "painted", "--artist", "Ines"]);
    run().refuses(&[&name(FIRST + 1), "80x120", "160x120"]);
    paint(FIRST + 1, mask(WIDTH, HEIGHT, &[]));
    paint(FIRST + 7, mask(WIDTH, HEIGHT, &[(5, 5, 4, 4)]));
    run().refuses(&[&name(FIRST + 7), "86407"]);
    bench.run(&["mark", "R.besom", "--masks", "nowhere"]).refuses(&["nowhere"]);
    let none = bench.run(&["repair", "R.besom", "--to", "out", "--json"]).succeeds().json();
    assert_eq!(none["candidates"], 0);
}
