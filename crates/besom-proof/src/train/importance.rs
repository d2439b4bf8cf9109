//! Which features carry the decision.

use std::fmt;

use besom_detect::trees::Tree;

use super::Fit;

/// One feature's part.
#[derive(Clone, Debug, PartialEq)]
pub struct Importance {
    /// The feature's name.
    pub name: String,
    /// Its share of all gain, 0 to 1.
    pub share: f64,
    /// Number of splits that ask for it.
    pub splits: usize,
}

impl fmt::Display for Importance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:<32} {:>6.2} % {:>6} splits", self.name, self.share * 100.0, self.splits)
    }
}

/// Every feature's importance, the largest share of the gain first.
pub fn importance(fit: &Fit) -> Vec<Importance> {
    let total: f64 = fit.gains.iter().sum();
    let mut splits = vec![0; fit.gains.len()];
    for feature in fit.trees.trees().iter().flat_map(Tree::features) {
        splits[*feature as usize] += 1;
    }
    let mut table: Vec<Importance> = fit
        .trees
        .features()
        .iter()
        .zip(&fit.gains)
        .zip(splits)
        .map(|((name, gain), splits)| Importance {
            name: name.clone(),
            share: if total > 0.0 { gain / total } else { 0.0 },
            splits,
        })
        .collect();
    table.sort_by(|a, b| b.share.total_cmp(&a.share));
    table
}
