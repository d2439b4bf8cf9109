//! `infrared`: what an infrared plane is worth on clips aged here.

use std::io::Write;
use std::path::PathBuf;

use besom_detect::Model;
use besom_detect::infrared::Likeness;
use besom_proof::ageing::infrared::{Film, Infrared};
use besom_proof::ageing::{Level, Settings};
use besom_proof::study::Figures;
use besom_proof::study::infrared::{Depth, study};

use super::{Failure, clean_clip};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Clean clips: folders of PNG frames.
    #[arg(required = true)]
    clips: Vec<PathBuf>,
    /// Displacement of the infrared against the picture, in pixels.
    #[arg(long, default_value_t = 0.75)]
    displaced: f32,
    /// Lowest confidence of a candidate.
    #[arg(long, default_value_t = besom_detect::DEFAULT_SENSITIVITY)]
    sensitivity: f32,
    /// At most so many frames of each clip.
    #[arg(long, default_value_t = 24)]
    frames: usize,
    /// Frames in which the film also shows what silver and a leaking dye do.
    #[arg(long)]
    all_films: bool,
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let model = Model::built_in()?;
    let mut depths = Vec::new();
    let films = if arguments.all_films { &[Film::Dyes, Film::LeakingCyan, Film::Silver][..] } else { &[Film::Dyes] };
    writeln!(
        out,
        "{:<34}{:>8}{:>9}{:>7}{:>7}   dust, hair, precision without -> with",
        "", "alike", "contrast", "depth", "weight"
    )?;
    for (k, clip) in arguments.clips.iter().enumerate() {
        let (clip, clean) = clean_clip(clip, arguments.frames)?;
        for (level, name) in [(Level::Light, "light"), (Level::Heavy, "heavy")] {
            for film in films {
                let infrared = Infrared { film: *film, displaced: arguments.displaced, ..Infrared::default() };
                let done = study(&clean, &Settings::of(level), &infrared, 4_000 + k as u64, &model);
                let figures = [0, 1].map(|with| words(&done.figures(with, arguments.sensitivity)));
                let title = format!("{clip} {name} {film:?}");
                let [without, with] = figures;
                let Likeness { correlation, contrast, depth } = done.likeness;
                write!(out, "{title:<34}{correlation:>8.2}{contrast:>9.3}{depth:>7.2}{:>7.2}", done.weight)?;
                writeln!(out, "   {without} -> {with}")?;
                if *film == Film::Dyes {
                    depths.extend(done.depths);
                }
            }
        }
    }
    table(&depths, out)
}

fn words(f: &Figures) -> String {
    format!("{:.3} {:.3} {:.3}", f.recall(0), f.recall(1), f.precision())
}

/// Upper bounds of the depths' bins.
const BINS: [f32; 11] = [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 10.0, f32::INFINITY];
/// Bounds of the confidences' bins.
const CONFIDENCES: [(f32, f32); 4] = [(0.02, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 1.01)];

/// How often each depth occurs at dirt and at what is no dirt, and the logarithm of their ratio.
fn table(depths: &[Depth], out: &mut dyn Write) -> Result<(), Failure> {
    for (low, high) in CONFIDENCES {
        let here: Vec<&Depth> = depths.iter().filter(|(c, _, _)| (low..high).contains(c)).collect();
        let all = |real: bool| here.iter().filter(|(_, _, r)| *r == real).count();
        writeln!(out, "confidence {low} to {high}: {} dirt, {} not", all(true), all(false))?;
        let mut from = f32::NEG_INFINITY;
        for bound in BINS {
            let count = |real: bool| here.iter().filter(|(_, d, r)| *r == real && (from..bound).contains(d)).count();
            // Half a mark more in each keeps empty bins finite.
            let share = |real: bool| (count(real) as f32 + 0.5) / (all(real) as f32 + 0.5);
            let ratio = libm::logf(share(true) / share(false));
            writeln!(out, "  up to {bound:>5}: {:>6} {:>6}  log ratio {ratio:>6.2}", count(true), count(false))?;
            from = bound;
        }
    }
    Ok(())
}
