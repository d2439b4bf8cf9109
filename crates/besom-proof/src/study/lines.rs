//! What the line ensemble is trained on, and how it does on clips that it was not trained on.
//!
//! Scratches are few and scenes with verticals of their own fewer still, so each clip teaches several times: with many
//! scratches of every sort, undamaged, turned by a quarter (its level edges become uprights), and held still, where only
//! the gate's unsteadiness tells a scratch from a mast.

use besom_detect::lines::{ALONE, Companion, JUDGED_BY, NAMES, by_company, suspected_lines};
use besom_detect::{Grain, Prepared, Window};
use besom_scan::{Plane, RunMask};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::{FrameStudy, grain_of, judge};
use crate::ageing::{Aged, LINE, Level, LineStyle, Settings as Ageing, Style, age};
use crate::demo;
use crate::score::{LEAST_PIXELS, Reliability, is_found, objects};
use crate::train::{Calibrated, Settings, Table, TrainError, train_calibrated, train_calibrated_beside};

/// A clip aged one way, with its suspected lines judged.
#[derive(Default)]
pub struct LineLesson {
    /// Number of the clip; all lessons of a clip are left out together.
    pub clip: u32,
    /// The clip's name.
    pub name: String,
    /// How it was aged, in a word.
    pub ageing: &'static str,
    /// Its frames: suspects and true objects.
    pub frames: Vec<FrameStudy>,
    /// How much a true line counts in training. Film carries one or two scratches a frame (the presets); a lesson with more
    /// of them must not make the confidence believe that there are more.
    pub weight: f32,
    /// For each frame and suspect, whether it lies on a true line (not merely near dust): the answer to learn.
    pub answers: Vec<Vec<bool>>,
    /// For each frame and suspect, what keeps it company in the frames around.
    pub companions: Vec<Vec<Vec<Companion>>>,
    /// For each frame, the suspects' pixels and the true lines'.
    pub pixels: Vec<LinePixels>,
}

/// The pixels of a frame's suspected and true lines. Suspects may share pixels: each knows all pieces of its column.
#[derive(Clone, Debug, Default)]
pub struct LinePixels {
    /// The suspects, in the order of the frame's study.
    pub suspects: Vec<RunMask>,
    /// The true objects.
    pub objects: Vec<RunMask>,
}

/// What is done to a clip before it is aged.
#[derive(Clone, Copy)]
enum Turn {
    AsIs,
    Quarter,
    Still,
    /// One frame with bars of its own, panned by so many pixels a frame.
    Barred(i32),
}

/// The ageings that every clip goes through; the first two are the presets that figures are judged by.
fn ageings() -> [(&'static str, Turn, Ageing); 10] {
    let (light, heavy) = (Ageing::of(Level::Light), Ageing::of(Level::Heavy));
    let scratched = Ageing {
        lines: 6.0,
        dust: 30.0,
        style: Style { line: LineStyle::varied(), ..Style::default() },
        ..light.clone()
    };
    let few = Ageing { lines: 2.0, ..scratched.clone() };
    [
        ("light", Turn::AsIs, light),
        ("heavy", Turn::AsIs, heavy),
        ("scratched", Turn::AsIs, scratched.clone()),
        ("coarse grain", Turn::AsIs, Ageing { grain: 12.0, ..few.clone() }),
        ("fine grain", Turn::AsIs, Ageing { grain: 3.5, weave: 1.0, flicker: 0.03, ..few.clone() }),
        ("turned", Turn::Quarter, few.clone()),
        ("bars, panned", Turn::Barred(5), few.clone()),
        ("bars, still", Turn::Barred(0), few.clone()),
        ("still", Turn::Still, scratched),
        ("still, turned", Turn::Still, few),
    ]
}

/// Studies a clean clip aged in every way.
pub fn lessons_of_clip(clip: u32, name: &str, clean: &[Vec<Plane>]) -> Vec<LineLesson> {
    ageings()
        .into_iter()
        .enumerate()
        .map(|(k, (ageing, turn, settings))| {
            let middle = clean.get(clean.len() / 2).cloned().unwrap_or_default();
            let still = clean.len().min(5);
            let seed = 5_000 + 16 * u64::from(clip) + k as u64;
            let frames: Vec<Vec<Plane>> = match turn {
                Turn::AsIs => clean.to_vec(),
                Turn::Quarter => clean.iter().map(|f| turned(f)).collect(),
                Turn::Still if ageing.ends_with("turned") => vec![turned(&middle); still],
                Turn::Still => vec![middle; still],
                Turn::Barred(pan) => barred(middle, pan, still, seed),
            };
            let aged = age(&frames, &settings, seed);
            lesson(clip, name, ageing, &aged, settings.lines)
        })
        .collect()
}

/// Studies the shots of a demo reel of another seed and size than the one the repository carries.
pub fn lessons_of_demo(clip: u32) -> Vec<LineLesson> {
    let reel = demo::render(&demo::Settings { width: 640, height: 480, frames: 48, seed: 77 });
    reel.shots()
        .iter()
        .map(|shot| {
            let mut all = Aged { clean: Vec::new(), aged: Vec::new(), labels: Vec::new() };
            for frame in shot.range.clone().filter_map(|n| reel.frame(n)) {
                all.aged.push(frame.aged);
                all.labels.push(frame.labels);
            }
            lesson(clip, shot.name, "demo", &all, USUAL_LINES)
        })
        .collect()
}

/// A frame with upright bars drawn into it (masts, door edges, window bars of any width, contrast and sharpness), panned.
fn barred(mut frame: Vec<Plane>, pan: i32, frames: usize, seed: u64) -> Vec<Vec<Plane>> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let (width, height) = frame.first().map_or((0.0, 0.0), |p| (p.width() as f32, p.height() as f32));
    for _ in 0..14 {
        let mut between = |low: f32, high: f32| low + (high - low) * random.random::<f32>();
        let (place, slope) = (between(0.0, width), between(-0.02, 0.02));
        let (half, soft) = (0.5 * between(1.0, 5.5).powi(2).min(30.0), between(0.6, 3.0));
        let (top, low) = if between(0.0, 1.0) < 0.5 { (0.0, 1.0) } else { (between(-0.3, 0.6), between(0.4, 1.3)) };
        let codes = if between(0.0, 1.0) < 0.5 { between(-250.0, -25.0) } else { between(25.0, 250.0) };
        for plane in &mut frame {
            let codes = codes * between(0.6, 1.0);
            for y in (top.max(0.0) * height) as usize..(low.min(1.0) * height) as usize {
                let centre = place + slope * y as f32;
                let reach = half + soft + 1.0;
                for x in (centre - reach).max(0.0) as usize..(centre + reach).clamp(0.0, width) as usize {
                    let cover = (0.5 + (half - (x as f32 - centre).abs()) / soft).clamp(0.0, 1.0);
                    plane.set(x, y, (plane.at(x, y) + cover * codes).clamp(0.0, 1023.0));
                }
            }
        }
    }
    let panned = |n: usize, p: &Plane| {
        Plane::from_fn(p.width(), p.height(), |x, y| p.clamped(x as i32 + pan * n as i32, y as i32))
    };
    (0..frames).map(|n| frame.iter().map(|p| panned(n, p)).collect()).collect()
}

fn turned(frame: &[Plane]) -> Vec<Plane> {
    frame.iter().map(|p| Plane::from_fn(p.height(), p.width(), |x, y| p.at(y, x))).collect()
}

/// Scratches a frame of usual film: the mean of the presets.
const USUAL_LINES: f32 = 1.6;

/// Studies the lines of an aged clip as one shot; `lines` is how many scratches cross a frame of it.
pub fn lesson(clip: u32, name: &str, ageing: &'static str, aged: &Aged, lines: f32) -> LineLesson {
    let prepared: Vec<Option<Prepared>> = aged.aged.par_iter().map(|planes| Prepared::new(planes.clone())).collect();
    let grain = grain_of(&prepared);
    let weight = (USUAL_LINES / lines).min(1.0);
    let mut lesson = LineLesson { clip, name: name.to_owned(), ageing, weight, ..LineLesson::default() };
    for (n, labels) in aged.labels.iter().enumerate() {
        let studied = study_frame(&prepared, n, &grain, labels);
        lesson.frames.push(studied.study);
        lesson.answers.push(studied.answers);
        lesson.companions.push(studied.companions);
        lesson.pixels.push(studied.pixels);
    }
    lesson
}

/// What a frame adds to a lesson: an entry of each of its lists.
#[derive(Default)]
struct StudiedLines {
    study: FrameStudy,
    answers: Vec<bool>,
    companions: Vec<Vec<Companion>>,
    pixels: LinePixels,
}

fn study_frame(prepared: &[Option<Prepared>], n: usize, grain: &Grain, labels: &Plane<u8>) -> StudiedLines {
    let Some(around) = Window::of_shot(prepared, n).and_then(|window| window.around()) else {
        return StudiedLines::default();
    };
    let suspects = suspected_lines(&around, grain);
    let masks: Vec<&RunMask> = suspects.iter().map(|s| &s.mask).collect();
    let values: Vec<Vec<f32>> = suspects.iter().map(|s| s.values.clone()).collect();
    let study = judge(&masks, values, labels);
    let lines = labels.map(|bits| bits & LINE);
    let on_lines = judge(&masks, vec![Vec::new(); masks.len()], &lines);
    let objects = objects(&lines, |v| v != 0, LEAST_PIXELS);
    let (companions, suspects) = suspects.into_iter().map(|s| (s.companions, s.mask)).unzip();
    StudiedLines {
        answers: on_lines.judged.iter().map(|j| j.real).collect(),
        study,
        companions,
        pixels: LinePixels { suspects, objects },
    }
}

/// The line ensembles, and each lesson's confidences when its clip was left out.
pub struct TaughtLines {
    /// The ensemble that judges a line by its own frame.
    pub alone: Calibrated,
    /// The ensemble that judges it by everything.
    pub confidence: Calibrated,
    /// For each lesson and frame, the confidence of each suspect by ensembles that never saw its clip.
    pub left_out: Vec<Vec<Vec<f32>>>,
}

/// Every suspect of the lessons in turn: its lesson, its measurements, its answer, its company.
fn suspects(lessons: &[LineLesson]) -> impl Iterator<Item = (&LineLesson, &[f32], bool, &[Companion])> {
    lessons.iter().flat_map(|lesson| {
        let frames = lesson.frames.iter().zip(&lesson.answers).zip(&lesson.companions);
        frames.flat_map(move |((frame, answers), companions)| {
            let suspects = frame.judged.iter().zip(answers).zip(companions);
            suspects.map(move |((judged, answer), company)| (lesson, &judged.values[..], *answer, &company[..]))
        })
    })
}

/// Trains on the lessons. Every clip is a fold of the calibration. What a line's companions are worth is said by ensembles that
/// never saw the clip, as it is of a film that is searched.
///
/// # Errors
/// [`TrainError`], also when the lessons come from one clip only.
pub fn teach(lessons: &[LineLesson]) -> Result<TaughtLines, TrainError> {
    let clips = lessons.iter().map(|l| l.clip).max().map_or(0, |m| m as usize + 1);
    let weight = |lesson: &LineLesson, answer: bool| if answer { lesson.weight } else { 1.0 };
    let (mut by_itself, mut beside) = (Table::named(&NAMES[..ALONE]), Table::named(&NAMES[..ALONE]));
    for (lesson, values, answer, company) in suspects(lessons) {
        by_itself.add(lesson.clip, answer, weight(lesson, answer), &values[..ALONE]);
        for values in company.iter().filter_map(|c| c.values.as_ref()) {
            beside.add(lesson.clip, false, 0.0, values);
        }
    }
    let settings = Settings { trees: 150, depth: 5, learning_rate: 0.07, ..Settings::default() };
    let (alone, scores) = train_calibrated_beside(&by_itself, &beside, &settings, clips)?;
    let probability = |raw: Option<&f32>| raw.map_or(0.0, |raw| alone.fit.trees.calibrated(*raw));
    let (mut own, mut theirs) = (alone.out_of_fold.iter(), scores.iter());
    let mut table = Table::named(&JUDGED_BY);
    for (lesson, values, answer, company) in suspects(lessons) {
        let own = probability(own.next());
        let mut sure = |c: &Companion| (c.next, c.values.as_ref().map_or(0.0, |_| probability(theirs.next())));
        let company: Vec<(bool, f32)> = company.iter().map(&mut sure).collect();
        let judged_by: Vec<f32> = values.iter().copied().chain(by_company(own, &company)).collect();
        table.add(lesson.clip, answer, weight(lesson, answer), &judged_by);
    }
    let confidence = train_calibrated(&table, &settings, clips)?;
    let mut rows = confidence.out_of_fold.iter();
    let mut next = || rows.next().map_or(0.0, |raw| confidence.fit.trees.calibrated(*raw));
    let left_out =
        lessons.iter().map(|l| l.frames.iter().map(|f| f.judged.iter().map(|_| next()).collect()).collect()).collect();
    Ok(TaughtLines { alone, confidence, left_out })
}

/// Counts of a lesson at one sensitivity.
#[derive(Clone, Copy, Debug, Default)]
pub struct LineFigures {
    /// True line objects, and those found.
    pub objects: (usize, usize),
    /// Line candidates, and the false ones.
    pub candidates: (usize, usize),
}

impl LineFigures {
    /// Counts the suspects of a lesson with a confidence of at least `sensitivity`.
    pub fn of(lesson: &LineLesson, confidences: &[Vec<f32>], sensitivity: f32) -> Self {
        let mut figures = Self::default();
        for ((frame, pixels), confidences) in lesson.frames.iter().zip(&lesson.pixels).zip(confidences) {
            let kept = |k: usize| confidences.get(k).is_some_and(|p| *p >= sensitivity);
            for (_, judged) in frame.judged.iter().enumerate().filter(|(k, _)| kept(*k)) {
                figures.candidates.0 += 1;
                figures.candidates.1 += usize::from(!judged.real);
            }
            let mut covered = Plane::new(frame.size.0, frame.size.1);
            for (_, suspect) in pixels.suspects.iter().enumerate().filter(|(k, _)| kept(*k)) {
                suspect.paint(&mut covered, 1);
            }
            for object in &pixels.objects {
                figures.objects.0 += 1;
                figures.objects.1 += usize::from(is_found(object, &covered));
            }
        }
        figures
    }

    /// Share of the true objects that were found; NaN without any.
    pub fn recall(&self) -> f32 {
        self.objects.1 as f32 / self.objects.0 as f32
    }

    /// Share of the candidates that are not false; NaN without any.
    pub fn precision(&self) -> f32 {
        1.0 - self.candidates.1 as f32 / self.candidates.0 as f32
    }
}

/// The figures of all lessons at a sensitivity, each judged by ensembles that never saw its clip, and the means over the
/// presets and the expected calibration error.
pub fn table(lessons: &[LineLesson], taught: &TaughtLines, sensitivity: f32) -> String {
    use std::fmt::Write as _;
    let mut text =
        format!("\nlines at sensitivity {sensitivity}, by lines alone, each clip left out of the training\n");
    text.push_str("clip                 ageing         objects recall  candidates precision\n");
    let mut presets: Vec<LineFigures> = Vec::new();
    let mut reliability = Reliability::default();
    for (lesson, confidences) in lessons.iter().zip(&taught.left_out) {
        let f = LineFigures::of(lesson, confidences, sensitivity);
        let (name, ageing, objects, candidates) = (&lesson.name, lesson.ageing, f.objects.0, f.candidates.0);
        let (recall, precision) = (f.recall(), f.precision());
        let _ = writeln!(text, "{name:20} {ageing:14} {objects:7} {recall:6.3} {candidates:11} {precision:9.3}");
        if matches!(ageing, "light" | "heavy") {
            presets.push(f);
            for (frame, values) in lesson.frames.iter().zip(confidences) {
                frame.judged.iter().zip(values).for_each(|(j, p)| reliability.add(*p, j.real));
            }
        }
    }
    let mean = |values: &dyn Fn(&LineFigures) -> f32| {
        let known: Vec<f32> = presets.iter().map(values).filter(|v| v.is_finite()).collect();
        known.iter().sum::<f32>() / known.len() as f32
    };
    let (recall, precision) = (mean(&LineFigures::recall), mean(&LineFigures::precision));
    let _ = writeln!(text, "lines, mean of light and heavy: recall {recall:.3}, precision {precision:.3}");
    if let Some(error) = reliability.error() {
        let _ = writeln!(text, "lines, expected calibration error on light and heavy: {error:.3}");
    }
    text
}
