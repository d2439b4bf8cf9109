//! One frame's candidates.

use besom_motion::{Flicker, MotionField, compensate, estimate_field, reconcile};
use besom_scan::{Plane, Rect};
use rayon::prelude::*;

use crate::candidate::{Candidate, Kind, Origin, Risk};
use crate::colour::{self, ColourEvidence, ColourThresholds};
use crate::components::{Component, Thresholds, components};
use crate::context::companies;
use crate::evidence::{sigma_table, test};
use crate::features::{Crowd, Measured, Scene, Side, Unrest, closer_look, glance};
use crate::grain::Grain;
use crate::infrared::{self, Opinion};
use crate::lines::{Around, LineSuspect, suspected_lines};
use crate::model::{DISMISSED_BELOW, Judged, Model};
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
#[derive(Default)]
pub struct Suspects {
    /// The marks, in the order of their first pixel.
    pub components: Vec<Component>,
    /// Their measurements.
    pub measured: Vec<Measured>,
    /// Bounds of the marks that the first look dismissed, and its probabilities.
    pub dismissed: Vec<(Rect, f32)>,
    /// Suspected line scratches with their measurements, in the order of their first pixel.
    pub lines: Vec<LineSuspect>,
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

/// The test on colour, when all three frames have it.
fn colour_evidence(
    current: &Prepared,
    neighbours: [&Prepared; 2],
    fields: [&MotionField; 2],
) -> Option<ColourEvidence> {
    let (now, a, b) = (current.colour.as_ref()?, neighbours[0].colour.as_ref()?, neighbours[1].colour.as_ref()?);
    Some(colour::test(now, [a, b], fields, &current.luma))
}

/// Finds and measures the suspected marks of `window.current`. `first_look` gives a probability by the measurements that cost
/// little ([`crate::features::Glance::values`]); marks below [`DISMISSED_BELOW`] are not looked at more closely, only where they lie is
/// kept. Empty when the frame stands alone in its shot.
pub fn suspects(
    window: &Window,
    grain: &Grain,
    settings: &Settings,
    first_look: &(dyn Fn(&[f32]) -> f32 + Sync),
) -> Suspects {
    let nothing = Suspects::default();
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
    let colour = colour_evidence(current, neighbours, [&field_a, &field_b]);
    if let Some(colour) = &colour {
        let differs = |x: usize, y: usize| current.luma.at(x, y) - 0.5 * (a.at(x, y) + b.at(x, y));
        components.extend(colour::components(colour, &ColourThresholds::default(), differs, &mut taken));
        components.sort_by_key(|c| c.mask.runs().first().map(|r| (r.y, r.x0)));
    }
    let inverse: Vec<f32> = sigma_table(grain).iter().map(|s| 1.0 / s).collect();
    let unrest = Unrest::measure(&evidence, &a, &b, &inverse);
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
        unrest: &unrest,
        colour: colour.as_ref(),
    };
    let looked: Vec<Result<Measured, f32>> = components
        .par_iter()
        .map(|c| {
            let blocked = || current.infrared.as_ref().is_some_and(|infrared| infrared.blocked(&c.mask));
            let glance = glance(&scene, c);
            let probability = first_look(glance.values());
            let dismissed = probability < DISMISSED_BELOW && !blocked();
            if dismissed { Err(probability) } else { Ok(closer_look(&scene, glance)) }
        })
        .collect();
    let mut found = Suspects::default();
    for (component, looked) in components.into_iter().zip(looked) {
        match looked {
            Ok(measured) => {
                found.components.push(component);
                found.measured.push(measured);
            }
            Err(probability) => found.dismissed.push((component.bounds, probability)),
        }
    }
    let sides = [(neighbours[0], &field_a), (neighbours[1], &field_b)];
    found.lines = suspected_lines(&Around { current, sides, witnesses: scene.witnesses, one_sided }, grain);
    found
}

/// The candidates of `window.current`, in the order of their first pixel.
pub fn detect(window: &Window, grain: &Grain, model: &Model, settings: &Settings) -> Vec<Candidate> {
    let found = suspects(window, grain, settings, &|values| model.first_look(values));
    let first: Vec<f32> = found.measured.iter().map(|m| model.by_itself(m)).collect();
    let mut marks: Vec<(Rect, f32)> = found.components.iter().map(|c| c.bounds).zip(first.iter().copied()).collect();
    marks.extend(&found.dismissed);
    let companies = companies(&marks, window.current.width(), window.current.height());
    let mut candidates: Vec<Candidate> = Vec::new();
    for (((component, measured), first), company) in
        found.components.into_iter().zip(&found.measured).zip(first).zip(companies)
    {
        let judged = Judged { measured, first, company: &company };
        candidates.extend(judge(component, &judged, window.current, model, settings));
    }
    let lines = found.lines.into_iter().map(|l| l.judged(model.lines()));
    let lines: Vec<Candidate> = lines.filter(|l| l.confidence >= settings.floor).collect();
    // What lies on a line that is sure is part of it.
    let sure: Vec<&Candidate> = lines.iter().filter(|l| l.confidence >= SURE).collect();
    candidates.retain(|c| !sure.iter().any(|l| 2 * l.mask.overlap(&c.mask) > c.area()));
    candidates.extend(lines);
    crate::whole::join(&mut candidates, window, grain);
    candidates.sort_by_key(|c| c.mask.runs().first().map(|r| (r.y, r.x0)));
    candidates
}

/// Confidence from which a line swallows the specks that lie on it.
const SURE: f32 = 0.5;

fn judge(
    component: Component,
    judged: &Judged,
    current: &Prepared,
    model: &Model,
    settings: &Settings,
) -> Option<Candidate> {
    let infrared = current.infrared.as_ref().map_or_else(Opinion::default, |i| i.says(&component.mask));
    let confidence = infrared.shifted(model.in_company(judged));
    let measured = judged.measured;
    (confidence >= settings.floor).then(|| Candidate {
        kind: if measured.hair { Kind::Hair } else { Kind::Dust },
        polarity: component.polarity,
        confidence,
        risk: risk(measured),
        origin: Origin::Film,
        peak: measured.get("spike_peak"),
        reasons: infrared.among(model.reasons(judged)),
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
