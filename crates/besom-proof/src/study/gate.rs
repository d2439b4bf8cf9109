//! What the ensemble of gate marks is trained on, and how it does on clips that it was not trained on.
//!
//! A clip teaches as it is, aged with marks in the gate and without, and its middle frame again as pictures whose motion is
//! chosen: held still but for the weave, panned, panned behind a foreground or lettering that the camera follows. What stands
//! still in the last two and is no mark is the trap.

use besom_detect::gate::{NAMES, suspected};
use besom_detect::{Prepared, Window};
use besom_scan::{Plane, RunMask};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::{FrameStudy, grain_of, judge};
use crate::ageing::{Aged, DUST, GATE, LINE, Level, Settings as Ageing, age};
use crate::score::{Reliability, near};
use crate::train::{Calibrated, Settings, Table, TrainError, train_calibrated};

/// A clip aged one way, with its suspected gate marks judged.
pub struct GateLesson {
    /// Number of the clip; all lessons of a clip are left out together.
    pub clip: u32,
    /// The clip's name.
    pub name: String,
    /// How it was made, in a word.
    pub ageing: &'static str,
    /// Its studied frames: suspects and true marks.
    pub frames: Vec<FrameStudy>,
    /// For each frame and suspect, whether it is a mark in the gate; `None` for what lies on a line scratch, which lasts as well.
    pub answers: Vec<Vec<Option<bool>>>,
    /// Pixels of a frame, in millions.
    pub megapixels: f32,
}

/// What the picture does.
#[derive(Clone, Copy)]
enum Scene {
    AsIs,
    Still,
    Panned,
    Foreground,
    Lettered,
}

/// Marks in the gate of a lesson that has them.
const MARKS: f32 = 24.0;
/// Frames of a lesson whose motion is chosen.
const SHORT: usize = 5;

fn ways(seed: u64) -> [(&'static str, Scene, Ageing); 8] {
    let with = |settings: Ageing| Ageing { gate_marks: MARKS, ..settings };
    let (light, bare) = (Ageing::of(Level::Light), Ageing::of(Level::Undamaged));
    let clean = |s: Ageing| Ageing { dust: 0.0, hairs: 0.0, clouds: 0.0, ..s };
    [
        ("light", Scene::AsIs, with(light.clone())),
        ("varied", Scene::AsIs, with(Ageing::varied(seed + 1))),
        ("undamaged", Scene::AsIs, bare.clone()),
        ("varied, clean", Scene::AsIs, clean(Ageing::varied(seed + 2))),
        ("still", Scene::Still, with(clean(Ageing::varied(seed + 3)))),
        ("panned", Scene::Panned, with(clean(Ageing::varied(seed + 4)))),
        ("foreground", Scene::Foreground, Ageing { gate_marks: 5.0, ..bare.clone() }),
        ("lettered", Scene::Lettered, Ageing { gate_marks: 5.0, ..bare }),
    ]
}

/// Studies a clean clip made and aged in every way.
pub fn lessons_of_clip(clip: u32, name: &str, clean: &[Vec<Plane>]) -> Vec<GateLesson> {
    let number = name.bytes().fold(0u64, |n, b| 31 * n + u64::from(b)) % 100_000;
    ways(9_000 + 16 * number)
        .into_iter()
        .enumerate()
        .map(|(k, (ageing, scene, settings))| {
            let seed = 3_000 + 16 * number + k as u64;
            let frames = pictures(clean, scene, seed);
            let aged = age(&frames, &settings, seed);
            // The first frame of a shot has all its company on one side; marks last, so neighbours teach little new.
            let studied = match scene {
                Scene::AsIs => vec![0, clean.len() / 2, (clean.len() * 3 / 4).min(clean.len() - 1)],
                _ => vec![SHORT / 2],
            };
            lesson(clip, name, ageing, &aged, &studied)
        })
        .collect()
}

fn pictures(clean: &[Vec<Plane>], scene: Scene, seed: u64) -> Vec<Vec<Plane>> {
    let middle = clean.get(clean.len() / 2).cloned().unwrap_or_default();
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut between = |low: f32, high: f32| low + (high - low) * random.random::<f32>();
    let pan = (between(-7.0, 7.0).round() as i32, between(-3.0, 3.0).round() as i32);
    match scene {
        Scene::AsIs => clean.to_vec(),
        Scene::Still => vec![middle; SHORT],
        Scene::Panned => panned(&middle, pan),
        Scene::Foreground => {
            let front = panned(&middle, (0, 0)).into_iter().next().unwrap_or_default();
            let (angle, push) = (between(0.0, std::f32::consts::TAU), between(-0.2, 0.3));
            let (sin, cos) = libm::sincosf(angle);
            let inside = |x: f32, y: f32| cos * x + sin * y + 0.12 * libm::sinf(9.0 * (x - y) + angle) > push;
            panned(&middle, pan).into_iter().map(|back| laid(&back, &front, inside)).collect()
        }
        Scene::Lettered => {
            let letters = strokes(&middle, &mut between);
            let bright = between(0.0, 1.0) < 0.7;
            let ink = if bright { between(750.0, 1000.0) } else { between(10.0, 160.0) };
            panned(&middle, pan)
                .into_iter()
                .map(|frame| frame.iter().map(|p| written(p, &letters, ink)).collect())
                .collect()
        }
    }
}

/// Pixels that a panned picture loses on every side.
const CUT: i32 = 16;

/// Frames of a picture that moves by whole pixels a frame, cut so that its border never shows.
fn panned(frame: &[Plane], (dx, dy): (i32, i32)) -> Vec<Vec<Plane>> {
    let one = |n: i32, p: &Plane| {
        let (w, h) = (p.width().saturating_sub(2 * CUT as usize), p.height().saturating_sub(2 * CUT as usize));
        let n = n - SHORT as i32 / 2;
        Plane::from_fn(w.max(1), h.max(1), |x, y| p.clamped(x as i32 + CUT + dx * n, y as i32 + CUT + dy * n))
    };
    (0..SHORT as i32).map(|n| frame.iter().map(|p| one(n, p)).collect()).collect()
}

/// `front` over `back` where `inside` holds, of places from -1 to 1.
fn laid(back: &[Plane], front: &[Plane], inside: impl Fn(f32, f32) -> bool) -> Vec<Plane> {
    let over = |(back, front): (&Plane, &Plane)| {
        let (w, h) = (back.width() as f32, back.height() as f32);
        Plane::from_fn(back.width(), back.height(), |x, y| {
            let here = inside(2.0 * x as f32 / w - 1.0, 2.0 * y as f32 / h - 1.0);
            if here { front.at(x, y) } else { back.at(x, y) }
        })
    };
    back.iter().zip(front).map(over).collect()
}

type Segment = ((f32, f32), (f32, f32), f32);

/// Strokes of a line or two of lettering, of no language: ends, and half their width.
fn strokes(frame: &[Plane], between: &mut impl FnMut(f32, f32) -> f32) -> Vec<Segment> {
    let (w, h) = frame.first().map_or((1.0, 1.0), |p| (p.width() as f32 - 32.0, p.height() as f32 - 32.0));
    let tall = between(0.03, 0.09) * h;
    let half = (0.5 * between(0.08, 0.2) * tall).max(0.7);
    let mut all = Vec::new();
    for row in 0..between(1.0, 3.0) as i32 {
        let top = between(0.55, 0.8) * h + 1.7 * tall * row as f32;
        let mut left = between(0.1, 0.4) * w;
        while left < between(0.6, 0.9) * w {
            for _ in 0..between(2.0, 4.9) as i32 {
                let mut grid = |size: f32| between(0.0, 2.99).floor() * 0.5 * size;
                let (a, b) = ((grid(0.6 * tall), grid(tall)), (grid(0.6 * tall), grid(tall)));
                all.push(((left + a.0, top + a.1), (left + b.0, top + b.1), half));
            }
            left += tall * if between(0.0, 1.0) < 0.15 { 1.5 } else { 0.95 };
        }
    }
    all
}

fn written(plane: &Plane, strokes: &[Segment], ink: f32) -> Plane {
    let mut out = plane.clone();
    for ((ax, ay), (bx, by), half) in strokes {
        let reach = half + 1.0;
        let (x0, x1) = (ax.min(*bx) - reach, ax.max(*bx) + reach);
        let (y0, y1) = (ay.min(*by) - reach, ay.max(*by) + reach);
        for y in y0.max(0.0) as usize..(y1.max(0.0) as usize).min(plane.height()) {
            for x in x0.max(0.0) as usize..(x1.max(0.0) as usize).min(plane.width()) {
                let (px, py) = (x as f32 - ax, y as f32 - ay);
                let (vx, vy) = (bx - ax, by - ay);
                let t = ((px * vx + py * vy) / (vx * vx + vy * vy).max(1e-3)).clamp(0.0, 1.0);
                let cover = (0.5 + half - libm::hypotf(px - t * vx, py - t * vy)).clamp(0.0, 1.0);
                out.set(x, y, out.at(x, y) + cover * (ink - out.at(x, y)));
            }
        }
    }
    out
}

fn lesson(clip: u32, name: &str, ageing: &'static str, aged: &Aged, studied: &[usize]) -> GateLesson {
    let prepared: Vec<Option<Prepared>> = aged.aged.par_iter().map(|planes| Prepared::new(planes.clone())).collect();
    let grain = grain_of(&prepared);
    let (mut frames, mut answers) = (Vec::new(), Vec::new());
    for (n, labels) in studied.iter().filter_map(|n| Some((*n, aged.labels.get(*n)?))) {
        let Some(window) = Window::of_shot(&prepared, n) else { continue };
        let suspects = suspected(&window, &grain);
        let masks: Vec<&RunMask> = suspects.iter().map(|s| &s.mask).collect();
        let values: Vec<Vec<f32>> = suspects.iter().map(|s| s.values.clone()).collect();
        answers.push(masks.iter().map(|mask| answer(mask, labels)).collect());
        frames.push(judge(&masks, values, &labels.map(|bits| if bits & GATE != 0 { DUST } else { 0 })));
    }
    let pixels = aged.labels.first().map_or(0, |l| l.width() * l.height());
    GateLesson { clip, name: name.to_owned(), ageing, frames, answers, megapixels: pixels as f32 / 1e6 }
}

/// Whether half of a suspect lies within two pixels of a mark in the gate; `None` where a line scratch is there instead.
fn answer(mask: &RunMask, labels: &Plane<u8>) -> Option<bool> {
    let window = mask.bounds().grown(4).intersect(&labels.rect());
    let cut = labels.crop(&window);
    let share = |bit: u8| {
        let near = near(&cut.map(|bits| bits & bit), 4);
        let at = |(x, y): &(u32, u32)| near.get(*x as i32 - window.x0, *y as i32 - window.y0).unwrap_or(0) != 0;
        mask.pixels().filter(at).count() * 2 >= mask.area()
    };
    if share(GATE) { Some(true) } else { (!share(LINE)).then_some(false) }
}

/// The ensemble, and each lesson's confidences when its clip was left out.
pub struct TaughtGate {
    /// The ensemble.
    pub confidence: Calibrated,
    /// For each lesson and frame, the confidence of each suspect by ensembles that never saw its clip.
    pub left_out: Vec<Vec<Vec<f32>>>,
}

/// Trains on the lessons. Every clip is a fold.
///
/// # Errors
/// [`TrainError`], also when the lessons come from one clip only.
pub fn teach(lessons: &[&GateLesson]) -> Result<TaughtGate, TrainError> {
    let mut table = Table::named(&NAMES);
    for lesson in lessons {
        for (frame, answers) in lesson.frames.iter().zip(&lesson.answers) {
            for (judged, answer) in frame.judged.iter().zip(answers) {
                // Film carries a mark or two, a lesson many: a true one counts for less, or the confidence would expect them.
                let weight = if answer == &Some(true) { TRUE_WEIGHT } else { 1.0 };
                if let Some(real) = answer {
                    table.add(lesson.clip, *real, weight, &judged.values);
                }
            }
        }
    }
    let clips = lessons.iter().map(|l| l.clip).max().map_or(0, |m| m as usize + 1);
    let settings = Settings { trees: 160, depth: 5, learning_rate: 0.07, ..Settings::default() };
    let confidence = train_calibrated(&table, &settings, clips)?;
    let mut rows = confidence.out_of_fold.iter();
    let mut next = || rows.next().map_or(0.0, |raw| confidence.fit.trees.calibrated(*raw));
    let mut of_frame =
        |answers: &Vec<Option<bool>>| answers.iter().map(|a| a.map_or(0.0, |_| next())).collect::<Vec<f32>>();
    let left_out = lessons.iter().map(|l| l.answers.iter().map(&mut of_frame).collect()).collect();
    Ok(TaughtGate { confidence, left_out })
}

/// What a true mark counts in training against anything else.
const TRUE_WEIGHT: f32 = 0.05;

/// The figures of all lessons at a sensitivity, each judged by ensembles that never saw its clip, and the expected
/// calibration error. Precision is of the suspects alone, not of what the temporal test adds.
pub fn table(lessons: &[&GateLesson], taught: &TaughtGate, sensitivity: f32) -> String {
    use std::fmt::Write as _;
    let mut text = format!("\ngate marks at sensitivity {sensitivity}, each clip left out of the training\n");
    text.push_str("clip         film            marks suspected  found  candidates  false  false/f/Mpx  suspects\n");
    let mut reliability = Reliability::default();
    for (lesson, confidences) in lessons.iter().zip(&taught.left_out) {
        let (mut marks, mut seen, mut found, mut kept, mut wrong, mut all) = (0, 0, 0, 0, 0, 0);
        for ((frame, answers), values) in lesson.frames.iter().zip(&lesson.answers).zip(confidences) {
            for (answer, p) in answers.iter().zip(values) {
                all += 1;
                let Some(real) = answer else { continue };
                reliability.add(*p, *real);
                kept += usize::from(*p >= sensitivity);
                wrong += usize::from(*p >= sensitivity && !real);
            }
            for object in &frame.objects {
                let covered = |least: f32| {
                    let counts = |(k, n): &(usize, usize)| if values[*k] >= least { *n } else { 0 };
                    object.covered.iter().map(counts).sum::<usize>() * 10 >= object.area * 3
                };
                marks += 1;
                seen += usize::from(covered(0.0));
                found += usize::from(covered(sensitivity));
            }
        }
        let rate = wrong as f32 / lesson.frames.len().max(1) as f32 / lesson.megapixels;
        let (name, ageing) = (&lesson.name, lesson.ageing);
        let _ = writeln!(
            text,
            "{name:12} {ageing:14} {marks:6} {seen:9} {found:6} {kept:11} {wrong:6} {rate:12.2} {all:9}"
        );
    }
    if let Some(error) = reliability.error() {
        let _ = writeln!(text, "gate marks, expected calibration error: {error:.3}");
    }
    text
}
