//! From measurements to a probability, and to words.

use std::sync::LazyLock;

use crate::context::{self, Company};
use crate::features::{FIRST_LOOK, Measured, NAMES};
use crate::gate::GateModel;
use crate::lines::LineModel;
use crate::reasons::strongest;
use crate::trees::{Trees, TreesError};

/// The trained ensembles, checked against the measurements of this build.
#[derive(Clone, Debug)]
pub struct Model {
    first_look: Trees,
    trees: Trees,
    company: Trees,
    lines: LineModel,
    gate: GateModel,
}

/// The ensembles that ship with Besom; `besom-proof train` writes them.
const FIRST: &str = include_str!("../../../assets/first-look.ron");
const FULL: &str = include_str!("../../../assets/confidence.ron");
const COMPANY: &str = include_str!("../../../assets/company.ron");

/// A suspect that the first look gives less than this has no closer look. With the first ensembles, on development clips left
/// out of their training, this dismissed from a sixth to nine tenths of the false suspects of a clip, on most more than
/// half; mean recall and precision at sensitivities from 0.2 up changed by less than 0.01. Not measured again since.
pub const DISMISSED_BELOW: f32 = 0.03;

/// Measurements that the last ensemble sees again beside the first judgement and the company ([`crate::context`]).
pub const AGAIN: [&str; 8] =
    ["area", "spike_mean", "rank_mean", "motion", "retest_mean", "retest_peak", "explained_a", "unrest_near"];

/// Their places among the measurements.
const AGAIN_AT: [usize; AGAIN.len()] = {
    let (mut at, mut k) = ([0; AGAIN.len()], 0);
    while k < AGAIN.len() {
        while !same(AGAIN[k], NAMES[at[k]]) {
            at[k] += 1;
        }
        k += 1;
    }
    at
};

/// Whether two names are one, worked out when Besom is built.
const fn same(a: &str, b: &str) -> bool {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    let mut k = 0;
    while k < a.len() && k < b.len() && a[k] == b[k] {
        k += 1;
    }
    k == a.len() && k == b.len()
}

/// A measured mark, how it was judged by itself, and the other marks of its frame.
pub struct Judged<'a> {
    /// Its measurements.
    pub measured: &'a Measured,
    /// [`Model::by_itself`].
    pub first: f32,
    /// The other marks.
    pub company: &'a Company,
}

impl Judged<'_> {
    /// What the last ensemble is given, in the order of [`company_names`].
    pub fn values(&self) -> Vec<f32> {
        let p = self.first.clamp(1e-4, 1.0 - 1e-4);
        let again = AGAIN_AT.iter().map(|k| self.measured.values[*k]);
        std::iter::once(libm::logf(p / (1.0 - p))).chain(self.company.values).chain(again).collect()
    }
}

/// Names of the last ensemble's features.
pub fn company_names() -> Vec<&'static str> {
    std::iter::once("by_itself").chain(context::NAMES).chain(AGAIN).collect()
}

impl Model {
    /// The ensemble that judges line scratches.
    pub fn lines(&self) -> &LineModel {
        &self.lines
    }

    /// The ensemble that judges marks fixed in the gate.
    pub fn gate(&self) -> &GateModel {
        &self.gate
    }

    /// The same with another ensemble for marks fixed in the gate.
    #[must_use]
    pub fn with_gate(self, gate: GateModel) -> Self {
        Self { gate, ..self }
    }

    /// The ensembles that ship with Besom.
    pub fn built_in() -> Result<Self, TreesError> {
        Self::from_ron(FIRST, FULL, COMPANY)
    }

    /// Ensembles of marks from the texts of their files, beside the shipped ones of lines and of gate marks; their features
    /// must be this build's measurements.
    pub fn from_ron(first_look: &str, full: &str, company: &str) -> Result<Self, TreesError> {
        let company_names = company_names();
        let (trees, (first_look, (company, (lines, gate)))) = rayon::join(
            || Trees::trained_on(&NAMES, full),
            || {
                let company = || Trees::trained_on(&company_names, company);
                let rest = || rayon::join(company, || rayon::join(LineModel::built_in, GateModel::built_in));
                rayon::join(|| Trees::trained_on(&NAMES[..FIRST_LOOK], first_look), rest)
            },
        );
        Ok(Self { first_look: first_look?, trees: trees?, company: company?, lines: lines?, gate: gate? })
    }

    /// Probability by the first measurements alone, 0 to 1.
    pub fn first_look(&self, first: &[f32]) -> f32 {
        self.first_look.probability(first)
    }

    /// Probability that a measured mark is a defect, whatever else the frame shows, 0 to 1.
    pub fn by_itself(&self, measured: &Measured) -> f32 {
        self.trees.probability(&measured.values)
    }

    /// The confidence: the probability that a mark is a defect, given the other marks of its frame, 0 to 1.
    pub fn in_company(&self, judged: &Judged) -> f32 {
        self.company.probability(&judged.values())
    }

    /// The three measurements that moved the score most, in words; each says whether it speaks for or against dirt.
    pub fn reasons(&self, judged: &Judged) -> Vec<String> {
        let mut parts: Vec<(f32, &'static str)> =
            self.trees.contributions(&judged.measured.values).into_iter().zip(*WORDS).collect();
        let company: f32 = self.company.contributions(&judged.values()).iter().skip(1).take(context::NAMES.len()).sum();
        parts.push((company, "what else was found on this frame"));
        strongest(parts)
    }
}

/// What each measurement speaks of, looked up once.
static WORDS: LazyLock<[&str; NAMES.len()]> = LazyLock::new(|| NAMES.map(words));

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
        "explained_a" | "explained_b" | "explained_distance" => {
            "whether a small shift of a neighbouring frame explains it"
        }
        "like_here" => "whether its like stands nearby in the same frame",
        "unrest_near" | "unrest_wide" | "unrest_frame" => "how much stands out around it",
        "disagreement_near" | "disagreement_wide" | "disagreement_frame" => {
            "how well the neighbouring frames agree over a wider area"
        }
        "channel_spread" | "channel_signs" | "channel_weakest" | "colour_mean" | "colour_peak" | "colour_rank" => {
            "its colour"
        }
        "witness_response" | "witness_rim" => "what the second next frames show",
        "bright" | "level" | "near_white" => "how bright it is",
        "inside_deviation" | "outline_closed" | "outline_weakest" => "how it stands out all around in its own frame",
        "outline_quiet" | "outline_in_neighbours" => "what the neighbouring frames show along its outline",
        "border" | "out_of_view" => "how near it lies to the frame's border",
        "hides_mean" | "hides_peak" | "hides_channel" => "how much of the picture it hides",
        "beyond_near" | "beyond_far" | "beyond_here" | "tint_beyond" => "whether anything around it is like it",
        _ => "where it stands in the shot",
    }
}
