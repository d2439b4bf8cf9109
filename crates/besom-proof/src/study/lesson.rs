//! What the shipped ensembles are trained on, and how they do on clips that they were not trained on.

use besom_detect::context::companies;
use besom_detect::features::{FIRST_LOOK, Measured, NAMES};
use besom_detect::model::{DISMISSED_BELOW, Judged as Judgement, company_names};
use besom_detect::{Risk, Settings as DetectSettings};
use besom_scan::Plane;

use super::{Figures, FrameStudy, Frames, study};
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

/// The ageings that every clip goes through: the scoring's presets, and films unlike them and unlike each other.
fn ageings(clip: u32, name: &str) -> [(&'static str, Ageing, Frames); 9] {
    let seed = 7_000 + 64 * u64::from(clip) + name.bytes().map(u64::from).sum::<u64>();
    let clean = Ageing { dust: 0.0, hairs: 0.0, clouds: 0.0, lines: 0.0, ..Ageing::varied(seed + 3) };
    // Large marks and hairs are few on most films, and the ones that nobody forgives.
    let mut coarse = Ageing { dust: 130.0, hairs: 45.0, clouds: 0.0, ..Ageing::of(Level::Light) };
    coarse.style.dirt.large = 0.8;
    coarse.style.dirt.size = 1.35;
    coarse.style.dirt.spread = 1.2;
    let heavy = Ageing::of(Level::Heavy);
    [
        ("light", Ageing::of(Level::Light), Frames::OfShot),
        ("heavy", heavy.clone(), Frames::OfShot),
        ("undamaged", Ageing::of(Level::Undamaged), Frames::OfShot),
        ("varied", Ageing::varied(seed + 1), Frames::OfShot),
        ("varied", Ageing::varied(seed + 2), Frames::OfShot),
        ("varied, clean", clean, Frames::OfShot),
        ("coarse dirt", coarse.clone(), Frames::OfShot),
        ("heavy, at cuts", heavy, Frames::AtCuts),
        ("coarse, at cuts", coarse, Frames::AtCuts),
    ]
}

/// Studies a clean clip aged in every way.
pub fn lessons_of_clip(clip: u32, name: &str, clean: &[Vec<Plane>]) -> Vec<Lesson> {
    ageings(clip, name)
        .into_iter()
        .enumerate()
        .map(|(k, (ageing, settings, frames))| {
            let seed = 1_000 + 16 * u64::from(clip) + k as u64 + name.bytes().map(|b| 97 * u64::from(b)).sum::<u64>();
            let aged = age(clean, &settings, seed);
            lesson((clip, name, ageing), frames, &aged.aged, &aged.labels)
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
        lessons.push(lesson((clip, shot.name, "demo"), Frames::OfShot, &aged, &labels));
    }
    lessons
}

fn lesson(
    (clip, name, ageing): (u32, &str, &'static str),
    frames: Frames,
    aged: &[Vec<Plane>],
    labels: &[Plane<u8>],
) -> Lesson {
    // Marks in the gate are taught by lessons of their own.
    let settings = DetectSettings { gate: false, ..DetectSettings::default() };
    let (_, frames) = study(aged, labels, &settings, frames);
    let pixels = labels.first().map_or(0, |l| l.width() * l.height());
    Lesson { clip, name: name.to_owned(), ageing, frames, megapixels: pixels as f32 / 1e6 }
}

/// The ensembles, and each lesson's figures when its clip was left out.
pub struct Taught {
    /// The ensemble of the first look.
    pub first_look: Calibrated,
    /// The ensemble that judges a mark by itself.
    pub confidence: Calibrated,
    /// The ensemble that judges it among the others of its frame.
    pub company: Calibrated,
    /// For each lesson and frame, the confidence of each suspect by ensembles that never saw its clip.
    pub left_out: Vec<Vec<Vec<f32>>>,
}

/// Most parts that the clips are divided into: each is judged by ensembles grown on the others.
const FOLDS: usize = 7;

/// Trains on the lessons. Each ensemble is grown on what the one before it leaves and says, as it will be used: of clips
/// that it never saw.
///
/// # Errors
/// [`TrainError`], also when the lessons come from one clip only.
pub fn teach(lessons: &[Lesson]) -> Result<Taught, TrainError> {
    let clips = lessons.iter().map(|l| l.clip).max().map_or(0, |m| m as usize + 1);
    let folds = clips.min(FOLDS);
    let quick = Settings { trees: 60, depth: 4, ..Settings::default() };
    let thorough = Settings { trees: 450, depth: 6, learning_rate: 0.06, ..Settings::default() };
    let last = Settings { trees: 120, depth: 4, learning_rate: 0.06, ..Settings::default() };

    let every =
        || lessons.iter().flat_map(|l| l.frames.iter().flat_map(move |f| f.judged.iter().map(move |j| (l.clip, j))));
    let mut first_table = Table::named(&NAMES[..FIRST_LOOK]);
    every().for_each(|(clip, judged)| first_table.add(clip, judged.real, 1.0, &judged.values[..FIRST_LOOK]));
    let first_look = train_calibrated(&first_table, &quick, folds)?;
    let first: Vec<f32> = calibrated(&first_look);

    let mut full_table = Table::named(&NAMES);
    for ((clip, judged), _) in every().zip(&first).filter(|(_, p)| **p >= DISMISSED_BELOW) {
        full_table.add(clip, judged.real, 1.0, &judged.values);
    }
    let confidence = train_calibrated(&full_table, &thorough, folds)?;

    let mut by_itself = calibrated(&confidence).into_iter();
    let judgements: Vec<(f32, bool)> = first
        .iter()
        .map(|p| if *p < DISMISSED_BELOW { (*p, false) } else { (by_itself.next().unwrap_or(0.0), true) })
        .collect();
    let mut company_table = Table::named(&company_names());
    let mut next = judgements.iter();
    for lesson in lessons {
        for frame in &lesson.frames {
            let own: Vec<(f32, bool)> = frame.judged.iter().filter_map(|_| next.next().copied()).collect();
            let marks: Vec<_> = frame.judged.iter().zip(&own).map(|(j, (p, _))| (j.bounds, *p)).collect();
            let companies = companies(&marks, frame.size.0, frame.size.1);
            for ((judged, (p, _)), company) in frame.judged.iter().zip(&own).zip(&companies).filter(|((_, o), _)| o.1) {
                let Ok(values) = judged.values.as_slice().try_into() else { continue };
                let measured = Measured { values, hair: false };
                let judgement = Judgement { measured: &measured, first: *p, company };
                company_table.add(lesson.clip, judged.real, 1.0, &judgement.values());
            }
        }
    }
    let company = train_calibrated(&company_table, &last, folds)?;

    let mut last = calibrated(&company).into_iter();
    let mut judgements = judgements.iter();
    let mut final_one =
        || if judgements.next().is_some_and(|(_, kept)| *kept) { last.next().unwrap_or(0.0) } else { 0.0 };
    let left_out = lessons
        .iter()
        .map(|l| l.frames.iter().map(|f| f.judged.iter().map(|_| final_one()).collect()).collect())
        .collect();
    Ok(Taught { first_look, confidence, company, left_out })
}

/// Each row's probability by ensembles that never saw its clip.
fn calibrated(ensemble: &Calibrated) -> Vec<f32> {
    ensemble.out_of_fold.iter().map(|raw| ensemble.fit.trees.calibrated(*raw)).collect()
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
