//! Scores of rows that training did not see: whole clips are left out in turn.

use std::collections::BTreeMap;

use super::{Fit, Settings, Table, TrainError, isotonic, train};

/// Knots of a calibration curve.
const KNOTS: usize = 20;

/// A trained and calibrated ensemble.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibrated {
    /// The trees trained on the whole table, with their calibration curve.
    pub fit: Fit,
    /// For each row, the raw score from trees that saw nothing of its clip.
    pub out_of_fold: Vec<f32>,
}

/// Gives every row a fold `0..count` such that all rows of a group share it, the folds as even as that allows. With as
/// many folds as groups (or more), each group has its own.
pub fn folds_by_group(groups: &[u32], count: usize) -> Vec<u32> {
    let mut sizes: BTreeMap<u32, usize> = BTreeMap::new();
    for group in groups {
        *sizes.entry(*group).or_default() += 1;
    }
    let mut largest_first: Vec<(u32, usize)> = sizes.into_iter().collect();
    largest_first.sort_by_key(|(group, size)| (std::cmp::Reverse(*size), *group));
    let mut filled = vec![0usize; count.max(1)];
    let mut fold_of: BTreeMap<u32, u32> = BTreeMap::new();
    for (group, size) in largest_first {
        let emptiest = (0..filled.len()).min_by_key(|f| filled[*f]).unwrap_or(0);
        filled[emptiest] += size;
        fold_of.insert(group, emptiest as u32);
    }
    groups.iter().map(|g| fold_of.get(g).copied().unwrap_or(0)).collect()
}

/// Each row's raw score from trees trained without its fold, and the scores of the rows of another table, each from the trees that saw
/// nothing of its clip. Refuses when everything is in one fold, because then nothing is left to train on.
fn out_of_fold(
    table: &Table,
    beside: &Table,
    settings: &Settings,
    count: usize,
) -> Result<(Vec<f32>, Vec<f32>), TrainError> {
    table.check()?;
    let both: Vec<u32> = table.groups.iter().chain(&beside.groups).copied().collect();
    let folds = folds_by_group(&both, count);
    let (folds, folds_beside) = folds.split_at(table.len());
    let (mut scores, mut scores_beside) = (vec![0.0; table.len()], vec![0.0; beside.len()]);
    for fold in 0..count as u32 {
        let held: Vec<usize> = (0..table.len()).filter(|i| folds[*i] == fold).collect();
        if held.is_empty() {
            continue;
        }
        if held.len() == table.len() {
            return Err(TrainError::Table("its rows all come from one clip, or one fold was asked for".into()));
        }
        let fit = train(&table.filtered(|i| folds[i] != fold), settings)?;
        for i in held {
            scores[i] = fit.trees.raw(table.row(i));
        }
        for (i, score) in scores_beside.iter_mut().enumerate().filter(|(i, _)| folds_beside[*i] == fold) {
            *score = fit.trees.raw(beside.row(i));
        }
    }
    Ok((scores, scores_beside))
}

/// Trains on the whole table and calibrates on out-of-fold scores, so that probabilities hold for clips not seen.
///
/// The calibration uses the table's weights: give weights that balance classes and the probabilities are those of the
/// balanced world.
///
/// # Errors
/// [`TrainError`]; also when everything is in one fold.
pub fn train_calibrated(table: &Table, settings: &Settings, count: usize) -> Result<Calibrated, TrainError> {
    Ok(train_calibrated_beside(table, &table.filtered(|_| false), settings, count)?.0)
}

/// The same, and the raw scores of rows that are not trained on, each from trees that saw nothing of its clip.
///
/// # Errors
/// [`TrainError`].
pub fn train_calibrated_beside(
    table: &Table,
    beside: &Table,
    settings: &Settings,
    count: usize,
) -> Result<(Calibrated, Vec<f32>), TrainError> {
    let (out_of_fold, scores_beside) = out_of_fold(table, beside, settings, count)?;
    let fit = train(table, settings)?;
    let curve = isotonic(&out_of_fold, &table.labels, &table.weights, KNOTS);
    let fit = Fit { trees: fit.trees.with_calibration(curve)?, ..fit };
    Ok((Calibrated { fit, out_of_fold }, scores_beside))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_stay_together_and_folds_are_even() {
        let groups: Vec<u32> = [(7, 50), (3, 30), (9, 20), (1, 10)].iter().flat_map(|(g, n)| vec![*g; *n]).collect();
        let folds = folds_by_group(&groups, 2);
        // 50 | 30 + 20, then the 10 joins the first of the two equals.
        assert!(groups.iter().zip(&folds).all(|(g, f)| *f == u32::from(*g == 3 || *g == 9)));
        let alone = folds_by_group(&groups, 4);
        assert_eq!((alone[0], alone[50], alone[80], alone[100]), (0, 1, 2, 3));
    }
}
