//! From a gate mark's measurements to a probability, and to words.

use super::measure::NAMES;
use crate::reasons::strongest;
use crate::trees::{Trees, TreesError};

/// The trained ensemble of gate marks, checked against the measurements of this build.
#[derive(Clone, Debug)]
pub struct GateModel {
    trees: Trees,
}

/// The ensemble that ships with Besom; `besom-proof gate --to` writes it.
const BUILT_IN: &str = include_str!("../../../../assets/gate.ron");

impl GateModel {
    /// The ensemble that ships with Besom.
    ///
    /// # Errors
    /// [`TreesError`] when it is not of this build's measurements.
    pub fn built_in() -> Result<Self, TreesError> {
        Self::from_ron(BUILT_IN)
    }

    /// An ensemble from the text of its file.
    ///
    /// # Errors
    /// [`TreesError`], also when its features are not this build's measurements.
    pub fn from_ron(text: &str) -> Result<Self, TreesError> {
        Ok(Self { trees: Trees::trained_on(&NAMES, text)? })
    }

    /// Probability that a measured mark is fixed in the gate, 0 to 1.
    pub fn confidence(&self, values: &[f32]) -> f32 {
        self.trees.probability(values)
    }

    /// The measurements that moved the score most, in words, three at most; each says whether it speaks for or against a mark
    /// in the gate.
    pub fn reasons(&self, values: &[f32]) -> Vec<String> {
        let mut sums: Vec<(f32, &'static str)> = Vec::new();
        for (part, words) in self.trees.contributions(values).into_iter().zip(NAMES.map(words)) {
            match sums.iter_mut().find(|(_, known)| *known == words) {
                Some(sum) => sum.0 += part,
                None => sums.push((part, words)),
            }
        }
        strongest(sums)
    }
}

/// What a measurement speaks of, in plain words.
fn words(name: &str) -> &'static str {
    match name {
        "area" | "size_relative" | "width" | "width_relative" => "its size",
        "thinness" | "fill" | "elongation" | "upright" => "its shape",
        "at_edge" | "edge_distance" => "how near the frame's edge it stands",
        "contrast" | "contrast_to_texture" | "sharpness" => "how clearly it stands out",
        "texture" | "level" | "ground" | "bright" => "the picture that it stands on",
        "channel_weakest" | "channel_signs" => "its colour",
        "persists" | "persists_least" | "stays" | "stays_near" | "stays_most" | "stays_to_contrast" | "slips"
        | "stays_share" | "stays_share_least" => "whether it keeps its place in the frames around",
        "goes" | "goes_near" | "goes_least" | "goes_to_contrast" | "goes_share" | "goes_share_most" | "spike_mean"
        | "spike_share" => "whether it goes with the picture",
        "stays_less_goes" | "stays_less_goes_least" | "stays_less_goes_most" => {
            "whether it stands still while the picture moves"
        }
        "motion" | "motion_most" | "motion_to_width" | "telling" | "motion_of_frame" | "motion_not_frame"
        | "motion_uneven" | "own_motion" => "how the picture moves behind it",
        "rim_error" => "how well the picture around it can be followed",
        _ => "how many like it stand on this frame",
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_shipped_ensemble_is_of_these_measurements_and_another_is_refused() {
        let model = GateModel::built_in().unwrap();
        assert!(model.reasons(&[0.0; NAMES.len()]).len() <= 3);
        let other = "Trees(version: 1, features: [\"area\"], base: 0.0, calibration: [(0.0, 0.5)], trees: [])";
        assert!(GateModel::from_ron(other).is_err());
    }
}
