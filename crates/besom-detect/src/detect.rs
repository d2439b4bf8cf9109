//! One frame's candidates.

use std::borrow::Cow;

use besom_motion::{Flicker, MotionField, Vector, compensate_into, estimate_field, reconcile};
use besom_scan::{Plane, Rect, RunMask};
use rayon::prelude::*;

use crate::beside_lines;
use crate::candidate::{Candidate, Kind, Origin, Risk};
use crate::colour::{self, ColourEvidence, ColourThresholds};
use crate::components::{Component, Thresholds, components};
use crate::context::companies;
use crate::evidence::{sigma_table, test_in};
use crate::features::{Crowd, Measured, Scene, Side, Unrest, closer_look, glance};
use crate::gate::{self, GateSuspect};
use crate::grain::Grain;
use crate::infrared::{self, Opinion};
use crate::levels;
use crate::lines::{LineModel, suspected_lines};
use crate::model::{DISMISSED_BELOW, Judged, Model};
use crate::nearby::look_by_place;
use crate::own_frame::{self, Part};
use crate::prepare::Prepared;
use crate::spares::Spares;
use crate::sway::Sway;

/// Settings of a detection. Part of the fingerprint of stored candidates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Thresholds of the temporal test.
    pub thresholds: Thresholds,
    /// Candidates below this confidence are not kept.
    pub floor: f32,
    /// Whether marks fixed in the gate are looked for; `besom-proof` compares the two.
    pub gate: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self { thresholds: Thresholds::default(), floor: 0.05, gate: true }
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
    /// Suspected line scratches, judged, in the order of their first pixel.
    pub lines: Vec<Candidate>,
    /// Suspected marks fixed in the gate with their measurements, in the order of their first pixel.
    pub gate: Vec<GateSuspect>,
}

/// A frame with the neighbours that it is held against; [`Window::around`] makes it.
pub struct Around<'a> {
    /// The frame.
    pub(crate) current: &'a Prepared,
    /// Its two neighbours, of the frame's size, and the motion from the frame to each.
    pub(crate) sides: [(&'a Prepared, MotionField); 2],
    /// The median of either motion: weave and steady pans.
    pub(crate) medians: [Vector; 2],
    /// The frames beyond them, each on the side it lies beyond; of the frame's size too.
    pub(crate) witnesses: [Option<&'a Prepared>; 2],
    /// Both neighbours lie on the same side of the frame, or are one and the same.
    pub(crate) one_sided: bool,
}

impl<'a> Window<'a> {
    /// Frame `n` of a whole shot, counted from 0, with the frames around it; `None` where it is missing itself.
    pub fn of_shot(shot: &'a [Option<Prepared>], n: usize) -> Option<Self> {
        let at = |n: Option<usize>| shot.get(n?)?.as_ref();
        Some(Self {
            before_last: at(n.checked_sub(2)),
            previous: at(n.checked_sub(1)),
            current: at(Some(n))?,
            next: at(n.checked_add(1)),
            after_next: at(n.checked_add(2)),
        })
    }

    /// The two neighbours of the test with the motion to them, held against each other when they lie on both sides, and the
    /// witnesses beyond them. `None` when the frame stands alone or its neighbours are of another size.
    pub fn around(&self) -> Option<Around<'a>> {
        let current = self.current;
        let (neighbours, witnesses, one_sided) = match (self.previous, self.next) {
            (Some(p), Some(n)) => ([p, n], [self.before_last, self.after_next], false),
            (Some(p), None) => ([p, self.before_last.unwrap_or(p)], [None, None], true),
            (None, Some(n)) => ([n, self.after_next.unwrap_or(n)], [None, None], true),
            (None, None) => return None,
        };
        let same_size = |p: &Prepared| p.width() == current.width() && p.height() == current.height();
        if !neighbours.iter().all(|p| same_size(p)) {
            return None;
        }
        let to = |other: &Prepared| estimate_field(&current.pyramid, &other.pyramid);
        let (mut a, mut b) = rayon::join(|| to(neighbours[0]), || to(neighbours[1]));
        if !one_sided {
            reconcile(&mut a, &mut b, -1.0);
        } else if !std::ptr::eq(neighbours[0], neighbours[1]) {
            reconcile(&mut a, &mut b, 2.0);
        }
        let witnesses = witnesses.map(|w| w.filter(|p| same_size(p)));
        let medians = rayon::join(|| a.median(), || b.median()).into();
        Some(Around { current, sides: [(neighbours[0], a), (neighbours[1], b)], medians, witnesses, one_sided })
    }
}

/// A neighbour as seen from the current frame, and the gain that took part in bringing it to its level.
pub(crate) fn seen(spares: &Spares, current: &Prepared, other: &Prepared, field: &MotionField) -> (Plane, f32) {
    let mut plane = spares.plane(other.width(), other.height());
    compensate_into(&other.luma, field, &mut plane);
    let flicker = Flicker::measure(&current.luma, &plane);
    flicker.level(&mut plane);
    (plane, flicker.gain())
}

/// The test on colour, when all three frames have it.
fn colour_evidence(spares: &Spares, around: &Around, gains: [f32; 2]) -> Option<ColourEvidence> {
    let [(frame_a, field_a), (frame_b, field_b)] = &around.sides;
    let (now, a, b) = (around.current.colour.as_ref()?, frame_a.colour.as_ref()?, frame_b.colour.as_ref()?);
    Some(colour::test_in(spares, now, [a, b], [field_a, field_b], gains, &around.current.luma))
}

/// Side of the squares of the picture whose marks are looked at one after another, in pixels: the parts of all planes that
/// such a square needs fit into a processor's own cache.
const TILE: i32 = 64;

/// Row and column of the square that a mark begins in.
fn tile(bounds: &Rect) -> (i32, i32) {
    (bounds.y0 / TILE, bounds.x0 / TILE)
}

/// Finds and measures the suspected marks of `window.current`. `first_look` gives a probability by the measurements that cost
/// little ([`crate::features::Glance::values`]); marks below [`DISMISSED_BELOW`] are not looked at more closely, only where they lie is
/// kept. Lines are judged by `lines`, and not looked for without: marks are looked for beside the sure ones, not in them.
/// Empty when the frame stands alone in its shot.
pub fn suspects(
    window: &Window,
    grain: &Grain,
    settings: &Settings,
    first_look: &(dyn Fn(&[f32]) -> f32 + Sync),
    lines: Option<&LineModel>,
) -> Suspects {
    suspects_in(&Spares::default(), window, grain, settings, first_look, lines)
}

/// [`suspects`] in spare planes.
fn suspects_in(
    spares: &Spares,
    window: &Window,
    grain: &Grain,
    settings: &Settings,
    first_look: &(dyn Fn(&[f32]) -> f32 + Sync),
    lines: Option<&LineModel>,
) -> Suspects {
    let current = window.current;
    let Some(around) = window.around() else { return Suspects::default() };
    let judged = |lines: &LineModel| suspected_lines(&around, grain).into_iter().map(|l| l.judged(lines)).collect();
    let lines: Vec<Candidate> = lines.map(judged).unwrap_or_default();
    let sure: Vec<&RunMask> = lines.iter().filter(|l| l.confidence >= SURE).map(|l| &l.mask).collect();
    let [(frame_a, field_a), (frame_b, field_b)] = &around.sides;
    let ((a, gain_a), (b, gain_b)) =
        rayon::join(|| seen(spares, current, frame_a, field_a), || seen(spares, current, frame_b, field_b));
    let sigma = sigma_table(grain);
    let evidence = test_in(spares, &current.luma, &a, &b, &sigma);
    let mut components = components(&evidence, &settings.thresholds);
    if let Some(infrared) = &current.infrared {
        infrared::join_weaker(infrared, &evidence, &settings.thresholds, &mut components);
    }
    let components = beside_lines::apart(components, &sure, &evidence, &settings.thresholds);
    let mut components = levels::parted(components, &evidence, &settings.thresholds);
    let mut taken = Plane::<u8>::new(current.width(), current.height());
    for line in sure {
        line.paint(&mut taken, 1);
    }
    for c in &components {
        c.mask.paint(&mut taken, 1);
    }
    let colour = colour_evidence(spares, &around, [gain_a, gain_b]);
    if let Some(colour) = &colour {
        let differs = |x: usize, y: usize| current.luma.at(x, y) - 0.5 * (a.at(x, y) + b.at(x, y));
        components.extend(colour::components(colour, &ColourThresholds::default(), differs, &mut taken));
    }
    let unrest = Unrest::measure(&evidence, &a, &b, &sigma);
    let sway = Sway::measure(&around, &taken);
    let crowd = Crowd::count(current.width(), current.height(), &components);
    let scene = Scene {
        current,
        sides: [
            Side { frame: frame_a, field: field_a, seen: &a, gain: gain_a },
            Side { frame: frame_b, field: field_b, seen: &b, gain: gain_b },
        ],
        witnesses: around.witnesses,
        evidence: &evidence,
        grain,
        one_sided: around.one_sided,
        taken: &taken,
        crowd: &crowd,
        unrest: &unrest,
        sway: &sway,
        colour: colour.as_ref(),
    };
    let parts = own_frame::parts(&components, &current.luma, &sigma, &settings.thresholds);
    let taken_by_parts = taken_by_parts(&taken, &components, &parts);
    let scene_of_parts = Scene { taken: &taken_by_parts, ..scene };
    let mut all: Vec<(Component, &Scene)> = components.into_iter().map(|c| (c, &scene)).collect();
    all.extend(parts.into_iter().map(|part| (part.component, &scene_of_parts)));
    all.sort_by_key(|(c, _)| c.mask.first_pixel());
    let look = |(c, scene): &(Component, &Scene)| {
        let blocked = || current.infrared.as_ref().is_some_and(|infrared| infrared.blocked(&c.mask));
        let glance = glance(scene, c);
        let probability = first_look(glance.values());
        let dismissed = probability < DISMISSED_BELOW && !blocked();
        if dismissed { Err(probability) } else { Ok(closer_look(scene, glance)) }
    };
    let looked: Vec<Result<Measured, f32>> = look_by_place(&all, |(c, _)| tile(&c.bounds), look);
    let mut found = Suspects::default();
    for ((component, _), looked) in all.into_iter().zip(looked) {
        match looked {
            Ok(measured) => {
                found.components.push(component);
                found.measured.push(measured);
            }
            Err(probability) => found.dismissed.push((component.bounds, probability)),
        }
    }
    found.lines = lines;
    if settings.gate {
        found.gate = gate::suspected_marks(&around, &evidence, grain);
    }
    spares.take_back([a, b]);
    let responses = std::iter::once(evidence).chain(colour.into_iter().flat_map(|c| c.planes));
    spares.take_back(responses.flat_map(|e| [e.spike, e.rank]));
    found
}

/// What is `taken` as parts see it: to a part, the rest of its object is surroundings like others.
fn taken_by_parts<'a>(taken: &'a Plane<u8>, components: &[Component], parts: &[Part]) -> Cow<'a, Plane<u8>> {
    let mut seen = Cow::Borrowed(taken);
    for part in parts {
        components[part.of].mask.paint(seen.to_mut(), 0);
    }
    for part in parts {
        part.component.mask.paint(seen.to_mut(), 1);
    }
    seen
}

/// The candidates of `window.current`, in the order of their first pixel.
pub fn detect(window: &Window, grain: &Grain, model: &Model, settings: &Settings) -> Vec<Candidate> {
    detect_in(&Spares::default(), window, grain, model, settings)
}

/// [`detect`] in spare planes, for whoever goes over many frames.
pub fn detect_in(
    spares: &Spares,
    window: &Window,
    grain: &Grain,
    model: &Model,
    settings: &Settings,
) -> Vec<Candidate> {
    let found = suspects_in(spares, window, grain, settings, &|values| model.first_look(values), Some(model.lines()));
    let first: Vec<f32> = found.measured.par_iter().map(|m| model.by_itself(m)).collect();
    let mut marks: Vec<(Rect, f32)> = found.components.iter().map(|c| c.bounds).zip(first.iter().copied()).collect();
    marks.extend(&found.dismissed);
    let companies = companies(&marks, window.current.width(), window.current.height());
    let measured = found.components.into_par_iter().zip(&found.measured).zip(first).zip(companies);
    let judged = measured.filter_map(|(((component, measured), first), company)| {
        judge(component, &Judged { measured, first, company: &company }, window.current, model, settings)
    });
    let mut candidates = parts_or_wholes(judged.collect());
    let lines = whole_lines(found.lines.into_iter().filter(|l| l.confidence >= settings.floor).collect());
    // What lies on a line that is sure is part of it.
    let sure: Vec<&Candidate> = lines.iter().filter(|l| l.confidence >= SURE).collect();
    candidates.retain(|c| !sure.iter().any(|l| 2 * l.mask.overlap(&c.mask) > c.area()));
    candidates.extend(lines);
    let fixed = found.gate.into_iter().map(|g| g.judged(model.gate()));
    let size = (window.current.width(), window.current.height());
    gate::join(&mut candidates, fixed.filter(|g| g.confidence >= settings.floor).collect(), size);
    crate::whole::join(&mut candidates, window, grain);
    candidates.sort_by_key(|c| c.mask.first_pixel());
    candidates
}

/// The marks without those that lie inside another that is sure, or surer than them, and without the others that hold surer ones:
/// of a region and what stands out in it, one is the mark.
fn parts_or_wholes(marks: Vec<Candidate>) -> Vec<Candidate> {
    let bounds: Vec<Rect> = marks.iter().map(|m| m.mask.bounds()).collect();
    let mut dropped = vec![false; marks.len()];
    for (w, whole) in marks.iter().enumerate() {
        let holds = |p: &usize| {
            let (inner, outer, part) = (&bounds[*p], &bounds[w], &marks[*p]);
            let inside = inner.x0 >= outer.x0 && inner.x1 <= outer.x1 && inner.y0 >= outer.y0 && inner.y1 <= outer.y1;
            inside && *p != w && part.area() < whole.area() && part.mask.overlap(&whole.mask) > 0
        };
        let parts: Vec<usize> = (0..marks.len()).filter(holds).collect();
        let surest = parts.iter().map(|p| marks[*p].confidence).fold(0.0, f32::max);
        if whole.confidence >= SURE || whole.confidence >= surest {
            for p in parts {
                dropped[p] = true;
            }
        } else {
            dropped[w] = true;
        }
    }
    marks.into_iter().zip(dropped).filter(|(_, dropped)| !dropped).map(|(mark, _)| mark).collect()
}

/// The lines without those that are a part of a surer one: a broken scratch is found once by each of its pieces, and the
/// surest of them knows the others.
fn whole_lines(mut lines: Vec<Candidate>) -> Vec<Candidate> {
    // A stable sort: equals stay in the order of their first pixel.
    lines.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    let mut whole: Vec<Candidate> = Vec::new();
    for line in lines {
        if !whole.iter().any(|surer| 2 * surer.mask.overlap(&line.mask) > line.area()) {
            whole.push(line);
        }
    }
    whole
}

/// Confidence from which a line swallows the specks that lie on it, those in the gate too.
pub(crate) const SURE: f32 = 0.5;

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::candidate::Polarity;

    fn mark(bounds: Rect, confidence: f32) -> Candidate {
        Candidate {
            mask: RunMask::from_rect(&bounds),
            kind: Kind::Dust,
            polarity: Polarity::Dark,
            confidence,
            risk: Risk::default(),
            origin: Origin::Film,
            peak: 9.0,
            reasons: Vec::new(),
        }
    }

    /// What is left of a region with two marks in it, beside one that stands apart.
    fn left(region: f32, inside: [f32; 2]) -> Vec<f32> {
        let marks = vec![
            mark(Rect::new(10, 10, 60, 50), region),
            mark(Rect::new(12, 12, 16, 16), inside[0]),
            mark(Rect::new(30, 20, 36, 27), inside[1]),
            mark(Rect::new(100, 12, 104, 16), 0.2),
        ];
        parts_or_wholes(marks).iter().map(|m| m.confidence).collect()
    }

    #[test]
    fn of_a_region_and_the_marks_in_it_one_is_kept() {
        assert_eq!(left(0.1, [0.9, 0.06]), vec![0.9, 0.06, 0.2], "what stands out in a region that is no mark");
        assert_eq!(left(0.3, [0.1, 0.2]), vec![0.3, 0.2], "a region that is likelier than what lies in it");
        assert_eq!(left(0.8, [0.9, 0.1]), vec![0.8, 0.2], "a blotch that is sure keeps its middle");
    }
}
