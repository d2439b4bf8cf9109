//! Clean clips from folders of PNG frames, and aged clips as folders beside their truth.

use std::path::{Path, PathBuf};

use besom_scan::Plane;
use image::DynamicImage;
use rayon::prelude::*;

/// Why a clip could not be read or written: one sentence that names the file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct ClipError(pub(crate) String);

/// The clean frames of a folder of PNG files in the order of their names, as planes of analysis codes: one for grey
/// pictures, three for colour; transparency is left out. 8-bit samples are scaled by 1023/255, 16-bit ones by
/// 1023/65535.
///
/// # Errors
/// When the folder holds no PNG, a file cannot be decoded, or sizes or channels differ between frames.
pub fn read_clean(folder: &Path) -> Result<Vec<Vec<Plane>>, ClipError> {
    let paths = png_files(folder)?;
    let frames: Vec<Vec<Plane>> = paths.par_iter().map(|path| read_png(path)).collect::<Result<_, _>>()?;
    let shape = |planes: &[Plane]| (planes.len(), planes.first().map(Plane::rect));
    let Some(first) = frames.first() else {
        return Err(ClipError(format!("{}: there is no PNG frame in this folder.", folder.display())));
    };
    for (path, planes) in paths.iter().zip(&frames) {
        if shape(planes) != shape(first) {
            return Err(ClipError(format!("{}: its size or channels differ from the first frame's.", path.display())));
        }
    }
    Ok(frames)
}

/// The PNG files of a folder, sorted by name.
fn png_files(folder: &Path) -> Result<Vec<PathBuf>, ClipError> {
    let fail = |error: std::io::Error| ClipError(format!("{}: the folder cannot be read ({error}).", folder.display()));
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(fail)? {
        let path = entry.map_err(fail)?.path();
        if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("png")) {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

fn read_png(path: &Path) -> Result<Vec<Plane>, ClipError> {
    let picture = image::open(path).map_err(|error| ClipError(format!("{}: {error}.", path.display())))?;
    let grey = !picture.color().has_color();
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let deep = matches!(picture.color().bits_per_pixel() / u16::from(picture.color().channel_count()), 16..);
    let channels = if grey { 1 } else { 3 };
    let samples =
        if deep { codes(&deep_samples(&picture, grey), 65535.0) } else { codes(&flat_samples(&picture, grey), 255.0) };
    Ok((0..channels).map(|c| Plane::from_fn(width, height, |x, y| samples[(y * width + x) * channels + c])).collect())
}

fn deep_samples(picture: &DynamicImage, grey: bool) -> Vec<u16> {
    if grey { picture.to_luma16().into_raw() } else { picture.to_rgb16().into_raw() }
}

fn flat_samples(picture: &DynamicImage, grey: bool) -> Vec<u8> {
    if grey { picture.to_luma8().into_raw() } else { picture.to_rgb8().into_raw() }
}

fn codes<T: Copy + Into<f64>>(samples: &[T], peak: f64) -> Vec<f32> {
    samples.iter().map(|&s| (s.into() * 1023.0 / peak) as f32).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn eight_and_sixteen_bits_read_on_one_scale() {
        let folder = tempfile::tempdir().unwrap();
        image::RgbImage::from_pixel(3, 2, image::Rgb([255, 51, 0])).save(folder.path().join("a.png")).unwrap();
        let deep = image::ImageBuffer::<image::Rgb<u16>, _>::from_pixel(3, 2, image::Rgb([65535, 13107, 0]));
        deep.save(folder.path().join("b.png")).unwrap();
        let frames = read_clean(folder.path()).unwrap();
        assert_eq!(frames[0], frames[1]);
        assert_eq!(frames[0][0].at(2, 1), 1023.0);
        approx::assert_relative_eq!(frames[0][1].at(0, 0), 204.6, epsilon = 1e-3);
    }

    #[test]
    fn a_folder_of_unlike_or_no_frames_is_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        assert!(read_clean(folder.path()).is_err());
        image::GrayImage::new(3, 2).save(folder.path().join("a.png")).unwrap();
        image::GrayImage::new(4, 2).save(folder.path().join("b.png")).unwrap();
        assert!(read_clean(folder.path()).unwrap_err().to_string().contains("b.png"));
        std::fs::write(folder.path().join("a.png"), b"not a picture").unwrap();
        assert!(read_clean(folder.path()).unwrap_err().to_string().contains("a.png"));
    }
}
