//! Joining candidates that were detected in ranges, on one machine or many, into the chunks of one run.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use besom_scan::Progress;

use crate::error::{ReelError, ReelErrorKind};
use crate::file::candidates::{self, Chunk};
use crate::reel::Reel;

use super::detect::Detector;
use super::places::{cell_of, in_words};
use super::stop_if_cancelled;

/// What joining did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AssembleReport {
    /// Scans whose results are now in place.
    pub frames: usize,
    /// Chunk files that hold them.
    pub chunks: usize,
}

/// Joins ranges that were detected apart, so that the folder's candidates are, byte for byte, those of one run.
///
/// # Errors
/// When a usable scan has no result of the present settings (a hole), when two files disagree about a scan, or when a file
/// cannot be read or written. Nothing is removed then.
pub fn assemble(reel: &Path, progress: &dyn Progress) -> Result<AssembleReport, ReelError> {
    let reel = Reel::open_to_read(reel)?;
    progress.begin("Assembling", 1);
    stop_if_cancelled(progress)?;
    let detector = Detector::new(&reel)?;
    let report = join(&reel, &detector.fingerprint)?;
    progress.advance(1);
    Ok(report)
}

/// The chunk files at hand: of the present settings, and others.
struct Found {
    current: Vec<Part>,
    outdated: Vec<PathBuf>,
    generation: u32,
}

/// A chunk file of the present settings, without its candidates.
struct Part {
    path: PathBuf,
    generation: u32,
    bounds: (u64, u64),
    numbers: Vec<u64>,
}

fn find(folder: &Path, fingerprint: &[u8; 32]) -> Result<Found, ReelError> {
    let mut found = Found { current: Vec::new(), outdated: Vec::new(), generation: 1 };
    for path in candidates::list(folder)? {
        let chunk = candidates::read(&path)?;
        if chunk.fingerprint == *fingerprint {
            found.generation = found.generation.max(chunk.generation);
            let numbers = chunk.frames.iter().map(|(number, _)| *number).collect();
            found.current.push(Part { path, generation: chunk.generation, bounds: (chunk.first, chunk.last), numbers });
        } else {
            found.outdated.push(path);
        }
    }
    Ok(found)
}

pub(super) fn join(reel: &Reel, fingerprint: &[u8; 32]) -> Result<AssembleReport, ReelError> {
    let (folder, info) = (reel.folder(), reel.info());
    let found = find(folder, fingerprint)?;
    let mut holders: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    for (index, part) in found.current.iter().enumerate() {
        for number in &part.numbers {
            holders.entry(*number).or_default().push(index);
        }
    }
    let usable = || reel.frames().iter().filter(|entry| entry.problem.is_none());
    let holes: Vec<u64> = usable().map(|entry| entry.number).filter(|number| !holders.contains_key(number)).collect();
    if !holes.is_empty() {
        let (folder, holes) = (folder.display(), in_words(&holes));
        let sentence = format!("{folder}: frames {holes} have not been detected with the present settings");
        return Err(ReelError::new(ReelErrorKind::Request, sentence));
    }
    let mut cells: BTreeMap<(u64, u64), Vec<u64>> = BTreeMap::new();
    for entry in usable() {
        cells.entry(cell_of(entry.number, info.first, info.last)).or_default().push(entry.number);
    }
    let mut report = AssembleReport { frames: 0, chunks: cells.len() };
    let mut kept = Vec::new();
    for ((first, last), numbers) in &cells {
        report.frames += numbers.len();
        // What one run wrote stands as it is: chunks are immutable. Only what is held twice has to be compared.
        let once = numbers.iter().all(|number| holders.get(number).is_some_and(|files| files.len() == 1));
        let whole = |part: &&Part| {
            once && part.generation == found.generation && part.bounds == (*first, *last) && part.numbers == *numbers
        };
        if let Some(part) = found.current.iter().find(whole) {
            kept.push(part.path.clone());
            continue;
        }
        let chunk = Chunk {
            generation: found.generation,
            fingerprint: *fingerprint,
            width: info.width as u32,
            height: info.height as u32,
            first: *first,
            last: *last,
            frames: gather(&found, &holders, numbers)?,
        };
        kept.push(candidates::write(folder, &chunk)?);
    }
    // Only now that every scan stands in its place may the parts and the results of earlier settings go.
    for path in found.current.iter().map(|part| &part.path).chain(&found.outdated).filter(|path| !kept.contains(path)) {
        fs::remove_file(path).map_err(|e| ReelError::access(path, "it cannot be removed", &e))?;
    }
    Ok(report)
}

type Frames = Vec<(u64, Vec<besom_detect::Candidate>)>;

/// The results of these scans, taken from the files that hold them; files that hold one scan twice must agree.
fn gather(found: &Found, holders: &BTreeMap<u64, Vec<usize>>, numbers: &[u64]) -> Result<Frames, ReelError> {
    let mut files: Vec<usize> = numbers.iter().filter_map(|n| holders.get(n)).flatten().copied().collect();
    files.sort_unstable();
    files.dedup();
    let mut gathered: BTreeMap<u64, (usize, Vec<besom_detect::Candidate>)> = BTreeMap::new();
    for file in files {
        let Some(Part { path, .. }) = found.current.get(file) else { continue };
        for (number, candidates) in candidates::read(path)?.frames {
            if numbers.binary_search(&number).is_err() {
                continue;
            }
            if let Some((other, before)) = gathered.get(&number) {
                if *before != candidates {
                    let other =
                        found.current.get(*other).map_or_else(String::new, |part| part.path.display().to_string());
                    let sentence = format!("{}: it disagrees with {other} about frame {number}", path.display());
                    return Err(ReelError::new(ReelErrorKind::Damaged, sentence));
                }
            } else {
                gathered.insert(number, (file, candidates));
            }
        }
    }
    Ok(gathered.into_iter().map(|(number, (_, candidates))| (number, candidates)).collect())
}
