//! `train`: trains the ensembles that ship with Besom, and shows how they do on clips left out.

use std::io::Write;
use std::path::PathBuf;

use besom_proof::study::lesson::{
    Lesson, Taught, figures, lessons_of_clip, lessons_of_demo, reliability, risk_shares, teach,
};
use besom_proof::study::lines;
use besom_proof::train::importance;
use besom_scan::Plane;
use besom_scan::write::write_atomically;

use super::{Failure, clean_clip};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Folders of clean frames as PNG, one a clip; clips of one film are joined by commas and left out together.
    clips: Vec<String>,
    /// Leave out the demo reel, whose shots are added otherwise.
    #[arg(long)]
    without_demo: bool,
    /// Frames of each clip that are used.
    #[arg(long, default_value_t = 12)]
    frames: usize,
    /// Train the lines' ensemble alone.
    #[arg(long)]
    only_lines: bool,
    /// Train the ensembles of dust and hairs alone.
    #[arg(long, conflicts_with = "only_lines")]
    without_lines: bool,
    /// Folder for `first-look.ron`, `confidence.ron`, `company.ron` and `lines.ron`; without it only the table is printed.
    #[arg(long)]
    to: Option<PathBuf>,
    /// Sensitivities of the table.
    #[arg(long, value_delimiter = ',', default_values_t = [0.3, 0.4, 0.5, 0.7])]
    sensitivities: Vec<f32>,
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    if !arguments.without_lines {
        train_lines(arguments, out)?;
    }
    if arguments.only_lines {
        return Ok(());
    }
    let mut lessons = Vec::new();
    for_each_clip(arguments, arguments.frames, |clip, name, clean| {
        lessons.extend(lessons_of_clip(clip, name, clean));
        writeln!(out, "studied {name}")
    })?;
    if !arguments.without_demo {
        lessons.extend(lessons_of_demo(arguments.clips.len() as u32));
    }
    let taught = teach(&lessons)?;
    for sensitivity in &arguments.sensitivities {
        print_table(&lessons, &taught, *sensitivity, out)?;
    }
    if let Some(error) = reliability(&lessons, &taught.left_out).error() {
        writeln!(out, "expected calibration error, clips left out: {error:.3}")?;
    }
    for (words, real, false_ones) in risk_shares(&lessons, &taught.left_out, 0.2) {
        writeln!(out, "at risk ({words}): {real:.3} of the real, {false_ones:.3} of the false from 0.2 up")?;
    }
    for i in importance(&taught.confidence.fit).iter().take(20) {
        writeln!(out, "{:28} {:.3}", i.name, i.share)?;
    }
    if let Some(folder) = &arguments.to {
        let files = [
            ("first-look.ron", &taught.first_look),
            ("confidence.ron", &taught.confidence),
            ("company.ron", &taught.company),
        ];
        for (name, calibrated) in files {
            write_atomically(&folder.join(name), calibrated.fit.trees.to_ron().as_bytes())?;
        }
    }
    Ok(())
}

fn print_table(lessons: &[Lesson], taught: &Taught, sensitivity: f32, out: &mut dyn Write) -> Result<(), Failure> {
    writeln!(out, "\nsensitivity {sensitivity}, each clip judged by ensembles that never saw it")?;
    writeln!(out, "clip                 ageing        dust   large  hair   line   precision  false/frame/Mpx")?;
    let (mut recall, mut precision, mut count) = (0.0, 0.0, 0.0);
    for (lesson, confidences) in lessons.iter().zip(&taught.left_out) {
        let f = figures(lesson, confidences, sensitivity);
        let large = f.large.1 as f32 / f.large.0 as f32;
        let rate = f.candidates.1 as f32 / lesson.frames.len() as f32 / lesson.megapixels;
        writeln!(
            out,
            "{:20} {:12} {:6.3} {large:6.3} {:6.3} {:6.3} {:9.3} {rate:9.2}",
            lesson.name,
            lesson.ageing,
            f.recall(0),
            f.recall(1),
            f.recall(2),
            f.precision()
        )?;
        if matches!(lesson.ageing, "light" | "heavy") {
            recall += f.recall(0);
            precision += f.precision();
            count += 1.0;
        }
    }
    writeln!(out, "mean of light and heavy: dust recall {:.3}, precision {:.3}", recall / count, precision / count)?;
    Ok(())
}

/// Reads each clip's first frames in turn and calls `study` with the number of its film, its name and the frames.
fn for_each_clip(
    arguments: &Arguments,
    frames: usize,
    mut study: impl FnMut(u32, &str, &[Vec<Plane>]) -> std::io::Result<()>,
) -> Result<(), Failure> {
    for (film, folders) in arguments.clips.iter().enumerate() {
        for folder in folders.split(',').map(PathBuf::from) {
            let (name, clean) = clean_clip(&folder, frames)?;
            study(film as u32, &name, &clean)?;
        }
    }
    Ok(())
}

/// Frames of each clip that teach lines: it is taught in ten ways, and its lines stay much the same from frame to frame.
const LINE_FRAMES: usize = 6;

fn train_lines(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let mut lessons = Vec::new();
    for_each_clip(arguments, arguments.frames.min(LINE_FRAMES), |clip, name, clean| {
        lessons.extend(lines::lessons_of_clip(clip, name, clean));
        writeln!(out, "studied the lines of {name}")
    })?;
    if !arguments.without_demo {
        lessons.extend(lines::lessons_of_demo(arguments.clips.len() as u32));
    }
    let taught = lines::teach(&lessons)?;
    for sensitivity in &arguments.sensitivities {
        write!(out, "{}", lines::table(&lessons, &taught, *sensitivity))?;
    }
    if let Some(folder) = &arguments.to {
        write_atomically(&folder.join("line-alone.ron"), taught.alone.fit.trees.to_ron().as_bytes())?;
        write_atomically(&folder.join("lines.ron"), taught.confidence.fit.trees.to_ron().as_bytes())?;
    }
    Ok(())
}
