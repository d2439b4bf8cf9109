//! What the detector reports: one suspected defect of one frame.

use besom_scan::{Rect, RunMask};

/// What a candidate looks like. The trade's words; one decision rule can speak of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Dust, dirt or sparkle: a compact mark of one frame.
    Dust,
    /// Hair or fibre: a thin, often curved mark of one frame.
    Hair,
    /// Line scratch: a nearly vertical line that lasts over frames.
    Line,
    /// Splice mark at a cut.
    Splice,
    /// The frame is damaged whole (flash, tear, mostly covered).
    Frame,
    /// Painted by a person.
    Hand,
}

impl Kind {
    /// All kinds, in the order in which tables list them.
    pub const ALL: [Self; 6] = [Self::Dust, Self::Hair, Self::Line, Self::Splice, Self::Frame, Self::Hand];

    /// The word that commands, files and the window use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Dust => "dust",
            Self::Hair => "hair",
            Self::Line => "line",
            Self::Splice => "splice",
            Self::Frame => "frame",
            Self::Hand => "hand",
        }
    }

    /// The kind of a word, as [`Kind::word`] gives it.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.word() == word)
    }
}

/// Whether the mark is darker or brighter than what it covers, in scan codes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Polarity {
    /// Lower codes than the picture around.
    Dark,
    /// Higher codes than the picture around.
    Bright,
}

/// Why a candidate could be part of the picture. Any reason puts it *at risk*: shown, but no rule takes it by default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
// Each reason holds or not by itself; they are not states of one thing.
#[allow(clippy::struct_excessive_bools)]
pub struct Risk {
    /// The two neighbours disagree with each other here (occlusion, fast motion, flashes).
    pub neighbours_disagree: bool,
    /// The picture moves fast here.
    pub fast_motion: bool,
    /// Its like stands displaced in a neighbouring frame: an object, not dirt.
    pub reappears: bool,
    /// Only one neighbour exists (shot or reel end).
    pub one_sided: bool,
    /// Part of a swarm of moving specks (snow, spray, glitter).
    pub swarm: bool,
}

impl Risk {
    /// True when any reason holds.
    pub const fn any(self) -> bool {
        self.neighbours_disagree || self.fast_motion || self.reappears || self.one_sided || self.swarm
    }

    /// The reasons in plain words.
    pub fn words(self) -> Vec<&'static str> {
        let all = [
            (self.neighbours_disagree, "the neighbouring frames disagree here"),
            (self.fast_motion, "fast motion"),
            (self.reappears, "its like stands nearby in a neighbouring frame"),
            (self.one_sided, "only one neighbouring frame"),
            (self.swarm, "one of many moving specks"),
        ];
        all.into_iter().filter_map(|(holds, words)| holds.then_some(words)).collect()
    }
}

/// Where a mark comes from, as evidence for the person who decides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Origin {
    /// On the film: one frame only.
    #[default]
    Film,
    /// In the gate or on the scanner: it stands still against the frame while the picture moves.
    Gate,
    /// In the scene: it moves with the picture.
    Scene,
}

/// Sensitivity of a shot that nobody set: candidates of at least this confidence are shown. The confidence is a probability: at
/// 0.35 one candidate in three is dirt, and of all from there up about nine in ten are. A blotch that nobody is shown stays in the
/// picture, while one too many costs a look: hence well below a half.
pub const DEFAULT_SENSITIVITY: f32 = 0.35;

/// One suspected defect of one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// The pixels it covers, to its soft edge.
    pub mask: RunMask,
    /// What it looks like.
    pub kind: Kind,
    /// Dark or bright.
    pub polarity: Polarity,
    /// Probability that this is a defect, 0 to 1.
    pub confidence: f32,
    /// Why it could be part of the picture.
    pub risk: Risk,
    /// Where it comes from.
    pub origin: Origin,
    /// Strongest difference from both neighbours, in grain sigmas.
    pub peak: f32,
    /// Up to three strongest reasons for the confidence, in plain words.
    pub reasons: Vec<String>,
}

impl Candidate {
    /// The smallest rectangle around its pixels.
    pub fn bounds(&self) -> Rect {
        self.mask.bounds()
    }

    /// Pixels covered.
    pub fn area(&self) -> usize {
        self.mask.area()
    }
}
