//! Real files, when the environment variable `BESOM_VECTORS` names a folder with them: `dpx/`, `exr/` and `tiff/` as
//! the OpenImageIO, OpenEXR and libtiff projects publish them. Without it the test says so and passes.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

mod made;

use std::path::{Path, PathBuf};

use besom_scan::{Guarantee, Run, RunMask, SampleEdit, Scan, read_header, verify};
use made::store;

fn files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, into);
        } else if path.extension().is_some_and(|e| ["dpx", "exr", "tif", "png"].iter().any(|k| e == *k)) {
            into.push(path);
        }
    }
}

#[test]
fn real_files_are_read_patched_and_proved_or_refused_in_a_sentence() {
    let Some(folder) = std::env::var_os("BESOM_VECTORS") else {
        println!("skipped: BESOM_VECTORS is not set");
        return;
    };
    let mut paths = Vec::new();
    files(Path::new(&folder), &mut paths);
    assert!(!paths.is_empty());
    paths.sort();
    let out = tempfile::tempdir().unwrap();
    for path in paths {
        let name = path.file_name().unwrap().to_str().unwrap();
        let scan = match Scan::read(&path) {
            Ok(scan) => scan,
            Err(error) => {
                println!("refused: {error}");
                // Chroma-subsampled: the only one of the set that must be refused.
                assert_eq!(name, "Rec709_YC.exr", "{error}");
                assert!(error.to_string().contains("subsampled"));
                continue;
            }
        };
        assert_eq!(read_header(&path).unwrap(), *scan.header(), "{name}");
        if scan.guarantee() == Guarantee::ReadOnly {
            println!("read only: {name}");
            continue;
        }
        let (x, y) = (scan.frame().width as u32 / 2, scan.frame().height as u32 / 2);
        let edits: Vec<SampleEdit> = (0..scan.frame().channels)
            .map(|c| SampleEdit {
                x,
                y,
                channel: c as u8,
                bits: scan.frame().native_bits(x as usize, y as usize, c) ^ 1,
            })
            .collect();
        let repaired = store(out.path(), name, &scan.patched(&edits).unwrap());
        let allowed = RunMask::from_runs(vec![Run { y, x0: x, x1: x + 1 }]);
        let found = verify::compare(&path, &repaired, &allowed).unwrap();
        assert!(found.proved() && found.samples_changed == edits.len() as u64, "{name}: {found:?}");
        println!("proved: {name}");
    }
}
