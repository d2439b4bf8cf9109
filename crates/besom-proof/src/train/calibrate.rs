//! Isotonic regression: raw scores to probabilities that never fall, as a short curve.
//!
//! Pool adjacent violators: Ayer et al., Annals of Mathematical Statistics 26(4), 1955; its use for classifiers:
//! Zadrozny & Elkan, KDD 2002 (both from memory).

/// Neighbouring scores that share one probability.
#[derive(Clone, Copy, Debug)]
struct Block {
    raw: f64,
    label: f64,
    weight: f64,
}

impl Block {
    fn join(self, other: Self) -> Self {
        let weight = self.weight + other.weight;
        let mean = |a: f64, b: f64| (a * self.weight + b * other.weight) / weight;
        Self { raw: mean(self.raw, other.raw), label: mean(self.label, other.label), weight }
    }

    /// How much squared error joining the two would add.
    fn cost(self, other: Self) -> f64 {
        let gap = self.label - other.label;
        self.weight * other.weight / (self.weight + other.weight) * gap * gap
    }
}

/// A calibration curve of at most `knots` knots (at least 2) from raw scores of rows that training did not see.
///
/// The curve runs through the weighted centres of the pooled blocks; while there are too many, the two neighbours that
/// differ least are joined. A block of weight `w` is read by the rule of succession, `(defects + 1) / (w + 2)`, so that no
/// finite number of rows makes a candidate certain. Weights count as repeats of a row. Empty when no row has weight.
pub fn isotonic(raw: &[f32], labels: &[f32], weights: &[f32], knots: usize) -> Vec<(f32, f32)> {
    let mut rows: Vec<Block> = raw
        .iter()
        .zip(labels)
        .zip(weights)
        .map(|((raw, label), weight)| Block { raw: (*raw).into(), label: (*label).into(), weight: (*weight).into() })
        .filter(|b| b.weight > 0.0 && b.raw.is_finite())
        .collect();
    rows.sort_by(|a, b| a.raw.total_cmp(&b.raw));
    let tied = rows.chunk_by(|a, b| a.raw == b.raw).filter_map(|tie| tie.iter().copied().reduce(Block::join));
    let mut blocks = pool(tied);
    while blocks.len() > knots.max(2) {
        let cost = |i: &usize| blocks[*i].cost(blocks[i + 1]);
        let Some(cheapest) = (0..blocks.len() - 1).min_by(|a, b| cost(a).total_cmp(&cost(b))) else { break };
        blocks[cheapest] = blocks[cheapest].join(blocks[cheapest + 1]);
        blocks.remove(cheapest + 1);
    }
    // Small blocks move furthest towards one half: pooled again so that the curve still never falls.
    let careful = blocks.iter().map(|b| Block { label: (b.label * b.weight + 1.0) / (b.weight + 2.0), ..*b });
    let mut curve: Vec<(f32, f32)> = pool(careful).iter().map(|b| (b.raw as f32, b.label as f32)).collect();
    // Two centres may round to one f32; the curve's scores must rise strictly.
    curve.dedup_by(|next, kept| next.0 <= kept.0);
    curve
}

/// Joins neighbours until the labels never fall.
fn pool(blocks: impl Iterator<Item = Block>) -> Vec<Block> {
    let mut pooled: Vec<Block> = Vec::new();
    for mut block in blocks {
        while let Some(last) = pooled.pop_if(|last| last.label >= block.label) {
            block = last.join(block);
        }
        pooled.push(block);
    }
    pooled
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn violators_are_pooled() {
        // The textbook example worked by hand: 1, 3, 2, 4, 3.5, 6 (scaled) pools {3, 2} and {4, 3.5}.
        let labels = [0.1, 0.3, 0.2, 0.4, 0.35, 0.6];
        let blocks = pool(labels.iter().enumerate().map(|(i, l)| Block { raw: i as f64, label: *l, weight: 1.0 }));
        let got: Vec<(f64, f64)> = blocks.iter().map(|b| (b.raw, (b.label * 1e6).round() / 1e6)).collect();
        assert_eq!(got, vec![(0.0, 0.1), (1.5, 0.25), (3.5, 0.375), (5.0, 0.6)]);
    }

    #[test]
    fn a_pure_end_is_not_certain() {
        // Eight rows at -1 without, eight at +1 with a defect: (0 + 1) / 10 and (8 + 1) / 10.
        let raw: Vec<f32> = (0..16).map(|i| if i < 8 { -1.0 } else { 1.0 }).collect();
        let labels: Vec<f32> = (0..16).map(|i| if i < 8 { 0.0 } else { 1.0 }).collect();
        assert_eq!(isotonic(&raw, &labels, &[1.0; 16], 20), vec![(-1.0, 0.1), (1.0, 0.9)]);
    }

    proptest! {
        #[test]
        fn curves_rise_and_are_short(
            rows in proptest::collection::vec((-4i32..400, proptest::bool::ANY, 0u8..4), 0..300),
            knots in 2usize..25,
        ) {
            let raw: Vec<f32> = rows.iter().map(|r| r.0 as f32 / 100.0).collect();
            let labels: Vec<f32> = rows.iter().map(|r| f32::from(u8::from(r.1))).collect();
            let weights: Vec<f32> = rows.iter().map(|r| f32::from(r.2)).collect();
            let curve = isotonic(&raw, &labels, &weights, knots);
            prop_assert!(curve.len() <= knots);
            prop_assert!(curve.windows(2).all(|w| w[0].0 < w[1].0 && w[0].1 <= w[1].1));
            prop_assert!(curve.iter().all(|k| k.1 > 0.0 && k.1 < 1.0));
            prop_assert_eq!(curve.is_empty(), weights.iter().all(|w| *w == 0.0));
        }
    }
}
