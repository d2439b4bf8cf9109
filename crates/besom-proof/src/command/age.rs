//! `age`: a clean clip gets grain, weave, flicker and dirt, and its truth beside it.

use std::io::Write;
use std::path::PathBuf;

use besom_proof::ageing::files::{ClipFolder, read_clean};
use besom_proof::ageing::infrared::{Film, Infrared};
use besom_proof::ageing::{Ageing, Level, Settings};
use besom_scan::write::check_target;
use besom_scan::{Plane, ScanError};
use image::imageops::{FilterType, resize};
use image::{ImageBuffer, Luma};
use rayon::prelude::*;

use super::Failure;

#[derive(Clone, Copy, clap::ValueEnum)]
enum LevelName {
    /// Grain, weave and flicker alone.
    #[value(alias = "none")]
    Undamaged,
    /// A well kept print.
    Light,
    /// A print that was run for years.
    Heavy,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum FilmName {
    /// Colour film whose dyes let infrared pass.
    Dyes,
    /// Colour film whose cyan dye blocks part of it.
    LeakingCyan,
    /// Black-and-white film, whose silver blocks it.
    Silver,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The clean clip: a folder of PNG frames of one size, in the order of their names.
    clip: PathBuf,
    /// Where to write `scans` and `clean` (10-bit DPX) and `truth` (label bits as grey PNG).
    #[arg(long)]
    to: PathBuf,
    /// How bad the film is.
    #[arg(long, value_enum, default_value = "light")]
    level: LevelName,
    /// A film unlike others, chosen by this number, instead of a level.
    #[arg(long, conflicts_with = "level")]
    variety: Option<u64>,
    /// The same seed gives the same bytes.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Name of the files, before the scan number.
    #[arg(long, default_value = "clip")]
    name: String,
    /// Number of the first scan.
    #[arg(long, default_value_t = 1)]
    first: u64,
    /// Scale the clean frames to this width first.
    #[arg(long, value_parser = clap::value_parser!(u32).range(16..=16384))]
    width: Option<u32>,
    /// Mean grain in codes, instead of the level's.
    #[arg(long)]
    grain: Option<f32>,
    /// Unsteadiness in pixels (root mean square), instead of the level's.
    #[arg(long)]
    weave: Option<f32>,
    /// Change of exposure as a share (root mean square), instead of the level's.
    #[arg(long)]
    flicker: Option<f32>,
    /// Dust particles on a full 2K frame, instead of the level's.
    #[arg(long)]
    dust: Option<f32>,
    /// Hairs on a full 2K frame, instead of the level's.
    #[arg(long)]
    hairs: Option<f32>,
    /// Probability of a dense cloud of dust on a frame, instead of the level's.
    #[arg(long)]
    clouds: Option<f32>,
    /// Line scratches that cross a frame on average, instead of the level's.
    #[arg(long)]
    lines: Option<f32>,
    /// Marks fixed in the gate that the clip carries on average, instead of none.
    #[arg(long)]
    gate_marks: Option<f32>,
    /// Write the infrared of a film of this kind too, into the folder `infrared`.
    #[arg(long, value_enum, value_name = "FILM")]
    infrared: Option<FilmName>,
    /// Write the infrared as the scans' fourth channel instead.
    #[arg(long, requires = "infrared")]
    infrared_channel: bool,
}

impl Arguments {
    fn settings(&self) -> Result<Settings, Failure> {
        let level = match self.level {
            LevelName::Undamaged => Level::Undamaged,
            LevelName::Light => Level::Light,
            LevelName::Heavy => Level::Heavy,
        };
        let preset = self.variety.map_or_else(|| Settings::of(level), Settings::varied);
        let settings = Settings {
            grain: self.grain.unwrap_or(preset.grain),
            weave: self.weave.unwrap_or(preset.weave),
            flicker: self.flicker.unwrap_or(preset.flicker),
            dust: self.dust.unwrap_or(preset.dust),
            hairs: self.hairs.unwrap_or(preset.hairs),
            clouds: self.clouds.unwrap_or(preset.clouds),
            lines: self.lines.unwrap_or(preset.lines),
            gate_marks: self.gate_marks.unwrap_or(preset.gate_marks),
            style: preset.style,
        };
        let Settings { grain, weave, flicker, dust, hairs, clouds, lines, gate_marks, .. } = settings;
        // The limits keep a slip of the finger from filling memory with particles; no film is worse.
        let limits = [
            (grain, 200.0),
            (weave, 50.0),
            (flicker, 1.0),
            (dust, 1e5),
            (hairs, 1e4),
            (clouds, 1.0),
            (lines, 100.0),
            (gate_marks, 1e4),
        ];
        if limits.iter().all(|(value, most)| (0.0..=*most).contains(value)) {
            return Ok(settings);
        }
        Err(Failure::because("an amount of grain, weave, flicker or dirt is negative, not a number or too large"))
    }
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let settings = arguments.settings()?;
    if arguments.name.is_empty() || arguments.name.contains(['/', '\\']) {
        return Err(Failure::because("the name of the files is empty or holds a slash"));
    }
    check_target(&arguments.clip, &arguments.to)?;
    let mut frames = read_clean(&arguments.clip)?;
    if let Some(width) = arguments.width {
        frames.par_iter_mut().flatten().for_each(|plane| *plane = scaled(plane, width));
    }
    let size = frames.first().and_then(|f| f.first()).map_or((0, 0), |p| (p.width(), p.height()));
    let ageing = Ageing::new(&settings, size.0, size.1, frames.len(), arguments.seed);
    let film = arguments.infrared.map(film);
    if arguments.infrared_channel && frames.first().is_some_and(|planes| planes.len() != 3) {
        return Err(Failure::because("a grey clip's DPX files have no place for an infrared channel"));
    }
    let mut folder = ClipFolder::create(&arguments.to, &arguments.name)?;
    if film.is_some() && !arguments.infrared_channel {
        folder = folder.with_infrared()?;
    }
    let write = |(n, planes): (usize, &Vec<Plane>)| {
        let (number, frame) = (arguments.first + n as u64, ageing.frame(n, planes));
        let Some(film) = &film else { return folder.write(number, &frame) };
        let infrared = film.plane(&ageing, n, &frame);
        if arguments.infrared_channel {
            return folder.write_with_channel(number, &frame, infrared);
        }
        folder.write(number, &frame).and_then(|()| folder.write_infrared(number, &infrared))
    };
    // Collected before the first error is looked for, so that it is the first frame's whatever the threads do.
    let written: Vec<Result<(), ScanError>> = frames.par_iter().enumerate().map(write).collect();
    written.into_iter().collect::<Result<(), _>>()?;
    writeln!(out, "{} frames of {} x {} written to {}", frames.len(), size.0, size.1, arguments.to.display())?;
    Ok(())
}

fn film(name: FilmName) -> Infrared {
    let film = match name {
        FilmName::Dyes => Film::Dyes,
        FilmName::LeakingCyan => Film::LeakingCyan,
        FilmName::Silver => Film::Silver,
    };
    Infrared { film, ..Infrared::default() }
}

/// A plane at another width, its proportions kept, by cubic interpolation (area-weighted when it shrinks).
fn scaled(plane: &Plane, width: u32) -> Plane {
    let (w, h) = (plane.width() as u32, plane.height() as u32);
    let height = ((u64::from(h) * u64::from(width) + u64::from(w) / 2) / u64::from(w.max(1))).max(1) as u32;
    // Float pictures of this library range from 0 to 1, and it clips to that range.
    let shares = plane.as_slice().iter().map(|v| v / 1023.0).collect();
    let Some(picture) = ImageBuffer::<Luma<f32>, Vec<f32>>::from_raw(w, h, shares) else {
        return plane.clone();
    };
    let samples = resize(&picture, width, height, FilterType::CatmullRom).into_raw();
    let codes = samples.into_iter().map(|v| v * 1023.0).collect();
    Plane::from_vec(width as usize, height as usize, codes).unwrap_or_else(|| plane.clone())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use besom_proof::score::score_folders;
    use image::RgbImage;
    use std::path::Path;

    fn ran(clip: &Path, to: &Path, more: &[&str]) -> Result<String, Failure> {
        let (clip, to) = (clip.display().to_string(), to.display().to_string());
        crate::command::ran(&[&["age", &clip, "--to", &to], more].concat())
    }

    fn clip() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for n in 0..3u32 {
            let pixel = |x: u32, y: u32| image::Rgb([(x * 2 + n) as u8, (y * 3) as u8, 90]);
            RgbImage::from_fn(80, 60, pixel).save(folder.path().join(format!("f{n}.png"))).unwrap();
        }
        folder
    }

    #[test]
    fn an_aged_clip_can_be_scored_at_once() {
        let (clip, to) = (clip(), tempfile::tempdir().unwrap());
        let said = ran(clip.path(), to.path(), &["--level", "heavy", "--dust", "2000", "--first", "40"]).unwrap();
        assert!(said.starts_with("3 frames of 80 x 60"), "{said}");
        assert!(to.path().join("scans/clip.0000042.dpx").is_file());
        // The truth as masks and the clean pictures as repair: a perfect score.
        let score = score_folders(to.path(), &to.path().join("truth"), Some(&to.path().join("clean"))).unwrap();
        assert!(score.detection.dust.all > 3);
        assert_eq!(score.detection.dust.share(), Some(1.0));
        assert_eq!(score.repair.unwrap().psnr(), Some(f64::INFINITY));
        // Without dirt nothing is labelled.
        let other = tempfile::tempdir().unwrap();
        ran(clip.path(), other.path(), &["--level", "none", "--width", "40"]).unwrap();
        let score = score_folders(other.path(), &other.path().join("truth"), None).unwrap();
        assert_eq!((score.detection.dust.all, score.detection.line.all), (0, 0));
        assert_eq!(score.detection.pixels, 3 * 40 * 30);
    }

    #[test]
    fn infrared_is_written_beside_the_scans_or_into_them() {
        let (clip, apart, within) = (clip(), tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let dirt = ["--level", "heavy", "--dust", "2000", "--infrared"];
        ran(clip.path(), apart.path(), &[&dirt[..], &["dyes"]].concat()).unwrap();
        ran(clip.path(), within.path(), &[&dirt[..], &["dyes", "--infrared-channel"]].concat()).unwrap();
        let scan = |folder: &Path, part: &str| {
            besom_scan::Scan::read(&folder.join(part).join("clip.0000002.dpx")).unwrap().frame().clone()
        };
        let (picture, four) = (scan(apart.path(), "scans"), scan(within.path(), "scans"));
        let infrared = scan(apart.path(), "infrared");
        assert_eq!((picture.channels, four.channels, infrared.channels), (3, 4, 1));
        assert_eq!(four.analysis(), picture.analysis());
        assert!((0..80).all(|x| four.native_bits(x, 31, 3) == infrared.native_bits(x, 31, 0)));
        let other = tempfile::tempdir().unwrap();
        ran(clip.path(), other.path(), &[&dirt[..], &["silver"]].concat()).unwrap();
        assert_ne!(scan(other.path(), "infrared"), infrared);
        assert_eq!(scan(other.path(), "scans"), picture, "the picture does not depend on the infrared");
    }

    #[test]
    fn what_cannot_be_done_is_said_in_one_sentence() {
        let (clip, to) = (clip(), tempfile::tempdir().unwrap());
        let says = |clip: &Path, to: &Path, more: &[&str], words: &str| {
            let said = ran(clip, to, more).unwrap_err().to_string();
            assert!(said.contains(words), "{said}");
        };
        says(to.path(), &to.path().join("out"), &[], "inside");
        says(&to.path().join("none"), &to.path().join("out"), &[], "none");
        says(clip.path(), &clip.path().join("out"), &[], "inside");
        says(clip.path(), to.path(), &["--dust", "NaN"], "not a number");
        says(clip.path(), to.path(), &["--name", "a/b"], "slash");
        assert_eq!(std::fs::read_dir(to.path()).unwrap().count(), 0);
    }

    #[test]
    fn scaling_keeps_proportions_and_flat_fields() {
        let small = scaled(&Plane::filled(90, 61, 512.0), 45);
        assert_eq!((small.width(), small.height()), (45, 31));
        assert!(small.as_slice().iter().all(|v| (v - 512.0).abs() < 0.01));
    }
}
