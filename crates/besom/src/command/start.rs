//! `besom start`: makes a reel folder from scans.

use std::path::PathBuf;

use besom_reel::work::{self, InfraredFrom, StartOptions, StartReport};
use besom_reel::{Gauge, InfraredInfo, InfraredSource, Rate};
use serde_json::{Value, json};

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{counted, ranges};

/// Make a reel folder from scans: surveys headers, gaps, sizes, shots and grain
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// A folder of scans, one of its files, or a pattern such as skerry.####.dpx
    scans: PathBuf,
    /// The reel folder to make
    #[arg(long, value_name = "R.besom")]
    reel: PathBuf,
    /// Frames a second, such as 24, 23.976 or 24000/1001 [default: the scans' headers, else 24]
    #[arg(long, value_name = "RATE", value_parser = rate)]
    fps: Option<Rate>,
    /// Film gauge: 35mm-4perf, 35mm-3perf, 35mm-2perf, 16mm, super8 or 65mm-5perf [default: 35mm-4perf]
    #[arg(long, value_parser = gauge)]
    gauge: Option<Gauge>,
    /// The scans' infrared: a folder, file or pattern of a second sequence with the same numbers, or the word channel for
    /// the scans' own last channel
    #[arg(long, value_name = "PATTERN")]
    infrared: Option<PathBuf>,
}

/// The word that names the scans' own last channel; a folder of this name is reached as `./channel`.
const CHANNEL: &str = "channel";

fn infrared(path: PathBuf) -> InfraredFrom {
    if path.as_os_str() == CHANNEL { InfraredFrom::Channel } else { InfraredFrom::Sequence(path) }
}

fn rate(text: &str) -> Result<Rate, String> {
    Rate::parse(text).ok_or_else(|| format!("'{text}' is not a frame rate from 1 to 1000"))
}

fn gauge(text: &str) -> Result<Gauge, String> {
    Gauge::from_word(text).ok_or_else(|| {
        let words: Vec<_> = Gauge::ALL.into_iter().map(Gauge::word).collect();
        format!("'{text}' is not a gauge; there are {}", words.join(", "))
    })
}

/// The resolved job.
pub(crate) struct Job {
    scans: PathBuf,
    reel: PathBuf,
    options: StartOptions,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Self {
        let options = StartOptions {
            rate: arguments.fps,
            gauge: arguments.gauge,
            infrared: arguments.infrared.map(infrared),
            ..StartOptions::default()
        };
        Self { scans: arguments.scans, reel: arguments.reel, options }
    }

    pub(crate) fn run(self, terminal: &Terminal) -> Result<(), Ending> {
        let report = work::start(&self.scans, &self.reel, &self.options, terminal)?;
        terminal.report(&lines(&report), &value(&report))
    }
}

/// Most odd frames that are printed one by one.
const MOST_ODD: usize = 20;

/// The survey in lines for people.
pub(super) fn lines(report: &StartReport) -> Vec<String> {
    let info = &report.info;
    let mut lines = vec![
        format!(
            "{}: {}, {} to {}, {}x{}, {} bits {}, {}",
            report.reel.display(),
            counted(report.frames, "frame"),
            info.first,
            info.last,
            info.width,
            info.height,
            info.bits,
            info.transfer,
            info.format
        ),
        format!("{} at {} frames a second on {}", counted(report.shots.len(), "shot"), info.rate, info.gauge),
    ];
    if !report.gaps.is_empty() {
        lines.push(format!("missing: {}", ranges(&report.gaps)));
    }
    for problem in &info.problems {
        let frame = problem.frame.map_or_else(String::new, |frame| format!("frame {frame}: "));
        lines.push(format!("{frame}{}", problem.text));
    }
    lines.extend(info.infrared.iter().map(|infrared| format!("infrared: {}", infrared.words())));
    let odd: Vec<_> = report.shots.iter().flat_map(|shot| &shot.odd).collect();
    for odd in odd.iter().take(MOST_ODD) {
        let (frame, sure) = (odd.frame, 100.0 * odd.confidence);
        lines.push(format!("frame {frame}: {} ({sure:.0} % sure)", odd.what.sentence()));
    }
    if odd.len() > MOST_ODD {
        lines.push(format!("and {} more odd frames, listed in the Survey", odd.len() - MOST_ODD));
    }
    lines.extend(report.notes.iter().cloned());
    lines
}

/// The survey as one object.
pub(super) fn value(report: &StartReport) -> Value {
    let info = &report.info;
    json!({
        "command": "start",
        "reel": report.reel,
        "name": info.name,
        "frames": report.frames,
        "first": info.first,
        "last": info.last,
        "gaps": report.gaps.iter().map(|g| json!([g.start(), g.end()])).collect::<Vec<_>>(),
        "width": info.width,
        "height": info.height,
        "channels": info.channels,
        "bits": info.bits,
        "transfer": info.transfer,
        "format": info.format,
        "guarantee": info.guarantee,
        "fps": info.rate.fps(),
        "gauge": info.gauge.word(),
        "shots": report.shots.iter().map(|s| json!({"index": s.index, "first": s.first, "last": s.last})).collect::<Vec<_>>(),
        "problems": info.problems.iter().map(|p| json!({"frame": p.frame, "text": p.text})).collect::<Vec<_>>(),
        "infrared": info.infrared.as_ref().map(infrared_value),
        "odd_frames": report.shots.iter().flat_map(|s| &s.odd).map(|o| json!({"frame": o.frame, "what": o.what.word(), "confidence": o.confidence})).collect::<Vec<_>>(),
        "notes": report.notes,
    })
}

fn infrared_value(info: &InfraredInfo) -> Value {
    let shots = (0..info.shots.len()).map(|shot| {
        let likeness = info.shots[shot];
        json!({
            "weight": info.weight(shot),
            "correlation": likeness.map(|l| l.correlation),
            "contrast": likeness.map(|l| l.contrast),
        })
    });
    json!({
        "source": if info.source == InfraredSource::Channel { "channel" } else { "sequence" },
        "words": info.words(),
        "shots": shots.collect::<Vec<_>>(),
    })
}
