//! Training the detector's confidence: gradient-boosted trees, their calibration, and honest scores by fold.
//!
//! Second-order boosting of the logistic loss (Friedman, Annals of Statistics 29(5), 2001; the regularised leaf formula
//! after Chen & Guestrin, KDD 2016, arXiv 1603.02754) on quantile histograms (the idea of Ke et al., NIPS 2017), from
//! memory. The same table and settings give the same trees on any number of threads: work is shared out by feature, and
//! every sum runs over the rows in one fixed order.

mod bins;
mod calibrate;
mod folds;
mod grow;
mod importance;

pub use calibrate::isotonic;
pub use folds::{Calibrated, folds_by_group, train_calibrated, train_calibrated_beside};
pub use importance::{Importance, importance};

use besom_detect::trees::{Trees, TreesError};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use bins::Binned;
use grow::Gradient;

/// Rows of measurements with their answers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// The name of each feature (column).
    pub names: Vec<String>,
    /// The measurements, row after row. Not-a-number stands for "could not be measured".
    pub rows: Vec<f32>,
    /// For each row 1 for a defect, 0 for anything else; values between stand for doubt.
    pub labels: Vec<f32>,
    /// For each row how much it counts; finite and not negative.
    pub weights: Vec<f32>,
    /// For each row the clip it comes from: rows of one clip are never split between training and testing.
    pub groups: Vec<u32>,
}

impl Table {
    /// An empty table of these features.
    pub fn named(names: &[&str]) -> Self {
        Self { names: names.iter().map(|n| (*n).to_owned()).collect(), ..Self::default() }
    }

    /// Adds a row of group `group`: 1 for a defect, how much it counts, and a measurement a feature.
    pub fn add(&mut self, group: u32, defect: bool, weight: f32, values: &[f32]) {
        self.rows.extend_from_slice(values);
        self.labels.push(f32::from(u8::from(defect)));
        self.weights.push(weight);
        self.groups.push(group);
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.labels.len()
    }

    /// True without any row.
    pub fn is_empty(&self) -> bool {
        self.labels.is_empty()
    }

    /// The measurements of one row.
    ///
    /// # Panics
    /// When the row does not exist.
    pub fn row(&self, index: usize) -> &[f32] {
        let width = self.names.len();
        &self.rows[index * width..(index + 1) * width]
    }

    /// The rows for which `keep` (called with the row's index) holds.
    #[must_use]
    pub fn filtered(&self, keep: impl Fn(usize) -> bool) -> Self {
        let mut part = Self { names: self.names.clone(), ..Self::default() };
        for index in (0..self.len()).filter(|i| keep(*i)) {
            part.rows.extend_from_slice(self.row(index));
            part.labels.push(self.labels[index]);
            part.weights.push(self.weights[index]);
            part.groups.push(self.groups[index]);
        }
        part
    }

    fn check(&self) -> Result<(), TrainError> {
        let n = self.len();
        if n == 0 || self.names.is_empty() {
            return Err(TrainError::Table("it has no rows or no features".into()));
        }
        if self.rows.len() != n * self.names.len() || self.weights.len() != n || self.groups.len() != n {
            return Err(TrainError::Table("its columns differ in length".into()));
        }
        if !self.labels.iter().all(|l| (0.0..=1.0).contains(l)) {
            return Err(TrainError::Table("a label lies outside 0 to 1".into()));
        }
        if !self.weights.iter().all(|w| w.is_finite() && *w >= 0.0) || self.weights.iter().all(|w| *w == 0.0) {
            return Err(TrainError::Table("a weight is negative or not finite, or all are 0".into()));
        }
        Ok(())
    }
}

/// How to train.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Number of trees.
    pub trees: usize,
    /// Longest path of questions, 1 to 12.
    pub depth: usize,
    /// Share of each tree's answer that is added, above 0 and up to 1.
    pub learning_rate: f32,
    /// L2 penalty on leaf answers, not negative.
    pub l2: f32,
    /// Least sum of second derivatives (weight times p(1-p)) in a leaf; above 0.
    pub min_child_weight: f32,
    /// Least gain of a split, not negative.
    pub min_gain: f32,
    /// Share of the rows that each tree sees, drawn anew for each tree; above 0 and up to 1.
    pub row_share: f32,
    /// Seed of that draw.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            trees: 200,
            depth: 5,
            learning_rate: 0.08,
            l2: 1.0,
            min_child_weight: 3.0,
            min_gain: 0.0,
            row_share: 0.8,
            seed: 1961,
        }
    }
}

impl Settings {
    fn check(&self) -> Result<(), TrainError> {
        let share = |v: f32| v > 0.0 && v <= 1.0;
        if !(1..=12).contains(&self.depth) {
            return Err(TrainError::Settings("the depth must lie between 1 and 12".into()));
        }
        if !share(self.learning_rate) || !share(self.row_share) {
            return Err(TrainError::Settings("learning rate and row share must lie above 0 and up to 1".into()));
        }
        if !(self.l2 >= 0.0 && self.min_gain >= 0.0 && self.min_child_weight > 0.0) {
            return Err(TrainError::Settings("penalty, gain and child weight must not be negative".into()));
        }
        Ok(())
    }
}

/// Why nothing was trained.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrainError {
    /// The table is not usable.
    #[error("the training table cannot be used: {0}")]
    Table(String),
    /// The settings are not usable.
    #[error("the training settings cannot be used: {0}")]
    Settings(String),
    /// The result is not a valid ensemble (for instance after an overflow of the measurements).
    #[error(transparent)]
    Trees(#[from] TreesError),
}

/// What training gives.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The trees, not calibrated: probabilities are the logistic function of the raw score.
    pub trees: Trees,
    /// For each feature, how much all its splits together lowered the loss.
    pub gains: Vec<f64>,
}

/// Trains an ensemble on a whole table.
///
/// Thresholds are given the fewest digits that still part the same rows, and leaf answers are rounded to five decimals
/// before the next tree is grown, so the written file scores every row exactly as training saw it.
///
/// # Errors
/// [`TrainError`] when the table or the settings are not usable.
pub fn train(table: &Table, settings: &Settings) -> Result<Fit, TrainError> {
    table.check()?;
    settings.check()?;
    let binned = Binned::new(table);
    let base = base_score(table);
    let mut scores = vec![f64::from(base); table.len()];
    let mut gains = vec![0.0; table.names.len()];
    let mut trees = Vec::with_capacity(settings.trees);
    let mut random = ChaCha8Rng::seed_from_u64(settings.seed);
    for _ in 0..settings.trees {
        let gradients = gradients(&scores, table);
        let sample: Vec<u32> =
            (0..table.len() as u32).filter(|_| random.random::<f32>() < settings.row_share).collect();
        let grown = grow::grow(&binned, &gradients, &sample, &table.weights, settings, &mut gains);
        scores.par_iter_mut().enumerate().for_each(|(row, score)| *score += grown.answer(&binned, row));
        trees.push(grown.into_tree(&binned));
    }
    Ok(Fit { trees: Trees::new(table.names.clone(), base, trees, Vec::new())?, gains })
}

/// The raw score of the mean label, kept away from the infinities of a table of one class.
fn base_score(table: &Table) -> f32 {
    let sums = table.labels.iter().zip(&table.weights).fold((0.0, 0.0), |(y, w), (label, weight)| {
        (y + f64::from(*label) * f64::from(*weight), w + f64::from(*weight))
    });
    let mean = (sums.0 / sums.1).clamp(1e-4, 1.0 - 1e-4);
    round((mean / (1.0 - mean)).ln())
}

/// Five decimals: below what any score needs, and readable in the file.
fn round(value: f64) -> f32 {
    ((value * 1e5).round() / 1e5) as f32
}

fn logistic(raw: f64) -> f64 {
    1.0 / (1.0 + (-raw).exp())
}

fn gradients(scores: &[f64], table: &Table) -> Vec<Gradient> {
    let one = |row: usize| {
        let (p, weight) = (logistic(scores[row]), f64::from(table.weights[row]));
        Gradient {
            first: (weight * (p - f64::from(table.labels[row]))) as f32,
            second: (weight * p * (1.0 - p)) as f32,
        }
    };
    (0..scores.len()).into_par_iter().map(one).collect()
}

/// The weighted mean logistic loss of probabilities, in nats. Probabilities are kept `1e-7` away from 0 and 1.
pub fn log_loss(probabilities: &[f32], labels: &[f32], weights: &[f32]) -> f64 {
    let (mut loss, mut total) = (0.0, 0.0);
    for ((p, label), weight) in probabilities.iter().zip(labels).zip(weights) {
        let (p, label, weight) = (f64::from(*p).clamp(1e-7, 1.0 - 1e-7), f64::from(*label), f64::from(*weight));
        loss -= weight * (label * p.ln() + (1.0 - label) * (1.0 - p).ln());
        total += weight;
    }
    if total > 0.0 { loss / total } else { 0.0 }
}

#[cfg(test)]
mod tests;
