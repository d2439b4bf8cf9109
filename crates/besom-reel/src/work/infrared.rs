//! Finding, judging and reading a reel's infrared.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use besom_detect::infrared::{Likeness, likeness};
use besom_detect::{Infrared, Prepared};
use besom_scan::header::{Header, read_header};
use besom_scan::{Frame, Plane, Progress, Samples, Scan, Sequence, SequenceFrame, write};
use rayon::prelude::*;

use crate::error::{ReelError, ReelErrorKind};
use crate::model::info::{FrameEntry, Pattern, ReelInfo};
use crate::model::infrared::{InfraredInfo, InfraredSource};
use crate::model::shot::Shot;

use super::frames::prepared_of;
use super::places::in_words;
use super::stop_if_cancelled;

/// Where a person says that the infrared is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InfraredFrom {
    /// The last channel of the scans: the fourth of colour scans, the second of grey ones.
    Channel,
    /// A sequence of its own with the scans' numbers: a folder, one of its files, or a pattern.
    Sequence(PathBuf),
}

/// The name of the header fact that says which channel is infrared, for the formats that say so.
const FACT: &str = "Infrared";

/// A reel's infrared sequence, found and checked against its scans.
pub(super) struct Found {
    sequence: Option<Sequence>,
    /// What is amiss with it, one sentence each.
    pub(super) notes: Vec<String>,
}

impl Found {
    /// How much of a scan's picture its infrared shows; `None` when either cannot be read.
    fn sample(&self, frame: &SequenceFrame) -> Option<Likeness> {
        let own = match &self.sequence {
            None => None,
            Some(sequence) => Some(sequence.frames.iter().find(|f| f.number == frame.number)?.path.as_path()),
        };
        let scan = Scan::read(&frame.path).ok()?;
        likeness(&plane(own, scan.frame()).ok()?, &scan.frame().analysis())
    }

    /// The folder of an infrared sequence.
    pub(super) fn folder(&self) -> Option<&Path> {
        self.sequence.as_ref().map(|s| s.folder.as_path())
    }
}

/// Looks for the infrared that was asked for, or that the scans' headers name. `None` when there is none.
///
/// # Errors
/// When it was asked for and there is none that fits any scan, or when the reel folder would lie among it.
pub(super) fn find(
    from: Option<&InfraredFrom>,
    scans: &Sequence,
    reel: &Path,
    common: &Header,
    progress: &dyn Progress,
) -> Result<Option<Found>, ReelError> {
    let refuse = |sentence: String| Err(ReelError::new(ReelErrorKind::Request, sentence));
    match from {
        None if common.fact(FACT).is_none() => Ok(None),
        Some(InfraredFrom::Channel) if common.channels % 2 == 1 => refuse(format!(
            "{}: the scans have {} and so no infrared channel",
            scans.folder.display(),
            if common.channels == 1 { "one channel" } else { "three channels" }
        )),
        None | Some(InfraredFrom::Channel) => Ok(Some(Found { sequence: None, notes: Vec::new() })),
        Some(InfraredFrom::Sequence(path)) => {
            let sequence = Sequence::discover(path)?;
            write::check_target(&sequence.folder, reel)?;
            let same = |a: &Path, b: &Path| a.canonicalize().ok() == b.canonicalize().ok();
            if same(&sequence.folder, &scans.folder)
                && sequence.prefix == scans.prefix
                && sequence.suffix == scans.suffix
            {
                return refuse(format!("{}: these are the scans themselves, not their infrared", path.display()));
            }
            let notes = check(&sequence, scans, common, progress)?;
            Ok(Some(Found { sequence: Some(sequence), notes }))
        }
    }
}

/// Refuses to write into the folder of a reel's infrared sequence, as into that of its scans.
pub(super) fn check_target(info: &ReelInfo, reel: &Path, to: &Path) -> Result<(), ReelError> {
    match info.infrared.as_ref().map(|infrared| &infrared.source) {
        Some(InfraredSource::Sequence { folder, .. }) => Ok(write::check_target(&reel.join(folder), to)?),
        Some(InfraredSource::Channel) | None => Ok(()),
    }
}

/// Holds the infrared's headers against the scans'.
fn check(
    infrared: &Sequence,
    scans: &Sequence,
    common: &Header,
    progress: &dyn Progress,
) -> Result<Vec<String>, ReelError> {
    let there: BTreeMap<u64, &Path> = infrared.frames.iter().map(|f| (f.number, f.path.as_path())).collect();
    let (with, without): (Vec<u64>, Vec<u64>) =
        scans.frames.iter().map(|f| f.number).partition(|number| there.contains_key(number));
    let refuse = |sentence: String| Err(ReelError::new(ReelErrorKind::Request, sentence));
    if with.is_empty() {
        let (folder, first, last) = (infrared.folder.display(), scans.first(), scans.last());
        return refuse(format!("{folder}: no infrared frame has the number of a scan, they are {first} to {last}"));
    }
    progress.begin("Reading infrared headers", with.len() as u64);
    let fault = |number: &u64| -> Result<Option<(u64, String)>, ReelError> {
        stop_if_cancelled(progress)?;
        progress.advance(1);
        let Some(path) = there.get(number) else { return Ok(None) };
        let reason = match read_header(path) {
            Err(error) => Some(error.reason().to_owned()),
            Ok(h) if (h.width, h.height) == (common.width, common.height) => None,
            Ok(h) => {
                Some(format!("it is {}x{}, where the scans are {}x{}", h.width, h.height, common.width, common.height))
            }
        };
        Ok(reason.map(|reason| (*number, reason)))
    };
    let faults: Vec<Option<(u64, String)>> = with.par_iter().map(fault).collect::<Result<_, _>>()?;
    let faults: Vec<(u64, String)> = faults.into_iter().flatten().collect();
    if let Some((number, reason)) = faults.first().filter(|_| faults.len() == with.len()) {
        let path = there.get(number).map_or_else(String::new, |p| p.display().to_string());
        return refuse(format!("{path}: {reason} (none of the infrared frames can be used)"));
    }
    let mut notes = Vec::new();
    if !without.is_empty() {
        notes.push(format!("infrared is missing for frames {}; they are searched without it", in_words(&without)));
    }
    notes.extend(unusable(&faults));
    Ok(notes)
}

/// One sentence about frames whose infrared cannot be used.
fn unusable(faults: &[(u64, String)]) -> Option<String> {
    let (first, reason) = faults.first()?;
    let numbers: Vec<u64> = faults.iter().map(|(number, _)| *number).collect();
    let frames = if numbers.len() == 1 { "frame" } else { "frames" };
    let which = if numbers.len() == 1 { String::new() } else { format!("{first}: ") };
    Some(format!("infrared of {frames} {} cannot be used ({which}{reason}); searched without it", in_words(&numbers)))
}

/// Frames of a shot whose infrared is held against the picture.
const SAMPLES: usize = 3;

/// Measures in each shot how much of the picture the infrared shows. `folder` is the infrared sequence's, as the reel
/// remembers it; `problems` are scans to leave out.
///
/// # Errors
/// When cancelled.
pub(super) fn judge(
    found: &Found,
    folder: PathBuf,
    scans: &Sequence,
    problems: &[(u64, String)],
    shots: &[Shot],
    progress: &dyn Progress,
) -> Result<InfraredInfo, ReelError> {
    let source = found.sequence.as_ref().map_or(InfraredSource::Channel, |s| InfraredSource::Sequence {
        folder,
        pattern: Pattern { prefix: s.prefix.clone(), suffix: s.suffix.clone(), padding: s.padding },
    });
    let mut judged = InfraredInfo { source, shots: Vec::new() };
    progress.begin("Judging infrared", shots.len() as u64);
    let usable = |number: u64| problems.iter().all(|(problem, _)| *problem != number);
    for shot in shots {
        stop_if_cancelled(progress)?;
        let inside: Vec<&SequenceFrame> =
            scans.frames.iter().filter(|f| shot.contains(f.number) && usable(f.number)).collect();
        let mut measured: Vec<Likeness> = spread(inside.len()).filter_map(|at| found.sample(inside.get(at)?)).collect();
        measured.sort_by(|a, b| a.depth.total_cmp(&b.depth));
        judged.shots.push(measured.get(measured.len() / 2).copied());
        progress.advance(1);
    }
    Ok(judged)
}

/// At most [`SAMPLES`] places of so many, evenly spread.
fn spread(count: usize) -> impl Iterator<Item = usize> {
    let samples = SAMPLES.min(count);
    (0..samples).map(move |k| (2 * k + 1) * count / (2 * samples))
}

/// The infrared plane of a scan in analysis codes, from its own file or, without one, from the scan; or why there is none: a
/// clause without the file's name.
fn plane(own: Option<&Path>, scan: &Frame) -> Result<Plane, String> {
    let Some(path) = own else {
        return last_channel(scan).ok_or_else(|| "the scan has no such channel".to_owned());
    };
    let infrared = Scan::read(path).map_err(|e| e.reason().to_owned())?;
    let frame = infrared.frame();
    if (frame.width, frame.height) != (scan.width, scan.height) {
        let (w, h) = (frame.width, frame.height);
        return Err(format!("it is {w}x{h}, where the scans are {}x{}", scan.width, scan.height));
    }
    // Infrared that was stored in three channels has the same in each.
    frame.analysis().into_iter().next().ok_or_else(|| "it holds no picture".to_owned())
}

/// The last channel of a frame of two or four, in analysis codes.
fn last_channel(frame: &Frame) -> Option<Plane> {
    fn every<T: Copy>(samples: &[T], channels: usize) -> Vec<T> {
        samples.iter().skip(channels - 1).step_by(channels).copied().collect()
    }
    let channels = frame.channels;
    if !matches!(channels, 2 | 4) {
        return None;
    }
    let samples = match &frame.samples {
        Samples::U8(v) => Samples::U8(every(v, channels)),
        Samples::U16(v) => Samples::U16(every(v, channels)),
        Samples::F16(v) => Samples::F16(every(v, channels)),
        Samples::F32(v) => Samples::F32(every(v, channels)),
    };
    let alone = Frame { channels: 1, samples, width: frame.width, height: frame.height, encoding: frame.encoding };
    alone.analysis().into_iter().next()
}

/// Reads scans with their infrared, and remembers where there was none.
pub(super) struct Reader<'a> {
    info: &'a InfraredInfo,
    folder: &'a Path,
    faults: Mutex<BTreeMap<u64, String>>,
}

impl<'a> Reader<'a> {
    /// `None` for a reel without infrared.
    pub(super) fn of(info: &'a ReelInfo, folder: &'a Path) -> Option<Self> {
        info.infrared.as_ref().map(|info| Self { info, folder, faults: Mutex::new(BTreeMap::new()) })
    }

    /// A scan prepared for detection, with its infrared where the shot's is trusted and can be read.
    ///
    /// # Errors
    /// A clause that says why the scan itself cannot be read; what is amiss with its infrared is no error.
    pub(super) fn prepared(
        &self,
        entry: &FrameEntry,
        shot: Option<&Shot>,
        size: (usize, usize, usize),
    ) -> Result<Prepared, String> {
        let scan = Scan::read(&entry.path).map_err(|e| e.reason().to_owned())?;
        let prepared = prepared_of(&scan, size)?;
        let weight = shot.map_or(0.0, |shot| self.info.weight(shot.index));
        if weight <= 0.0 {
            return Ok(prepared);
        }
        match plane(self.info.path(self.folder, entry.number).as_deref(), scan.frame()) {
            Ok(plane) => Ok(prepared.with_infrared(Infrared::new(&plane, weight))),
            Err(reason) => {
                if let Ok(mut faults) = self.faults.lock() {
                    faults.insert(entry.number, reason);
                }
                Ok(prepared)
            }
        }
    }

    /// What was amiss, in one sentence.
    pub(super) fn note(self) -> Option<String> {
        let faults: Vec<(u64, String)> = self.faults.into_inner().unwrap_or_default().into_iter().collect();
        unusable(&faults)
    }
}
