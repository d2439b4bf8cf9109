//! `peers`: a published detector, and a simple fill, on optical flow from `.flo` files.

use std::io::Write;
use std::path::{Path, PathBuf};

use besom_proof::peers::{Fill, Flow, Rule, channel_mean};
use besom_proof::score::clip::read_marks;
use besom_proof::score::{LEAST_PIXELS, objects};
use besom_scan::write::{check_target, write_atomically};
use besom_scan::{Plane, SampleEdit, Scan, Sequence};
use rayon::prelude::*;

use super::Failure;

#[derive(Clone, Copy, clap::ValueEnum)]
enum RuleName {
    /// Both differences exceed the threshold (Kokaram et al., 1995).
    Sdia,
    /// Both exceed it with the same sign (Kokaram et al., 1995).
    Sdip,
    /// Rank-order differences (Nadenau & Mitra, 1997); the threshold is the first of three.
    Rod,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum FillName {
    /// Mean of both neighbours.
    Average,
    /// Median of both neighbours and the frame.
    Median,
    /// Previous frame.
    Previous,
    /// Next frame.
    Next,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The clip: a folder with `scans` in it.
    folder: PathBuf,
    /// Folder of flow files, `previous.<number>.flo` and `next.<number>.flo` for each scan, the number written as in the
    /// scan's name: where each of its pixels stands in the frame before and in the frame after. The first scan needs no
    /// `previous` and the last no `next`: the other is used twice.
    #[arg(long)]
    flow: PathBuf,
    /// The detector.
    #[arg(long, value_enum, default_value = "sdip")]
    rule: RuleName,
    /// Its threshold in codes of 0 to 1023.
    #[arg(long, default_value_t = 50.0)]
    threshold: f32,
    /// Where to write the masks (grey PNG, 255 where marked; components below four pixels are dropped).
    #[arg(long)]
    masks_to: PathBuf,
    /// Fill masks of this folder instead of those just found (for the true masks, give the clip's `truth`).
    #[arg(long, requires = "fill")]
    masks: Option<PathBuf>,
    /// How to fill the masks.
    #[arg(long, value_enum, requires = "repaired_to")]
    fill: Option<FillName>,
    /// Where to write filled frames.
    #[arg(long, requires = "fill")]
    repaired_to: Option<PathBuf>,
}

impl Arguments {
    fn rule(&self) -> Rule {
        match self.rule {
            RuleName::Sdia => Rule::Sdia(self.threshold),
            RuleName::Sdip => Rule::Sdip(self.threshold),
            RuleName::Rod => Rule::rod(self.threshold),
        }
    }

    fn fill(&self) -> Option<Fill> {
        self.fill.map(|name| match name {
            FillName::Average => Fill::Average,
            FillName::Median => Fill::Median,
            FillName::Previous => Fill::Previous,
            FillName::Next => Fill::Next,
        })
    }
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let scans = arguments.folder.join("scans");
    let sequence = Sequence::discover(&scans)?;
    for target in [Some(&arguments.masks_to), arguments.repaired_to.as_ref()].into_iter().flatten() {
        check_target(&scans, target)?;
        std::fs::create_dir_all(target).map_err(|e| Failure::about(target, format!("it cannot be made ({e})")))?;
    }
    let masks = arguments.masks.as_deref().map(Sequence::discover).transpose()?;
    // Collected before the first error is looked for, so that it is the first frame's whatever the threads do.
    let frames = (0..sequence.frames.len()).into_par_iter();
    let marked: Vec<Result<u64, Failure>> = frames.map(|i| frame(arguments, &sequence, masks.as_ref(), i)).collect();
    let marked: Vec<u64> = marked.into_iter().collect::<Result<_, _>>()?;
    writeln!(out, "{} frames, {} objects marked", marked.len(), marked.iter().sum::<u64>())?;
    Ok(())
}

/// Marks, and fills, the scan at `index`; returns how many objects were marked.
fn frame(arguments: &Arguments, sequence: &Sequence, masks: Option<&Sequence>, index: usize) -> Result<u64, Failure> {
    let Some(at) = sequence.frames.get(index) else { return Ok(0) };
    let scan = Scan::read(&at.path)?;
    let current = scan.frame().analysis();
    let digits = format!("{:0width$}", at.number, width = sequence.padding);
    let beside = |side: &str, other: Option<usize>| -> Result<Option<Vec<Plane>>, Failure> {
        let Some(other) = other.and_then(|o| sequence.frames.get(o)) else { return Ok(None) };
        let reference = Scan::read(&other.path)?.frame().analysis();
        compensated(&arguments.flow.join(format!("{side}.{digits}.flo")), &current, &reference).map(Some)
    };
    let (previous, next) = (beside("previous", index.checked_sub(1))?, beside("next", Some(index + 1))?);
    let (Some(previous), Some(next)) = (previous.as_ref().or(next.as_ref()), next.as_ref().or(previous.as_ref()))
    else {
        return Err(Failure::about(&sequence.folder, "it holds a single scan, but a neighbour is needed"));
    };
    let found = arguments.rule().mark(&channel_mean(&current), &channel_mean(previous), &channel_mean(next));
    let kept = objects(&found, |v| v != 0, LEAST_PIXELS);
    let mut mask = Plane::new(found.width(), found.height());
    for object in &kept {
        object.paint(&mut mask, 255);
    }
    write_atomically(&arguments.masks_to.join(format!("mask.{digits}.png")), &png(&mask)?)?;
    if let (Some(fill), Some(target)) = (arguments.fill(), &arguments.repaired_to) {
        if let Some(path) = masks.map(|m| m.path(at.number).ok_or_else(|| missing(m, at.number))).transpose()? {
            mask = read_marks(path)?;
            if mask.rect() != found.rect() {
                return Err(Failure::about(path, "it is not of the scan's size"));
            }
        }
        let planes: Vec<Plane> =
            (0..current.len()).map(|c| fill.fill(&current[c], &previous[c], &next[c], &mask)).collect();
        let name = at.path.file_name().unwrap_or_default();
        write_atomically(&target.join(name), &scan.patched(&edits(&scan, &planes, &mask))?)?;
    }
    Ok(kept.len() as u64)
}

fn missing(sequence: &Sequence, number: u64) -> Failure {
    Failure::about(&sequence.folder, format!("there is no mask of frame {number}"))
}

/// The reference as seen from the current frame, by the flow in a file.
fn compensated(path: &Path, current: &[Plane], reference: &[Plane]) -> Result<Vec<Plane>, Failure> {
    let bytes = std::fs::read(path).map_err(|e| Failure::about(path, format!("it cannot be read ({e})")))?;
    let flow = Flow::from_bytes(&bytes).map_err(|e| Failure::about(path, e))?;
    let size = current.first().map(|p| (p.width(), p.height()));
    if size != Some((flow.width(), flow.height())) || current.len() != reference.len() {
        return Err(Failure::about(path, "the flow or the neighbouring scan is not of the scan's size and channels"));
    }
    Ok(reference.iter().map(|plane| flow.compensate(plane)).collect())
}

/// The samples that change a scan to the filled planes inside the mask.
fn edits(scan: &Scan, planes: &[Plane], mask: &Plane<u8>) -> Vec<SampleEdit> {
    let mut edits = Vec::new();
    for (channel, plane) in planes.iter().enumerate() {
        for y in 0..mask.height() {
            for x in (0..mask.width()).filter(|x| mask.at(*x, y) != 0) {
                let bits = scan.frame().to_native(plane.at(x, y));
                edits.push(SampleEdit { x: x as u32, y: y as u32, channel: channel as u8, bits });
            }
        }
    }
    edits
}

fn png(mask: &Plane<u8>) -> Result<Vec<u8>, Failure> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let (width, height) = (mask.width() as u32, mask.height() as u32);
    image::write_buffer_with_format(
        &mut bytes,
        mask.as_slice(),
        width,
        height,
        image::ExtendedColorType::L8,
        image::ImageFormat::Png,
    )?;
    Ok(bytes.into_inner())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use besom_motion::Vector;
    use besom_proof::score::score_folders;
    use image::GrayImage;

    /// Three frames of a picture that moves two columns a frame, dirt of 3 x 3 in the middle one, and exact flow.
    fn clip() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for name in ["scans", "clean", "truth", "flow"] {
            std::fs::create_dir_all(at(name)).unwrap();
        }
        for n in 0..3u32 {
            let dirty = |x: u32, y: u32| n == 1 && (20..23).contains(&x) && (10..13).contains(&y);
            let clean = |x: u32, y: u32| (((x + 20 - 2 * n) * 11 + y * 17) % 90 + 40) as u8;
            let save = |name: &str, pixel: &dyn Fn(u32, u32) -> u8| {
                let picture = GrayImage::from_fn(48, 24, |x, y| image::Luma([pixel(x, y)]));
                picture.save(at(name).join(format!("skerry.{:03}.png", n + 8))).unwrap();
            };
            save("clean", &clean);
            save("truth", &|x, y| u8::from(dirty(x, y)));
            save("scans", &|x, y| if dirty(x, y) { 250 } else { clean(x, y) });
            for (side, dx) in [("previous", -2.0), ("next", 2.0)] {
                let flow = Flow::from_fn(48, 24, |_, _| Vector::new(dx, 0.0));
                std::fs::write(at("flow").join(format!("{side}.{:03}.flo", n + 8)), flow.to_bytes()).unwrap();
            }
        }
        folder
    }

    fn ran(folder: &Path, more: &[&str]) -> Result<String, Failure> {
        let place = |name: &str| folder.join(name).display().to_string();
        let start = ["peers", &place(""), "--flow", &place("flow"), "--masks-to", &place("masks")];
        crate::command::ran(&[&start[..], more].concat())
    }

    #[test]
    fn dirt_on_a_moving_picture_is_found_and_filled() {
        let folder = clip();
        let repaired = folder.path().join("repaired");
        let to = repaired.display().to_string();
        let said = ran(folder.path(), &["--rule", "rod", "--fill", "average", "--repaired-to", &to]).unwrap();
        assert!(said.starts_with("3 frames"), "{said}");
        let score = score_folders(folder.path(), &folder.path().join("masks"), Some(&repaired)).unwrap();
        assert_eq!((score.detection.dust.found, score.detection.dust.all), (1, 1));
        let repair = score.repair.unwrap();
        assert_eq!(repair.psnr(), Some(f64::INFINITY), "the flow is exact and the picture moves by whole columns");
        assert_eq!(repair.changed_outside, 0);
    }

    #[test]
    fn what_cannot_be_done_is_said_in_one_sentence() {
        let folder = clip();
        let scans = folder.path().join("scans").display().to_string();
        let said = ran(folder.path(), &["--fill", "next", "--repaired-to", &scans]).unwrap_err().to_string();
        assert!(said.contains("scans"), "{said}");
        std::fs::write(folder.path().join("flow/next.008.flo"), b"PIEH").unwrap();
        let said = ran(folder.path(), &[]).unwrap_err().to_string();
        assert!(said.ends_with("next.008.flo: it is not a .flo file."), "{said}");
        std::fs::remove_file(folder.path().join("flow/next.008.flo")).unwrap();
        assert!(ran(folder.path(), &[]).unwrap_err().to_string().contains("next.008.flo"));
    }
}
