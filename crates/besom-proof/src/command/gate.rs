//! `gate`: what marks fixed in the gate cost and how many are found, and the training of their ensemble.

use std::io::Write;
use std::path::PathBuf;
use std::time::Instant;

use besom_detect::gate::GateModel;
use besom_detect::{Candidate, Model, Origin, Settings};
use besom_proof::ageing::{Aged, GATE, Level, Settings as Ageing, age};
use besom_proof::figures::{Detector, seed_of};
use besom_proof::score::{LEAST_PIXELS, Truth, is_found, objects};
use besom_proof::study::gate::{GateLesson, lessons_of_clip, table, teach};
use besom_proof::train::importance;
use besom_scan::Plane;
use besom_scan::write::write_atomically;

use super::{Failure, clean_clip};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Folders of clean frames as PNG, one a clip; clips of one film are joined by commas and left out together.
    clips: Vec<String>,
    /// Frames of each clip that are used.
    #[arg(long, default_value_t = 12)]
    frames: usize,
    /// Marks in the gate of each clip, on average.
    #[arg(long, default_value_t = 12.0)]
    marks: f32,
    /// Candidates below this confidence do not count.
    #[arg(long, default_value_t = besom_detect::DEFAULT_SENSITIVITY)]
    sensitivity: f32,
    /// The ensemble of gate marks, instead of the one that ships with Besom.
    #[arg(long)]
    ensemble: Option<PathBuf>,
    /// Train the ensemble and print the figures of each clip when it was left out.
    #[arg(long, conflicts_with_all = ["ensemble", "marks"])]
    train: bool,
    /// Folder for the trained `gate.ron`.
    #[arg(long, requires = "train")]
    to: Option<PathBuf>,
    /// Write an ensemble for each film that never saw it too, as `gate-without-CLIP.ron`, to be judged by.
    #[arg(long, requires = "to")]
    left_out: bool,
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    if arguments.train { train(arguments, out) } else { figures(arguments, out) }
}

fn train(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let mut lessons: Vec<GateLesson> = Vec::new();
    for (film, folders) in arguments.clips.iter().enumerate() {
        for folder in folders.split(',').map(PathBuf::from) {
            let (name, clean) = clean_clip(&folder, arguments.frames)?;
            lessons.extend(lessons_of_clip(film as u32, &name, &clean));
            writeln!(out, "studied {name}")?;
        }
    }
    let all: Vec<&GateLesson> = lessons.iter().collect();
    let taught = teach(&all)?;
    for sensitivity in [0.2, arguments.sensitivity, 0.6] {
        write!(out, "{}", table(&all, &taught, sensitivity))?;
    }
    for i in importance(&taught.confidence.fit).iter().take(20) {
        writeln!(out, "{:28} {:.3}", i.name, i.share)?;
    }
    if let Some(folder) = &arguments.to {
        write_atomically(&folder.join("gate.ron"), taught.confidence.fit.trees.to_ron().as_bytes())?;
        for film in 0..if arguments.left_out { arguments.clips.len() as u32 } else { 0 } {
            let others: Vec<&GateLesson> = lessons.iter().filter(|l| l.clip != film).collect();
            let Some(name) = lessons.iter().find(|l| l.clip == film).map(|l| &l.name) else { continue };
            let text = teach(&others)?.confidence.fit.trees.to_ron();
            write_atomically(&folder.join(format!("gate-without-{name}.ron")), text.as_bytes())?;
        }
    }
    Ok(())
}

/// What was counted on the frames of one film.
#[derive(Default)]
struct Counts {
    /// Marks in the gate on all frames, those found, and those found by a candidate whose origin is the gate.
    marks: [usize; 3],
    /// The same of marks behind which the picture moves.
    moving: [usize; 3],
    /// Candidates that count, false ones.
    claims: (usize, usize),
    /// Candidates that count and come from the gate, false ones, and those on another kind of dirt.
    gate: (usize, usize, usize),
}

fn figures(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let mut model = Model::built_in()?;
    if let Some(path) = &arguments.ensemble {
        let text = std::fs::read_to_string(path).map_err(|e| Failure::about(path, e))?;
        model = model.with_gate(GateModel::from_ron(&text)?);
    }
    let detector = |gate| {
        let settings = Settings { gate, ..Settings::default() };
        Detector { model: model.clone(), settings, sensitivity: arguments.sensitivity }
    };
    let (without, with) = (detector(false), detector(true));
    writeln!(
        out,
        "clip         film        search   marks  found  as gate | behind motion  found  as gate | candidates  false/f/Mpx | as gate  false/f/Mpx  other dirt | seconds"
    )?;
    for folder in arguments.clips.iter().flat_map(|c| c.split(',')).map(PathBuf::from) {
        let (name, clean) = clean_clip(&folder, arguments.frames)?;
        let seed = seed_of(&name);
        let light = Ageing { gate_marks: arguments.marks, ..Ageing::of(Level::Light) };
        for (film, settings) in [("gate marks", light), ("undamaged", Ageing::of(Level::Undamaged))] {
            let aged = age(&clean, &settings, seed);
            for (search, detector) in [("without", &without), ("with", &with)] {
                let begun = Instant::now();
                let found = detector.candidates(&aged.aged);
                let seconds = begun.elapsed().as_secs_f64();
                let counts = count(&aged, &found, arguments.sensitivity);
                write_row(out, (&name, film, search), &counts, &aged, seconds)?;
            }
        }
    }
    Ok(())
}

fn write_row(
    out: &mut dyn Write,
    (name, film, search): (&str, &str, &str),
    c: &Counts,
    aged: &Aged,
    seconds: f64,
) -> std::io::Result<()> {
    let pixels = aged.labels.iter().map(|l| l.width() * l.height()).sum::<usize>().max(1) as f64;
    let rate = |count: usize| count as f64 * 1e6 / pixels;
    writeln!(
        out,
        "{name:12} {film:11} {search:8} {:5} {:6} {:8} | {:13} {:6} {:8} | {:10} {:12.2} | {:7} {:12.2} {:11} | {seconds:7.1}",
        c.marks[0],
        c.marks[1],
        c.marks[2],
        c.moving[0],
        c.moving[1],
        c.moving[2],
        c.claims.0,
        rate(c.claims.1),
        c.gate.0,
        rate(c.gate.1),
        c.gate.2
    )
}

/// Mean change of the clean picture beneath a mark to the frames next to it, in grain sigmas, from which the picture counts as
/// moving: grain alone, of two frames and smoothed by nothing, makes 1.1.
const MOVES: f32 = 1.6;

fn count(aged: &Aged, found: &[Vec<Candidate>], sensitivity: f32) -> Counts {
    let mut counts = Counts::default();
    for (n, (labels, candidates)) in aged.labels.iter().zip(found).enumerate() {
        let mut painted = [(); 2].map(|()| Plane::<u8>::new(labels.width(), labels.height()));
        let marks = labels.map(|bits| bits & GATE);
        let (truth, of_gate) = (Truth::new(labels), Truth::new(&marks));
        for candidate in candidates.iter().filter(|c| c.confidence >= sensitivity) {
            candidate.mask.paint(&mut painted[0], 1);
            let Some(real) = truth.judge(&candidate.mask) else { continue };
            counts.claims.0 += 1;
            counts.claims.1 += usize::from(!real);
            if candidate.origin == Origin::Gate {
                candidate.mask.paint(&mut painted[1], 1);
                counts.gate.0 += 1;
                counts.gate.1 += usize::from(!real);
                counts.gate.2 += usize::from(real && of_gate.judge(&candidate.mask) == Some(false));
            }
        }
        for mark in objects(&marks, |v| v != 0, LEAST_PIXELS) {
            let each = [true, is_found(&mark, &painted[0]), is_found(&mark, &painted[1])];
            let beside = [n.checked_sub(1), n.checked_add(1)];
            let change = |other: usize| {
                let (here, there) = (&aged.clean[n], aged.clean.get(other)?);
                let green = here.len() / 2;
                let sum: f32 = mark
                    .pixels()
                    .map(|(x, y)| {
                        (here[green].at(x as usize, y as usize) - there[green].at(x as usize, y as usize)).abs()
                    })
                    .sum();
                Some(sum / mark.area() as f32)
            };
            let most = beside.into_iter().flatten().filter_map(change).fold(0.0, f32::max);
            let moves = most > MOVES * Ageing::of(Level::Light).grain;
            for (k, holds) in each.into_iter().enumerate() {
                counts.marks[k] += usize::from(holds);
                counts.moving[k] += usize::from(holds && moves);
            }
        }
    }
    counts
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    #[test]
    fn a_small_clip_is_counted_with_and_without_the_search() {
        let clips = tempfile::tempdir().unwrap();
        let folder = clips.path().join("skerry");
        std::fs::create_dir(&folder).unwrap();
        for n in 0..4u32 {
            let pixel = |x: u32, y: u32| image::Luma([((x + 3 * n).wrapping_mul(7) % 40 + y + 60) as u8]);
            image::GrayImage::from_fn(160, 120, pixel).save(folder.join(format!("f{n}.png"))).unwrap();
        }
        let said = crate::command::ran(&["gate", &folder.display().to_string(), "--marks", "30"]).unwrap();
        let rows: Vec<&str> = said.lines().skip(1).collect();
        assert_eq!(rows.len(), 4, "{said}");
        // Both searches of a film count the same marks, and an undamaged film has none.
        let marks = |row: &str| row.split('|').next().unwrap().split_whitespace().rev().nth(2).unwrap().to_owned();
        assert_eq!(marks(rows[0]), marks(rows[1]));
        assert_ne!(marks(rows[0]), "0", "{said}");
        assert_eq!((marks(rows[2]), marks(rows[3])), ("0".to_owned(), "0".to_owned()));
    }
}
