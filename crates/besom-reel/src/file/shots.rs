//! `shots.ron`: the shots as the survey found them.

use std::path::{Path, PathBuf};

use besom_detect::Grain;
use besom_detect::grain::BINS;
use besom_detect::whole::What;
use serde::{Deserialize, Serialize};

use super::{parse_versioned, read_text, replace_ron};
use crate::error::ReelError;
use crate::model::shot::{Dirt, OddFrame, Shot};

/// The version that this Besom writes, and the newest that it reads.
pub const VERSION: u64 = 1;

#[derive(Serialize, Deserialize)]
struct ShotsFile {
    version: u64,
    shots: Vec<ShotFile>,
}

#[derive(Serialize, Deserialize)]
struct ShotFile {
    first: u64,
    last: u64,
    marks_per_frame: f32,
    flicker_percent: f32,
    weave_px: f32,
    grain_luma: Vec<f32>,
    grain_channels: Vec<Vec<f32>>,
    /// Frame, what is odd about it in the word of the commands, and how sure that is. Files from before have none.
    #[serde(default)]
    odd: Vec<(u64, String, f32)>,
}

fn path_in(folder: &Path) -> PathBuf {
    folder.join("shots.ron")
}

/// Writes the shots, replacing the file in one step.
pub fn write(folder: &Path, shots: &[Shot]) -> Result<(), ReelError> {
    let path = path_in(folder);
    let file = ShotsFile { version: VERSION, shots: shots.iter().map(to_file).collect() };
    from_file(&path, &file)?;
    replace_ron(&path, &file)
}

/// Reads the shots; refuses a file from a newer Besom, or shots that are out of order.
pub fn read(folder: &Path) -> Result<Vec<Shot>, ReelError> {
    let path = path_in(folder);
    from_file(&path, &parse_versioned(&path, &read_text(&path)?, VERSION)?)
}

fn to_file(shot: &Shot) -> ShotFile {
    ShotFile {
        first: shot.first,
        last: shot.last,
        marks_per_frame: shot.dirt.marks_per_frame,
        flicker_percent: shot.dirt.flicker_percent,
        weave_px: shot.dirt.weave_px,
        grain_luma: shot.grain.luma.to_vec(),
        grain_channels: shot.grain.channels.iter().map(|c| c.to_vec()).collect(),
        odd: shot.odd.iter().map(|o| (o.frame, o.what.word().to_owned(), o.confidence)).collect(),
    }
}

fn from_file(path: &Path, file: &ShotsFile) -> Result<Vec<Shot>, ReelError> {
    let in_order = file.shots.iter().all(|s| s.first <= s.last) && file.shots.is_sorted_by(|a, b| a.last < b.first);
    if !in_order {
        return Err(ReelError::damaged(path, "its shots are out of order or overlap"));
    }
    let curve = |values: &[f32]| -> Result<[f32; BINS], ReelError> {
        <[f32; BINS]>::try_from(values)
            .ok()
            .filter(|c| c.iter().all(|v| v.is_finite() && *v >= 0.0))
            .ok_or_else(|| ReelError::damaged(path, format!("a grain curve is not {BINS} finite values from 0 up")))
    };
    let mut shots = Vec::with_capacity(file.shots.len());
    for (index, shot) in file.shots.iter().enumerate() {
        let odd = shot.odd.iter().map(|odd| odd_frame(path, shot, odd)).collect::<Result<_, _>>()?;
        let channels = shot.grain_channels.iter().map(|c| curve(c)).collect::<Result<_, _>>()?;
        shots.push(Shot {
            index,
            first: shot.first,
            last: shot.last,
            grain: Grain { channels, luma: curve(&shot.grain_luma)? },
            dirt: Dirt {
                marks_per_frame: shot.marks_per_frame,
                flicker_percent: shot.flicker_percent,
                weave_px: shot.weave_px,
            },
            odd,
        });
    }
    Ok(shots)
}

fn odd_frame(path: &Path, shot: &ShotFile, odd: &(u64, String, f32)) -> Result<OddFrame, ReelError> {
    let (frame, word, confidence) = odd;
    let inside = (shot.first..=shot.last).contains(frame) && (0.0..=1.0).contains(confidence);
    let what = What::from_word(word).filter(|_| inside);
    what.map(|what| OddFrame { frame: *frame, what, confidence: *confidence })
        .ok_or_else(|| ReelError::damaged(path, format!("it says something of frame {frame} that makes no sense")))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::error::ReelErrorKind;

    #[test]
    fn shots_come_back_as_they_were_and_out_of_order_ones_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let mut grain = Grain::flat(3, 7.25);
        grain.luma[3] = 0.1;
        let dirt = Dirt { marks_per_frame: 12.5, flicker_percent: 1.5, weave_px: 0.3 };
        let odd = vec![OddFrame { frame: 4, what: What::Torn, confidence: 0.75 }];
        let mut shots = vec![
            Shot { index: 0, first: 1, last: 9, grain: grain.clone(), dirt, odd },
            Shot { index: 1, first: 10, last: 10, grain, dirt: Dirt::default(), odd: Vec::new() },
        ];
        write(folder.path(), &shots).unwrap();
        assert_eq!(read(folder.path()).unwrap(), shots);
        shots[1].first = 9;
        assert_eq!(write(folder.path(), &shots).map_err(|e| e.kind()), Err(ReelErrorKind::Damaged));
        assert_eq!(read(folder.path()).unwrap()[1].first, 10, "a refused write leaves the file as it was");
    }

    #[test]
    fn newer_and_damaged_shots_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("shots.ron");
        let cases = [
            ("(version: 9, shots: [])", ReelErrorKind::Newer),
            ("(version: 1)", ReelErrorKind::Damaged),
            ("", ReelErrorKind::Damaged),
            (
                "(version:1,shots:[(first:1,last:2,marks_per_frame:0,flicker_percent:0,weave_px:0,grain_luma:[1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1],grain_channels:[],odd:[(3,\"torn\",0.5)])])",
                ReelErrorKind::Damaged,
            ),
            (
                "(version:1,shots:[(first:1,last:2,marks_per_frame:0,flicker_percent:0,weave_px:0,grain_luma:[1],grain_channels:[])])",
                ReelErrorKind::Damaged,
            ),
        ];
        for (text, kind) in cases {
            std::fs::write(&path, text).unwrap();
            assert_eq!(read(folder.path()).map_err(|e| e.kind()), Err(kind), "{text}");
        }
    }
}
