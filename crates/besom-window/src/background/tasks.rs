//! Long tasks: opening and starting reels, finding candidates, repairing, verifying. Each runs on a thread of its own and
//! ends with a sentence.

use std::path::{Path, PathBuf};

use besom_reel::work::{self, DetectOptions, RepairOptions, StartOptions};
use besom_reel::{Reel, ReelError, ReelErrorKind};
use besom_scan::Progress;

/// Makes the demo reel and answers with its folder; given by the program, which knows where demo frames come from.
pub type DemoMaker = fn(&dyn Progress) -> Result<PathBuf, String>;

/// Something that takes long.
pub(crate) enum Task {
    /// Open a reel folder. `again`: it was on the desk already and is only read anew.
    Open { folder: PathBuf, artist: String, again: bool },
    /// Make a reel folder for scans, and open it.
    Start { scans: PathBuf, reel: PathBuf, artist: String },
    /// Make the demo reel, and open it.
    Demo { maker: DemoMaker, artist: String },
    /// Find candidates in every frame.
    Detect { folder: PathBuf },
    /// Write repaired frames.
    Repair { folder: PathBuf, to: PathBuf },
    /// Compare repaired frames with the scans.
    Verify { folder: PathBuf, repaired: PathBuf },
}

/// Which task, for the person who waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum What {
    Open,
    Start,
    Demo,
    Detect,
    Repair,
    Verify,
}

impl What {
    /// What goes on, until the task says it better.
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Open => "Opening the reel",
            Self::Start => "Surveying the scans",
            Self::Demo => "Making the demo reel",
            Self::Detect => "Finding candidates",
            Self::Repair => "Repairing",
            Self::Verify => "Verifying",
        }
    }
}

impl Task {
    /// Which task it is.
    pub(crate) const fn what(&self) -> What {
        match self {
            Self::Open { .. } => What::Open,
            Self::Start { .. } => What::Start,
            Self::Demo { .. } => What::Demo,
            Self::Detect { .. } => What::Detect,
            Self::Repair { .. } => What::Repair,
            Self::Verify { .. } => What::Verify,
        }
    }
}

/// What a task leaves behind.
pub(crate) enum Done {
    /// A reel to put on the desk.
    Opened { reel: Box<Reel>, again: bool, words: String },
    /// Only something to say.
    Said(String),
    /// It was stopped by the person.
    Stopped,
}

/// How a task ended.
pub(crate) struct TaskEnd {
    pub(crate) what: What,
    pub(crate) outcome: Result<Done, String>,
}

impl TaskEnd {
    /// An end without a beginning.
    pub(crate) fn failed(what: What, reason: &str) -> Self {
        Self { what, outcome: Err(reason.to_owned()) }
    }
}

/// Runs a task to its end.
pub(crate) fn run(task: Task, progress: &dyn Progress) -> TaskEnd {
    let what = task.what();
    let outcome = match task {
        Task::Open { folder, artist, again } => open(&folder, &artist, again, String::new()),
        Task::Start { scans, reel, artist } => start(&scans, &reel, &artist, progress),
        Task::Demo { maker, artist } => {
            return TaskEnd { what, outcome: demo(maker, &artist, progress) };
        }
        Task::Detect { folder } => detect(&folder, progress),
        Task::Repair { folder, to } => repair(&folder, &to, progress),
        Task::Verify { folder, repaired } => verify(&folder, &repaired, progress),
    };
    let outcome = match outcome {
        Err(error) if error.kind() == ReelErrorKind::Cancelled => Ok(Done::Stopped),
        other => other.map_err(|e| e.to_string()),
    };
    TaskEnd { what, outcome }
}

fn open(folder: &Path, artist: &str, again: bool, words: String) -> Result<Done, ReelError> {
    let reel = Box::new(Reel::open(folder, artist)?);
    // Worked out here, where it is said what goes on, and not on the window's thread when a shot first comes to the desk.
    for shot in reel.shots() {
        reel.groups(shot.index);
    }
    Ok(Done::Opened { reel, again, words })
}

fn start(scans: &Path, reel: &Path, artist: &str, progress: &dyn Progress) -> Result<Done, ReelError> {
    let report = work::start(scans, reel, &StartOptions::default(), progress)?;
    let shots = report.shots.len();
    let words = format!("{} frames surveyed, {shots} {}.", report.frames, plural(shots, "shot", "shots"));
    open(&report.reel, artist, false, words)
}

fn demo(maker: DemoMaker, artist: &str, progress: &dyn Progress) -> Result<Done, String> {
    let folder = maker(progress)?;
    open(&folder, artist, false, String::new()).map_err(|e| e.to_string())
}

fn detect(folder: &Path, progress: &dyn Progress) -> Result<Done, ReelError> {
    let report = work::detect(folder, &DetectOptions::default(), progress)?;
    let (all, shown) = (report.candidates, report.above_sensitivity);
    let noun = plural(all, "candidate", "candidates");
    let mut words = format!("{all} {noun} found in {} frames; {shown} at or above the sensitivity.", report.frames);
    if let Some((_, sentence)) = report.unreadable.first() {
        words = format!("{words} {} could not be read: {sentence}", report.unreadable.len());
    }
    Ok(Done::Said(words))
}

fn repair(folder: &Path, to: &Path, progress: &dyn Progress) -> Result<Done, ReelError> {
    let report = work::repair(folder, to, &RepairOptions::default(), progress)?;
    let candidates = report.candidates;
    let noun = plural(candidates, "candidate", "candidates");
    let mut words = format!(
        "{candidates} {noun} repaired in {} frames, {} frames copied as they are, into {}.",
        report.repaired,
        report.copied,
        to.display()
    );
    if let Some((_, sentence)) = report.unreadable.first() {
        words = format!("{words} {} could not be read: {sentence}", report.unreadable.len());
    }
    Ok(Done::Said(words))
}

fn verify(folder: &Path, repaired: &Path, progress: &dyn Progress) -> Result<Done, ReelError> {
    let report = work::verify(folder, repaired, progress)?;
    if let Some(offence) = report.first_offence {
        return Err(ReelError::new(ReelErrorKind::Damaged, format!("Not proved: {offence}")));
    }
    Ok(Done::Said(format!(
        "Proved: {} frames compared, {} samples changed, none outside accepted repairs.",
        report.frames, report.samples_changed
    )))
}

/// One or many.
pub(crate) fn plural<'a>(count: usize, one: &'a str, many: &'a str) -> &'a str {
    if count == 1 { one } else { many }
}
