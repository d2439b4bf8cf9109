//! The proof over a reel: that repaired files differ from their scans only in accepted repairs.

use std::fs;
use std::path::{Path, PathBuf};

use besom_scan::verify::{Comparison, compare};
use besom_scan::{Progress, RunMask, write};
use rayon::prelude::*;
use serde::Serialize;

use crate::error::{ReelError, ReelErrorKind};
use crate::filling::MOST_GROWTH;
use crate::model::decision::CandidateId;
use crate::model::info::FrameEntry;
use crate::reel::Reel;

use super::record::{RepairEntry, RepairRecord};
use super::stop_if_cancelled;
use super::walk::batch_size;

/// What the proof found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct VerifyReport {
    /// Files compared with their scans.
    pub frames: usize,
    /// Scans of the reel that have no file in the folder of repaired frames.
    pub missing: usize,
    /// Files that are their scan byte for byte.
    pub identical: usize,
    /// Samples that differ, inside accepted repairs or not.
    pub samples_changed: u64,
    /// Bytes that changed and belong to no accepted repair.
    pub bytes_changed_outside: u64,
    /// Samples that changed and belong to no accepted repair.
    pub samples_changed_outside: u64,
    /// One sentence about the first thing that is wrong, in the order of the frames; `None` when all is proved.
    pub first_offence: Option<String>,
    /// The manifests that were written; none unless all is proved.
    pub manifest: Vec<PathBuf>,
}

/// Compares every file of `repaired` with its scan, both read afresh, and writes the manifest.
///
/// What may have changed is what the record of repairs says, as far as the reel's decisions bear it out: the candidate is
/// accepted now, the pixels lie on it or within a few pixels around it, and no protected region, rejected or intended
/// candidate lies over them.
///
/// The manifest is `exports/manifest.sha256` in the reel folder, which `sha256sum -c` reads when it runs in the folder of
/// repaired frames, and `exports/manifest.ron` with the scans' checksums beside it.
///
/// # Errors
/// When the folder holds no frame of the reel, the reel or its record cannot be read, the manifest cannot be written, or
/// when cancelled. A file that differs where it must not is no error but [`VerifyReport::first_offence`].
pub fn verify(reel: &Path, repaired: &Path, progress: &dyn Progress) -> Result<VerifyReport, ReelError> {
    let reel = Reel::open_to_read(reel)?;
    let record = RepairRecord::read(reel.folder())?;
    let info = reel.info();
    let mut report = VerifyReport::default();
    let mut lines = Vec::new();
    progress.begin("Verifying", reel.frames().len() as u64);
    for batch in reel.frames().chunks(batch_size(info.width * info.height)) {
        stop_if_cancelled(progress)?;
        let answers: Vec<_> = batch.par_iter().map(|entry| check(&reel, &record, entry, repaired)).collect();
        for (entry, answer) in batch.iter().zip(answers) {
            progress.advance(1);
            match answer {
                Checked::Missing => report.missing += 1,
                Checked::Unreadable(sentence) => {
                    report.frames += 1;
                    report.first_offence.get_or_insert(sentence);
                }
                Checked::Compared(comparison, offence) => {
                    report.frames += 1;
                    report.identical += usize::from(comparison.source_sha256 == comparison.repaired_sha256);
                    report.samples_changed += comparison.samples_changed;
                    report.samples_changed_outside += comparison.samples_changed_outside;
                    report.bytes_changed_outside += comparison.bytes_changed_outside;
                    if report.first_offence.is_none() {
                        report.first_offence = offence;
                    }
                    lines.push(line(entry, &record, comparison));
                }
            }
        }
    }
    if report.frames == 0 {
        let repaired = repaired.display();
        let sentence = format!("{repaired}: there is no frame of {} in it", info.name);
        return Err(ReelError::new(ReelErrorKind::Request, sentence));
    }
    if report.first_offence.is_none() {
        report.manifest = write_manifest(&reel, &lines)?;
    }
    Ok(report)
}

enum Checked {
    Missing,
    /// A sentence.
    Unreadable(String),
    /// What was found, and a sentence about the first offence.
    Compared(Comparison, Option<String>),
}

fn file_name(entry: &FrameEntry) -> String {
    entry.path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

fn check(reel: &Reel, record: &RepairRecord, entry: &FrameEntry, repaired: &Path) -> Checked {
    let Some(name) = entry.path.file_name() else { return Checked::Missing };
    let path = repaired.join(name);
    if path.symlink_metadata().is_err() {
        return Checked::Missing;
    }
    if entry.problem.is_some() {
        return damaged_copy(entry, &path);
    }
    let (allowed, unfounded) = allowed(reel, entry.number, record.frames.get(&entry.number).map_or(&[], Vec::as_slice));
    match compare(&entry.path, &path, &allowed) {
        Err(error) => Checked::Unreadable(error.to_string()),
        Ok(comparison) => {
            let offence = comparison.first_offence.as_ref().map(|clause| {
                let why = unfounded.map_or_else(String::new, |why| format!(" ({why})"));
                format!("{}: {clause}{why}", path.display())
            });
            Checked::Compared(comparison, offence)
        }
    }
}

/// A scan that cannot be decoded can only have been copied.
fn damaged_copy(entry: &FrameEntry, path: &Path) -> Checked {
    let read = |path: &Path| fs::read(path).map_err(|e| ReelError::access(path, "it cannot be read", &e).to_string());
    match read(&entry.path).and_then(|source| Ok((source, read(path)?))) {
        Err(sentence) => Checked::Unreadable(sentence),
        Ok((source, repaired)) => {
            let differ = source.iter().zip(&repaired).filter(|(a, b)| a != b).count();
            let outside = (differ + source.len().abs_diff(repaired.len())) as u64;
            let sentence = format!("{}: it is no exact copy of a scan that cannot be repaired", path.display());
            let offence = (outside > 0).then_some(sentence);
            let comparison = Comparison {
                bytes_changed_outside: outside,
                samples_changed: 0,
                samples_changed_outside: 0,
                first_offence: offence.clone(),
                source_sha256: besom_scan::verify::sha256(&source),
                repaired_sha256: besom_scan::verify::sha256(&repaired),
            };
            Checked::Compared(comparison, offence)
        }
    }
}

/// The pixels of a frame that may differ, and why the first record that the decisions do not bear out is none.
fn allowed(reel: &Reel, frame: u64, entries: &[RepairEntry]) -> (RunMask, Option<String>) {
    let (width, height) = (reel.info().width as u32, reel.info().height as u32);
    let untouchable = reel.untouchable_mask(frame);
    let accepted = reel.accepted(frame);
    let mut runs = Vec::new();
    let mut unfounded = None;
    for entry in entries {
        // After a new detection the numbers are others; the place still tells which candidate it was.
        let same = |id: &CandidateId| id.index == entry.index;
        let here = || accepted.iter().filter(|(_, candidate, _)| candidate.bounds() == entry.bounds);
        let Some((_, candidate, _)) = here().find(|(id, _, _)| same(id)).or_else(|| here().next()) else {
            let (x, y) = (entry.bounds.x0, entry.bounds.y0);
            unfounded.get_or_insert_with(|| {
                format!("the repair at column {x}, row {y} is of no candidate that is accepted now")
            });
            continue;
        };
        let reach = candidate.mask.grown(MOST_GROWTH, width, height).minus(&untouchable);
        if entry.mask.overlap(&reach) < entry.mask.area() {
            let (x, y) = (entry.bounds.x0, entry.bounds.y0);
            unfounded.get_or_insert_with(|| {
                format!("the repair at column {x}, row {y} reaches beyond its candidate or into what is protected")
            });
        }
        // What lies on the candidate may have changed, even when the record claims more.
        runs.extend(entry.mask.intersection(&reach).runs().iter().copied());
    }
    (RunMask::from_runs(runs), unfounded)
}

#[derive(Serialize)]
struct Line {
    frame: u64,
    file: String,
    source_sha256: String,
    repaired_sha256: String,
    repairs: usize,
    samples_changed: u64,
}

#[derive(Serialize)]
struct Manifest<'a> {
    version: u32,
    reel: &'a str,
    format: &'a str,
    guarantee: &'a str,
    bytes_changed_outside: u64,
    frames: &'a [Line],
}

fn line(entry: &FrameEntry, record: &RepairRecord, comparison: Comparison) -> Line {
    Line {
        frame: entry.number,
        file: file_name(entry),
        repairs: record.frames.get(&entry.number).map_or(0, Vec::len),
        samples_changed: comparison.samples_changed,
        source_sha256: comparison.source_sha256,
        repaired_sha256: comparison.repaired_sha256,
    }
}

fn write_manifest(reel: &Reel, lines: &[Line]) -> Result<Vec<PathBuf>, ReelError> {
    let folder = reel.folder().join("exports");
    fs::create_dir_all(&folder).map_err(|e| ReelError::access(&folder, "it cannot be made", &e))?;
    let (sums, ron) = (folder.join("manifest.sha256"), folder.join("manifest.ron"));
    // Two blanks between sum and name: the form that sha256sum and shasum write and read.
    let text = lines.iter().fold(String::new(), |text, line| text + &line.repaired_sha256 + "  " + &line.file + "\n");
    let info = reel.info();
    let manifest = Manifest {
        version: 1,
        reel: &info.name,
        format: &info.format,
        guarantee: &info.guarantee,
        bytes_changed_outside: 0,
        frames: lines,
    };
    let pretty = ron::ser::PrettyConfig::new().depth_limit(2);
    let body = ron::ser::to_string_pretty(&manifest, pretty).map_err(|e| ReelError::damaged(&ron, e))?;
    write::write_atomically(&sums, text.as_bytes())?;
    write::write_atomically(&ron, body.as_bytes())?;
    Ok(vec![sums, ron])
}
