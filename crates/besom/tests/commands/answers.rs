//! What commands answer: exit codes, one JSON object, quiet, pipes, help.

use std::fs;
use std::io::Read as _;
use std::process::Stdio;

use crate::bench::{Bench, FIRST, name};

#[test]
fn wrong_usage_is_exit_code_2() {
    let bench = Bench::with_scans(3);
    bench.start().succeeds();
    let wrong: [&[&str]; 13] = [
        &["sweep"],
        &["start"],
        &["start", "scans"],
        &["start", "scans", "--reel", "X.besom", "--fps", "fast"],
        &["start", "scans", "--reel", "X.besom", "--gauge", "9.5mm"],
        &["detect", "R.besom", "--frames", "9-3"],
        &["detect", "R.besom", "--threads", "0"],
        &["detect", "R.besom", "--assemble", "--frames", "1-2"],
        &["decide", "R.besom", "maybe"],
        &["decide", "R.besom", "accept", "--min-confidence", "1.5"],
        &["decide", "R.besom", "accept", "--min-confidence", "0.9", "--max-confidence", "0.2"],
        &["protect", "R.besom", "--rect", "1,2,3", "--frames", "1-2"],
        &["ledger", "R.besom", "--format", "slides"],
    ];
    for arguments in wrong {
        let answer = bench.run(arguments);
        assert_eq!(answer.code, 2, "{arguments:?}: {:?}", answer.stderr);
        assert!(!answer.stderr.is_empty() && answer.stdout.is_empty(), "{arguments:?}");
    }
    assert!(!bench.path("X.besom").exists());
}

#[test]
fn help_and_version_are_exit_code_0() {
    let bench = Bench::empty();
    for arguments in [&["--help"][..], &["--version"], &["help", "repair"], &["detect", "--help"]] {
        let answer = bench.run(arguments).succeeds();
        assert!(answer.stdout.to_lowercase().contains("besom"), "{arguments:?}");
    }
}

#[test]
fn what_the_reel_does_not_have_is_a_failure_not_a_usage_error() {
    let bench = Bench::detected(4);
    bench.run(&["detect", "R.besom", "--frames", "1-9"]).refuses(&["R.besom", "1-9", "86400 to 86403"]);
    bench.run(&["repair", "R.besom", "--to", "out", "--frames", "1-9"]).refuses(&["R.besom", "1-9"]);
    assert!(!bench.path("out").exists());
    bench.run(&["decide", "R.besom", "accept", "--shot", "7"]).refuses(&["R.besom", "shot 7"]);
    bench.run(&["protect", "R.besom", "--rect", "500,0,9,9", "--frames", "86400-86401"]).refuses(&["outside"]);
    bench.run(&["protect", "R.besom", "--rect", "0,0,9,9", "--frames", "1-2"]).refuses(&["R.besom", "1-2"]);
    bench.run(&["verify", "R.besom", "--repaired", "nowhere"]).refuses(&["nowhere"]);
    bench.run(&["decide", "R.besom", "accept", "--artist", "a/b"]).refuses(&["a/b"]);
}

#[test]
fn every_command_answers_in_one_json_object() {
    let bench = Bench::with_scans(6);
    let started = bench.run(&["start", "scans", "--reel", "R.besom", "--fps", "25", "--gauge", "16mm", "--json"]);
    let started = started.succeeds().json();
    assert_eq!((started["frames"].as_u64(), started["fps"].as_f64()), (Some(6), Some(25.0)));
    assert_eq!((started["width"].as_u64(), started["bits"].as_u64()), (Some(160), Some(10)));
    assert_eq!((started["gauge"].as_str(), started["format"].as_str()), (Some("16mm"), Some("DPX")));
    let commands: [(&str, &[&str]); 6] = [
        ("detect", &["detect", "R.besom", "--json"]),
        ("decide", &["--json", "decide", "R.besom", "accept", "--include-at-risk"]),
        (
            "protect",
            &["protect", "R.besom", "--json", "--rect", "0,0,20,20", "--frames", "86400-86402", "--note", "title"],
        ),
        ("masks", &["masks", "R.besom", "--to", "masks", "--json"]),
        ("repair", &["repair", "R.besom", "--to", "out", "--json"]),
        ("verify", &["verify", "R.besom", "--repaired", "out", "--json"]),
    ];
    for (command, arguments) in commands {
        let answer = bench.run(arguments).succeeds();
        assert_eq!(answer.json()["command"], command);
        assert_eq!(answer.stdout.lines().count(), 1, "{command}");
        assert_eq!(answer.stderr, "", "{command}");
    }
    for by in ["shot", "artist", "day", "kind"] {
        assert!(bench.run(&["ledger", "R.besom", "--by", by, "--json"]).succeeds().json().is_object(), "{by}");
    }
}

#[test]
fn quiet_prints_nothing_but_the_answer() {
    let bench = Bench::with_scans(4);
    for arguments in [
        &["start", "scans", "--reel", "R.besom", "--quiet"][..],
        &["detect", "R.besom", "--quiet"],
        &["decide", "R.besom", "accept", "--quiet"],
        &["repair", "R.besom", "--to", "out", "--quiet"],
        &["verify", "R.besom", "--repaired", "out", "--quiet"],
    ] {
        let answer = bench.run(arguments).succeeds();
        assert_eq!((answer.stdout.as_str(), answer.stderr.as_str()), ("", ""), "{arguments:?}");
    }
    assert!(!bench.run(&["ledger", "R.besom", "--quiet"]).succeeds().stdout.is_empty());
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let bench = Bench::detected(4);
    let mut child = bench
        .command(&["ledger", "R.besom", "--format", "html"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut words = String::new();
    child.stderr.take().unwrap().read_to_string(&mut words).unwrap();
    assert_eq!((child.wait().unwrap().code(), words.as_str()), (Some(0), ""));
}

#[test]
fn without_a_display_the_window_says_so_in_one_sentence() {
    let bench = Bench::empty();
    bench.run(&[]).refuses(&["display"]);
}

#[test]
fn a_rule_counts_what_it_decides() {
    let bench = Bench::detected(6);
    let all = bench.run(&["detect", "R.besom", "--json"]).succeeds().json()["candidates"].as_u64().unwrap();
    assert!(all >= 12, "three specks a frame were painted: {all}");
    let rule = |arguments: &[&str]| {
        let mut whole = vec!["decide", "R.besom", "--json", "--artist", "Ines"];
        whole.extend(arguments);
        let answer = bench.run(&whole).succeeds().json();
        (answer["matched"].as_u64().unwrap(), answer["changed"].as_u64().unwrap())
    };
    let everything = ["--min-confidence", "0", "--include-at-risk"];
    assert_eq!(rule(&["accept", everything[0], everything[1], everything[2]]), (all, all));
    // The same again changes nothing; half of the frames and the other half are the whole.
    assert_eq!(rule(&["accept", everything[0], everything[1], everything[2]]), (all, 0));
    let first = rule(&["reject", "--frames", "86400-86402", everything[0], everything[1], everything[2]]);
    let second = rule(&["intended", "--frames", "86403-86405", everything[0], everything[1], everything[2]]);
    assert_eq!((first.0 + second.0, first.1 + second.1), (all, all));
    let kinds: u64 = ["dust", "hair", "line", "splice", "frame", "hand"]
        .into_iter()
        .map(|kind| rule(&["undecided", "--kind", kind, everything[0], everything[1], everything[2]]).0)
        .sum();
    assert_eq!(kinds, all);
    let low = rule(&["accept", "--max-confidence", "0.5", "--include-at-risk"]).0;
    let high = rule(&["accept", "--min-confidence", "0.50001", "--include-at-risk"]).0;
    assert_eq!(low + high, all);
}

#[test]
fn tampering_outside_a_repair_is_caught_and_named() {
    let bench = Bench::accepted(6);
    bench.run(&["repair", "R.besom", "--to", "out"]).succeeds();
    bench.run(&["verify", "R.besom", "--repaired", "out"]).succeeds();
    let victim = bench.path("out").join(name(FIRST + 2));
    let whole = fs::read(&victim).unwrap();
    // One bit of the creator field (SMPTE ST 268-1, byte 160), then of the first pixel's word, then one byte too many.
    let mut header = whole.clone();
    header[170] ^= 1;
    let mut sample = whole.clone();
    sample[2048 + 3] ^= 4;
    let mut longer = whole.clone();
    longer.push(0);
    for (bytes, words) in [(header, "byte 170"), (sample, "row 0"), (longer, "length")] {
        fs::write(&victim, bytes).unwrap();
        let answer = bench.run(&["verify", "R.besom", "--repaired", "out", "--json"]);
        answer.refuses(&[&name(FIRST + 2)]);
        let json = answer.json();
        assert!(json["bytes_changed_outside"].as_u64().unwrap() >= 1, "{words}: {json}");
        assert!(answer.stderr.contains(words) || words == "row 0", "{words}: {}", answer.stderr);
    }
    fs::write(&victim, &whole[..2000]).unwrap();
    bench.run(&["verify", "R.besom", "--repaired", "out"]).refuses(&[&name(FIRST + 2)]);
    fs::write(&victim, whole).unwrap();
    bench.run(&["verify", "R.besom", "--repaired", "out"]).succeeds();
}

#[test]
fn a_decision_taken_back_after_the_repair_is_caught() {
    let bench = Bench::accepted(6);
    bench.run(&["repair", "R.besom", "--to", "out"]).succeeds();
    bench
        .run(&["decide", "R.besom", "reject", "--min-confidence", "0", "--include-at-risk", "--artist", "Ines"])
        .succeeds();
    bench.run(&["verify", "R.besom", "--repaired", "out"]).refuses(&["skerry_", "accepted now"]);
    // Repaired again, the frames are their scans.
    bench.run(&["repair", "R.besom", "--to", "out"]).succeeds();
    let verified = bench.run(&["verify", "R.besom", "--repaired", "out", "--json"]).succeeds().json();
    assert_eq!((verified["identical"].as_u64(), verified["samples_changed"].as_u64()), (Some(6), Some(0)));
}

#[test]
fn the_manifest_can_be_read_by_sha256sum() {
    let bench = Bench::accepted(4);
    bench.run(&["repair", "R.besom", "--to", "out"]).succeeds();
    bench.run(&["verify", "R.besom", "--repaired", "out"]).succeeds();
    let manifest = bench.path("R.besom/exports/manifest.sha256");
    let check =
        std::process::Command::new("sha256sum").arg("-c").arg(&manifest).current_dir(bench.path("out")).output();
    match check {
        Ok(output) => {
            assert!(output.status.success(), "{output:?}");
            assert_eq!(String::from_utf8_lossy(&output.stdout).matches(": OK").count(), 4);
        }
        Err(_) => eprintln!("there is no sha256sum here: only the form of the manifest is checked"),
    }
    assert_eq!(fs::read_to_string(&manifest).unwrap().lines().count(), 4);
    assert!(fs::read_to_string(bench.path("R.besom/exports/manifest.ron")).unwrap().contains("source_sha256"));
}
