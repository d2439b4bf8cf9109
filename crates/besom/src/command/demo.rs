//! `besom demo`: the demo reel, surveyed and detected, in the window.

use std::fs;
use std::path::{Path, PathBuf};

use besom_proof::demo::{Parts, Settings};
use besom_reel::work::{self, DetectOptions, DetectReport, StartOptions, StartReport};
use besom_reel::{By, Gauge, Rate, Reel};
use besom_scan::{Progress, write};
use serde_json::json;

use super::{detect, start, window};
use crate::Ending;
use crate::terminal::Terminal;

/// Copy the demo reel "Lamps of Skerry Point" to a working folder, survey and detect it, and open the window on it
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The folder to work in [default: a fresh one among the user's data]
    #[arg(long, value_name = "DIR")]
    to: Option<PathBuf>,
}

/// The resolved job.
pub(crate) struct Job {
    folder: PathBuf,
}

/// Name of the reel and of fresh working folders.
const NAME: &str = "lamps-of-skerry-point";

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Result<Self, Ending> {
        let folder = match arguments.to {
            Some(folder) => folder,
            None => fresh_folder()?,
        };
        Ok(Self { folder })
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        let made = make(&self.folder, terminal)?;
        start::lines(&made.started).iter().try_for_each(|line| terminal.say(line))?;
        detect::lines(&made.detected).iter().try_for_each(|line| terminal.say(line))?;
        let table = Reel::open_to_read(&made.reel)?.counts(By::Shot);
        if terminal.wants_json() {
            let value = json!({
                "command": "demo",
                "folder": self.folder,
                "reel": made.reel,
                "start": start::value(&made.started),
                "detect": detect::value(&made.detected),
                "ledger": table.json(),
            });
            terminal.print(&value.to_string())?;
        } else {
            terminal.say(&table.text())?;
            terminal.print(&format!("The demo reel is {}", made.reel.display()))?;
        }
        if window::has_display() { window::run(Some(made.reel)) } else { Ok(()) }
    }
}

/// A demo reel, ready to be reviewed.
struct Made {
    reel: PathBuf,
    started: StartReport,
    detected: DetectReport,
}

/// Makes scans and reel in `folder`, surveys and detects.
fn make(folder: &Path, progress: &dyn Progress) -> Result<Made, Ending> {
    let (scans, reel) = (folder.join("scans"), folder.join(format!("{NAME}.besom")));
    for place in [&scans, &reel] {
        if place.exists() {
            let place = place.display();
            return Err(Ending::failed(format!("{place}: it is there already; name another folder with --to")));
        }
    }
    scans_into(&scans, progress)?;
    let options = StartOptions {
        name: Some("Lamps of Skerry Point, reel 2".to_owned()),
        rate: Some(Rate::FILM),
        gauge: Some(Gauge::Mm35Perf4),
        ..StartOptions::default()
    };
    let started = work::start(&scans, &reel, &options, progress)?;
    let detected = work::detect(&reel, &DetectOptions::default(), progress)?;
    Ok(Made { reel, started, detected })
}

/// The same in a fresh folder, for the window's first screen.
pub(super) fn for_window(progress: &dyn Progress) -> Result<PathBuf, String> {
    let folder = fresh_folder().map_err(|e| e.to_string())?;
    make(&folder, progress).map(|made| made.reel).map_err(|e| e.to_string())
}

/// A folder that is not there yet, among the user's data (XDG Base Directory Specification), else among temporary files.
fn fresh_folder() -> Result<PathBuf, Ending> {
    let set = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let data =
        set("XDG_DATA_HOME").or_else(|| set("HOME").map(|home| home.join(".local/share"))).or_else(|| set("APPDATA"));
    let usable = data.map(|data| data.join("besom")).filter(|folder| fs::create_dir_all(folder).is_ok());
    let parent = usable.unwrap_or_else(std::env::temp_dir);
    (1..10_000)
        .map(|n| parent.join(if n == 1 { NAME.to_owned() } else { format!("{NAME}-{n}") }))
        .find(|folder| !folder.exists())
        .ok_or_else(|| Ending::failed(format!("{}: there is no room for another demo reel", parent.display())))
}

/// Puts the demo reel's scans into a folder that is not there yet: copies of the small ones that come with the sources, or
/// the same reel rendered anew.
fn scans_into(scans: &Path, progress: &dyn Progress) -> Result<(), Ending> {
    let parent = scans.parent().unwrap_or(Path::new("."));
    let failed =
        |path: &Path, what: &str, e: &std::io::Error| Ending::failed(format!("{}: {what}: {e}", path.display()));
    fs::create_dir_all(parent).map_err(|e| failed(parent, "it cannot be made", &e))?;
    // Made under another name first: a stopped demo leaves nothing that looks like a whole reel.
    let making = parent.join(".scans.part");
    let _ = fs::remove_dir_all(&making);
    fs::create_dir(&making).map_err(|e| failed(&making, "it cannot be made", &e))?;
    let made = match shipped() {
        Some(folder) => copy(&folder, &making, progress),
        None => render(&making, progress),
    };
    let made = made.and_then(|()| fs::rename(&making, scans).map_err(|e| failed(scans, "it cannot be made", &e)));
    if made.is_err() {
        let _ = fs::remove_dir_all(&making);
        // Only when nothing else is in it.
        let _ = fs::remove_dir(parent);
    }
    made
}

/// The folder `demo-frames` of the sources that this program was built in.
fn shipped() -> Option<PathBuf> {
    let program = std::env::current_exe().ok()?;
    program
        .ancestors()
        .skip(1)
        .take(6)
        .map(|folder| folder.join("demo-frames"))
        .find(|folder| !frames(folder).is_empty())
}

fn frames(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok).map(|entry| entry.path());
    let mut frames: Vec<PathBuf> = entries.filter(|path| path.extension().is_some_and(|e| e == "dpx")).collect();
    frames.sort();
    frames
}

fn copy(from: &Path, to: &Path, progress: &dyn Progress) -> Result<(), Ending> {
    let frames = frames(from);
    progress.begin("Copying the demo reel", frames.len() as u64);
    for frame in frames {
        if progress.cancelled() {
            return Err(Ending::Stopped);
        }
        let unreadable = |e: std::io::Error| Ending::failed(format!("{}: it cannot be read: {e}", frame.display()));
        let bytes = fs::read(&frame).map_err(unreadable)?;
        write::write_atomically(&to.join(frame.file_name().unwrap_or_default()), &bytes).map_err(Ending::failed)?;
        progress.advance(1);
    }
    Ok(())
}

fn render(to: &Path, progress: &dyn Progress) -> Result<(), Ending> {
    let settings = Settings::default();
    let written = besom_proof::demo::write(to, &settings, Parts::Scans, progress).map_err(Ending::failed)?;
    if written < settings.frames { Err(Ending::Stopped) } else { Ok(()) }
}
