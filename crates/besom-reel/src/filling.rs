//! The fills of one frame: which pixels may change, from which frames, and the samples that come out.
//!
//! A [`FillPlan`] is all that a frame's fills depend on, taken from the reel in a moment. The repair over a reel and the
//! window's proposal carry out the same plan, so what is seen is what is written.

use std::sync::Arc;

use besom_detect::whole::tells_of_a_missing_frame;
use besom_detect::{Candidate, Grain, Kind, Prepared};
use besom_motion::{MotionField, Vector};
use besom_repair::{Choice, Fill, Job, Method, Source, grown_mask};
use besom_scan::{Frame, Plane, RunMask, SampleEdit};
use rayon::prelude::*;

use crate::model::decision::{CandidateId, Decision, FillChoice};
use crate::reel::Reel;

/// Frames that a fill looks at: n-2 to n+2.
pub const WINDOW: usize = 5;
/// The place in the window of the frame under repair.
pub const MIDDLE: usize = 2;

/// How far beyond a candidate's pixels a repair may ever reach: marks are followed over eight pixels, and one pixel of margin
/// comes on top. `verify` holds every record to it.
pub const MOST_GROWTH: u32 = 9;

/// Undecided candidates of this confidence are dirt more likely than not to be copied along, so no fill takes from them.
const DOUBTFUL: f32 = 0.3;

/// A frame of which suspects hide at least this share gives nothing to its neighbours.
const LOST: f32 = 0.9;

/// A candidate to be filled.
#[derive(Clone, Debug)]
struct Planned {
    id: CandidateId,
    mask: RunMask,
    kind: Kind,
    choice: FillChoice,
}

/// All that the fills of a frame depend on beside the pictures.
#[derive(Clone, Debug)]
pub struct FillPlan {
    holes: Vec<Planned>,
    untouchable: RunMask,
    /// For each frame of the window, the marks that must neither be matched nor copied.
    suspects: [Vec<RunMask>; WINDOW],
    grain: Grain,
}

/// One filled candidate.
#[derive(Clone, Debug)]
pub struct Filled {
    /// The candidate.
    pub id: CandidateId,
    /// The pixels that the fill was allowed to change.
    pub mask: RunMask,
    /// The changed samples in native codes.
    pub edits: Vec<SampleEdit>,
    /// What was used.
    pub method: Method,
    /// Offsets of the frames that gave pixels.
    pub sources: Vec<i32>,
    /// Mean difference on the rim, codes; `None` without a rim.
    pub rim_error: Option<f32>,
    /// Predicted error inside, codes; `None` when it could not be told.
    pub predicted_error: Option<f32>,
}

impl FillPlan {
    /// The plan for the middle one of `frames` (scan numbers, `None` where the shot has none): what is accepted there, and
    /// the candidate in `hand` as though it were. `None` when the middle one is missing or belongs to no shot.
    pub fn new(reel: &Reel, frames: &[Option<u64>; WINDOW], hand: Option<CandidateId>) -> Option<Self> {
        let frame = frames[MIDDLE]?;
        let grain = reel.shot_of(frame)?.grain.clone();
        let planned = |id, candidate: &Candidate, choice| {
            let (mask, kind) = (candidate.mask.clone(), candidate.kind);
            // A frame that is missing before this one is nothing that could be mended in this one.
            (!tells_of_a_missing_frame(candidate)).then_some(Planned { id, mask, kind, choice })
        };
        let accepted = reel.accepted(frame).into_iter();
        let mut holes: Vec<Planned> = accepted.filter_map(|(id, c, choice)| planned(id, c, choice)).collect();
        let open = hand.filter(|id| id.frame == frame && reel.decision(*id) == Decision::Undecided);
        if let Some((id, candidate)) = open.and_then(|id| Some((id, reel.candidate(id)?))) {
            holes.extend(planned(id, candidate, reel.fill_choice(id)));
        }
        // What a rebuilt frame is made of needs no repair of its own.
        holes.sort_by_key(|hole| (hole.kind != Kind::Frame, hole.id));
        let suspects = frames.map(|f| f.map(|f| suspects(reel, f, hand)).unwrap_or_default());
        Some(Self { holes, untouchable: reel.untouchable_mask(frame), suspects, grain })
    }

    /// True when there is nothing to fill.
    pub fn is_empty(&self) -> bool {
        self.holes.is_empty()
    }

    /// Fills every hole of `frame`, in the order of the candidates. `window` holds the frames n-2 to n+2 as far as the shot has
    /// them, all of one size; `field` gives the motion from one place of the window to another.
    pub fn fill(
        &self,
        frame: &Frame,
        window: &[Option<&Prepared>; WINDOW],
        field: &mut dyn FnMut(usize, usize) -> Arc<MotionField>,
    ) -> Vec<Filled> {
        let Some(current) = window[MIDDLE].filter(|_| !self.is_empty()) else { return Vec::new() };
        let neighbours = self.neighbours(window, field);
        let plain = Courses::beside(&neighbours);
        let starts = plain.starts();
        let sources = sources(&neighbours, &starts);
        let marks = self.painted(MIDDLE, 0, current);
        let nothing = RunMask::default();
        let job = Job {
            planes: &current.planes,
            skip: &marks,
            mask: &nothing,
            sources: &sources,
            grain: &self.grain,
            choice: Choice::Automatic,
            seed: 0,
        };
        let prepared = besom_repair::Prepared::new(&job);
        let holes = self.grown(&job, &prepared);
        // Other marks are kept out of the rim of a hole with their soft edges.
        let mut skip = self.painted(MIDDLE, 1, current);
        for (_, mask) in &holes {
            mask.paint(&mut skip, 1);
        }
        let job = Job { skip: &skip, ..job };
        let filled = |job: &Job, prepared: &besom_repair::Prepared, (hole, mask): &(&Planned, RunMask)| {
            let job = Job { mask, choice: choice_of(hole.choice), seed: seed(hole.id), ..*job };
            filled(hole.id, frame, mask, &besom_repair::fill_prepared(&job, prepared))
        };
        let (whole, marks): (Vec<_>, Vec<_>) = holes.iter().partition(|(hole, _)| hole.kind == Kind::Frame);
        let mut all: Vec<Filled> = marks.into_par_iter().filter_map(|hole| filled(&job, &prepared, hole)).collect();
        if !whole.is_empty() {
            // What moves how in a damaged frame is asked of the frames around it.
            let across = Courses::across(&neighbours, field);
            let starts = across.as_ref().unwrap_or(&plain).starts();
            let sources = self::sources(&neighbours, &starts);
            let job = Job { sources: &sources, ..job };
            let prepared = besom_repair::Prepared::new(&job);
            all.extend(whole.into_iter().filter_map(|hole| filled(&job, &prepared, hole)));
        }
        all.sort_by_key(|filled| filled.id);
        all
    }

    /// Not zero at the suspects of a frame of the window, with `margin` pixels around them.
    fn painted(&self, place: usize, margin: u32, size_of: &Prepared) -> Plane<u8> {
        let (width, height) = (size_of.width(), size_of.height());
        let mut plane = Plane::<u8>::new(width, height);
        for mask in &self.suspects[place] {
            mask.grown(margin, width as u32, height as u32).paint(&mut plane, 1);
        }
        plane
    }

    fn neighbours<'a>(
        &self,
        window: &[Option<&'a Prepared>; WINDOW],
        field: &mut dyn FnMut(usize, usize) -> Arc<MotionField>,
    ) -> Vec<Neighbour<'a>> {
        let mut neighbours = Vec::new();
        for side in [[1, 0], [3, 4]] {
            let mut nearest = None;
            for place in side {
                let Some(prepared) = window[place] else { continue };
                let whole = (prepared.width() * prepared.height()) as f32;
                if self.suspects[place].iter().any(|mask| mask.area() as f32 >= LOST * whole) {
                    continue;
                }
                let (near, field) = nearest.get_or_insert_with(|| (place, field(MIDDLE, place))).clone();
                let skip = self.painted(place, 1, prepared);
                let steps = offset(place) as f32 / offset(near) as f32;
                neighbours.push(Neighbour { place, planes: &prepared.planes, skip, field, steps });
            }
        }
        neighbours.sort_by_key(|n| n.place);
        neighbours
    }

    /// The pixels that each hole's repair may change: with its soft edge, without what may not be touched. A pixel belongs to
    /// the first hole that reaches it, so that none is written twice.
    fn grown(&self, job: &Job, prepared: &besom_repair::Prepared) -> Vec<(&Planned, RunMask)> {
        let (width, height) = (job.skip.width() as u32, job.skip.height() as u32);
        let mut taken = self.untouchable.clone();
        let mut holes = Vec::new();
        let grown = |hole: &Planned| {
            if hole.kind == Kind::Frame {
                // The damage of a whole frame has no edge that could be followed.
                hole.mask.grown(1, width, height)
            } else {
                grown_mask(&Job { mask: &hole.mask, ..*job }, prepared)
            }
        };
        let all: Vec<RunMask> = self.holes.par_iter().map(grown).collect();
        for (hole, grown) in self.holes.iter().zip(all) {
            let mask = grown.intersection(&hole.mask.grown(MOST_GROWTH, width, height)).minus(&taken);
            if !mask.is_empty() {
                taken = taken.union(&mask);
                holes.push((hole, mask));
            }
        }
        holes
    }
}

/// Frames from the middle of the window.
const fn offset(place: usize) -> i32 {
    place as i32 - MIDDLE as i32
}

fn suspects(reel: &Reel, frame: u64, hand: Option<CandidateId>) -> Vec<RunMask> {
    let candidates = reel.candidates(frame).iter().enumerate();
    let doubtful = candidates.filter(|(index, candidate)| {
        let id = CandidateId::new(frame, *index as u32);
        let doubted = match reel.decision(id) {
            Decision::Accepted => true,
            Decision::Undecided => candidate.confidence >= DOUBTFUL || hand == Some(id),
            Decision::Rejected | Decision::Intended => false,
        };
        doubted && !tells_of_a_missing_frame(candidate)
    });
    doubtful.map(|(_, candidate)| candidate.mask.clone()).collect()
}

/// A neighbouring frame at hand for filling.
struct Neighbour<'a> {
    place: usize,
    planes: &'a [Plane],
    skip: Plane<u8>,
    /// Motion to the nearest usable frame on that side, and how many times as far this one is. The motion of the first
    /// frame goes on for the second: the fill refines every start anyway.
    field: Arc<MotionField>,
    steps: f32,
}

/// For each neighbour, where the picture of the frame under repair stands in it.
struct Courses(Vec<Course>);

struct Course {
    field: Arc<MotionField>,
    /// What the field's vector is multiplied by.
    steps: f32,
    /// How much of the field's vector lies between the frame that it starts from and the one under repair; 0 for a field that
    /// starts from the latter.
    behind: f32,
}

impl Course {
    fn at(&self, x: f32, y: f32) -> Vector {
        let mut v = self.field.at(x, y);
        if self.behind != 0.0 {
            // The vector that passes through the place in this frame: three rounds settle it but at motion's edges.
            for _ in 0..3 {
                v = self.field.at(x - self.behind * v.dx, y - self.behind * v.dy);
            }
        }
        Vector::new(v.dx * self.steps, v.dy * self.steps)
    }
}

impl Courses {
    /// By the motion measured from the frame under repair.
    fn beside(neighbours: &[Neighbour]) -> Self {
        Self(neighbours.iter().map(|n| Course { field: Arc::clone(&n.field), steps: n.steps, behind: 0.0 }).collect())
    }

    /// By the motion from the nearest neighbour before to the nearest after, halfway along: for a frame that says nothing of its
    /// own. `None` without one on each side.
    fn across(neighbours: &[Neighbour], field: &mut dyn FnMut(usize, usize) -> Arc<MotionField>) -> Option<Self> {
        let before = neighbours.iter().rev().find(|n| n.place < MIDDLE)?.place;
        let after = neighbours.iter().find(|n| n.place > MIDDLE)?.place;
        let field = field(before, after);
        let span = (after - before) as f32;
        let course = |n: &Neighbour| Course {
            field: Arc::clone(&field),
            steps: offset(n.place) as f32 / span,
            behind: (MIDDLE - before) as f32 / span,
        };
        Some(Self(neighbours.iter().map(course).collect()))
    }

    fn starts(&self) -> Vec<impl Fn(f32, f32) -> Vector + Sync + '_> {
        self.0.iter().map(|course| move |x: f32, y: f32| course.at(x, y)).collect()
    }
}

fn sources<'a, F: Fn(f32, f32) -> Vector + Sync>(neighbours: &'a [Neighbour], starts: &'a [F]) -> Vec<Source<'a>> {
    let source =
        |(n, start): (&'a Neighbour, &'a F)| Source { offset: offset(n.place), planes: n.planes, skip: &n.skip, start };
    neighbours.iter().zip(starts).map(source).collect()
}

fn filled(id: CandidateId, frame: &Frame, mask: &RunMask, fill: &Fill) -> Option<Filled> {
    let finite = |value: f32| value.is_finite().then_some(value);
    (fill.method != Method::Nothing).then(|| Filled {
        id,
        mask: mask.clone(),
        edits: edits(frame, fill, mask),
        method: fill.method,
        sources: fill.sources.clone(),
        rim_error: finite(fill.rim_error),
        predicted_error: finite(fill.predicted_error),
    })
}

/// Changed samples of a fill in native codes.
fn edits(frame: &Frame, fill: &Fill, mask: &RunMask) -> Vec<SampleEdit> {
    let mut edits = Vec::new();
    for (x, y) in mask.pixels() {
        for (channel, plane) in fill.values.iter().enumerate() {
            let Some(value) = plane.get(x as i32 - fill.rect.x0, y as i32 - fill.rect.y0) else { continue };
            let bits = frame.to_native(value);
            if bits != frame.native_bits(x as usize, y as usize, channel) {
                edits.push(SampleEdit { x, y, channel: channel as u8, bits });
            }
        }
    }
    edits
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

#[cfg(test)]
mod tests;
