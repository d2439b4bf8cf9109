//! From a line's measurements to a probability, and to words.

use super::LineSuspect;
use super::company::Companion;
use super::measure::{ALONE, NAMES};
use crate::reasons::strongest;
use crate::trees::{Trees, TreesError};

/// The trained ensembles of lines, checked against the measurements of this build: one judges a line by its own frame alone, and
/// so its companions in the frames around; the other judges it by everything.
#[derive(Clone, Debug)]
pub struct LineModel {
    alone: Trees,
    trees: Trees,
}

/// The ensembles that ship with Besom; `besom-proof train` writes them.
const ALONE_TREES: &str = include_str!("../../../../assets/line-alone.ron");
const TREES: &str = include_str!("../../../../assets/lines.ron");

/// What the second ensemble is told besides the measurements.
const COMPANY: [&str; 4] = ["alone", "company_sure", "company_sure_most", "company_sure_sides"];

/// Names of everything that the second ensemble judges by.
pub const JUDGED_BY: [&str; NAMES.len() + COMPANY.len()] = {
    let mut names = [""; NAMES.len() + COMPANY.len()];
    let mut k = 0;
    while k < names.len() {
        names[k] = if k < NAMES.len() { NAMES[k] } else { COMPANY[k - NAMES.len()] };
        k += 1;
    }
    names
};

/// The last of [`JUDGED_BY`]: `alone`, the probability of a line by its own frame, and what its companions' are: the mean over
/// the frames around, the highest, and the mean over the frames next to its own. `companions` has an entry for each frame: whether it is
/// next, and the probability, 0 without a companion there. Not a number without any frame.
pub fn by_company(alone: f32, companions: &[(bool, f32)]) -> [f32; COMPANY.len()] {
    let mean = |next_only: bool| {
        let of: Vec<f32> = companions.iter().filter(|(next, _)| *next || !next_only).map(|(_, p)| *p).collect();
        of.iter().sum::<f32>() / of.len() as f32
    };
    let most = companions.iter().map(|(_, p)| *p).fold(f32::NAN, f32::max);
    [alone, mean(false), most, mean(true)]
}

impl LineModel {
    /// The ensembles that ship with Besom.
    pub fn built_in() -> Result<Self, TreesError> {
        Self::from_ron(ALONE_TREES, TREES)
    }

    /// Ensembles from the texts of their files; their features must be this build's measurements.
    pub fn from_ron(alone: &str, all: &str) -> Result<Self, TreesError> {
        Ok(Self { alone: Trees::trained_on(&NAMES[..ALONE], alone)?, trees: Trees::trained_on(&JUDGED_BY, all)? })
    }

    /// What a line is judged by, in the order of [`JUDGED_BY`].
    pub fn judged_by(&self, line: &LineSuspect) -> Vec<f32> {
        let alone = |values: &[f32]| self.alone.probability(&values[..ALONE]);
        let companion = |c: &Companion| (c.next, c.values.as_deref().map_or(0.0, alone));
        let companions: Vec<(bool, f32)> = line.companions.iter().map(companion).collect();
        line.values.iter().copied().chain(by_company(alone(&line.values), &companions)).collect()
    }

    /// Probability that a line is a scratch, 0 to 1, by what [`LineModel::judged_by`] says of it.
    pub fn confidence(&self, judged_by: &[f32]) -> f32 {
        self.trees.probability(judged_by)
    }

    /// The measurements that moved the score most, in words, three at most; each says whether it speaks for or against a
    /// scratch.
    pub fn reasons(&self, judged_by: &[f32]) -> Vec<String> {
        strongest(self.trees.contributions(judged_by).into_iter().zip(JUDGED_BY.map(words)).collect())
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
        "alone" => "how like a scratch it looks in its own frame",
        "company_sure" | "company_sure_most" | "company_sure_sides" | "company_mean" | "company_most"
        | "company_least" | "company_sides" | "company_share" | "company_less_moved" | "company_drift"
        | "company_unsteady" | "company_width" | "company_colour" => "whether the frames around have a line there",
        "picture_moves" | "picture_uneven" | "telling" => "how the picture moves behind it",
        _ => "where it stands in the shot",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn company_is_counted_over_all_frames_and_over_the_next_ones() {
        // By hand: (0.9 + 0.5 + 0 + 0) / 4, and of the two next ones (0.9 + 0) / 2.
        let [alone, mean, most, sides] = by_company(0.2, &[(true, 0.9), (false, 0.5), (true, 0.0), (false, 0.0)]);
        assert_eq!((alone, most), (0.2, 0.9));
        assert!((mean - 0.35).abs() < 1e-6 && (sides - 0.45).abs() < 1e-6);
        // A frame that stands alone has no company to speak of.
        let [_, mean, most, sides] = by_company(0.2, &[]);
        assert!(mean.is_nan() && most.is_nan() && sides.is_nan());
    }

    #[test]
    fn every_measure_has_words_of_its_own() {
        assert_eq!(JUDGED_BY.len(), NAMES.len() + 4);
        for name in JUDGED_BY.into_iter().filter(|name| *name != "one_sided") {
            assert_ne!(words(name), words("one_sided"), "{name}");
        }
    }
}
