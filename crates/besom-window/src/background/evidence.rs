//! Evidence for the candidate in hand: five crops of the frames around it, aligned by the picture's motion, and the
//! frame as it would be after repair.

use std::path::PathBuf;
use std::sync::Arc;

use besom_motion::{Vector, around::match_around};
use besom_reel::filling::{MIDDLE, WINDOW};
use besom_scan::{Frame, FrameCache, Plane, Rect, RunMask, SampleEdit, Samples, Scan};
use egui::ColorImage;

use super::proposal::{HandFill, Proposal, Proposer};
use crate::picture::{Lut, Viewing, convert};

/// Crops before and after the frame: as many as a fill looks at.
pub(crate) const REACH: usize = MIDDLE;
/// Number of crops.
pub(crate) const CROPS: usize = WINDOW;
/// How far the picture may have moved between two frames, in pixels, for a crop to follow it.
const RADIUS: i32 = 16;

/// Asks for the evidence of one frame and, in it, one candidate.
#[derive(Clone)]
pub(crate) struct EvidenceRequest {
    /// Grows with each request.
    pub(crate) generation: u64,
    /// Position of the frame.
    pub(crate) place: usize,
    /// Files of frames n-2 to n+2 as far as they belong to the shot; the middle one is the frame itself.
    pub(crate) paths: [Option<PathBuf>; CROPS],
    /// The pixels of the candidate in hand.
    pub(crate) mask: RunMask,
    /// The viewing transform.
    pub(crate) viewing: Viewing,
    /// Side of the square crops in picture pixels.
    pub(crate) side: usize,
    /// What the repair would fill; `None` for a frame outside every shot.
    pub(crate) plan: Option<besom_reel::FillPlan>,
    /// Changes with everything the plan depends on.
    pub(crate) plan_key: PlanKey,
    /// Also make the whole frame after repair, reduced by this much.
    pub(crate) whole: Option<usize>,
}

/// Frame, revision of the decisions, candidate in hand: two plans of one key are the same.
pub(crate) type PlanKey = (usize, u64, Option<besom_reel::CandidateId>);

/// What was found.
pub(crate) struct Evidence {
    pub(crate) generation: u64,
    /// The crops; `None` where the shot has no frame or the file cannot be read.
    pub(crate) crops: [Option<Arc<ColorImage>>; CROPS],
    /// Where the crop of the frame itself lies.
    pub(crate) rect: Rect,
}

/// The frame after repair.
pub(crate) struct After {
    pub(crate) generation: u64,
    pub(crate) place: usize,
    /// The part that the crops show.
    pub(crate) crop: Option<Arc<ColorImage>>,
    /// The whole frame and its reduction, when it was asked for.
    pub(crate) whole: Option<(Arc<ColorImage>, usize)>,
    /// How the candidate in hand was filled.
    pub(crate) hand: Option<HandFill>,
    /// Candidates filled.
    pub(crate) filled: usize,
    /// Why there is no repair to show.
    pub(crate) problem: Option<String>,
}

impl After {
    /// An answer without a picture.
    pub(crate) fn failed(request: &EvidenceRequest, reason: &str) -> Self {
        let (generation, place) = (request.generation, request.place);
        Self { generation, place, crop: None, whole: None, hand: None, filled: 0, problem: Some(reason.to_owned()) }
    }
}

/// Answers requests; keeps the last proposal and what proposals share.
pub(crate) struct Examiner {
    cache: Arc<FrameCache>,
    proposer: Proposer,
    last: Option<(PlanKey, Arc<Proposal>)>,
}

impl Examiner {
    /// An examiner that reads through this cache.
    pub(crate) fn new(cache: Arc<FrameCache>) -> Self {
        Self { cache, proposer: Proposer::default(), last: None }
    }

    /// The crops; quick.
    pub(crate) fn crops(&self, request: &EvidenceRequest) -> Evidence {
        answer(request, &self.cache)
    }

    /// The frame after repair; slower the first time in a frame.
    pub(crate) fn after(&mut self, request: &EvidenceRequest) -> After {
        let (generation, place) = (request.generation, request.place);
        let mut after = After { generation, place, crop: None, whole: None, hand: None, filled: 0, problem: None };
        match self.patched(request) {
            Ok(Some((frame, proposal))) => {
                let lut = Lut::new(&frame, &request.viewing);
                let rect = square(&request.mask.bounds(), request.side as i32);
                after.crop = Some(Arc::new(convert::crop(&frame, &lut, &rect)));
                after.whole = request.whole.map(|step| (Arc::new(convert::whole(&frame, &lut, step)), step));
                after.hand.clone_from(&proposal.hand);
                after.filled = proposal.filled;
            }
            Ok(None) => {}
            Err(reason) => after.problem = Some(reason),
        }
        after
    }

    fn patched(&mut self, request: &EvidenceRequest) -> Result<Option<(Frame, Arc<Proposal>)>, String> {
        let (Some(plan), Some(path)) = (&request.plan, &request.paths[REACH]) else { return Ok(None) };
        let known = self.last.as_ref().filter(|(key, _)| *key == request.plan_key).map(|(_, p)| Arc::clone(p));
        let proposal = match known {
            Some(proposal) => proposal,
            None => Arc::new(self.proposer.propose(plan, request.plan_key.2, &request.paths, &self.cache)?),
        };
        self.last = Some((request.plan_key, Arc::clone(&proposal)));
        let scan = self.cache.get(path).map_err(|e| e.to_string())?;
        let mut frame = scan.frame().clone();
        for edit in &proposal.edits {
            apply(&mut frame, *edit);
        }
        Ok(Some((frame, proposal)))
    }
}

fn apply(frame: &mut Frame, edit: SampleEdit) {
    let at = (edit.y as usize * frame.width + edit.x as usize) * frame.channels + usize::from(edit.channel);
    match &mut frame.samples {
        Samples::U8(v) => put(v, at, edit.bits as u8),
        Samples::U16(v) => put(v, at, edit.bits as u16),
        Samples::F16(v) => put(v, at, half::f16::from_bits(edit.bits as u16)),
        Samples::F32(v) => put(v, at, f32::from_bits(edit.bits)),
    }
}

fn put<T>(samples: &mut [T], at: usize, value: T) {
    if let Some(sample) = samples.get_mut(at) {
        *sample = value;
    }
}

fn answer(request: &EvidenceRequest, cache: &FrameCache) -> Evidence {
    let rect = square(&request.mask.bounds(), request.side as i32);
    let scans: Vec<Option<Arc<Scan>>> =
        request.paths.iter().map(|p| p.as_ref().and_then(|p| cache.get(p).ok())).collect();
    let mut crops = [const { None }; CROPS];
    if let Some(current) = scans.get(REACH).cloned().flatten() {
        let window = Window::of(current.frame(), &rect, &request.mask);
        let lut = Lut::new(current.frame(), &request.viewing);
        let mut known = [Vector { dx: 0.0, dy: 0.0 }; CROPS];
        // From the middle outwards, so that a farther frame starts from the motion of the nearer one.
        for index in [REACH, REACH - 1, REACH + 1, REACH - 2, REACH + 2] {
            let Some(scan) = scans.get(index).and_then(Option::as_ref) else { continue };
            if index != REACH {
                known[index] = window.motion(scan.frame(), first_guess(index, &known));
            }
            let by = (known[index].dx.round() as i32, known[index].dy.round() as i32);
            let at = Rect::new(rect.x0 + by.0, rect.y0 + by.1, rect.x1 + by.0, rect.y1 + by.1);
            crops[index] = Some(Arc::new(convert::crop(scan.frame(), &lut, &at)));
        }
    }
    Evidence { generation: request.generation, crops, rect }
}

fn first_guess(index: usize, known: &[Vector; CROPS]) -> Vector {
    let nearer = if index < REACH { index + 1 } else { index - 1 };
    Vector { dx: known[nearer].dx * 2.0, dy: known[nearer].dy * 2.0 }
}

/// A square of `side` pixels about the middle of `bounds`.
fn square(bounds: &Rect, side: i32) -> Rect {
    let (x, y) = (i32::midpoint(bounds.x0, bounds.x1) - side / 2, i32::midpoint(bounds.y0, bounds.y1) - side / 2);
    Rect::new(x, y, x + side, y + side)
}

/// The part of the frame that the crops show, ready to be matched.
struct Window {
    /// Where the cut planes lie in the frame.
    cut: Rect,
    /// The crop's rectangle inside the cut planes.
    inside: Rect,
    plane: Plane,
    skip: Plane<u8>,
}

impl Window {
    fn of(frame: &Frame, rect: &Rect, mask: &RunMask) -> Self {
        let whole = Rect::of_size(frame.width, frame.height);
        let cut = rect.grown(2 * RADIUS + 2).intersect(&whole);
        let inside = rect.intersect(&whole);
        let inside = Rect::new(inside.x0 - cut.x0, inside.y0 - cut.y0, inside.x1 - cut.x0, inside.y1 - cut.y0);
        let grown = mask.grown(2, frame.width as u32, frame.height as u32);
        let mut skip = Plane::new(cut.width(), cut.height());
        for (x, y) in grown.pixels().filter(|(x, y)| cut.contains(*x as i32, *y as i32)) {
            skip.set((x as i32 - cut.x0) as usize, (y as i32 - cut.y0) as usize, 1u8);
        }
        Self { cut, inside, plane: luma(frame, &cut), skip }
    }

    fn motion(&self, other: &Frame, start: Vector) -> Vector {
        let plane = luma(other, &self.cut);
        let same = plane.width() == self.plane.width() && plane.height() == self.plane.height();
        if !same || self.inside.is_empty() {
            return start;
        }
        match_around(&self.plane, &plane, &self.skip, None, self.inside, start, RADIUS).vector
    }
}

/// The green (or only) channel of a part of a frame, in analysis codes: most of the luma, and enough to align crops.
fn luma(frame: &Frame, cut: &Rect) -> Plane {
    let part = cut_out(frame, cut);
    let mut planes = part.analysis();
    let green = usize::from(planes.len() > 1);
    if green < planes.len() { planes.swap_remove(green) } else { Plane::new(0, 0) }
}

fn cut_out(frame: &Frame, cut: &Rect) -> Frame {
    let cut = cut.intersect(&Rect::of_size(frame.width, frame.height));
    let rows = cut.y0.max(0) as usize..cut.y1.max(0) as usize;
    let columns = cut.x0.max(0) as usize * frame.channels..cut.x1.max(0) as usize * frame.channels;
    let width = frame.width * frame.channels;
    let samples = match &frame.samples {
        Samples::U8(v) => Samples::U8(part(v, width, rows, &columns)),
        Samples::U16(v) => Samples::U16(part(v, width, rows, &columns)),
        Samples::F16(v) => Samples::F16(part(v, width, rows, &columns)),
        Samples::F32(v) => Samples::F32(part(v, width, rows, &columns)),
    };
    Frame { width: cut.width(), height: cut.height(), channels: frame.channels, samples, encoding: frame.encoding }
}

fn part<T: Copy>(
    samples: &[T],
    width: usize,
    rows: std::ops::Range<usize>,
    columns: &std::ops::Range<usize>,
) -> Vec<T> {
    rows.filter_map(|y| samples.get(y * width + columns.start..y * width + columns.end)).flatten().copied().collect()
}
