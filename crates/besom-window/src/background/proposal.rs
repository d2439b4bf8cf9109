//! The proposed repair of one frame: the fills of what is accepted there and of the candidate in hand, computed as the
//! repair itself computes them, so that what is seen is what will be written.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use besom_detect::{Grain, Prepared};
use besom_motion::{MotionField, Vector, estimate_field};
use besom_reel::{CandidateId, Decision, FillChoice, Reel};
use besom_repair::{Choice, Fill, Job, Method, Source, grown_mask};
use besom_scan::{Frame, FrameCache, Plane, RunMask, SampleEdit};

use super::evidence::{CROPS, REACH};

/// Undecided candidates from this confidence on are dirt more likely than not, so no fill copies from them.
const DOUBTFUL: f32 = 0.3;
/// How far beyond a candidate's pixels a repair may reach, as the repair over the reel has it.
const MOST_GROWTH: u32 = 9;
/// Prepared frames kept: stepping through a frame's candidates, and on to the next frame, finds its neighbours ready.
const KEPT: usize = 6;

/// One hole to fill.
#[derive(Clone, Debug)]
struct Hole {
    id: CandidateId,
    mask: RunMask,
    choice: FillChoice,
}

/// All that a frame's proposal depends on, taken from the reel in a moment so that the worker needs no reel.
#[derive(Clone, Debug)]
pub(crate) struct Plan {
    holes: Vec<Hole>,
    untouchable: RunMask,
    /// For frames n-2 to n+2, the pixels that must neither be matched nor copied.
    suspects: [Vec<RunMask>; CROPS],
    grain: Grain,
    hand: Option<CandidateId>,
}

impl Plan {
    /// What to fill in the middle one of `frames` (scan numbers, as far as they belong to the shot).
    pub(crate) fn new(reel: &Reel, frames: &[Option<u64>; CROPS], hand: Option<CandidateId>) -> Option<Self> {
        let frame = frames[REACH]?;
        let grain = reel.shot_of(frame)?.grain.clone();
        let mut holes: Vec<Hole> = reel
            .accepted(frame)
            .into_iter()
            .map(|(id, candidate, choice)| Hole { id, mask: candidate.mask.clone(), choice })
            .collect();
        let open = hand.filter(|id| id.frame == frame && reel.decision(*id) == Decision::Undecided);
        if let Some((id, candidate)) = open.and_then(|id| Some((id, reel.candidate(id)?))) {
            holes.push(Hole { id, mask: candidate.mask.clone(), choice: reel.fill_choice(id) });
            holes.sort_by_key(|hole| hole.id);
        }
        let suspects = frames.map(|f| f.map(|f| suspects(reel, f, hand)).unwrap_or_default());
        Some(Self { holes, untouchable: reel.untouchable_mask(frame), suspects, grain, hand })
    }
}

fn suspects(reel: &Reel, frame: u64, hand: Option<CandidateId>) -> Vec<RunMask> {
    let candidates = reel.candidates(frame).iter().enumerate();
    let doubtful = candidates.filter(|(index, candidate)| {
        let id = CandidateId::new(frame, *index as u32);
        match reel.decision(id) {
            Decision::Accepted => true,
            Decision::Undecided => candidate.confidence >= DOUBTFUL || hand == Some(id),
            Decision::Rejected | Decision::Intended => false,
        }
    });
    doubtful.map(|(_, candidate)| candidate.mask.clone()).collect()
}

/// What a repair would change.
#[derive(Clone, Debug, Default)]
pub(crate) struct Proposal {
    /// Changed samples.
    pub(crate) edits: Vec<SampleEdit>,
    /// Candidates filled.
    pub(crate) filled: usize,
    /// For the candidate in hand: where its fill comes from, and how well it is expected to sit.
    pub(crate) hand: Option<HandFill>,
}

/// The fill of the candidate in hand.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct HandFill {
    /// In words.
    pub(crate) method: String,
    /// Predicted error inside, in codes; grain included.
    pub(crate) error: Option<f32>,
}

/// Computes proposals; keeps what neighbouring candidates share.
#[derive(Default)]
pub(crate) struct Proposer {
    prepared: VecDeque<(PathBuf, Arc<Prepared>)>,
    fields: VecDeque<((PathBuf, PathBuf), Arc<MotionField>)>,
}

struct Neighbour {
    offset: i32,
    prepared: Arc<Prepared>,
    skip: Plane<u8>,
    field: Arc<MotionField>,
    steps: f32,
}

impl Proposer {
    /// The proposal for the middle one of `paths`.
    ///
    /// # Errors
    /// A sentence that says why a file cannot be read.
    pub(crate) fn propose(
        &mut self,
        plan: &Plan,
        paths: &[Option<PathBuf>; CROPS],
        cache: &FrameCache,
    ) -> Result<Proposal, String> {
        let Some(path) = &paths[REACH] else { return Ok(Proposal::default()) };
        if plan.holes.is_empty() {
            return Ok(Proposal::default());
        }
        let scan = cache.get(path).map_err(|e| e.to_string())?;
        let current = self.prepared(path, cache)?;
        let (width, height) = (current.width(), current.height());
        let neighbours = self.neighbours(plan, paths, &current, cache);
        let starts: Vec<_> = neighbours
            .iter()
            .map(|n| {
                move |x: f32, y: f32| {
                    let v = n.field.at(x, y);
                    Vector::new(v.dx * n.steps, v.dy * n.steps)
                }
            })
            .collect();
        let sources: Vec<Source<'_>> = neighbours
            .iter()
            .zip(&starts)
            .map(|(n, start)| Source { offset: n.offset, planes: &n.prepared.planes, skip: &n.skip, start })
            .collect();
        let marks = painted(&plan.suspects[REACH], 0, width, height);
        let nothing = RunMask::default();
        let whole = Job {
            planes: &current.planes,
            skip: &marks,
            mask: &nothing,
            sources: &sources,
            grain: &plan.grain,
            choice: Choice::Automatic,
            seed: 0,
        };
        Ok(fill_all(plan, &whole, scan.frame()))
    }

    fn prepared(&mut self, path: &Path, cache: &FrameCache) -> Result<Arc<Prepared>, String> {
        if let Some((_, found)) = self.prepared.iter().find(|(p, _)| p == path) {
            return Ok(Arc::clone(found));
        }
        let scan = cache.get(path).map_err(|e| e.to_string())?;
        let prepared = Prepared::new(scan.frame().analysis())
            .ok_or_else(|| format!("{}: it holds no picture.", path.display()))?;
        let prepared = Arc::new(prepared);
        self.prepared.push_front((path.to_owned(), Arc::clone(&prepared)));
        self.prepared.truncate(KEPT);
        Ok(prepared)
    }

    fn field(&mut self, from: (&Path, &Prepared), to: (&Path, &Prepared)) -> Arc<MotionField> {
        let key = (from.0.to_owned(), to.0.to_owned());
        if let Some((_, found)) = self.fields.iter().find(|(k, _)| *k == key) {
            return Arc::clone(found);
        }
        let field = Arc::new(estimate_field(&from.1.pyramid, &to.1.pyramid));
        self.fields.push_front((key, Arc::clone(&field)));
        self.fields.truncate(2 * KEPT);
        field
    }

    fn neighbours(
        &mut self,
        plan: &Plan,
        paths: &[Option<PathBuf>; CROPS],
        current: &Arc<Prepared>,
        cache: &FrameCache,
    ) -> Vec<Neighbour> {
        let mut neighbours = Vec::new();
        let Some(here) = &paths[REACH] else { return neighbours };
        for side in [-1i32, 1] {
            let mut nearest: Option<(i32, Arc<MotionField>)> = None;
            for offset in [side, 2 * side] {
                let index = (REACH as i32 + offset) as usize;
                let Some(path) = paths.get(index).and_then(Option::as_ref) else { continue };
                let Ok(prepared) = self.prepared(path, cache) else { continue };
                if (prepared.width(), prepared.height()) != (current.width(), current.height()) {
                    continue;
                }
                let (near, field) =
                    nearest.get_or_insert_with(|| (offset, self.field((here, current), (path, &prepared)))).clone();
                let skip = painted(&plan.suspects[index], 1, current.width(), current.height());
                neighbours.push(Neighbour { offset, prepared, skip, field, steps: offset as f32 / near as f32 });
            }
        }
        neighbours.sort_by_key(|n| n.offset);
        neighbours
    }
}

fn painted(masks: &[RunMask], margin: u32, width: usize, height: usize) -> Plane<u8> {
    let mut plane = Plane::<u8>::new(width, height);
    for mask in masks {
        mask.grown(margin, width as u32, height as u32).paint(&mut plane, 1);
    }
    plane
}

/// The pixels that each hole's repair may change: with its soft edge, without what may not be touched. A pixel belongs to
/// the first hole that reaches it.
fn grown_holes<'a>(plan: &'a Plan, job: &Job<'_>, prepared: &besom_repair::Prepared<'_>) -> Vec<(&'a Hole, RunMask)> {
    let (width, height) = (job.skip.width() as u32, job.skip.height() as u32);
    let mut taken = plan.untouchable.clone();
    let mut holes = Vec::new();
    for hole in &plan.holes {
        let grown = grown_mask(&Job { mask: &hole.mask, ..*job }, prepared);
        let beyond = grown.minus(&hole.mask.grown(MOST_GROWTH, width, height));
        let mask = grown.minus(&beyond).minus(&taken);
        if !mask.is_empty() {
            taken = taken.union(&mask);
            holes.push((hole, mask));
        }
    }
    holes
}

fn fill_all(plan: &Plan, job: &Job<'_>, frame: &Frame) -> Proposal {
    let prepared = besom_repair::Prepared::new(job);
    let holes = grown_holes(plan, job, &prepared);
    // Other marks are kept out of the rim of a hole with their soft edges.
    let mut skip = painted(&plan.suspects[REACH], 1, frame.width, frame.height);
    for (_, mask) in &holes {
        mask.paint(&mut skip, 1);
    }
    let mut proposal = Proposal::default();
    for (hole, mask) in &holes {
        let job = Job { mask, skip: &skip, choice: choice_of(hole.choice), seed: seed(hole.id), ..*job };
        let fill = besom_repair::fill_prepared(&job, &prepared);
        if fill.method == Method::Nothing {
            continue;
        }
        edits(frame, &fill, mask, &mut proposal.edits);
        proposal.filled += 1;
        if plan.hand == Some(hole.id) {
            let error = fill.predicted_error.is_finite().then_some(fill.predicted_error);
            proposal.hand = Some(HandFill { method: fill.method.to_string(), error });
        }
    }
    proposal
}

fn edits(frame: &Frame, fill: &Fill, mask: &RunMask, edits: &mut Vec<SampleEdit>) {
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

/// The seed that the repair gives this candidate, so that the grain shown is the grain written.
const fn seed(id: CandidateId) -> u64 {
    id.frame.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(id.index as u64)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use besom_reel::work::{self, RepairOptions};
    use besom_reel::{Edit, FillChoice};
    use besom_scan::{Scan, Silent};

    use crate::small_reel as small;

    /// The window must show what the repair will write, sample for sample.
    #[test]
    fn what_is_proposed_is_what_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = small::reel(folder.path());
        let mut reel = Reel::open(&path, "Ines").unwrap();
        let frame = small::FIRST + 3;
        let ids: Vec<CandidateId> = (0..reel.candidates(frame).len() as u32)
            .map(|i| CandidateId::new(frame, i))
            .filter(|id| reel.asks(*id))
            .collect();
        assert!(ids.len() >= 3, "the specks of this frame are found");
        reel.record(Edit::FillChoice { id: ids[0], choice: FillChoice::Previous }).unwrap();
        reel.record(Edit::Decide { ids: ids.clone(), decision: Decision::Accepted }).unwrap();

        let frames = [-2i64, -1, 0, 1, 2].map(|o| frame.checked_add_signed(o).filter(|f| reel.position(*f).is_some()));
        let paths = frames.map(|f| f.map(|f| reel.frames()[reel.position(f).unwrap()].path.clone()));
        let plan = Plan::new(&reel, &frames, Some(ids[0])).unwrap();
        let proposal = Proposer::default().propose(&plan, &paths, &FrameCache::new(1 << 24)).unwrap();
        assert_eq!(proposal.filled, ids.len());
        assert!(proposal.hand.is_some());

        let to = folder.path().join("repaired");
        work::repair(&path, &to, &RepairOptions::default(), &Silent).unwrap();
        let source = Scan::read(paths[REACH].as_ref().unwrap()).unwrap();
        let written = Scan::read(&to.join(paths[REACH].as_ref().unwrap().file_name().unwrap())).unwrap();
        assert_eq!(source.patched(&proposal.edits).unwrap(), written.bytes());
        assert_ne!(source.bytes(), written.bytes());
    }
}
