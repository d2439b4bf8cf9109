//! The fills of one frame: which pixels may change, from which frames, and the samples that come out.

use besom_detect::Candidate;
use besom_motion::{MotionField, Vector, estimate_field};
use besom_repair::{Choice, Job, Method, Source, grown_mask};
use besom_scan::{Frame, Plane, RunMask, SampleEdit};

use crate::model::decision::{CandidateId, Decision, FillChoice};
use crate::reel::Reel;

use super::places::Places;
use super::record::RepairEntry;
use super::repair::Loaded;
use super::walk::Held;

/// How far beyond a candidate's pixels a repair may ever reach: a soft edge is followed over four pixels, and one pixel of
/// margin comes on top. `verify` holds every record to it.
pub(super) const MOST_GROWTH: u32 = 9;

/// Undecided candidates of this confidence are dirt more likely than not to be copied along, so no fill takes from them.
const DOUBTFUL: f32 = 0.3;

/// The repaired samples of a frame, and the record of each fill.
pub(super) struct Filled {
    pub(super) edits: Vec<SampleEdit>,
    pub(super) entries: Vec<RepairEntry>,
}

/// Not zero where a frame's pixels must neither be matched nor copied: what is accepted, and what probably is dirt, with
/// `margin` pixels around it.
fn suspects(reel: &Reel, frame: u64, width: usize, height: usize, margin: u32) -> Plane<u8> {
    let mut skip = Plane::<u8>::new(width, height);
    for (index, candidate) in reel.candidates(frame).iter().enumerate() {
        let doubtful = match reel.decision(CandidateId::new(frame, index as u32)) {
            Decision::Accepted => true,
            Decision::Undecided => candidate.confidence >= DOUBTFUL,
            Decision::Rejected | Decision::Intended => false,
        };
        if doubtful {
            candidate.mask.grown(margin, width as u32, height as u32).paint(&mut skip, 1);
        }
    }
    skip
}

/// A neighbouring frame at hand for filling.
struct Neighbour<'a> {
    offset: i32,
    number: u64,
    planes: &'a [Plane],
    skip: Plane<u8>,
    /// Motion to the nearest neighbour on that side, and how many frames away that neighbour is.
    field: MotionField,
    steps: f32,
}

impl Neighbour<'_> {
    /// Where the picture at a place stands in this frame. The motion of the first frame goes on for the second: the fill
    /// refines every start anyway.
    fn start(&self, x: f32, y: f32) -> Vector {
        let v = self.field.at(x, y);
        Vector::new(v.dx * self.steps, v.dy * self.steps)
    }
}

/// Fills every accepted candidate of the frame at `place`.
///
/// # Errors
/// A clause that says why the frame cannot be read.
pub(super) fn fill_frame(reel: &Reel, places: &Places, place: usize, held: &Held<Loaded>) -> Result<Filled, String> {
    let loaded = held.get(place).ok_or_else(|| "it was not read".to_owned())?.as_ref().map_err(Clone::clone)?;
    let (Some(entry), Some(shot)) = (places.entry(place), places.shot(place)) else {
        return Err("it belongs to no shot".to_owned());
    };
    let frame = loaded.scan.frame();
    let (width, height) = (frame.width, frame.height);
    let neighbours = neighbours(reel, places, place, held);
    let starts: Vec<_> = neighbours.iter().map(|n| move |x: f32, y: f32| n.start(x, y)).collect();
    let sources: Vec<Source> = neighbours
        .iter()
        .zip(&starts)
        .map(|(n, start)| Source { offset: n.offset, planes: n.planes, skip: &n.skip, start })
        .collect();
    let marks = suspects(reel, entry.number, width, height, 0);
    let nothing = RunMask::default();
    let job = Job {
        planes: &loaded.prepared.planes,
        skip: &marks,
        mask: &nothing,
        sources: &sources,
        grain: &shot.grain,
        choice: Choice::Automatic,
        seed: 0,
    };
    let prepared = besom_repair::Prepared::new(&job);
    let holes = holes(reel, entry.number, &job, &prepared);
    // Other marks are kept out of the rim of a hole with their soft edges.
    let mut skip = suspects(reel, entry.number, width, height, 1);
    for hole in &holes {
        hole.mask.paint(&mut skip, 1);
    }
    let mut filled = Filled { edits: Vec::new(), entries: Vec::new() };
    for Hole { id, candidate, choice, mask } in &holes {
        let job = Job { mask, skip: &skip, choice: choice_of(*choice), seed: seed(*id), ..job };
        let fill = besom_repair::fill_prepared(&job, &prepared);
        if fill.method == Method::Nothing {
            continue;
        }
        edits(frame, &fill, mask, &mut filled.edits);
        let finite = |value: f32| value.is_finite().then_some(value);
        let number = |offset: &i32| neighbours.iter().find(|n| n.offset == *offset).map(|n| n.number);
        filled.entries.push(RepairEntry {
            index: id.index,
            bounds: candidate.bounds(),
            kind: candidate.kind.word().to_owned(),
            method: fill.method.to_string(),
            sources: fill.sources.iter().filter_map(number).collect(),
            rim_error: finite(fill.rim_error),
            predicted_error: finite(fill.predicted_error),
            mask: mask.clone(),
        });
    }
    Ok(filled)
}

/// An accepted candidate and the pixels that its repair may change.
struct Hole<'a> {
    id: CandidateId,
    candidate: &'a Candidate,
    choice: FillChoice,
    mask: RunMask,
}

/// The holes of a frame: accepted candidates with their soft edges, without what may not be touched. A pixel belongs to the
/// first hole that reaches it, so that none is written twice.
fn holes<'a>(reel: &'a Reel, frame: u64, job: &Job, prepared: &besom_repair::Prepared) -> Vec<Hole<'a>> {
    let (width, height) = (job.skip.width() as u32, job.skip.height() as u32);
    let untouchable = reel.untouchable_mask(frame);
    let mut taken = untouchable;
    let mut holes = Vec::new();
    for (id, candidate, choice) in reel.accepted(frame) {
        let grown = grown_mask(&Job { mask: &candidate.mask, ..*job }, prepared);
        let beyond = grown.minus(&candidate.mask.grown(MOST_GROWTH, width, height));
        let mask = grown.minus(&beyond).minus(&taken);
        if !mask.is_empty() {
            taken = taken.union(&mask);
            holes.push(Hole { id, candidate, choice, mask });
        }
    }
    holes
}

fn neighbours<'a>(reel: &Reel, places: &Places, place: usize, held: &'a Held<Loaded>) -> Vec<Neighbour<'a>> {
    let at = |offset: i32| {
        let there = places.neighbour(place, i64::from(offset))?;
        let loaded = held.get(there)?.as_ref().ok()?;
        Some((offset, places.entry(there)?.number, loaded))
    };
    let Some((_, _, current)) = held.get(place).and_then(|l| l.as_ref().ok()).map(|l| (0, 0, l)) else {
        return Vec::new();
    };
    let mut neighbours = Vec::new();
    for side in [-1, 1] {
        let found: Vec<_> = [at(side), at(2 * side)].into_iter().flatten().collect();
        let Some((nearest, _, first)) = found.first() else { continue };
        let field = estimate_field(&current.prepared.pyramid, &first.prepared.pyramid);
        for (offset, number, loaded) in &found {
            neighbours.push(Neighbour {
                offset: *offset,
                number: *number,
                planes: &loaded.prepared.planes,
                skip: suspects(reel, *number, current.prepared.width(), current.prepared.height(), 1),
                field: field.clone(),
                steps: *offset as f32 / *nearest as f32,
            });
        }
    }
    neighbours.sort_by_key(|n| n.offset);
    neighbours
}

/// Changed samples of a fill in native codes.
fn edits(frame: &Frame, fill: &besom_repair::Fill, mask: &RunMask, edits: &mut Vec<SampleEdit>) {
    for (x, y) in mask.pixels() {
        for (channel, plane) in fill.values.iter().enumerate() {
            let Some(value) = plane.get(x as i32 - fill.rect.x0, y as i32 - fill.rect.y0) else { continue };
            let bits = frame.to_native(value);
            if bits != frame.native_bits(x as usize, y as usize, channel) {
                edits.push(SampleEdit { x, y, channel: channel as u8, bits });
            }
        }
    }
}

const fn choice_of(choice: FillChoice) -> Choice {
    match choice {
        FillChoice::Automatic => Choice::Automatic,
        FillChoice::Previous => Choice::Previous,
        FillChoice::Next => Choice::Next,
        FillChoice::Spatial => Choice::Spatial,
    }
}

/// The same candidate gives the same grain on every machine.
const fn seed(id: CandidateId) -> u64 {
    id.frame.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(id.index as u64)
}
