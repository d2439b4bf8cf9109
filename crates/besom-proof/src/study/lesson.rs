//! What the shipped ensembles are trained on, and how they do on clips that they were not trained on.

use besom_detect::features::{FIRST_LOOK, NAMES};
use besom_detect::model::DISMISSED_BELOW;
use besom_detect::{Risk, Settings as DetectSettings};
use besom_scan::Plane;

use super::{Figures, FrameStudy, study};
use crate::ageing::{Level, Settings as Ageing, age};
use crate::demo;
use crate::score::Reliability;
use crate::train::{Calibrated, Settings, Table, TrainError, train_calibrated};

/// A clip aged one way and studied.
pub struct Lesson {
    /// Number of the clip; all lessons of a clip are left out together.
    pub clip: u32,
    /// The clip's name.
    pub name: String,
    /// How it was aged, in a word.
    pub ageing: &'static str,
    /// Its frames.
    pub frames: Vec<FrameStudy>,
    /// Pixels of a frame, in millions.
    pub megapixels: f32,
}

/// The ageings that every clip goes through. Between the light and the heavy preset of the scoring stands one with more
/// grain and one with less, so that no one strength of grain is learned.
fn ageings() -> [(&'static str, Ageing); 5] {
    let (light, heavy) = (Ageing::of(Level::Light), Ageing::of(Level::Heavy));
    [
        ("light", light.clone()),
        ("heavy", heavy.clone()),
        ("undamaged", Ageing::of(Level::Undamaged)),
        ("coarse grain", Ageing { grain: 12.0, dust: 120.0, ..light }),
        ("fine grain", Ageing { grain: 4.0, dust: 90.0, weave: 1.0, flicker: 0.03, ..heavy }),
    ]
}

/// Studies a clean clip aged in every way.
pub fn lessons_of_clip(clip: u32, name: &str, clean: &[Vec<Plane>]) -> Vec<Lesson> {
    ageings()
        .into_iter()
        .enumerate()
        .map(|(k, (ageing, settings))| {
            let aged = age(clean, &settings, 1_000 + 16 * u64::from(clip) + k as u64);
            lesson(clip, name, ageing, &aged.aged, &aged.labels)
        })
        .collect()
}

/// Studies the shots of a demo reel of another seed and size than the one the repository carries.
pub fn lessons_of_demo(clip: u32) -> Vec<Lesson> {
    let reel = demo::render(&demo::Settings { width: 640, height: 480, frames: 48, seed: 77 });
    let mut lessons = Vec::new();
    for shot in reel.shots() {
        let frames: Vec<_> = shot.range.clone().filter_map(|n| reel.frame(n)).collect();
        let aged: Vec<Vec<Plane>> = frames.iter().map(|f| f.aged.clone()).collect();
        let labels: Vec<Plane<u8>> = frames.iter().map(|f| f.labels.clone()).collect();
        lessons.push(lesson(clip, shot.name, "demo", &aged, &labels));
    }
    lessons
}

fn lesson(clip: u32, name: &str, ageing: &'static str, aged: &[Vec<Plane>], labels: &[Plane<u8>]) -> Lesson {
    let (_, frames) = study(aged, labels, &DetectSettings::default());
    let pixels = labels.first().map_or(0, |l| l.width() * l.height());
    Lesson { clip, name: name.to_owned(), ageing, frames, megapixels: pixels as f32 / 1e6 }
}

/// Both ensembles, and each lesson's figures when its clip was left out.
pub struct Taught {
    /// The ensemble of the first look.
    pub first_look: Calibrated,
    /// The ensemble that gives the confidence.
    pub confidence: Calibrated,
    /// For each lesson and frame, the confidence of each suspect by ensembles that never saw its clip.
    pub left_out: Vec<Vec<Vec<f32>>>,
}

/// Trains on the lessons. Every clip is a fold of the calibration.
///
/// # Errors
/// [`TrainError`], also when the lessons come from one clip only.
pub fn teach(lessons: &[Lesson]) -> Result<Taught, TrainError> {
    let table = table(lessons, NAMES.len());
    let clips = lessons.iter().map(|l| l.clip).max().map_or(0, |m| m as usize + 1);
    let quick = Settings { trees: 60, depth: 4, ..Settings::default() };
    let thorough = Settings { trees: 300, depth: 6, learning_rate: 0.07, ..Settings::default() };
    let first_look = train_calibrated(&self::table(lessons, FIRST_LOOK), &quick, clips)?;
    let confidence = train_calibrated(&table, &thorough, clips)?;
    let mut row = 0;
    let mut next = || {
        row += 1;
        let first = first_look.fit.trees.calibrated(first_look.out_of_fold[row - 1]);
        let full = confidence.fit.trees.calibrated(confidence.out_of_fold[row - 1]);
        if first < DISMISSED_BELOW { 0.0 } else { full }
    };
    let left_out =
        lessons.iter().map(|l| l.frames.iter().map(|f| f.judged.iter().map(|_| next()).collect()).collect()).collect();
    Ok(Taught { first_look, confidence, left_out })
}

fn table(lessons: &[Lesson], features: usize) -> Table {
    let mut table = Table {
        names: NAMES[..features].iter().map(|n| (*n).to_owned()).collect(),
        rows: Vec::new(),
        labels: Vec::new(),
        weights: Vec::new(),
        groups: Vec::new(),
    };
    for lesson in lessons {
        for judged in lesson.frames.iter().flat_map(|f| &f.judged) {
            table.rows.extend(&judged.values[..features]);
            table.labels.push(f32::from(u8::from(judged.real)));
            table.weights.push(1.0);
            table.groups.push(lesson.clip);
        }
    }
    table
}

/// The figures of a lesson at a sensitivity.
pub fn figures(lesson: &Lesson, confidences: &[Vec<f32>], sensitivity: f32) -> Figures {
    let mut figures = Figures::default();
    for (frame, confidences) in lesson.frames.iter().zip(confidences) {
        figures.count(frame, confidences, sensitivity);
    }
    figures
}

/// Stated against observed confidence of all suspects that a detection would keep.
pub fn reliability(lessons: &[Lesson], confidences: &[Vec<Vec<f32>>]) -> Reliability {
    let mut reliability = Reliability::default();
    for (lesson, frames) in lessons.iter().zip(confidences) {
        for (frame, values) in lesson.frames.iter().zip(frames) {
            for (judged, p) in frame.judged.iter().zip(values).filter(|(_, p)| **p >= DetectSettings::default().floor) {
                reliability.add(*p, judged.real);
            }
        }
    }
    reliability
}

/// For each reason of risk: its words, and among the suspects at or above a sensitivity the shares of the real and of the
/// false ones that it puts at risk. A reason is worth having when the second is well above the first.
pub fn risk_shares(
    lessons: &[Lesson],
    confidences: &[Vec<Vec<f32>>],
    sensitivity: f32,
) -> Vec<(&'static str, f32, f32)> {
    let every = Risk { neighbours_disagree: true, fast_motion: true, reappears: true, one_sided: true, swarm: true };
    let mut counts: Vec<(&'static str, [f32; 2])> = every.words().into_iter().map(|w| (w, [0.0; 2])).collect();
    let mut all = [0.0f32; 2];
    for (lesson, frames) in lessons.iter().zip(confidences) {
        for (frame, values) in lesson.frames.iter().zip(frames) {
            for (judged, _) in frame.judged.iter().zip(values).filter(|(_, p)| **p >= sensitivity) {
                let k = usize::from(!judged.real);
                all[k] += 1.0;
                for word in judged.risk.words() {
                    if let Some(entry) = counts.iter_mut().find(|(w, _)| *w == word) {
                        entry.1[k] += 1.0;
                    }
                }
            }
        }
    }
    counts.into_iter().map(|(w, c)| (w, c[0] / all[0].max(1.0), c[1] / all[1].max(1.0))).collect()
}
