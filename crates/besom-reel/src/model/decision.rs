//! Decisions about candidates, and how a candidate is named.

/// What was decided about a candidate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Decision {
    /// Nobody decided yet.
    #[default]
    Undecided,
    /// A defect: repair it.
    Accepted,
    /// Not a defect: leave it.
    Rejected,
    /// Put there by the film-makers (grain, snow, glitter, a scuffed title): leave it, and say so in the report.
    Intended,
}

impl Decision {
    /// All decisions, in the order in which tables list them.
    pub const ALL: [Self; 4] = [Self::Undecided, Self::Accepted, Self::Rejected, Self::Intended];

    /// The word that files, tables and the window use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Undecided => "undecided",
            Self::Accepted => "accepted",
            Self::Rejected => "rejected",
            Self::Intended => "intended",
        }
    }

    /// The decision of a word: as [`Decision::word`] gives it, or as the command says it (`accept`, `reject`).
    pub fn from_word(word: &str) -> Option<Self> {
        match word {
            "undecided" => Some(Self::Undecided),
            "accepted" | "accept" => Some(Self::Accepted),
            "rejected" | "reject" => Some(Self::Rejected),
            "intended" => Some(Self::Intended),
            _ => None,
        }
    }
}

/// Names one candidate of a reel as it is loaded now. Not stable over a re-detection: the journal never stores it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct CandidateId {
    /// The scan's number.
    pub frame: u64,
    /// Place in its frame's list.
    pub index: u32,
}

impl CandidateId {
    /// Candidate `index` of scan `frame`.
    pub const fn new(frame: u64, index: u32) -> Self {
        Self { frame, index }
    }
}

/// Where the picture of a repair shall come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FillChoice {
    /// The repair chooses by the rim.
    #[default]
    Automatic,
    /// The previous frame.
    Previous,
    /// The next frame.
    Next,
    /// The frame itself, from around the hole.
    Spatial,
}

impl FillChoice {
    /// All choices, in the order in which menus list them.
    pub const ALL: [Self; 4] = [Self::Automatic, Self::Previous, Self::Next, Self::Spatial];

    /// The word that files and the window use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Automatic => "automatic",
            Self::Previous => "previous",
            Self::Next => "next",
            Self::Spatial => "spatial",
        }
    }

    /// The choice of a word, as [`FillChoice::word`] gives it.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.word() == word)
    }
}
