//! What a repair is asked and what it answers.

use std::fmt;

use besom_detect::Grain;
use besom_motion::Vector;
use besom_scan::{Plane, Rect, RunMask};

/// Which way of filling the restorer asks for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Choice {
    /// The fill with the smallest predicted error.
    #[default]
    Automatic,
    /// Only frames before this one.
    Previous,
    /// Only frames after this one.
    Next,
    /// No other frame: the picture around the hole alone.
    Spatial,
}

impl Choice {
    /// Whether a frame so many frames away may give pixels.
    pub(crate) const fn allows(self, offset: i32) -> bool {
        match self {
            Self::Automatic => offset != 0,
            Self::Previous => offset < 0,
            Self::Next => offset > 0,
            Self::Spatial => false,
        }
    }
}

/// Which way of filling was really used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Method {
    /// Frames before this one.
    Previous,
    /// Frames after this one.
    Next,
    /// Frames on both sides, blended or split along an edge.
    Both,
    /// The picture around the hole, with grain made anew.
    Spatial,
    /// Part of the hole from other frames, part from the picture around: sections of a long one, or what no frame shows.
    Parted,
    /// What shows through the dirt, in its place among frames before or after this one.
    Recovered,
    /// Nothing to fill: the mask holds no pixel of the frame.
    Nothing,
}

impl Method {
    /// The method of a fill from frames at these offsets, from none of them spatial.
    pub(crate) fn of_sources(offsets: &[i32]) -> Self {
        match (offsets.iter().any(|o| *o < 0), offsets.iter().any(|o| *o > 0)) {
            (true, true) => Self::Both,
            (true, false) => Self::Previous,
            (false, true) => Self::Next,
            (false, false) => Self::Spatial,
        }
    }
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Previous => "from the frames before",
            Self::Next => "from the frames after",
            Self::Both => "from the frames on both sides",
            Self::Spatial => "from the picture around",
            Self::Parted => "partly from other frames, partly from the picture around",
            Self::Recovered => "partly what shows through the dirt, the rest from other frames",
            Self::Nothing => "nothing to fill",
        })
    }
}

/// A neighbouring frame of the same shot.
#[derive(Clone, Copy)]
pub struct Source<'a> {
    /// Its place: -2, -1, 1 or 2 frames from the frame under repair.
    pub offset: i32,
    /// Its planes, as many and as large as the frame's, in analysis codes.
    pub planes: &'a [Plane],
    /// Not zero at its own candidates: these pixels are neither matched nor copied.
    pub skip: &'a Plane<u8>,
    /// The motion known so far: where the picture at `(x, y)` of the frame under repair stands in this one.
    pub start: &'a (dyn Fn(f32, f32) -> Vector + Sync),
}

/// One hole to fill.
#[derive(Clone, Copy)]
pub struct Job<'a> {
    /// The frame under repair, one plane a colour channel, in analysis codes (0 to 1023), all of one size and without NaN.
    pub planes: &'a [Plane],
    /// Not zero at every candidate pixel of this frame: never read as picture. The mask itself need not be in it.
    pub skip: &'a Plane<u8>,
    /// The pixels that may change.
    pub mask: &'a RunMask,
    /// Neighbours of the same shot, in any order.
    pub sources: &'a [Source<'a>],
    /// Grain of the shot.
    pub grain: &'a Grain,
    /// What the restorer asked for.
    pub choice: Choice,
    /// Seed of everything random in the fill: the same job gives the same bytes.
    pub seed: u64,
}

/// A filled hole.
#[derive(Clone, Debug, PartialEq)]
pub struct Fill {
    /// Where the values lie in the frame: the smallest rectangle around the mask's pixels inside the frame.
    pub rect: Rect,
    /// One plane a channel, of the rectangle's size. Pixels outside the mask hold the frame's own values.
    pub values: Vec<Plane>,
    /// What was used.
    pub method: Method,
    /// Offsets of the frames that gave pixels, in ascending order.
    pub sources: Vec<i32>,
    /// Mean absolute difference between the fill's picture and the frame on the rim around the hole, in codes. It never
    /// falls below the grain of two frames (about 1.1 sigma), and is infinite when the hole has no rim.
    pub rim_error: f32,
    /// Predicted root-mean-square error inside the hole in codes, the truth's own unknowable grain included: from other
    /// frames `sqrt(0.27 rim² + 0.95 spread² + 1.23 sigma²)`, of the squared rim difference near each pixel, the variance
    /// of the sources inside the hole and the grain of one frame (coefficients fitted on aged clips, correlation with the
    /// true error about 0.8); spatially from how the same way of filling misses known picture nearby.
    pub predicted_error: f32,
}
