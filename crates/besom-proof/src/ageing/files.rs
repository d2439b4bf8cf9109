//! Clean clips from folders of PNG frames, and aged clips as folders beside their truth.

use std::path::{Path, PathBuf};

use besom_scan::dpx::{self, Facts};
use besom_scan::write::write_atomically;
use besom_scan::{Encoding, ErrorKind, Frame, Plane, Samples, ScanError, Transfer};
use image::{DynamicImage, GrayImage, ImageFormat};
use rayon::prelude::*;

use super::AgedFrame;

/// The clean frames of a folder of PNG files in the order of their names, as planes of analysis codes: one for grey
/// pictures, three for colour; transparency is left out. 8-bit samples are scaled by 1023/255, 16-bit ones by
/// 1023/65535.
///
/// # Errors
/// When the folder holds no PNG, a file cannot be decoded, or sizes or channels differ between frames.
pub fn read_clean(folder: &Path) -> Result<Vec<Vec<Plane>>, ScanError> {
    let paths = png_files(folder)?;
    let frames: Vec<Vec<Plane>> = paths.par_iter().map(|path| read_png(path)).collect::<Result<_, _>>()?;
    let shape = |planes: &[Plane]| (planes.len(), planes.first().map(Plane::rect));
    let Some(first) = frames.first() else {
        return Err(ScanError::new(ErrorKind::Sequence, folder, "there is no PNG frame in this folder"));
    };
    for (path, planes) in paths.iter().zip(&frames) {
        if shape(planes) != shape(first) {
            return Err(ScanError::new(
                ErrorKind::Sequence,
                path,
                "its size or channels differ from the first frame's",
            ));
        }
    }
    Ok(frames)
}

/// The PNG files of a folder, sorted by name.
fn png_files(folder: &Path) -> Result<Vec<PathBuf>, ScanError> {
    let fail = |error: std::io::Error| ScanError::system(folder, "it cannot be read", &error);
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

fn read_png(path: &Path) -> Result<Vec<Plane>, ScanError> {
    let picture = image::open(path).map_err(|error| ScanError::new(ErrorKind::Damaged, path, error.to_string()))?;
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

/// The folders and names of a clip that is written frame by frame: `scans` (10-bit DPX), `clean` (10-bit DPX) and `truth`
/// (8-bit grey PNG of the label bits), in each of them `NAME.0086400.dpx` or `.png` with seven digits.
#[derive(Clone, Debug)]
pub struct ClipFolder {
    folder: PathBuf,
    name: String,
}

impl ClipFolder {
    /// Makes the folders.
    ///
    /// # Errors
    /// When they cannot be made.
    pub fn create(folder: &Path, name: &str) -> Result<Self, ScanError> {
        for part in ["scans", "clean", "truth"] {
            make(&folder.join(part))?;
        }
        Ok(Self { folder: folder.to_owned(), name: name.to_owned() })
    }

    /// The same with a folder `infrared` (10-bit DPX of one channel) for [`write_infrared`](Self::write_infrared).
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn with_infrared(self) -> Result<Self, ScanError> {
        make(&self.folder.join("infrared"))?;
        Ok(self)
    }

    /// Writes one frame's infrared under its scan number, into a folder of its own.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn write_infrared(&self, number: u64, infrared: &Plane) -> Result<(), ScanError> {
        let file = format!("{}.{number:07}.dpx", self.name);
        let facts = Facts { file_name: file.clone(), creator: "besom-proof".into(), ..Facts::default() };
        write_atomically(&self.folder.join("infrared").join(file), &dpx_of(std::slice::from_ref(infrared), &facts))
    }

    /// Writes one frame whose scan has its infrared as a channel more.
    ///
    /// # Errors
    /// As [`write`](Self::write).
    pub fn write_with_channel(&self, number: u64, frame: &AgedFrame, infrared: Plane) -> Result<(), ScanError> {
        let mut frame = frame.clone();
        frame.aged.push(infrared);
        self.write(number, &frame)
    }

    /// Writes one frame under its scan number.
    ///
    /// # Errors
    /// When a file cannot be written.
    pub fn write(&self, number: u64, frame: &AgedFrame) -> Result<(), ScanError> {
        let file = format!("{}.{number:07}", self.name);
        let facts = Facts { file_name: format!("{file}.dpx"), creator: "besom-proof".into(), ..Facts::default() };
        for (part, planes) in [("scans", &frame.aged), ("clean", &frame.clean)] {
            let path = self.folder.join(part).join(format!("{file}.dpx"));
            write_atomically(&path, &dpx_of(planes, &facts))?;
        }
        write_marks(&self.folder.join("truth").join(format!("{file}.png")), &frame.labels)
    }
}

/// Makes a folder and those above it.
pub(crate) fn make(folder: &Path) -> Result<(), ScanError> {
    std::fs::create_dir_all(folder).map_err(|error| ScanError::system(folder, "it cannot be made", &error))
}

/// A big-endian 10-bit printing-density DPX file of planes of whole codes.
pub(crate) fn dpx_of(planes: &[Plane], facts: &Facts) -> Vec<u8> {
    let (width, height) = planes.first().map_or((0, 0), |p| (p.width(), p.height()));
    let pixels = 0..width * height;
    let samples = pixels.flat_map(|i| planes.iter().map(move |p| p.as_slice()[i].round().clamp(0.0, 1023.0) as u16));
    let frame = Frame {
        width,
        height,
        channels: planes.len(),
        samples: Samples::U16(samples.collect()),
        encoding: Encoding { bits: 10, transfer: Transfer::PrintingDensity },
    };
    dpx::encode(&frame, true, facts)
}

/// Writes label bits as an 8-bit grey PNG.
pub(crate) fn write_marks(path: &Path, marks: &Plane<u8>) -> Result<(), ScanError> {
    let fault = |reason: String| ScanError::new(ErrorKind::Target, path, reason);
    let picture = GrayImage::from_raw(marks.width() as u32, marks.height() as u32, marks.as_slice().to_vec())
        .ok_or_else(|| fault("its labels do not fill a picture".into()))?;
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).map_err(|error| fault(error.to_string()))?;
    write_atomically(path, &bytes.into_inner())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ageing::{Ageing, Level, Settings};

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

    #[test]
    fn a_written_clip_reads_back_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let clean: Vec<Plane> =
            (0..3).map(|c| Plane::from_fn(61, 40, |x, y| (x * 9 + y * 7 + c * 60) as f32)).collect();
        let frame = Ageing::new(&Settings::of(Level::Heavy), 61, 40, 1, 6).with_cloud(0).frame(0, &clean);
        ClipFolder::create(folder.path(), "clip").unwrap().write(86_400, &frame).unwrap();
        let read = |part: &str, end: &str| {
            besom_scan::Scan::read(&folder.path().join(part).join(format!("clip.0086400.{end}"))).unwrap()
        };
        let scan = read("scans", "dpx");
        assert_eq!(scan.frame().analysis(), frame.aged);
        assert_eq!(scan.frame().encoding, Encoding { bits: 10, transfer: Transfer::PrintingDensity });
        assert_eq!(read("clean", "dpx").frame().analysis(), frame.clean);
        assert_eq!(read("truth", "png").frame().samples, Samples::U8(frame.labels.as_slice().to_vec()));
    }
}
