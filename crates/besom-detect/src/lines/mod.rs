//! Line scratches in one frame: nearly vertical lines that do not belong to the picture.
//!
//! A scratch of transport lasts for many frames, so the temporal test is blind to it; it is looked for in space (Kokaram,
//! "Detection and removal of line scratches in degraded motion picture sequences", EUSIPCO 1996) and natural verticals are
//! told apart by motion: a scratch stays at its place on the film while the picture moves (Newson, Almansa, Gousseau and
//! Perez, IEEE TIP 23(3), 2014: detections that follow the scene's motion are discarded).
//!
//! The road: the frame in bands of rows (`bands`), how far each column stands out from both sides in units of what is
//! usual around, in every channel and at several widths; the best paths through the bands (`tracks`); each path's profile,
//! colour and width (`shape`), and that of the lines that only the frames around show (`carried`); what it does in those
//! frames (`behaviour`); what else its column shows (`column`), and which lines of theirs stand there (`company`); all of it
//! in numbers (`measure`) for a trained ensemble (`model`). Lines of 1 to about 30 pixels, slanted by up to 5 degrees;
//! [`crate::link`] joins them over frames.

mod bands;
mod behaviour;
mod carried;
mod column;
mod company;
mod mask;
mod measure;
mod model;
mod shape;
mod strip;
mod tracks;

pub use bands::BAND;
pub(crate) use bands::{Evened, banded};
pub use company::Companion;
pub use measure::{ALONE, NAMES};
pub use model::{JUDGED_BY, LineModel, by_company};
pub(crate) use shape::Shape;
pub(crate) use strip::straight;

use besom_scan::{Plane, RunMask};

use crate::candidate::{Candidate, Kind, Origin, Polarity, Risk};
use crate::detect::Around;
use crate::grain::Grain;
use crate::nearby::look_by_place;
use crate::prepare::Prepared;
use bands::{scales, tall};
use carried::carried;
use column::Column;
use company::Companions;
use measure::{Evens, Others, alone, measure};
use tracks::tracks;

/// Fewest bands of a frame in which lines are looked for.
const FEWEST_BANDS: usize = 8;

/// Whether lines are looked for in frames of so many rows.
pub(crate) fn are_looked_for(height: usize) -> bool {
    height / BAND >= FEWEST_BANDS
}

/// A suspected line with its measurements.
#[derive(Clone, Debug)]
pub struct LineSuspect {
    /// Its pixels.
    pub mask: RunMask,
    /// Darker or brighter than its sides.
    pub polarity: Polarity,
    /// One value a name of [`NAMES`]; not a number where something could not be measured.
    pub values: Vec<f32>,
    /// For each of the frames around, the line that keeps it company there.
    pub companions: Vec<Companion>,
    /// Its usual contrast in grain sigmas.
    pub contrast: f32,
}

impl LineSuspect {
    /// The value of a measurement; 0 for a name that is not one of [`NAMES`].
    pub fn get(&self, name: &str) -> f32 {
        NAMES.iter().position(|n| *n == name).map_or(0.0, |k| self.values[k])
    }

    /// The suspect as a candidate.
    pub fn judged(self, model: &LineModel) -> Candidate {
        let values = model.judged_by(&self);
        let confidence = model.confidence(&values);
        let still = self.get("telling") < 0.3;
        Candidate {
            kind: Kind::Line,
            polarity: self.polarity,
            confidence,
            // In a still picture a line of the scene looks the same; only what is nearly sure may be taken by a rule.
            risk: Risk {
                neighbours_disagree: still && confidence < SURE_IN_STILL_PICTURES,
                one_sided: self.get("one_sided") > 0.5,
                ..Risk::default()
            },
            origin: Origin::Film,
            peak: self.contrast,
            reasons: model.reasons(&values),
            mask: self.mask,
        }
    }
}

/// Confidence from which a line in a still picture is not at risk.
const SURE_IN_STILL_PICTURES: f32 = 0.8;

/// Finds and measures the lines of a frame, in the order of their first pixel.
pub fn suspected_lines(around: &Around, grain: &Grain) -> Vec<LineSuspect> {
    let current = around.current;
    if !are_looked_for(current.height()) {
        return Vec::new();
    }
    let rows = current.height() / BAND;
    let evened = Evened::new(grain, current.planes.len());
    let own = current.lines(&evened);
    let evens = Evens {
        sides: around.sides.each_ref().map(|(p, _)| p.evened_bands(&evened)),
        witnesses: around.witnesses.map(|w| w.map(|p| p.evened_bands(&evened))),
        current: current.evened_bands(&evened),
    };
    let companions = Companions::of(around, &evened);
    let more = carried(&companions, &own, &evens.current, current.width());
    let middle = |s: &Shape| s.path.centres[s.path.len() / 2];
    let suspect = |shape: &Shape| {
        let column = Column::of(shape, rows);
        let others = Others { here: &own, companions: &companions };
        let (values, companions) = measure(shape, &column, around, &evens, &others);
        let path = shape.path.first..shape.path.first + shape.path.len();
        LineSuspect {
            mask: mask::of_column(shape, &column.pieces(&evens.current, path), current),
            polarity: if shape.track.sign > 0.0 { Polarity::Bright } else { Polarity::Dark },
            values,
            companions,
            contrast: shape.contrast,
        }
    };
    let mut suspects = look_by_place(&own, |s| middle(s) as i32, suspect);
    suspects.extend(look_by_place(&more, |s| middle(s) as i32, suspect));
    // A line taken from the frames around may have no pixel in this one.
    suspects.retain(|s| !s.mask.is_empty());
    suspects.sort_by_key(|s| s.mask.first_pixel());
    suspects
}

/// The lines that a frame shows by itself in its evened bands, strongest first. Without threads of its own: whoever waits
/// for them holds a lock.
pub(crate) fn shapes(frame: &Prepared, bands: &[Plane]) -> Vec<Shape> {
    let found = tracks(&scales(bands), &scales(&tall(bands)));
    let shapes = found.iter().filter_map(|t| Shape::of(t, bands));
    let mut lines = apart(shapes.filter(|shape| mask::is_inside(shape, frame)));
    let measured = alone(frame, &lines);
    for (line, measured) in lines.iter_mut().zip(measured) {
        line.alone = measured;
    }
    lines
}

/// The shapes without those that run beside or on a stronger one of much the same width for most of their length: a
/// scratch's rim of the other polarity, and the flank that a bright line makes of its ground, are no lines of their own.
fn apart(shapes: impl Iterator<Item = Shape>) -> Vec<Shape> {
    let mut kept: Vec<Shape> = Vec::new();
    for shape in shapes {
        if !kept.iter().any(|stronger| runs_along(&shape, stronger)) {
            kept.push(shape);
        }
    }
    kept
}

fn runs_along(shape: &Shape, other: &Shape) -> bool {
    let (first, last) = (other.path.first, other.path.first + other.path.len());
    let middle = |s: &Shape, k: usize| s.path.centres[k] + 0.5 * (s.edges.0 + s.edges.1);
    let reach = 0.5 * (shape.width() + other.width()) + BESIDE;
    if !alike(shape.width(), other.width()) {
        return false;
    }
    let beside = (0..shape.path.len()).filter(|k| {
        let band = shape.path.first + k;
        (first..last).contains(&band) && (middle(shape, *k) - middle(other, band - first)).abs() < reach
    });
    2 * beside.count() > shape.path.len()
}

/// Whether a line of one width may be the rim of a line of the other, or the same line, in this frame or another: a thin
/// scratch is no part of the broad thing of the scene that it crosses.
fn alike(a: f32, b: f32) -> bool {
    a < WIDTHS * b + 2.0 && b < WIDTHS * a + 2.0
}

/// Widths of a line and its rim differ by less than this factor.
const WIDTHS: f32 = 3.0;
/// Distance from a stronger line up to which a weaker one is taken for a part of it, in pixels.
const BESIDE: f32 = 3.0;
