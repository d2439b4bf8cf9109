//! Scores of a clip in folders: scans and truth on one side, masks and repaired frames on the other.

use std::path::Path;

use besom_scan::{ErrorKind, Plane, Scan, ScanError, Sequence};
use rayon::prelude::*;

use super::repair::Pictures;
use super::{Detection, LEAST_PIXELS, Repair, objects};

/// The scores of a clip.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ClipScore {
    /// What the masks found.
    pub detection: Detection,
    /// How good the repaired frames are, when there were any.
    pub repair: Option<Repair>,
}

/// The numbered files of a clip.
struct Files {
    truth: Sequence,
    masks: Sequence,
    /// Scans, clean pictures and repaired frames.
    pictures: Option<[Sequence; 3]>,
}

/// Scores a clip frame by frame, several at once; sums run in the order of the frames.
///
/// `folder` holds `truth` (label bits as grey PNG), `scans` and `clean`; `masks` is a folder of grey PNG files that are
/// not 0 where something was detected, and where the repair was allowed to change pixels; `repaired` a folder of repaired
/// frames. Files belong together by their number; every frame that has a truth must have all the others.
///
/// # Errors
/// One sentence that names the file or folder.
pub fn score_folders(folder: &Path, masks: &Path, repaired: Option<&Path>) -> Result<ClipScore, ScanError> {
    let pictures = match repaired {
        Some(repaired) => Some([
            Sequence::discover(&folder.join("scans"))?,
            Sequence::discover(&folder.join("clean"))?,
            Sequence::discover(repaired)?,
        ]),
        None => None,
    };
    let files =
        Files { truth: Sequence::discover(&folder.join("truth"))?, masks: Sequence::discover(masks)?, pictures };
    let numbers: Vec<u64> = files.truth.frames.iter().map(|f| f.number).collect();
    // Collected before the first error is looked for, so that it is the first frame's whatever the threads do.
    let scores: Vec<Result<ClipScore, ScanError>> = numbers.par_iter().map(|n| files.score(*n)).collect();
    let mut sum = ClipScore::default();
    for score in scores {
        let score = score?;
        sum.detection.merge(&score.detection);
        if let Some(repair) = score.repair {
            sum.repair.get_or_insert_default().merge(&repair);
        }
    }
    Ok(sum)
}

impl Files {
    fn score(&self, number: u64) -> Result<ClipScore, ScanError> {
        let labels = read_marks(of_number(&self.truth, number)?)?;
        let mask_path = of_number(&self.masks, number)?;
        let mask = read_marks(mask_path)?;
        same_size(mask_path, &mask, &labels)?;
        let claims = objects(&mask, |v| v != 0, LEAST_PIXELS);
        let detection = Detection::of_frame(&labels, &claims);
        let Some(sequences) = &self.pictures else { return Ok(ClipScore { detection, repair: None }) };
        let mut pictures = Vec::with_capacity(sequences.len());
        for sequence in sequences {
            let path = of_number(sequence, number)?;
            let planes = Scan::read(path)?.frame().analysis();
            planes.iter().try_for_each(|plane| same_size(path, plane, &labels))?;
            if pictures.first().is_some_and(|first: &Vec<Plane>| first.len() != planes.len()) {
                return Err(ScanError::new(ErrorKind::Sequence, path, "it has other channels than the scan"));
            }
            pictures.push(planes);
        }
        let [scan, clean, repaired] = &pictures[..] else { return Ok(ClipScore { detection, repair: None }) };
        let repair = Repair::of_frame(&Pictures { scan, clean, repaired, labels: &labels, mask: &mask });
        Ok(ClipScore { detection, repair: Some(repair) })
    }
}

fn of_number(sequence: &Sequence, number: u64) -> Result<&Path, ScanError> {
    sequence.path(number).ok_or_else(|| {
        ScanError::new(ErrorKind::Sequence, &sequence.folder, format!("there is no frame {number}, which has a truth"))
    })
}

fn same_size<T: Copy + Default, U: Copy + Default>(
    path: &Path,
    plane: &Plane<T>,
    truth: &Plane<U>,
) -> Result<(), ScanError> {
    if plane.rect() == truth.rect() {
        return Ok(());
    }
    Err(ScanError::new(ErrorKind::Sequence, path, "it is not of the truth's size"))
}

/// The first channel of a label or mask file, as it is stored; values above 255 count as 255.
pub fn read_marks(path: &Path) -> Result<Plane<u8>, ScanError> {
    let scan = Scan::read(path)?;
    let frame = scan.frame();
    Ok(Plane::from_fn(frame.width, frame.height, |x, y| frame.native_bits(x, y, 0).min(255) as u8))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ageing::DUST;
    use image::GrayImage;
    use std::path::PathBuf;

    /// A clip of two frames of 40 x 30: dust of 16 pixels in each, marked in the first, a false mark in the second.
    fn clip() -> (tempfile::TempDir, PathBuf, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let (masks, repaired) = (folder.path().join("masks"), folder.path().join("repaired"));
        let write = |at: &Path, number: u32, pixel: &dyn Fn(u32, u32) -> u8| {
            std::fs::create_dir_all(at).unwrap();
            GrayImage::from_fn(40, 30, |x, y| image::Luma([pixel(x, y)]))
                .save(at.join(format!("skerry.{number:04}.png")))
                .unwrap();
        };
        let inside = |x: u32, y: u32, x0: u32, y0: u32| (x0..x0 + 4).contains(&x) && (y0..y0 + 4).contains(&y);
        for number in [7u32, 8] {
            let dust = |x, y| inside(x, y, 10, 12);
            write(&folder.path().join("truth"), number, &|x, y| if dust(x, y) { DUST } else { 0 });
            write(&folder.path().join("clean"), number, &|x, y| ((x * 3 + y * 5) % 50 + 100) as u8);
            write(&folder.path().join("scans"), number, &|x, y| {
                if dust(x, y) { 10 } else { ((x * 3 + y * 5) % 50 + 100) as u8 }
            });
            let marked = move |x, y| if number == 7 { inside(x, y, 10, 12) } else { inside(x, y, 30, 20) };
            write(&masks, number, &|x, y| if marked(x, y) { 200 } else { 0 });
            write(&repaired, number, &|x, y| {
                let clean = ((x * 3 + y * 5) % 50 + 100) as u8;
                let dirty = if dust(x, y) { 10 } else { clean };
                if marked(x, y) { clean + 1 } else { dirty }
            });
        }
        (folder, masks, repaired)
    }

    #[test]
    fn folders_score_as_planes_do() {
        let (folder, masks, repaired) = clip();
        let score = score_folders(folder.path(), &masks, Some(&repaired)).unwrap();
        let d = score.detection;
        assert_eq!((d.dust.found, d.dust.all, d.claims, d.false_claims, d.frames), (1, 2, 2, 1, 2));
        let repair = score.repair.unwrap();
        assert_eq!(repair.changed_outside, 0);
        // An 8-bit code is four analysis codes. Frame 7 misses by one in all 16 pixels, frame 8 by what the dust hides.
        let scale = 4.0;
        let hidden: f64 = (10..14u32)
            .flat_map(|x| (12..16u32).map(move |y| f64::from((x * 3 + y * 5) % 50 + 90)))
            .map(|v| (v * scale).powi(2))
            .sum();
        let psnr = 10.0 * (1023.0f64.powi(2) * 32.0 / (16.0 * scale * scale + hidden)).log10();
        approx::assert_abs_diff_eq!(repair.psnr().unwrap(), psnr, epsilon = 1e-3);
        assert_eq!(score_folders(folder.path(), &masks, None).unwrap().repair, None);
    }

    #[test]
    fn what_is_missing_is_named() {
        let (folder, masks, _) = clip();
        std::fs::remove_file(masks.join("skerry.0008.png")).unwrap();
        let error = score_folders(folder.path(), &masks, None).unwrap_err().to_string();
        assert!(error.contains("masks") && error.contains("frame 8"), "{error}");
        GrayImage::new(40, 29).save(masks.join("skerry.0008.png")).unwrap();
        let error = score_folders(folder.path(), &masks, None).unwrap_err().to_string();
        assert!(error.contains("skerry.0008.png") && error.contains("size"), "{error}");
        assert!(score_folders(folder.path(), &folder.path().join("nowhere"), None).is_err());
    }
}
