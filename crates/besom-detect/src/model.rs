//! From measurements to a probability, and to words.

use crate::features::{FIRST_LOOK, Measured, NAMES};
use crate::trees::{Trees, TreesError};

/// The trained ensembles, checked against the measurements of this build.
#[derive(Clone, Debug)]
pub struct Model {
    first_look: Trees,
    trees: Trees,
}

/// The ensembles that ship with Besom; `besom-proof train` writes them.
const FIRST: &str = include_str!("../../../assets/first-look.ron");
const FULL: &str = include_str!("../../../assets/confidence.ron");

/// A suspect that the first look gives less than this has no closer look. On development clips left out of the training
/// this dismissed from a sixth to nine tenths of the false suspects of a clip, on most more than half; mean recall and
/// precision at sensitivities from 0.2 up changed by less than 0.01.
pub const DISMISSED_BELOW: f32 = 0.03;

impl Model {
    /// The ensembles that ship with Besom.
    pub fn built_in() -> Result<Self, TreesError> {
        Self::from_ron(FIRST, FULL)
    }

    /// Ensembles from the texts of their files; their features must be this build's measurements.
    pub fn from_ron(first_look: &str, full: &str) -> Result<Self, TreesError> {
        let read = |text: &str, names: &[&str]| {
            let trees = Trees::from_ron(text)?;
            if trees.features().iter().ne(names.iter()) {
                return Err(TreesError::Syntax("it was trained on other measurements than this version takes".into()));
            }
            Ok(trees)
        };
        Ok(Self { first_look: read(first_look, &NAMES[..FIRST_LOOK])?, trees: read(full, &NAMES)? })
    }

    /// False when the first measurements alone dismiss a mark.
    pub fn worth_a_closer_look(&self, first: &[f32]) -> bool {
        self.first_look.probability(first) >= DISMISSED_BELOW
    }

    /// Probability that a measured mark is a defect, 0 to 1.
    pub fn confidence(&self, measured: &Measured) -> f32 {
        self.trees.probability(&measured.values)
    }

    /// The three measurements that moved the score most, in words; each says whether it speaks for or against dirt.
    pub fn reasons(&self, measured: &Measured) -> Vec<String> {
        let parts = self.trees.contributions(&measured.values);
        let mut order: Vec<usize> = (0..parts.len().min(NAMES.len())).collect();
        order.sort_by(|a, b| parts[*b].abs().total_cmp(&parts[*a].abs()).then(a.cmp(b)));
        let mut said: Vec<String> = Vec::new();
        for k in order {
            let words = words(NAMES[k]);
            let sentence = format!("{}: {words}", if parts[k] > 0.0 { "for" } else { "against" });
            if parts[k].abs() > 0.05 && !said.contains(&sentence) {
                said.push(sentence);
            }
            if said.len() == 3 {
                break;
            }
        }
        said
    }
}

/// What a measurement speaks of, in plain words.
pub fn words(name: &str) -> &'static str {
    match name {
        "area" | "size_relative" => "its size",
        "thinness" | "fill" | "elongation" => "its shape",
        "spike_mean" | "spike_peak" => "how far it stands out from both neighbouring frames",
        "rank_mean" | "rank_peak" | "rank_share" => {
            "how far it lies beyond everything around in the neighbouring frames"
        }
        "rim_residue_least" | "rim_residue_most" | "surround_residue" | "field_error" | "retest_rim" => {
            "how well the picture around it fits the neighbouring frames"
        }
        "neighbours_differ_inside" | "neighbours_differ_rim" | "retest_agreement" | "witness_agree" => {
            "whether the neighbouring frames agree with each other"
        }
        "contrast" | "contrast_in_neighbours" => "its contrast against its surroundings",
        "texture_rim" | "texture_neighbours" | "rim_gradient" => "the texture it lies on",
        "edge_sharpness" | "edge_against_picture" => "the sharpness of its edge",
        "motion" | "motion_opposed" | "roughness" | "retest_shift" => "the motion around it",
        "crowd_near" | "crowd_wide" | "crowd_same_sign" => "how many marks lie around it",
        "retest_mean" | "retest_least_side" | "retest_peak" => {
            "that it is missing from the realigned neighbouring frames"
        }
        "reappears_a" | "reappears_b" | "reappears_distance" => "whether its like stands in a neighbouring frame",
        "channel_spread" | "channel_signs" | "channel_weakest" => "its colour",
        "witness_response" | "witness_rim" => "what the second next frames show",
        "bright" | "level" | "near_white" => "how bright it is",
        _ => "where it stands in the shot",
    }
}
