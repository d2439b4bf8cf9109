//! One frame's candidates.

use besom_motion::{Flicker, MotionField, compensate, estimate_field, reconcile};
use besom_scan::Plane;
use rayon::prelude::*;

use crate::candidate::{Candidate, Kind, Origin, Risk};
use crate::components::{Component, Thresholds, components};
use crate::evidence::{sigma_table, test};
use crate::features::{Crowd, Glance, Measured, Scene, Side, closer_look, glance};
use crate::grain::Grain;
use crate::infrared::{self, Opinion};
use crate::lines::lines;
use crate::model::Model;
use crate::prepare::Prepared;

/// Settings of a detection. Part of the fingerprint of stored candidates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Thresholds of the temporal test.
    pub thresholds: Thresholds,
    /// Candidates below this confidence are not kept.
    pub floor: f32,
}

impl Default for Settings {
    fn default() -> Self {
        Self { thresholds: Thresholds::default(), floor: 0.05 }
    }
}

/// A frame with the frames of its shot around it. `None` where the shot or the reel ends, or a scan cannot be read.
#[derive(Clone, Copy)]
pub struct Window<'a> {
    /// n-2.
    pub before_last: Option<&'a Prepared>,
    /// n-1.
    pub previous: Option<&'a Prepared>,
    /// n.
    pub current: &'a Prepared,
    /// n+1.
    pub next: Option<&'a Prepared>,
    /// n+2.
    pub after_next: Option<&'a Prepared>,
}

/// Suspected marks of a frame before they are judged, each with its measurements.
pub struct Suspects {
    /// The marks, in the order of their first pixel.
    pub components: Vec<Component>,
    /// Their measurements.
    pub measured: Vec<Measured>,
    /// Line scratches, already judged.
    pub lines: Vec<Candidate>,
}

/// The two neighbours of the test, the witnesses beyond them, and whether they lie on one side.
type Chosen<'a> = ([&'a Prepared; 2], [Option<&'a Prepared>; 2], bool);

impl<'a> Window<'a> {
    fn choose(&self) -> Option<Chosen<'a>> {
        match (self.previous, self.next) {
            (Some(p), Some(n)) => Some(([p, n], [self.before_last, self.after_next], false)),
            (Some(p), None) => Some(([p, self.before_last.unwrap_or(p)], [None, None], true)),
            (None, Some(n)) => Some(([n, self.after_next.unwrap_or(n)], [None, None], true)),
            (None, None) => None,
        }
    }
}

/// Motion to both neighbours of the test, held against each other when they lie on both sides.
fn fields(current: &Prepared, neighbours: [&Prepared; 2], one_sided: bool) -> [MotionField; 2] {
    let to = |other: &Prepared| estimate_field(&current.pyramid, &other.pyramid);
    let (mut a, mut b) = rayon::join(|| to(neighbours[0]), || to(neighbours[1]));
    if !one_sided {
        reconcile(&mut a, &mut b);
    }
    [a, b]
}

/// A neighbour as seen from the current frame.
fn seen(current: &Prepared, other: &Prepared, field: &MotionField) -> Plane {
    let mut seen = compensate(&other.luma, field);
    Flicker::measure(&current.luma, &seen).level(&mut seen);
    seen
}

/// Finds and measures the suspected marks of `window.current` that `first_look` does not dismiss by the measurements that
/// cost little ([`Glance::values`]). Empty when the frame stands alone in its shot.
pub fn suspects(
    window: &Window,
    grain: &Grain,
    settings: &Settings,
    first_look: &(dyn Fn(&[f32]) -> bool + Sync),
) -> Suspects {
    let nothing = Suspects { components: Vec::new(), measured: Vec::new(), lines: Vec::new() };
    let current = window.current;
    let Some((neighbours, witnesses, one_sided)) = window.choose() else { return nothing };
    let same_size = |p: &Prepared| p.width() == current.width() && p.height() == current.height();
    if !neighbours.iter().all(|p| same_size(p)) {
        return nothing;
    }
    let [field_a, field_b] = fields(current, neighbours, one_sided);
    let (a, b) = rayon::join(|| seen(current, neighbours[0], &field_a), || seen(current, neighbours[1], &field_b));
    let evidence = test(&current.luma, &a, &b, &sigma_table(grain));
    let mut components = components(&evidence, &settings.thresholds);
    if let Some(infrared) = &current.infrared {
        infrared::join_weaker(infrared, &evidence, &settings.thresholds, &mut components);
    }
    let mut taken = Plane::<u8>::new(current.width(), current.height());
    for c in &components {
        c.mask.paint(&mut taken, 1);
    }
    let crowd = Crowd::count(current.width(), current.height(), &components);
    let scene = Scene {
        current,
        sides: [
            Side { frame: neighbours[0], field: &field_a, seen: &a },
            Side { frame: neighbours[1], field: &field_b, seen: &b },
        ],
        witnesses: witnesses.map(|w| w.filter(|p| same_size(p))),
        evidence: &evidence,
        grain,
        one_sided,
        taken: &taken,
        crowd: &crowd,
    };
    let looked: Vec<Option<Measured>> = components
        .par_iter()
        .map(|c| {
            let blocked = || current.infrared.as_ref().is_some_and(|infrared| infrared.blocked(&c.mask));
            Some(glance(&scene, c))
                .filter(|g: &Glance| first_look(g.values()) || blocked())
                .map(|g| closer_look(&scene, g))
        })
        .collect();
    let (components, measured) = components.into_iter().zip(looked).filter_map(|(c, m)| m.map(|m| (c, m))).unzip();
    let lines = lines(current, &scene.sides, grain);
    Suspects { components, measured, lines }
}

/// The candidates of `window.current`, in the order of their first pixel.
pub fn detect(window: &Window, grain: &Grain, model: &Model, settings: &Settings) -> Vec<Candidate> {
    let found = suspects(window, grain, settings, &|values| model.worth_a_closer_look(values));
    let marks = found.components.into_iter().zip(&found.measured);
    let mut candidates: Vec<Candidate> =
        marks.filter_map(|(component, measured)| judge(component, measured, window.current, model, settings)).collect();
    // What lies on a line that is sure is part of it.
    let sure: Vec<&Candidate> = found.lines.iter().filter(|l| l.confidence >= SURE).collect();
    candidates.retain(|c| !sure.iter().any(|l| 2 * l.mask.overlap(&c.mask) > c.area()));
    candidates.extend(found.lines);
    crate::whole::join(&mut candidates, window, grain);
    candidates.sort_by_key(|c| c.mask.runs().first().map(|r| (r.y, r.x0)));
    candidates
}

/// Confidence from which a line swallows the specks that lie on it.
const SURE: f32 = 0.5;

fn judge(
    component: Component,
    measured: &Measured,
    current: &Prepared,
    model: &Model,
    settings: &Settings,
) -> Option<Candidate> {
    let infrared = current.infrared.as_ref().map_or_else(Opinion::default, |i| i.says(&component.mask));
    let confidence = infrared.shifted(model.confidence(measured));
    (confidence >= settings.floor).then(|| Candidate {
        kind: if measured.hair { Kind::Hair } else { Kind::Dust },
        polarity: component.polarity,
        confidence,
        risk: risk(measured),
        origin: Origin::Film,
        peak: measured.get("spike_peak"),
        reasons: infrared.among(model.reasons(measured)),
        mask: component.mask,
    })
}

/// Bounds beyond which a mark is at risk of being part of the picture. Read off the development clips: beyond them more than
/// a third of the suspects are not dirt.
pub fn risk(m: &Measured) -> Risk {
    Risk {
        neighbours_disagree: m.get("neighbours_differ_rim") > 4.0,
        fast_motion: m.get("motion") > 2.0,
        reappears: m.get("reappears_a").min(m.get("reappears_b")) < 0.3,
        one_sided: m.get("one_sided") > 0.5,
        swarm: m.get("crowd_same_sign") > 4.0,
    }
}
