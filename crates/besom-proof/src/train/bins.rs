//! Each feature's values sorted into at most 64 bins of about equal numbers of rows.

use rayon::prelude::*;

use super::Table;

/// The most bins a feature has.
pub(super) const BINS: usize = 64;

/// A table's values as bin numbers.
pub(super) struct Binned {
    /// For each feature the bin of every row.
    pub(super) columns: Vec<Vec<u8>>,
    /// For each feature the thresholds between its bins, rising: the rows of bins `0..=b` are those up to `cuts[b]`.
    pub(super) cuts: Vec<Vec<f32>>,
}

impl Binned {
    pub(super) fn new(table: &Table) -> Self {
        let width = table.names.len();
        let one = |feature: usize| {
            let values: Vec<f32> = table.rows.iter().skip(feature).step_by(width).copied().collect();
            let cuts = cuts(&values);
            // Not-a-number goes into the lowest bin, because it goes left at every question.
            let bin = |v: &f32| if v.is_nan() { 0 } else { cuts.partition_point(|c| *v > *c) as u8 };
            (values.iter().map(bin).collect(), cuts)
        };
        let (columns, cuts) = (0..width).into_par_iter().map(one).unzip();
        Self { columns, cuts }
    }
}

/// The thresholds between the bins of a feature's values.
fn cuts(values: &[f32]) -> Vec<f32> {
    // Infinities count as the largest number, so that every threshold is finite.
    let mut sorted: Vec<f32> = values.iter().filter(|v| !v.is_nan()).map(|v| v.clamp(f32::MIN, f32::MAX)).collect();
    sorted.sort_unstable_by(f32::total_cmp);
    let steps: Vec<usize> = (1..sorted.len()).filter(|i| sorted[i - 1] < sorted[*i]).collect();
    let between = |i: &usize| short_between(sorted[i - 1], sorted[*i]);
    if steps.len() < BINS {
        return steps.iter().map(between).collect();
    }
    let mut cuts = Vec::with_capacity(BINS - 1);
    let mut start = 0;
    for step in &steps {
        // What is left is shared out anew after each bin, so that one much repeated value does not empty the others.
        let wanted = (sorted.len() - start).div_ceil(BINS - cuts.len());
        if step - start >= wanted && cuts.len() < BINS - 1 {
            cuts.push(between(step));
            start = *step;
        }
    }
    cuts
}

/// A number `t` of few digits with `low <= t < high`, near the middle.
fn short_between(low: f32, high: f32) -> f32 {
    let middle = f64::midpoint(f64::from(low), f64::from(high));
    (0..9)
        .filter_map(|digits| format!("{middle:.digits$e}").parse::<f32>().ok())
        .find(|t| low <= *t && *t < high)
        .map_or(low, |t| if t == 0.0 { 0.0 } else { t })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn table(values: Vec<f32>) -> Table {
        let n = values.len();
        Table { names: vec!["a".into()], rows: values, labels: vec![0.0; n], weights: vec![1.0; n], groups: vec![0; n] }
    }

    #[test]
    fn few_values_get_a_bin_each() {
        let binned = Binned::new(&table(vec![3.0, 1.0, f32::NAN, 2.0, 1.0, f32::INFINITY, f32::NEG_INFINITY]));
        assert_eq!(binned.columns[0], vec![3, 1, 0, 2, 1, 4, 0]);
        assert_eq!(binned.cuts[0][1..3], [1.5, 2.0]);
    }

    proptest! {
        #[test]
        fn a_bin_says_what_its_threshold_says(values in proptest::collection::vec(-50.0f32..50.0, 1..400)) {
            let binned = Binned::new(&table(values.clone()));
            let cuts = &binned.cuts[0];
            prop_assert!(cuts.len() < BINS);
            prop_assert!(cuts.windows(2).all(|w| w[0] < w[1]));
            for (value, bin) in values.iter().zip(&binned.columns[0]) {
                for (b, cut) in cuts.iter().enumerate() {
                    prop_assert_eq!(*value > *cut, usize::from(*bin) > b);
                }
            }
        }

        #[test]
        fn bins_are_about_equally_full(seed in 0u32..50) {
            // Distinct values in a scrambled order.
            let n = 64 * 37;
            let values: Vec<f32> = (0..n).map(|i| ((i * 1021 + seed) % n) as f32).collect();
            let binned = Binned::new(&table(values));
            let mut counts = vec![0; BINS];
            binned.columns[0].iter().for_each(|b| counts[usize::from(*b)] += 1);
            prop_assert!(counts.iter().all(|c| *c == 37), "{:?}", counts);
        }
    }
}
