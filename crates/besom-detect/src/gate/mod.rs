//! Marks fixed in the gate or on the scanner's glass: a hair in the camera's or the printer's gate, dirt on the glass.
//!
//! They stand still against the frame for many frames while the picture moves behind them. The temporal test, which moves
//! the neighbours with the picture, is no judge of them: the mark itself may hold the motion still, a hair along the motion
//! covers itself again, and what is found looks like an object that reappears. Here they are asked the opposite question.
//!
//! The road: how far each pixel stands out from both its sides (`outstanding`, once a frame); where that stays for the whole
//! window n-2 to n+2 (`persistence`); a first look that dismisses what rather goes with the picture (`glance`); and of what is
//! left, whether it went with the picture around it or stood still against it (`measure`), in numbers for a trained ensemble
//! (`model`). Where the picture moves by less than a pixel nothing tells a mark from the scene, so there is no candidate. What the picture holds and the camera follows (a window's frame with the
//! camera in the car, a burnt-in title over a pan) stands still as well; shape, size, sharpness and place speak there, and
//! the confidence is lower.
//!
//! All but `measure` works at the size of the motion search, half that of a 2K scan, on whole numbers.

mod glance;
mod join;
mod measure;
mod model;
mod outstanding;
mod persistence;

pub(crate) use join::join;
pub use measure::NAMES;
pub use model::GateModel;
pub(crate) use outstanding::outstanding;

use besom_motion::{Pyramid, Vector};
use besom_scan::{Plane, Run, RunMask};
use rayon::prelude::*;

use crate::candidate::{Candidate, Kind, Origin, Polarity, Risk};
use crate::cells::{Cells, centre};
use crate::detect::{Around, Window, seen};
use crate::evidence::{Evidence, sigma_table, test};
use crate::grain::Grain;
use crate::prepare::Prepared;
use crate::spares::Spares;
use glance::Glance;
use measure::{LEAST_MOTION, Other, Scene, measure};
use outstanding::FINE;
use persistence::{Standing, persistence, standing};

/// Fewest samples of a mark.
const LEAST: usize = 4;
/// Most samples of a mark, as a share of the frame's.
const LARGEST: f32 = 0.01;
/// Grain beyond this, in the planes' units, counts as this much: no film has a third of it.
const COARSEST: f32 = 3000.0;
/// Fewest other frames in which a mark must stay.
const FEWEST_FRAMES: usize = 2;

/// A suspected mark in the gate with its measurements.
#[derive(Clone, Debug)]
pub struct GateSuspect {
    /// Its pixels.
    pub mask: RunMask,
    /// Darker or brighter than its sides.
    pub polarity: Polarity,
    /// One value a name of [`NAMES`].
    pub values: Vec<f32>,
}

impl GateSuspect {
    /// The value of a measurement; 0 for a name that is not one of [`NAMES`].
    pub fn get(&self, name: &str) -> f32 {
        NAMES.iter().position(|n| *n == name).map_or(0.0, |k| self.values[k])
    }

    /// The suspect as a candidate of the frame.
    pub fn judged(self, model: &GateModel) -> Candidate {
        let hair = self.get("thinness") > 4.5 && self.get("thinness") * self.get("width") > 14.0;
        Candidate {
            kind: if hair { Kind::Hair } else { Kind::Dust },
            polarity: self.polarity,
            confidence: model.confidence(&self.values),
            risk: Risk {
                neighbours_disagree: self.get("rim_error") > UNFOLLOWED,
                // Where the picture around goes as far as nothing, it explains the mark as well as the gate does.
                reappears: self.get("stays_less_goes_least") < EXPLAINED,
                one_sided: self.get("frames") < 3.0,
                ..Risk::default()
            },
            origin: Origin::Gate,
            peak: self.get("contrast"),
            reasons: model.reasons(&self.values),
            mask: self.mask,
        }
    }
}

/// Mean difference of the picture around, in sigmas, from which it could not be followed.
const UNFOLLOWED: f32 = 4.0;
/// A gain of standing still over going along, in sigmas, below which a frame leaves both open.
const EXPLAINED: f32 = 0.0;

/// Finds and measures the marks of a frame, with the comparisons that they need.
pub fn suspected(window: &Window, grain: &Grain) -> Vec<GateSuspect> {
    let Some(around) = window.around() else { return Vec::new() };
    let spares = Spares::default();
    let [a, b] = around.sides.each_ref().map(|(p, field)| seen(&spares, around.current, p, field).0);
    suspected_marks(&around, &test(&around.current.luma, &a, &b, &sigma_table(grain)), grain)
}

/// Finds and measures the marks of a frame, in the order of their first pixel.
pub fn suspected_marks(around: &Around, evidence: &Evidence, grain: &Grain) -> Vec<GateSuspect> {
    let current = around.current;
    let others = others(around);
    if others.len() < FEWEST_FRAMES {
        return Vec::new();
    }
    let moving = Moving::new(&others, current.width(), current.height());
    if !moving.anywhere() {
        return Vec::new();
    }
    let planes: Vec<&Plane<i16>> = others.iter().map(|o| o.outstanding).collect();
    let reduction = Pyramid::reduction(current.width(), current.height());
    let table: Vec<i16> = sigma_table(grain).into_iter().map(|s| (s * FINE).min(COARSEST).round() as i16).collect();
    let sigma = |y: usize, out: &mut [i16]| {
        let row = current.luma.row((y * reduction).min(current.height() - 1));
        for (out, code) in out.iter_mut().zip(row.iter().step_by(reduction)) {
            *out = table[(*code as i32).clamp(0, 1023) as usize];
        }
    };
    let kept = persistence(current.outstanding(), &planes, &sigma);
    let largest = (LARGEST * (current.outstanding().width() * current.outstanding().height()) as f32) as usize;
    let found = standing(&kept, |x, y| moving.at(x * reduction, y * reduction), (LEAST, largest));
    let glance = Glance {
        luma: &current.luma,
        outstanding: current.outstanding(),
        others: &others,
        class: &kept.class,
        reduction,
    };
    let found: Vec<(f32, Standing)> = found.into_par_iter().filter_map(|s| Some((glance.gain(&s)?, s))).collect();
    let all = found.len();
    let found = likeliest(found);
    let mut taken = Plane::<u8>::new(current.width(), current.height());
    let masks: Vec<RunMask> = found.iter().map(|s| enlarged(&s.mask(), reduction, current)).collect();
    for mask in &masks {
        mask.grown(1, current.width() as u32, current.height() as u32).paint(&mut taken, 1);
    }
    let mut crowd = Cells::new(current.width(), current.height());
    for mask in &masks {
        crowd.add(centre(&mask.bounds()), 1.0);
    }
    let scene = Scene {
        current,
        outstanding: current.outstanding(),
        others: &others,
        grain,
        evidence,
        taken: &taken,
        reduction,
    };
    found
        .par_iter()
        .zip(&masks)
        .filter_map(|(s, mask)| {
            let near = crowd.around(centre(&mask.bounds()), 3).0 as usize;
            let (values, mask) = measure(&scene, s, (all, near))?;
            Some(GateSuspect { mask, polarity: s.polarity, values })
        })
        .collect()
}

/// The other frames of the window, the nearest first.
fn others<'a>(around: &'a Around) -> Vec<Other<'a>> {
    let other = |frame: &'a Prepared, side: usize, times: f32| {
        let (field, median) = (&around.sides[side].1, around.medians[side]);
        let of_frame = Vector::new(times * median.dx, times * median.dy);
        Other { frame, outstanding: frame.outstanding(), field, times, of_frame }
    };
    let [a, b] = around.sides.each_ref().map(|(frame, _)| *frame);
    let mut all = vec![other(a, 0, 1.0)];
    // At the end of a shot both may be one and the same.
    if !std::ptr::eq(a, b) {
        all.push(other(b, 1, 1.0));
    }
    for (side, witness) in around.witnesses.iter().enumerate() {
        all.extend(witness.map(|frame| other(frame, side, 2.0)));
    }
    all
}

/// Where the picture moves, cell by cell.
struct Moving(Plane<u8>);

/// Side of a cell of [`Moving`], in pixels.
const CELL: usize = 16;

impl Moving {
    /// Cells at which, or at most two beside which, the picture moves towards any of the other frames: a mark itself may hold
    /// the motion still.
    fn new(others: &[Other], width: usize, height: usize) -> Self {
        let (columns, rows) = (width.div_ceil(CELL), height.div_ceil(CELL));
        let at = |c: usize, r: usize| {
            let (x, y) = ((c * CELL + CELL / 2) as f32, (r * CELL + CELL / 2) as f32);
            others.iter().any(|o| o.times * o.field.at(x, y).length() >= LEAST_MOTION)
        };
        let here = Plane::from_fn(columns, rows, |c, r| u8::from(at(c, r)));
        let near = |c: i32, r: i32| (-2..=2).any(|j| (-2..=2).any(|i| here.get(c + i, r + j) == Some(1)));
        Self(Plane::from_fn(columns, rows, |c, r| u8::from(near(c as i32, r as i32))))
    }

    fn anywhere(&self) -> bool {
        self.0.as_slice().contains(&1)
    }

    fn at(&self, x: usize, y: usize) -> bool {
        self.0.get((x / CELL) as i32, (y / CELL) as i32) == Some(1)
    }
}

/// Most marks of a frame that are measured.
const MOST: usize = 48;

/// The marks that stand still most plainly, in the order they were in.
fn likeliest(mut found: Vec<(f32, Standing)>) -> Vec<Standing> {
    if found.len() > MOST {
        let likely = |(gain, mark): &(f32, Standing)| gain * f32::from(mark.strong);
        found.sort_by(|a, b| likely(b).total_cmp(&likely(a)).then_with(|| a.1.first().cmp(&b.1.first())));
        found.truncate(MOST);
        found.sort_by_key(|(_, mark)| mark.first());
    }
    found.into_iter().map(|(_, mark)| mark).collect()
}

/// A mask of the reduced size at the frame's.
fn enlarged(mask: &RunMask, reduction: usize, frame: &Prepared) -> RunMask {
    let (step, width, height) = (reduction as u32, frame.width() as u32, frame.height() as u32);
    let runs = mask.runs().iter().flat_map(|r| {
        let (x0, x1) = (r.x0 * step, (r.x1 * step).min(width));
        (r.y * step..(r.y * step + step).min(height)).map(move |y| Run { y, x0, x1 })
    });
    RunMask::from_runs(runs.collect())
}

#[cfg(test)]
mod tests;
