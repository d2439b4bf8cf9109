//! What the Bench remembers: how one looks at the frame, what was asked of the workers, and what they answered.

use std::path::PathBuf;
use std::sync::Arc;

use besom_reel::{CandidateId, Edit, Region};
use besom_scan::{RunMask, Scan};
use egui::{TextureHandle, TextureOptions, vec2};

use super::list::Histogram;
use super::mark::Mark;
use super::protect::Form;
use super::regions::Listed;
use super::sketch::Sketch;
use super::split::Split;
use crate::action::Action;
use crate::background::evidence::{After, CROPS, Evidence, EvidenceRequest, REACH};
use crate::background::pictures::{Picture, PictureRequest};
use crate::background::proposal::HandFill;
use crate::desk::Desk;
use crate::desk::bulk::Bulk;
use crate::picture::view::{Canvas, Framing};
use crate::picture::{Layer, View, Viewing, convert};
use crate::preferences::FLIP_RATES;

/// Frames read ahead in the direction of travel, and behind.
const AHEAD: usize = 4;
/// Smallest and largest side of a crop in picture pixels.
const CROP_SIDES: std::ops::RangeInclusive<usize> = 48..=256;

/// What a shown picture is a picture of.
#[derive(Clone, Copy, Debug, PartialEq)]
struct PictureKey {
    place: usize,
    step: usize,
    viewing: Viewing,
}

/// What evidence is about.
#[derive(Clone, Copy, Debug, PartialEq)]
struct EvidenceKey {
    place: usize,
    hand: Option<CandidateId>,
    revision: u64,
    viewing: Viewing,
    whole: Option<usize>,
}

/// A frame on the canvas.
pub(super) struct Shown {
    pub(super) place: usize,
    generation: u64,
    /// For reading values under the pointer.
    pub(super) scan: Arc<Scan>,
}

/// Alternating before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct AutoFlip {
    /// When it began, in seconds of the window's clock.
    pub(super) since: f64,
}

/// The room's state.
#[expect(
    clippy::struct_excessive_bools,
    reason = "switches that a person throws one by one; no two of them exclude another"
)]
pub(crate) struct Bench {
    pub(super) view: View,
    pub(super) canvas: Option<Canvas>,
    pub(super) before: Layer,
    pub(super) after: Layer,
    /// Which frame the layer `after` shows, and for which decisions.
    pub(super) after_of: Option<(usize, u64, Option<CandidateId>)>,
    pub(super) shown: Option<Shown>,
    pub(super) problem: Option<(usize, String)>,
    asked: Option<PictureKey>,
    asked_evidence: Option<EvidenceKey>,
    evidence_generation: u64,
    generation: u64,
    last_place: usize,
    pub(super) viewing: Viewing,
    pub(super) viewing_open: bool,
    pub(super) balance_wanted: bool,
    pub(super) flipped: bool,
    pub(super) auto: Option<AutoFlip>,
    /// Both at once, parted by a line.
    pub(super) split: Option<Split>,
    /// Flips a second of the automatic flip, within [`FLIP_RATES`]; the preferences say which.
    pub(crate) rate: f32,
    pub(super) outlines: bool,
    /// The region that is being drawn; never beside a mark.
    pub(super) form: Option<Form>,
    /// A decision about many that is being prepared.
    pub(crate) bulk: Option<Bulk>,
    /// The mark that is being drawn.
    pub(super) mark: Option<Mark>,
    pub(super) regions_listed: Listed,
    pub(super) crops: [Option<TextureHandle>; CROPS],
    pub(super) after_crop: Option<TextureHandle>,
    /// Which candidate the crops show.
    pub(super) crops_of: Option<CandidateId>,
    /// Which candidate and decisions the repaired crop shows.
    pub(super) after_crop_of: Option<(Option<CandidateId>, u64)>,
    pub(super) fill: Option<HandFill>,
    pub(super) filled: usize,
    pub(super) after_problem: Option<String>,
    /// Typed frame number; follows the place while nobody types.
    pub(super) frame_text: Option<String>,
    pub(super) go_to: bool,
    pub(super) slider_focus: bool,
    pub(super) histogram: Histogram,
}

impl Default for Bench {
    fn default() -> Self {
        Self {
            view: View::default(),
            canvas: None,
            before: Layer::default(),
            after: Layer::default(),
            after_of: None,
            shown: None,
            problem: None,
            asked: None,
            asked_evidence: None,
            evidence_generation: 0,
            generation: 0,
            last_place: 0,
            viewing: Viewing::default(),
            viewing_open: false,
            balance_wanted: false,
            flipped: false,
            auto: None,
            split: None,
            rate: *FLIP_RATES.start(),
            outlines: true,
            form: None,
            bulk: None,
            mark: None,
            regions_listed: Listed::default(),
            crops: [const { None }; CROPS],
            after_crop: None,
            crops_of: None,
            after_crop_of: None,
            fill: None,
            filled: 0,
            after_problem: None,
            frame_text: None,
            go_to: false,
            slider_focus: false,
            histogram: Histogram::default(),
        }
    }
}

impl Bench {
    /// A Bench whose automatic flip goes at this rate.
    pub(crate) fn new(rate: f32) -> Self {
        Self { rate, ..Self::default() }
    }

    /// True while the repaired picture is asked for.
    pub(crate) fn shows_after(&self) -> bool {
        self.flipped || self.auto.is_some()
    }

    /// True while the repaired picture is needed, alone or beside the other one.
    pub(super) fn wants_after(&self) -> bool {
        self.shows_after() || self.split.is_some()
    }

    /// How the frame lies on the canvas, to be kept.
    pub(crate) fn framing(&self) -> Framing {
        self.view.framing()
    }

    /// Lays the frame on the canvas as it lay.
    pub(crate) fn set_framing(&mut self, framing: Framing) {
        self.view = View::framed(framing);
    }

    /// True when a slider has the keyboard: it keeps the arrows.
    pub(crate) fn slider_has_focus(&self) -> bool {
        self.slider_focus || self.split.is_some_and(Split::has_focus)
    }

    /// Another reel came to the desk (or the same one, read anew): nothing shown belongs to it.
    pub(crate) fn forget_pictures(&mut self, same_reel: bool) {
        (self.asked, self.asked_evidence) = (None, None);
        (self.after_of, self.crops_of) = (None, None);
        // A candidate's number may be another one's now.
        self.mark = self.mark.take().filter(|mark| !mark.is_of_candidate());
        if !same_reel {
            *self = Self { generation: self.generation, rate: self.rate, ..Self::default() };
        }
    }

    /// Leaves the tool in hand; false when there is none.
    pub(crate) fn leave_tool(&mut self) -> bool {
        if self.sketch().is_some_and(Sketch::drop_begun) {
            return true;
        }
        let drew = self.form.is_some() || self.mark.is_some();
        let had = drew || self.bulk.is_some() || self.viewing_open || self.auto.is_some() || self.split.is_some();
        (self.form, self.mark, self.bulk, self.viewing_open, self.auto) = (None, None, None, false, None);
        self.split = None;
        had
    }

    /// Prepares a decision about many; what else stood over the evidence gives way.
    pub(crate) fn ask_bulk(&mut self, bulk: Bulk) {
        (self.form, self.mark, self.bulk) = (None, None, Some(bulk));
    }

    /// What a hand is drawing.
    pub(super) fn sketch(&mut self) -> Option<&mut Sketch> {
        match (&mut self.form, &mut self.mark) {
            (Some(form), _) => Some(&mut form.sketch),
            (None, Some(mark)) => Some(&mut mark.sketch),
            (None, None) => None,
        }
    }

    /// True while the pointer draws on the picture instead of moving it.
    pub(super) fn draws(&self) -> bool {
        self.form.is_some() || self.mark.is_some()
    }

    /// Opens the form with a region as it stands.
    pub(super) fn change_region(&mut self, desk: &Desk, region: &Region) {
        (self.form, self.mark, self.bulk) = (Some(Form::of(desk, region)), None, None);
    }

    /// Takes the last stroke of what is being drawn back; false when there is none.
    pub(crate) fn take_stroke_back(&mut self) -> bool {
        self.sketch().is_some_and(Sketch::step_back)
    }

    /// Closes what was begun; when nothing was, answers with what the drawing asks to be recorded.
    pub(crate) fn finish(&mut self, desk: &Desk) -> Option<Edit> {
        if self.sketch().is_some_and(Sketch::close) {
            return None;
        }
        let shown = desk.frame();
        match (&self.form, &self.mark) {
            (Some(form), _) => form.edit(shown),
            (None, Some(mark)) => mark.edit(shown),
            (None, None) => None,
        }
    }

    /// What was drawn is on record: a mark makes room for the next one, a region's form closes.
    pub(crate) fn recorded(&mut self) {
        self.form = None;
        self.mark = self.mark.take().and_then(Mark::after_record);
    }

    fn act_on_sketch(&mut self, action: Action) {
        let Some(sketch) = self.sketch() else { return };
        match action {
            Action::NextTool => sketch.next_tool(),
            Action::Narrower => sketch.change_breadth(false),
            Action::Broader => sketch.change_breadth(true),
            Action::PutDown => sketch.put_down(false),
            Action::TakeAway => sketch.put_down(true),
            Action::RingLeft => sketch.step(-1.0, 0.0),
            Action::RingRight => sketch.step(1.0, 0.0),
            Action::RingUp => sketch.step(0.0, -1.0),
            Action::RingDown => sketch.step(0.0, 1.0),
            _ => {}
        }
    }

    /// Runs an action that only concerns how one looks.
    pub(crate) fn act(&mut self, action: Action, desk: &Desk) {
        match action {
            Action::Flip => (self.flipped, self.auto, self.split) = (!self.shows_after(), None, None),
            Action::Split => {
                self.split = if self.split.is_some() { None } else { Some(Split::default()) };
                (self.flipped, self.auto) = (false, None);
            }
            Action::AutoFlip => {
                self.auto = if self.auto.is_some() { None } else { Some(AutoFlip { since: f64::NAN }) };
                (self.flipped, self.split) = (false, None);
            }
            Action::Outlines => self.outlines = !self.outlines,
            Action::Viewing => self.viewing_open = !self.viewing_open,
            Action::Protect => {
                self.form = if self.form.is_some() { None } else { Some(Form::new(desk)) };
                (self.mark, self.bulk) = (None, None);
            }
            Action::Mark => {
                let open = self.mark.as_ref().is_some_and(|mark| !mark.is_of_candidate());
                (self.mark, self.form, self.bulk) = ((!open).then(|| Mark::new(desk)), None, None);
            }
            Action::PaintShape => {
                let open = self.mark.as_ref().is_some_and(Mark::is_of_candidate);
                (self.mark, self.form, self.bulk) = (Mark::of_candidate(desk).filter(|_| !open), None, None);
            }
            Action::GoTo => self.go_to = true,
            _ if action.draws() => self.act_on_sketch(action),
            _ => self.act_on_view(action, desk),
        }
    }

    fn act_on_view(&mut self, action: Action, desk: &Desk) {
        let Some(canvas) = self.canvas else { return };
        let pan = canvas.rect.size() * 0.15;
        match action {
            Action::Fit => self.view.glide_to_fit(&canvas),
            Action::OneToOne => self.view.glide_to_zoom(&canvas, 1.0, None),
            Action::TwoToOne => self.view.glide_to_zoom(&canvas, 2.0, None),
            Action::FourToOne => self.view.glide_to_zoom(&canvas, 4.0, None),
            Action::ZoomIn => self.view.glide_to_zoom(&canvas, self.view.goal_zoom() * 1.5, None),
            Action::ZoomOut => self.view.glide_to_zoom(&canvas, self.view.goal_zoom() / 1.5, None),
            Action::PanLeft => self.view.pan(&canvas, vec2(pan.x, 0.0)),
            Action::PanRight => self.view.pan(&canvas, vec2(-pan.x, 0.0)),
            Action::PanUp => self.view.pan(&canvas, vec2(0.0, pan.y)),
            Action::PanDown => self.view.pan(&canvas, vec2(0.0, -pan.y)),
            Action::Centre => {
                if let Some(bounds) = desk.candidate().map(besom_detect::Candidate::bounds) {
                    let (x, y) = (bounds.x0 + bounds.x1, bounds.y0 + bounds.y1);
                    self.view.glide_to_centre(x as f32 / 2.0, y as f32 / 2.0);
                }
            }
            _ => {}
        }
    }

    fn step(&self) -> usize {
        convert::step_for_zoom(self.view.goal_zoom())
    }

    /// The picture to ask for, when another one is needed than was asked for last.
    pub(crate) fn wanted_picture(&mut self, desk: &Desk) -> Option<PictureRequest> {
        self.canvas?;
        let (place, step, viewing) = (desk.place(), self.step(), self.viewing);
        let key = PictureKey { place, step, viewing };
        let path = desk.reel().frames().get(place)?.path.clone();
        if self.asked == Some(key) && !self.balance_wanted {
            return None;
        }
        self.asked = Some(key);
        self.generation += 1;
        let balance = std::mem::take(&mut self.balance_wanted);
        let ahead = self.ahead(desk);
        self.last_place = place;
        Some(PictureRequest { generation: self.generation, place, path, step, viewing, balance, ahead })
    }

    /// Files to read ahead: first in the direction of the last step, then one the other way.
    fn ahead(&self, desk: &Desk) -> Vec<PathBuf> {
        let place = desk.place() as i64;
        let way = if place >= self.last_place as i64 { 1 } else { -1 };
        let places = (1..=AHEAD as i64).map(|i| place + way * i).chain([place - way]);
        let frames = desk.reel().frames();
        places.filter_map(|p| frames.get(usize::try_from(p).ok()?)).map(|f| f.path.clone()).collect()
    }

    /// The evidence to ask for, when it is not the one asked for last.
    pub(crate) fn wanted_evidence(&mut self, desk: &Desk) -> Option<EvidenceRequest> {
        self.canvas?;
        let (place, hand, revision) = (desk.place(), desk.hand(), desk.revision());
        let whole = self.wants_after().then(|| self.step());
        let key = EvidenceKey { place, hand, revision, viewing: self.viewing, whole };
        if self.asked_evidence == Some(key) {
            return None;
        }
        self.asked_evidence = Some(key);
        self.generation += 1;
        self.evidence_generation = self.generation;
        let frames = around(desk);
        let paths = frames.map(|f| {
            let place = desk.reel().position(f?)?;
            desk.reel().frames().get(place).map(|entry| entry.path.clone())
        });
        let mask = desk.candidate().map_or_else(RunMask::default, |c| c.mask.clone());
        let bounds = mask.bounds();
        let side = (bounds.width().max(bounds.height()) * 2).clamp(*CROP_SIDES.start(), *CROP_SIDES.end());
        let plan = besom_reel::FillPlan::new(desk.reel(), &frames, hand);
        let plan_key = (place, revision, hand);
        Some(EvidenceRequest {
            generation: self.generation,
            place,
            paths,
            mask,
            viewing: self.viewing,
            side,
            plan,
            plan_key,
            whole,
        })
    }

    /// Takes a frame for the canvas, unless a newer one is shown already.
    pub(crate) fn take_picture(&mut self, ctx: &egui::Context, picture: Picture) {
        if self.shown.as_ref().is_some_and(|s| picture.generation < s.generation) {
            return;
        }
        if picture.viewing.balance != self.viewing.balance && self.asked.is_some_and(|a| a.place == picture.place) {
            // The balance was measured on this frame: from now on it is how one looks.
            self.viewing.balance = picture.viewing.balance;
            self.asked = Some(PictureKey { place: picture.place, step: picture.step, viewing: self.viewing });
        }
        match picture.content {
            Ok((scan, image)) => {
                let size = vec2(scan.frame().width as f32, scan.frame().height as f32);
                self.before.set(ctx, "frame", image, size, picture.step);
                self.shown = Some(Shown { place: picture.place, generation: picture.generation, scan });
                self.problem = None;
            }
            Err(reason) => self.problem = Some((picture.place, reason)),
        }
    }

    /// Takes crops, unless the place has changed since.
    pub(crate) fn take_evidence(&mut self, ctx: &egui::Context, evidence: Evidence) {
        if evidence.generation != self.evidence_generation {
            return;
        }
        let options = TextureOptions::NEAREST;
        for (index, (slot, crop)) in self.crops.iter_mut().zip(evidence.crops).enumerate() {
            *slot = crop.map(|image| ctx.load_texture(format!("crop {index}"), image, options));
        }
        debug_assert_eq!(evidence.rect.width(), evidence.rect.height());
        self.crops_of = self.asked_evidence.and_then(|key| key.hand);
    }

    /// Takes the repaired picture, unless the place has changed since.
    pub(crate) fn take_after(&mut self, ctx: &egui::Context, after: After) {
        if after.generation != self.evidence_generation {
            return;
        }
        self.after_crop = after.crop.map(|image| ctx.load_texture("crop after", image, TextureOptions::NEAREST));
        self.after_crop_of = self.asked_evidence.map(|key| (key.hand, key.revision));
        (self.fill, self.filled, self.after_problem) = (after.hand, after.filled, after.problem);
        if let (Some((image, step)), Some(key)) = (after.whole, self.asked_evidence) {
            let size = self.before.size();
            self.after.set(ctx, "after", image, size, step);
            self.after_of = Some((after.place, key.revision, key.hand));
        }
    }
}

/// Frames n-2 to n+2 as far as they are there, readable and of the current shot.
pub(super) fn around(desk: &Desk) -> [Option<u64>; CROPS] {
    let frame = desk.frame();
    let shot = desk.shot().cloned();
    let mut frames = [None; CROPS];
    for (index, slot) in frames.iter_mut().enumerate() {
        let number = frame.checked_add_signed(index as i64 - REACH as i64);
        let number = number.filter(|n| shot.as_ref().is_some_and(|s| s.contains(*n)) || *n == frame);
        *slot = number.filter(|n| {
            let entry = desk.reel().position(*n).and_then(|p| desk.reel().frames().get(p));
            entry.is_some_and(|e| e.problem.is_none() || *n == frame)
        });
    }
    frames
}
