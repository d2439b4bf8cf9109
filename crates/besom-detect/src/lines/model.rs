//! From a line's measurements to a probability, and to words.

use super::measure::NAMES;
use crate::reasons::strongest;
use crate::trees::{Trees, TreesError};

/// The trained ensemble of lines, checked against the measurements of this build.
#[derive(Clone, Debug)]
pub struct LineModel {
    trees: Trees,
}

/// The ensemble that ships with Besom; `besom-proof train` writes it.
const BUILT_IN: &str = include_str!("../../../../assets/lines.ron");

impl LineModel {
    /// The ensemble that ships with Besom.
    pub fn built_in() -> Result<Self, TreesError> {
        Self::from_ron(BUILT_IN)
    }

    /// An ensemble from the text of its file; its features must be this build's measurements.
    pub fn from_ron(text: &str) -> Result<Self, TreesError> {
        Ok(Self { trees: Trees::trained_on(&NAMES, text)? })
    }

    /// Probability that a measured line is a scratch, 0 to 1.
    pub fn confidence(&self, values: &[f32]) -> f32 {
        self.trees.probability(values)
    }

    /// The measurements that moved the score most, in words, three at most; each says whether it speaks for or against a
    /// scratch.
    pub fn reasons(&self, values: &[f32]) -> Vec<String> {
        strongest(self.trees.contributions(values).into_iter().zip(NAMES.map(words)).collect())
    }
}

/// What a measurement speaks of, in plain words.
fn words(name: &str) -> &'static str {
    match name {
        "strength" | "contrast" | "least_side" | "sides_differ" => "how clearly it stands out from both its sides",
        "length" | "bands" | "borders" => "its length",
        "fill" | "contrast_spread" => "how evenly it runs",
        "background_spread" | "background_steps" | "follows_background" => "the ground that it crosses",
        "width" | "width_relative" => "its width",
        "profile_even" | "edge_sharpness" | "sides_flat" => "its profile",
        "straightness" | "slope" | "jitter" => "how straight it is",
        "ends_step" => "where it ends",
        "crowd" | "crowd_near" => "how many lines stand around it",
        "channel_weakest" | "channel_signs" => "its colour",
        "bright" => "whether it is dark or bright",
        "moves_least" | "moves_most" | "slip" | "slip_most" | "slip_spread" | "pattern_moves" => {
            "whether it moves with the picture"
        }
        "stays_least" | "stays_most" | "stays_less_moves" | "drift" | "drift_bend" | "slip_less_drift"
        | "pattern_stays" | "witness_stays" => "whether it keeps its place over frames",
        "column_shows" | "column_stands_out" | "column_same" | "company_here" => "what else stands in its column",
        "film_shows"
        | "film_beside"
        | "film_stands_out"
        | "film_stands_out_least"
        | "film_stands_out_most"
        | "film_same"
        | "film_offset" => "what its column shows in the frames around",
        "company_mean" | "company_most" | "company_least" | "company_sides" | "company_share"
        | "company_less_moved" | "company_drift" | "company_unsteady" | "company_width" | "company_colour" => {
            "whether the frames around have a line there"
        }
        "picture_moves" | "picture_uneven" | "telling" => "how the picture moves behind it",
        _ => "where it stands in the shot",
    }
}
