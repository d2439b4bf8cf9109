//! Detection over a reel: frames through a sliding window, results in immutable chunks.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;
use std::path::Path;

use besom_detect::{Candidate, Model, Prepared, Settings, Spares, Window};
use besom_scan::Progress;
use rayon::prelude::*;
use sha2::{Digest, Sha256};

use crate::error::{ReelError, ReelErrorKind};
use crate::file::candidates::{self, Chunk};
use crate::reel::Reel;

use super::frames::{prepared, size_of};
use super::infrared::Reader;
use super::places::{Places, cell_of, places_in};
use super::walk::{Held, Walk, batch_size};
use super::{assemble, model};

/// What to detect.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DetectOptions {
    /// Only these scans; without them the whole reel.
    pub frames: Option<RangeInclusive<u64>>,
    /// Processor threads; without a number, as many as there are processors. Changes no result.
    pub threads: Option<usize>,
}

/// What a detection did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DetectReport {
    /// Scans that have been looked at, now or before.
    pub frames: usize,
    /// Of these, scans whose results of the same settings were there already and were kept.
    pub kept: usize,
    /// Candidates in them.
    pub candidates: usize,
    /// Of these, candidates at or above their shot's sensitivity.
    pub above_sensitivity: usize,
    /// Scans that the survey had found damaged: number and reason.
    pub left_out: Vec<(u64, String)>,
    /// Scans that could not be read now, though the survey could: number, and a sentence that names the file.
    pub unreadable: Vec<(u64, String)>,
    /// Things to know, one sentence each.
    pub notes: Vec<String>,
}

/// Everything that decides what is found in a frame.
pub(super) struct Detector {
    model: Model,
    settings: Settings,
    /// SHA-256 over all of it, the shots' bounds and grain included.
    pub(super) fingerprint: [u8; 32],
}

impl Detector {
    pub(super) fn new(reel: &Reel) -> Result<Self, ReelError> {
        let (model, settings) = (model()?, Settings::default());
        let info = reel.info();
        let mut digest = Sha256::new();
        // The debug texts of numbers are exact, and every field is in them: nothing that counts can be forgotten.
        digest.update(format!("besom {} {settings:?} {model:?}\n", env!("CARGO_PKG_VERSION")));
        digest.update(format!("{:?} {} {}\n", size_of(info), info.bits, info.transfer));
        for shot in reel.shots() {
            digest.update(format!("{} {} {:?}\n", shot.first, shot.last, shot.grain));
        }
        // A missing neighbour changes what can be found next to it.
        digest.update(format!("{:?} {:?}\n", info.gaps, info.problems.iter().map(|p| p.frame).collect::<Vec<_>>()));
        if let Some(infrared) = &info.infrared {
            digest.update(format!("{infrared:?}\n"));
        }
        Ok(Self { model, settings, fingerprint: digest.finalize().into() })
    }

    fn look(
        &self,
        place: usize,
        places: &Places,
        held: &Held<Frame>,
        spares: &Spares,
    ) -> Result<Vec<Candidate>, String> {
        let readable = |place: usize| held.get(place).and_then(|frame| frame.as_ref().ok());
        let at = |offset: i64| places.neighbour(place, offset).and_then(readable);
        let current = match held.get(place) {
            Some(Ok(current)) => current,
            Some(Err(reason)) => return Err(reason.clone()),
            None => return Err("it was not read".to_owned()),
        };
        let Some(shot) = places.shot(place) else { return Err("it belongs to no shot".to_owned()) };
        let window = Window { before_last: at(-2), previous: at(-1), current, next: at(1), after_next: at(2) };
        Ok(besom_detect::detect_in(spares, &window, &shot.grain, &self.model, &self.settings))
    }
}

type Frame = Result<Prepared, String>;

/// Finds the candidates of a reel or of a range, in chunks that are written as soon as they are whole.
///
/// Chunks of the same settings that are there already are kept, so a stopped detection goes on where it was. A detection
/// of the whole reel ends with one file for each chunk of the grid; ranges end with parts that [`super::assemble`] joins.
///
/// # Errors
/// When the folder is no reel, the range holds no scan, a chunk cannot be written, or when cancelled; chunks written so
/// far stay and are whole. Unreadable scans are no error: they are listed in the report.
pub fn detect(reel: &Path, options: &DetectOptions, progress: &dyn Progress) -> Result<DetectReport, ReelError> {
    let Some(threads) = options.threads else { return detect_here(reel, options, progress) };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().map_err(|e| {
        ReelError::new(ReelErrorKind::Access, format!("{}: {threads} threads cannot be started: {e}", reel.display()))
    })?;
    pool.install(|| detect_here(reel, options, progress))
}

fn detect_here(folder: &Path, options: &DetectOptions, progress: &dyn Progress) -> Result<DetectReport, ReelError> {
    let reel = Reel::open_to_read(folder)?;
    let wanted = places_in(&reel, options.frames.as_ref())?;
    let entries = reel.frames();
    let mut report = DetectReport::default();
    let mut usable = Vec::new();
    for place in &wanted {
        let Some(entry) = entries.get(*place) else { continue };
        match &entry.problem {
            Some(problem) => report.left_out.push((entry.number, problem.clone())),
            None => usable.push((*place, entry.number)),
        }
    }
    if entries.len() == 1 {
        report.notes.push("the reel is one frame only: without neighbours nothing can be found in it".to_owned());
    }
    let reading = Reading::new(folder, &reel);
    // The trees are text, and so is what the fingerprint is taken of: one thread's work, while others can read scans already.
    let (detector, first) = rayon::join(|| Detector::new(&reel), || reading.first(&usable));
    let (detector, first) = (detector?, first?);
    let known = known(folder, &detector.fingerprint)?;
    let pass = Pass { folder, reel: &reel, detector: &detector, generation: known.generation };
    let parts = pass.parts(&usable, options.frames.as_ref());
    let (kept, missing): (Vec<Part>, Vec<Part>) =
        parts.into_iter().partition(|part| part.frames.iter().all(|(_, number)| known.frames.contains(number)));
    report.kept = kept.iter().map(|part| part.frames.len()).sum();
    progress.begin("Detecting", usable.len() as u64);
    progress.advance(report.kept as u64);
    pass.run(&missing, reading, first, &mut report, progress)?;
    if options.frames.is_none() && report.unreadable.is_empty() {
        assemble::join(&reel, &detector.fingerprint)?;
    }
    count(folder, &wanted, &mut report)?;
    Ok(report)
}

/// What scans are read by.
struct Reading<'a> {
    folder: &'a Path,
    places: Places<'a>,
    infrared: Option<Reader<'a>>,
    size: (usize, usize, usize),
}

impl<'a> Reading<'a> {
    fn new(folder: &'a Path, reel: &'a Reel) -> Self {
        let (places, size) = (Places::new(reel.frames(), reel.shots()), size_of(reel.info()));
        Self { folder, places, infrared: Reader::of(reel.info(), folder), size }
    }

    /// Reads and prepares a scan.
    fn frame(&self, place: usize) -> Frame {
        let entry = self.places.entry(place).ok_or_else(|| "there is no such scan".to_owned())?;
        let shot = self.places.shot(place);
        let frame = match &self.infrared {
            None => prepared(&entry.path, self.size),
            Some(infrared) => infrared.prepared(entry, shot, self.size),
        }?;
        if let Some(shot) = shot {
            frame.make_ready(&shot.grain);
        }
        Ok(frame)
    }

    /// The frames that the first scan needs, unless there are results already that may be its own.
    fn first(&self, usable: &[(usize, u64)]) -> Result<BTreeMap<usize, Frame>, ReelError> {
        let (Some((place, _)), true) = (usable.first(), candidates::list(self.folder)?.is_empty()) else {
            return Ok(BTreeMap::new());
        };
        let around = self.places.around(*place);
        let frames: Vec<(usize, Frame)> = around.into_par_iter().map(|place| (place, self.frame(place))).collect();
        Ok(frames.into_iter().collect())
    }
}

/// Frames that have results of these settings already, and the generation that new results belong to.
struct Known {
    frames: BTreeSet<u64>,
    generation: u32,
}

fn known(folder: &Path, fingerprint: &[u8; 32]) -> Result<Known, ReelError> {
    let mut known = Known { frames: BTreeSet::new(), generation: candidates::next_generation(folder)? };
    let mut same = None;
    for path in candidates::list(folder)? {
        // A damaged chunk is made again.
        let Ok(chunk) = candidates::read(&path) else { continue };
        if chunk.fingerprint == *fingerprint {
            known.frames.extend(chunk.frames.iter().map(|(number, _)| *number));
            same = same.max(Some(chunk.generation));
        }
    }
    known.generation = same.unwrap_or(known.generation);
    Ok(known)
}

/// Part of a chunk of the grid that was asked for.
struct Part {
    first: u64,
    last: u64,
    /// Place and number of the usable scans in it.
    frames: Vec<(usize, u64)>,
}

struct Pass<'a> {
    folder: &'a Path,
    reel: &'a Reel,
    detector: &'a Detector,
    generation: u32,
}

impl Pass<'_> {
    fn parts(&self, usable: &[(usize, u64)], range: Option<&RangeInclusive<u64>>) -> Vec<Part> {
        let info = self.reel.info();
        let mut parts: Vec<Part> = Vec::new();
        for (place, number) in usable {
            let (mut first, mut last) = cell_of(*number, info.first, info.last);
            if let Some(range) = range {
                (first, last) = (first.max(*range.start()), last.min(*range.end()));
            }
            match parts.last_mut() {
                Some(part) if part.first == first => part.frames.push((*place, *number)),
                _ => parts.push(Part { first, last, frames: vec![(*place, *number)] }),
            }
        }
        parts
    }

    /// Walks over the parts' scans once, and writes each part as soon as its last scan is done. `read` are frames that have been
    /// read before.
    fn run(
        &self,
        parts: &[Part],
        reading: Reading,
        read: BTreeMap<usize, Frame>,
        report: &mut DetectReport,
        progress: &dyn Progress,
    ) -> Result<(), ReelError> {
        let (places, spares) = (&reading.places, Spares::default());
        let visited: Vec<usize> = parts.iter().flat_map(|part| &part.frames).map(|(place, _)| *place).collect();
        let walk = Walk {
            places: &visited,
            batch: batch_size(reading.size.0 * reading.size.1),
            needs: |place: usize| places.around(place),
            load: |place: usize| reading.frame(place),
            work: |place: usize, held: &Held<Frame>| self.detector.look(place, places, held, &spares),
        };
        let mut waiting = parts.iter();
        let mut part = waiting.next();
        let mut frames = Vec::new();
        walk.run_with(read, progress, |place, found| {
            let Some(entry) = places.entry(place) else { return Ok(()) };
            match found {
                Ok(candidates) => frames.push((entry.number, candidates)),
                Err(reason) => report.unreadable.push((entry.number, format!("{}: {reason}", entry.path.display()))),
            }
            if let Some(whole) = part.filter(|p| p.frames.last().is_some_and(|(last, _)| *last == place)) {
                self.write(whole, std::mem::take(&mut frames))?;
                part = waiting.next();
            }
            Ok(())
        })?;
        report.notes.extend(reading.infrared.and_then(Reader::note));
        Ok(())
    }

    fn write(&self, part: &Part, frames: Vec<(u64, Vec<Candidate>)>) -> Result<(), ReelError> {
        if frames.is_empty() {
            return Ok(());
        }
        let info = self.reel.info();
        let (width, height) = (info.width as u32, info.height as u32);
        let (generation, fingerprint) = (self.generation, self.detector.fingerprint);
        let chunk = Chunk { generation, fingerprint, width, height, first: part.first, last: part.last, frames };
        candidates::write(self.folder, &chunk).map(|_| ())
    }
}

fn count(folder: &Path, wanted: &[usize], report: &mut DetectReport) -> Result<(), ReelError> {
    let reel = Reel::open_to_read(folder)?;
    for entry in wanted.iter().filter_map(|place| reel.frames().get(*place)) {
        if !reel.detected(entry.number) {
            continue;
        }
        let found = reel.candidates(entry.number);
        let sensitivity = reel.shot_of(entry.number).map_or(0.0, |shot| reel.sensitivity(shot.index));
        report.frames += 1;
        report.candidates += found.len();
        report.above_sensitivity += found.iter().filter(|c| c.confidence >= sensitivity).count();
    }
    Ok(())
}
