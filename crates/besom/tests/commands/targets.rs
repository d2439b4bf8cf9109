//! Where repairs may be written: never among the scans, and never half.

use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::Path;
use std::process::Command;

use crate::bench::{Bench, name};

/// `repair --to target` refuses, and the scans' folder is what it was, byte for byte and file for file.
#[track_caller]
fn refused(bench: &Bench, target: &str) {
    let before = bench.sums("scans");
    bench.run(&["repair", "R.besom", "--to", target]).refuses(&["scans", "nothing is ever written"]);
    bench.run(&["masks", "R.besom", "--to", target]).refuses(&["scans", "nothing is ever written"]);
    assert_eq!(bench.sums("scans"), before);
    assert_eq!(fs::read_dir(bench.scans()).unwrap().count(), before.len(), "no folder was made in it either");
}

#[test]
fn the_scans_folder_and_everything_inside_it_are_refused() {
    let bench = Bench::accepted(5);
    refused(&bench, "scans");
    refused(&bench, "scans/repaired");
    refused(&bench, "scans/../scans/a/b");
    refused(&bench, "R.besom/../scans");
}

#[test]
fn a_link_to_the_scans_folder_is_refused_too() {
    let bench = Bench::accepted(5);
    symlink("scans", bench.path("elsewhere")).unwrap();
    symlink(bench.path("scans/later"), bench.path("dangling")).unwrap();
    refused_by_link(&bench, "elsewhere");
    refused_by_link(&bench, "elsewhere/repaired");
    refused_by_link(&bench, "dangling");
}

#[track_caller]
fn refused_by_link(bench: &Bench, target: &str) {
    let before = bench.sums("scans");
    bench.run(&["repair", "R.besom", "--to", target]).refuses(&[target, "nothing is ever written"]);
    assert_eq!(bench.sums("scans"), before);
    assert_eq!(fs::read_dir(bench.scans()).unwrap().count(), before.len());
}

#[test]
fn a_reel_folder_inside_the_scans_folder_is_refused() {
    let bench = Bench::with_scans(3);
    let before = bench.sums("scans");
    let answer = bench.run(&["start", "scans", "--reel", "scans/R.besom"]);
    answer.refuses(&["R.besom", "nothing is ever written"]);
    assert_eq!(bench.sums("scans"), before);
    assert_eq!(fs::read_dir(bench.scans()).unwrap().count(), 3);
}

/// A small file system, where this test may make one.
struct SmallDisk<'a>(&'a Path);

impl<'a> SmallDisk<'a> {
    fn mount(at: &'a Path, options: &str) -> Option<Self> {
        fs::create_dir(at).unwrap();
        let done = Command::new("mount").args(["-t", "tmpfs", "-o", options, "tmpfs"]).arg(at).output();
        done.is_ok_and(|output| output.status.success()).then_some(Self(at))
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0).status();
    }
}

/// Every file in the folder is a whole repaired frame: nothing half-written, nothing temporary.
#[track_caller]
fn only_whole_files(bench: &Bench, folder: &Path, whole: &Path) -> usize {
    let mut count = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let expected = whole.join(path.file_name().unwrap());
        assert!(expected.exists(), "{} is no frame of the reel", path.display());
        assert_eq!(fs::read(&path).unwrap(), fs::read(&expected).unwrap(), "{}", path.display());
        assert!(bench.scans().join(path.file_name().unwrap()).exists());
        count += 1;
    }
    count
}

#[test]
fn a_full_disk_leaves_no_half_file() {
    let bench = Bench::accepted(12);
    let scans = bench.sums("scans");
    bench.run(&["repair", "R.besom", "--to", "whole"]).succeeds();
    let full = bench.path("full");
    // A scan takes some 78 kB: eight of twelve fit, the next one fills the disk.
    let Some(_disk) = SmallDisk::mount(&full, "size=660k") else {
        eprintln!("no small disk can be mounted here: a limit on the size of files stands in for it");
        return limited_file_size(&bench);
    };
    eprintln!("full disk: a tmpfs of 660 kB");
    let answer = bench.run(&["repair", "R.besom", "--to", "full"]);
    answer.refuses(&["full/skerry_", "cannot be written"]);
    let written = only_whole_files(&bench, &full, &bench.path("whole"));
    assert!((1..12).contains(&written), "{written}");
    assert_eq!(bench.sums("scans"), scans);
    // What was written before the disk was full is on record: it can be proved.
    bench.run(&["verify", "R.besom", "--repaired", "full"]).succeeds();
}

/// The same by `RLIMIT_FSIZE` (POSIX setrlimit), which the shell's `ulimit -f` sets; the signal it sends is ignored, so that
/// writing fails with an error as on a full disk.
fn limited_file_size(bench: &Bench) {
    let script =
        format!("trap '' XFSZ; ulimit -f 100; exec '{}' repair R.besom --to full", env!("CARGO_BIN_EXE_besom"));
    let output = Command::new("sh").args(["-c", &script]).current_dir(bench.path("")).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(!bench.path("full").exists() || only_whole_files(bench, &bench.path("full"), &bench.path("whole")) == 0);
}

#[test]
fn a_limit_on_file_size_leaves_no_half_file() {
    let bench = Bench::accepted(3);
    bench.run(&["repair", "R.besom", "--to", "whole"]).succeeds();
    limited_file_size(&bench);
}

#[test]
fn a_target_that_cannot_be_written_to_is_named() {
    let bench = Bench::accepted(4);
    let scans = bench.sums("scans");
    // A file where the folder should be stops everyone, root included.
    fs::write(bench.path("taken"), b"a file").unwrap();
    bench.run(&["repair", "R.besom", "--to", "taken"]).refuses(&["taken"]);
    bench.run(&["repair", "R.besom", "--to", "taken/deeper"]).refuses(&["taken/deeper"]);
    // A folder without the right to write stops everyone but root, a read-only file system stops root too.
    let locked = bench.path("locked");
    let disk = SmallDisk::mount(&locked, "ro,size=660k");
    if disk.is_none() {
        fs::set_permissions(&locked, fs::Permissions::from_mode(0o555)).unwrap();
    }
    eprintln!("target that cannot be written to: {}", if disk.is_some() { "a read-only tmpfs" } else { "mode 0555" });
    bench.run(&["repair", "R.besom", "--to", "locked"]).refuses(&["locked", "cannot be written"]);
    bench.run(&["masks", "R.besom", "--to", "locked"]).refuses(&["locked", "cannot be written"]);
    bench.run(&["repair", "R.besom", "--to", "locked/deeper"]).refuses(&["locked/deeper", "cannot be made"]);
    assert_eq!(fs::read_dir(&locked).unwrap().count(), 0);
    assert_eq!(bench.sums("scans"), scans);
    assert_eq!(fs::read(bench.path("taken")).unwrap(), b"a file");
}

#[test]
fn scans_are_untouched_by_the_whole_road() {
    let bench = Bench::with_scans(6);
    let before = bench.sums("scans");
    bench.start().succeeds();
    bench.run(&["detect", "R.besom"]).succeeds();
    bench.run(&["decide", "R.besom", "accept", "--include-at-risk"]).succeeds();
    bench.run(&["protect", "R.besom", "--rect", "0,0,40,40", "--frames", "86400-86405"]).succeeds();
    bench.run(&["masks", "R.besom", "--to", "masks"]).succeeds();
    bench.run(&["repair", "R.besom", "--to", "out"]).succeeds();
    bench.run(&["verify", "R.besom", "--repaired", "out"]).succeeds();
    bench.run(&["ledger", "R.besom"]).succeeds();
    assert_eq!(bench.sums("scans"), before);
    assert!(bench.path("out").join(name(86_400)).exists());
}
