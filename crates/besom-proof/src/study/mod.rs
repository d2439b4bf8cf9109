//! The detector's suspects on aged clips, held against the truth: rows to train on, and figures at any sensitivity.
//!
//! Objects and false candidates are counted as everywhere in this crate: a true object is an 8-connected component of four
//! labelled pixels or more of one kind, found when 30 % of it is covered; a candidate is false when less than a tenth
//! of its pixels lie within 3 pixels of any truth.

pub mod gate;
pub mod infrared;
pub mod lesson;
pub mod lines;

use besom_detect::lines::LineModel;
use besom_detect::survey::measure_grain;
use besom_detect::{Grain, Prepared, Risk, Settings, Window, suspects};
use besom_scan::{Plane, Rect, RunMask};
use rayon::prelude::*;

use crate::ageing::{DUST, HAIR, LINE};
use crate::score::{LEAST_PIXELS, near, objects};

/// A true object and how much of it each suspect covers.
#[derive(Clone, Debug)]
pub struct TrueObject {
    /// Label bit.
    pub kind: u8,
    /// Pixels.
    pub area: usize,
    /// Suspects (index in the frame) that cover pixels of it, with the number of pixels.
    pub covered: Vec<(usize, usize)>,
    /// Line candidates that cover pixels of it: confidence, and the number of pixels.
    pub by_lines: Vec<(f32, usize)>,
}

/// One suspect: its measurements and whether the truth knows it.
#[derive(Clone, Debug)]
pub struct Judged {
    /// Measurements, in the order of [`besom_detect::features::NAMES`].
    pub values: Vec<f32>,
    /// At least a tenth of its pixels lie within 3 pixels of a true object.
    pub real: bool,
    /// Pixels.
    pub area: usize,
    /// Why it could be part of the picture.
    pub risk: Risk,
    /// The smallest rectangle around its pixels.
    pub bounds: Rect,
}

/// One frame's suspects and truth.
#[derive(Clone, Debug, Default)]
pub struct FrameStudy {
    /// Suspects.
    pub judged: Vec<Judged>,
    /// True objects.
    pub objects: Vec<TrueObject>,
    /// Line candidates: confidence, and whether the truth knows them.
    pub lines: Vec<(f32, bool)>,
    /// Columns and rows.
    pub size: (usize, usize),
}

/// The label bits in the order of the tables.
pub const KINDS: [(u8, &str); 3] = [(DUST, "dust"), (HAIR, "hair"), (LINE, "line")];

/// Which frames of a clip are studied, and with which neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Frames {
    /// Every frame, the clip being one shot.
    OfShot,
    /// Every second one, as if the clip were cut beside it: on one side and on the other by turns. A shot has two such frames; that
    /// is few to learn from.
    AtCuts,
}

impl Frames {
    /// The window of frame `n`; `None` for a frame that is not studied.
    fn window(self, shot: &[Option<Prepared>], n: usize) -> Option<Window<'_>> {
        let window = Window::of_shot(shot, n)?;
        match self {
            Self::OfShot => Some(window),
            Self::AtCuts if n % 4 == 1 && n + 2 < shot.len() => {
                Some(Window { before_last: None, previous: None, ..window })
            }
            Self::AtCuts if n % 4 == 3 => Some(Window { next: None, after_next: None, ..window }),
            Self::AtCuts => None,
        }
    }
}

/// Prepares frames, measures the clip's grain and studies them.
/// Lines are judged by the ensemble that ships with Besom, which may know the clip; [`lines`] leaves clips out.
pub fn study(
    aged: &[Vec<Plane>],
    labels: &[Plane<u8>],
    settings: &Settings,
    frames: Frames,
) -> (Grain, Vec<FrameStudy>) {
    let model = LineModel::built_in().ok();
    let prepared: Vec<Option<Prepared>> = aged.par_iter().map(|planes| Prepared::new(planes.clone())).collect();
    let grain = grain_of(&prepared);
    let studies = (0..aged.len())
        .map(|n| {
            let Some(window) = frames.window(&prepared, n) else { return FrameStudy::default() };
            let mut found = suspects(&window, &grain, settings, &|_| 1.0, model.as_ref());
            let mut lines: Vec<(f32, RunMask)> =
                std::mem::take(&mut found.lines).into_iter().map(|l| (l.confidence, l.mask)).collect();
            // Lines may share pixels: the surest, painted last, owns them.
            lines.sort_by(|a, b| a.0.total_cmp(&b.0));
            let (sure, lines): (Vec<f32>, Vec<RunMask>) = lines.into_iter().unzip();
            let lines: Vec<&RunMask> = lines.iter().collect();
            let masks: Vec<&RunMask> = found.components.iter().map(|c| &c.mask).collect();
            let values = found.measured.iter().map(|m| m.values.to_vec()).collect();
            let lined = judge(&lines, vec![Vec::new(); lines.len()], &labels[n]);
            let mut study = judge(&masks, values, &labels[n]);
            for (judged, measured) in study.judged.iter_mut().zip(&found.measured) {
                judged.risk = besom_detect::detect::risk(measured);
            }
            study.lines = sure.iter().copied().zip(lined.judged.iter().map(|j| j.real)).collect();
            for (object, by_line) in study.objects.iter_mut().zip(&lined.objects) {
                if object.kind == LINE {
                    object.by_lines = by_line.covered.iter().map(|(k, n)| (sure[*k], *n)).collect();
                }
            }
            study
        })
        .collect();
    (grain, studies)
}

/// The clip's grain from four pairs spread over it.
pub fn grain_of(prepared: &[Option<Prepared>]) -> Grain {
    let all: Vec<(&Prepared, &Prepared)> =
        prepared.windows(2).filter_map(|w| Some((w[0].as_ref()?, w[1].as_ref()?))).collect();
    let step = all.len().div_ceil(4).max(1);
    let pairs: Vec<_> = all.into_iter().skip(step / 2).step_by(step).collect();
    let channels = prepared.iter().flatten().next().map_or(1, |p| p.planes.len());
    measure_grain(&pairs, channels, 5.0)
}

fn judge(masks: &[&RunMask], values: Vec<Vec<f32>>, labels: &Plane<u8>) -> FrameStudy {
    let (width, height) = (labels.width(), labels.height());
    let mut owner = Plane::<u32>::new(width, height);
    for (k, mask) in masks.iter().enumerate() {
        for (x, y) in mask.pixels() {
            owner.set(x as usize, y as usize, k as u32 + 1);
        }
    }
    let near = near(labels, 9);
    let judged = masks
        .iter()
        .zip(values)
        .map(|(mask, values)| {
            let area = mask.area();
            let hits = mask.pixels().filter(|&(x, y)| near.at(x as usize, y as usize) != 0).count();
            Judged { values, real: hits * 10 >= area, area, risk: Risk::default(), bounds: mask.bounds() }
        })
        .collect();
    let mut truth = Vec::new();
    for (kind, _) in KINDS {
        for mask in objects(labels, |v| v & kind != 0, LEAST_PIXELS) {
            let mut covered: Vec<(usize, usize)> = Vec::new();
            for (x, y) in mask.pixels() {
                let (x, y) = (x as usize, y as usize);
                let k = owner.at(x, y);
                if k > 0 {
                    match covered.iter_mut().find(|(c, _)| *c == k as usize - 1) {
                        Some(entry) => entry.1 += 1,
                        None => covered.push((k as usize - 1, 1)),
                    }
                }
            }
            truth.push(TrueObject { kind, area: mask.area(), covered, by_lines: Vec::new() });
        }
    }
    FrameStudy { judged, objects: truth, lines: Vec::new(), size: (width, height) }
}

/// Counts at one sensitivity.
#[derive(Clone, Copy, Debug, Default)]
pub struct Figures {
    /// True objects of dust, hair, line.
    pub objects: [usize; 3],
    /// Those found.
    pub found: [usize; 3],
    /// Dust of 30 pixels and more: all, found.
    pub large: (usize, usize),
    /// Candidates, false candidates.
    pub candidates: (usize, usize),
    /// Of these, lines, and false lines.
    pub lines: (usize, usize),
}

impl Figures {
    /// Counts a frame in: suspects with a probability of at least `sensitivity` are candidates.
    pub fn count(&mut self, frame: &FrameStudy, probabilities: &[f32], sensitivity: f32) {
        let kept = |k: usize| probabilities.get(k).is_some_and(|p| *p >= sensitivity);
        for (k, judged) in frame.judged.iter().enumerate() {
            if kept(k) {
                self.candidates.0 += 1;
                self.candidates.1 += usize::from(!judged.real);
            }
        }
        for (_, real) in frame.lines.iter().filter(|(p, _)| *p >= sensitivity) {
            self.candidates.0 += 1;
            self.candidates.1 += usize::from(!real);
            self.lines.0 += 1;
            self.lines.1 += usize::from(!real);
        }
        for object in &frame.objects {
            let specks: usize = object.covered.iter().filter(|(k, _)| kept(*k)).map(|(_, n)| n).sum();
            let lines: usize = object.by_lines.iter().filter(|(p, _)| *p >= sensitivity).map(|(_, n)| n).sum();
            let covered = specks.max(lines);
            let found = covered * 10 >= object.area * 3;
            let kind = KINDS.iter().position(|(bit, _)| *bit == object.kind).unwrap_or(0);
            self.objects[kind] += 1;
            self.found[kind] += usize::from(found);
            if object.kind == DUST && object.area >= 30 {
                self.large.0 += 1;
                self.large.1 += usize::from(found);
            }
        }
    }

    /// Share of the true objects of a kind (0 dust, 1 hair, 2 line) that were found; NaN when there are none.
    pub fn recall(&self, kind: usize) -> f32 {
        self.found[kind] as f32 / self.objects[kind] as f32
    }

    /// Share of the candidates that are not false.
    pub fn precision(&self) -> f32 {
        1.0 - self.candidates.1 as f32 / self.candidates.0.max(1) as f32
    }
}
