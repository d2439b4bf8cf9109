//! Frames damaged whole: flash, covered or torn, duplicated, missing.
//!
//! [`all`] decides about one frame from sketches of the frames n-2 to n+2 of its shot, and of nothing else, so the survey
//! and the detection say the same. Damage of a whole frame is told only
//! where both neighbours are there and agree with each other; what the end of a shot looks like is `splice`'s.

mod covered;
mod duplicate;
mod link;
mod sketch;

pub(crate) use link::Link;
pub(crate) use sketch::STRIPS;
pub use sketch::Sketch;

use besom_scan::{Rect, RunMask};

use crate::candidate::{Candidate, Kind, Origin, Polarity, Risk};
use crate::detect::Window;
use crate::grain::Grain;
use crate::splice;

/// What is odd about a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum What {
    /// Much brighter or darker than the frames around it.
    Flash,
    /// The whole frame or nearly all of it shows something else.
    Lost,
    /// A large part is covered.
    Covered,
    /// A large part at the border is clear or black: torn, or not there.
    Torn,
    /// The same film frame as the one before it.
    Duplicated,
    /// A frame is missing before this one.
    Missing,
    /// A splice's mark across the frame.
    Splice,
    /// Much brighter or darker than the frames next to it, at a cut.
    FlashAtCut,
    /// The picture stands higher or lower than in the frames next to it, at a cut.
    Jump,
}

impl What {
    /// All of them, in the order in which tables list them.
    pub const ALL: [Self; 9] = [
        Self::Flash,
        Self::Lost,
        Self::Covered,
        Self::Torn,
        Self::Duplicated,
        Self::Missing,
        Self::Splice,
        Self::FlashAtCut,
        Self::Jump,
    ];

    /// The word that files and commands use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Flash => "flash",
            Self::Lost => "lost",
            Self::Covered => "covered",
            Self::Torn => "torn",
            Self::Duplicated => "duplicated",
            Self::Missing => "missing-before",
            Self::Splice => "splice",
            Self::FlashAtCut => "flash-at-cut",
            Self::Jump => "jump",
        }
    }

    /// The one of a word, as [`What::word`] gives it.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|w| w.word() == word)
    }

    /// What a person reads.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Flash => "much brighter or darker than the frames around it",
            Self::Lost => "shows another picture, or none",
            Self::Covered => "a large part is covered",
            Self::Torn => "a large part at the border is torn away or blank",
            Self::Duplicated => "looks like the frame before it once more, grain included",
            Self::Missing => "a frame seems to be missing before it",
            Self::Splice => "a splice mark lies across it",
            Self::FlashAtCut => "brighter or darker than its neighbours at the cut",
            Self::Jump => "stands higher or lower than its neighbours at the cut",
        }
    }

    const fn kind(self) -> Kind {
        match self {
            Self::Splice | Self::FlashAtCut | Self::Jump => Kind::Splice,
            _ => Kind::Frame,
        }
    }
}

/// One odd thing about a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Odd {
    /// What it is.
    pub what: What,
    /// How sure that is, 0 to 1. Set from made and aged frames, not trained.
    pub confidence: f32,
    /// The damaged pixels; `None` for the whole frame.
    pub region: Option<RunMask>,
    /// Whether it is dark or bright against what belongs there.
    pub polarity: Polarity,
    /// How far it lies from its neighbours, in codes.
    pub contrast: f32,
    /// Why it could belong to the picture.
    pub risk: Risk,
    /// Why, in plain words.
    pub reasons: Vec<String>,
}

impl Odd {
    /// The candidate of a frame of `width` x `height` pixels whose luma grain is `sigma` codes.
    pub(crate) fn candidate(self, width: usize, height: usize, sigma: f32) -> Candidate {
        let whole = || RunMask::from_rect(&Rect::of_size(width, height));
        Candidate {
            mask: self.region.unwrap_or_else(whole),
            kind: self.what.kind(),
            polarity: self.polarity,
            confidence: self.confidence,
            risk: self.risk,
            origin: Origin::Film,
            peak: self.contrast / sigma.max(0.5),
            reasons: self.reasons,
        }
    }

    /// Whether what is found inside its region belongs to it rather than being a mark of its own.
    fn swallows(&self) -> bool {
        matches!(self.what, What::Lost | What::Covered | What::Torn | What::Splice) && self.confidence >= 0.3
    }
}

/// Sketches of the frames n-2, n-1, n, n+1, n+2 of one shot.
pub type Five<'a> = [Option<&'a Sketch>; 5];

/// All that is odd about the middle frame: damage of the whole frame and a splice's marks.
pub fn all(five: &Five) -> Vec<Odd> {
    let Some(current) = five[2] else { return Vec::new() };
    let to = |other: Option<&Sketch>| other.and_then(|other| Link::new(current, other));
    let (back, ahead) = (to(five[1]), to(five[3]));
    let mut found = odd(five, back.as_ref(), ahead.as_ref());
    // A frame that shows something else altogether has no mark of its own.
    if !found.iter().any(|o| matches!(o.what, What::Lost | What::Covered | What::Torn)) {
        let links = [back.as_ref(), ahead.as_ref()];
        found.extend(splice::mark(five, links));
        found.extend(splice::at_end(five, links));
    }
    found
}

/// Joins what is odd about a frame to its other candidates; marks inside a region that is damaged as one belong to it.
pub(crate) fn join(candidates: &mut Vec<Candidate>, window: &Window, grain: &Grain) {
    let near = [window.before_last, window.previous, Some(window.current), window.next, window.after_next];
    for odd in all(&near.map(|p| p.and_then(|p| p.sketch.as_ref()))) {
        let swallows = odd.swallows();
        let (width, height) = (window.current.width(), window.current.height());
        let whole = odd.candidate(width, height, grain.luma_at(445.0));
        if swallows {
            candidates.retain(|c| 2 * c.mask.overlap(&whole.mask) <= c.area());
        }
        candidates.push(whole);
    }
}

/// What is odd about the middle frame as a whole.
fn odd(five: &Five, back: Option<&Link>, ahead: Option<&Link>) -> Vec<Odd> {
    let [_, Some(previous), Some(current), Some(next), _] = *five else { return Vec::new() };
    let (Some(back), Some(ahead)) = (back, ahead) else { return Vec::new() };
    let links = Links { back, ahead, five };
    let mut found = Vec::new();
    // Light leaves the picture where it was; a frame that shows something else has another one.
    match flash(&links, previous, current, next).filter(|_| alike(links.back, current, previous)) {
        Some(flash) => found.push(flash),
        None => found.extend(covered::find(&links, current)),
    }
    found.extend(duplicate::find(five));
    found.extend(missing(&links));
    found
}

/// The current frame against its neighbours, and the neighbours when they are asked.
struct Links<'a> {
    back: &'a Link,
    ahead: &'a Link,
    five: &'a Five<'a>,
}

impl Links<'_> {
    fn between(&self, a: usize, b: usize) -> Option<Link> {
        Link::new(self.five[a]?, self.five[b]?)
    }
}

/// Whether two sketches show one picture whatever its level and contrast: their correlation along the motion between them.
fn alike(link: &Link, current: &Sketch, other: &Sketch) -> bool {
    let (a, b) = (current.luma(), other.luma());
    let (dx, dy) = (link.motion.dx.round() as i32, link.motion.dy.round() as i32);
    let pairs = || (0..a.height()).flat_map(|y| (0..a.width()).map(move |x| (x, y)));
    let values = || pairs().map(|(x, y)| (a.at(x, y), b.clamped(x as i32 + dx, y as i32 + dy)));
    let count = a.as_slice().len().max(1) as f32;
    let (sum_a, sum_b) = values().fold((0.0, 0.0), |s, v| (s.0 + v.0, s.1 + v.1));
    let (mean_a, mean_b) = (sum_a / count, sum_b / count);
    let (aa, bb, ab) = values().fold((0.0f32, 0.0f32, 0.0f32), |s, (p, q)| {
        let (p, q) = (p - mean_a, q - mean_b);
        (s.0 + p * p, s.1 + q * q, s.2 + p * q)
    });
    ab > ALIKE * (aa * bb).sqrt()
}

/// Correlation from which two frames show one picture.
const ALIKE: f32 = 0.8;

/// Least step of the whole frame's level that counts as a flash, in codes: a third of a stop in printing density is 50.
const FLASH: f32 = 40.0;

fn flash(links: &Links, previous: &Sketch, current: &Sketch, next: &Sketch) -> Option<Odd> {
    let (before, here, after) = (previous.level(), current.level(), next.level());
    let step = here - 0.5 * (before + after);
    let level = |k: usize| links.five[k].map(Sketch::level);
    let usual =
        [level(0).map(|l| (l - before).abs()), level(4).map(|l| (l - after).abs()), Some((before - after).abs())];
    let usual = usual.into_iter().flatten().fold(0.0, f32::max);
    if step.abs() < FLASH || step.abs() < 4.0 * usual {
        return None;
    }
    // Where the picture is clipped already a flash cannot show.
    let cells = current.luma().as_slice().iter().zip(previous.luma().as_slice()).zip(next.luma().as_slice());
    let (mut same, mut all) = (0usize, 0usize);
    for ((now, a), b) in cells {
        all += 1;
        same += usize::from((now - 0.5 * (a + b)) * step.signum() > 0.2 * step.abs());
    }
    let share = same as f32 / all.max(1) as f32;
    if share < 0.75 {
        return None;
    }
    let bright = step > 0.0;
    Some(Odd {
        what: What::Flash,
        confidence: if share > 0.95 { 0.4 } else { 0.3 },
        region: None,
        polarity: if bright { Polarity::Bright } else { Polarity::Dark },
        contrast: step.abs(),
        // A turning lamp or a lightning stroke looks the same: nobody but a person can tell.
        risk: Risk { neighbours_disagree: true, ..Risk::default() },
        reasons: vec![
            format!(
                "for: the whole frame is {} than both neighbouring frames",
                if bright { "brighter" } else { "darker" }
            ),
            "for: the neighbouring frames agree with each other".to_owned(),
            "against: a light in the scene could do the same".to_owned(),
        ],
    })
}

/// Least motion between frames in cells (at 2K, 16 pixels each) at which a frame is missed.
const MOVING: f32 = 0.6;

/// The reason that a candidate of a missing frame gives, and no other.
const TWICE_AS_FAR: &str =
    "for: the whole picture moves twice as far from the frame before as it does before and after";

/// Whether a candidate says that a frame is missing before its own: its own picture is whole, and nothing in it is to be mended.
pub fn tells_of_a_missing_frame(candidate: &Candidate) -> bool {
    candidate.kind == Kind::Frame && candidate.reasons.iter().any(|reason| reason == TWICE_AS_FAR)
}

/// A frame missing before the middle one: the picture moves steadily, and at this one place twice as far.
fn missing(links: &Links) -> Option<Odd> {
    let step = links.back.motion;
    if step.length() < 2.0 * MOVING {
        return None;
    }
    let (earlier, later) = (links.between(1, 0)?, links.ahead);
    let (p, r) = (earlier.motion, besom_motion::Vector::new(-later.motion.dx, -later.motion.dy));
    let usual = besom_motion::Vector::new(0.5 * (p.dx + r.dx), 0.5 * (p.dy + r.dy));
    let twice = besom_motion::Vector::new(2.0 * usual.dx, 2.0 * usual.dy);
    if usual.length() < MOVING || p.distance(r) > 0.25 * usual.length() || step.distance(twice) > 0.3 * usual.length() {
        return None;
    }
    if let Some(last) = links.between(3, 4) {
        let s = besom_motion::Vector::new(-last.motion.dx, -last.motion.dy);
        if s.distance(r) > 0.35 * usual.length() {
            return None;
        }
    }
    // Block by block: one object among many may well jump.
    let (mut jumped, mut all) = (0usize, 0usize);
    for ((b, e), a) in links.back.blocks.iter().zip(&earlier.blocks).zip(&later.blocks) {
        if b.told() && e.told() && a.told() {
            let steady =
                besom_motion::Vector::new(0.5 * (e.vector.dx - a.vector.dx), 0.5 * (e.vector.dy - a.vector.dy));
            let double = besom_motion::Vector::new(2.0 * steady.dx, 2.0 * steady.dy);
            all += 1;
            jumped +=
                usize::from(steady.length() > 0.5 * MOVING && b.vector.distance(double) < b.vector.distance(steady));
        }
    }
    if all < 12 || jumped * 10 < all * 7 {
        return None;
    }
    Some(Odd {
        what: What::Missing,
        confidence: 0.3,
        region: None,
        polarity: Polarity::Dark,
        contrast: 0.0,
        risk: Risk { fast_motion: true, ..Risk::default() },
        reasons: vec![TWICE_AS_FAR.to_owned(), "against: the camera may have jerked".to_owned()],
    })
}

#[cfg(test)]
mod tests;
