//! Shots as the survey found them.

use besom_detect::Grain;
use besom_detect::whole::What;

/// How dirty and unsteady a shot is, measured by the survey.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Dirt {
    /// Marks a frame that stand out from both neighbours by six grain sigmas, mean over the shot's sampled frames: how dirty
    /// it is, before any detection.
    pub marks_per_frame: f32,
    /// Mean change of brightness from frame to frame, in percent.
    pub flicker_percent: f32,
    /// Mean displacement of the whole picture from frame to frame that no camera movement explains, in pixels.
    pub weave_px: f32,
}

/// A frame that is damaged as a whole, or marked by a splice, as far as the survey sees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OddFrame {
    /// Its scan number.
    pub frame: u64,
    /// What is odd about it.
    pub what: What,
    /// How sure that is, 0 to 1.
    pub confidence: f32,
}

/// A run of frames between two cuts.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// Place in the reel, from 0.
    pub index: usize,
    /// First scan.
    pub first: u64,
    /// Last scan, itself included.
    pub last: u64,
    /// Grain, measured once; every threshold of the detector is a multiple of it.
    pub grain: Grain,
    /// Dirt measures.
    pub dirt: Dirt,
    /// Frames that are odd as a whole, in order.
    pub odd: Vec<OddFrame>,
}

impl Shot {
    /// True when the scan belongs to the shot.
    pub const fn contains(&self, frame: u64) -> bool {
        self.first <= frame && frame <= self.last
    }
}
