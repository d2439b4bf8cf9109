//! One tree: histograms of gradients level by level, the best split of each node, leaves in closed form.

use std::ops::Range;

use besom_detect::trees::Tree;
use rayon::prelude::*;

use super::bins::{BINS, Binned};
use super::{Settings, round};

/// First and second derivative of a row's loss, times its weight.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Gradient {
    pub(super) first: f32,
    pub(super) second: f32,
}

/// Sums of gradients.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    first: f64,
    second: f64,
}

impl Sums {
    fn add(&mut self, g: Gradient) {
        self.first += f64::from(g.first);
        self.second += f64::from(g.second);
    }

    fn plus(self, other: Self) -> Self {
        Self { first: self.first + other.first, second: self.second + other.second }
    }

    fn minus(self, other: Self) -> Self {
        Self { first: self.first - other.first, second: self.second - other.second }
    }

    /// Twice the loss that the best constant answer saves.
    fn saving(self, l2: f64) -> f64 {
        self.first * self.first / (self.second + l2)
    }
}

type Histogram = [Sums; BINS];

#[derive(Clone, Copy, Debug)]
struct Split {
    feature: usize,
    bin: u8,
    gain: f64,
}

/// A node of the growing tree.
#[derive(Clone, Debug)]
enum Node {
    Inner { split: Split, left: usize, right: usize },
    Leaf { answer: f32, weight: f64 },
}

/// A grown tree over bins.
pub(super) struct Grown {
    nodes: Vec<Node>,
}

/// How a live node's histograms come about.
#[derive(Clone, Copy)]
enum From {
    /// Summed over its rows.
    Rows,
    /// What the sibling leaves of the parent: places in this level's and the last level's list.
    Remainder { parent: usize, sibling: usize },
}

/// A node of the level at hand, which may still be split.
struct Live {
    node: usize,
    rows: Range<usize>,
    from: From,
}

/// One feature's part of the work.
struct Column<'a> {
    feature: usize,
    bins: &'a [u8],
    used: usize,
    /// One a live node of the last level worked on.
    histograms: Vec<Histogram>,
}

/// Grows one tree on the rows of `sample` and adds each split's gain to its feature's.
pub(super) fn grow(
    binned: &Binned,
    gradients: &[Gradient],
    sample: &[u32],
    weights: &[f32],
    settings: &Settings,
    gains: &mut [f64],
) -> Grown {
    let mut columns: Vec<Column> = binned.columns.iter().zip(&binned.cuts).enumerate().map(Column::new).collect();
    let mut order: Vec<(u32, Gradient)> = sample.iter().map(|row| (*row, gradients[*row as usize])).collect();
    let mut nodes = vec![leaf(&order, weights, settings)];
    let mut live = vec![Live { node: 0, rows: 0..order.len(), from: From::Rows }];
    for _ in 0..settings.depth {
        let best = best_splits(&mut columns, &live, &order, settings);
        let mut next = Vec::with_capacity(live.len() * 2);
        for (place, (at, split)) in live.iter().zip(best).enumerate() {
            let Some(split) = split else { continue };
            gains[split.feature] += split.gain;
            let middle = part(&mut order[at.rows.clone()], &binned.columns[split.feature], split.bin) + at.rows.start;
            let sides = [at.rows.start..middle, middle..at.rows.end];
            let left = nodes.len();
            nodes.extend(sides.iter().map(|rows| leaf(&order[rows.clone()], weights, settings)));
            nodes[at.node] = Node::Inner { split, left, right: left + 1 };
            let (first, larger) = (next.len(), usize::from(sides[1].len() > sides[0].len()));
            for (side, rows) in sides.into_iter().enumerate() {
                let remainder = From::Remainder { parent: place, sibling: first + 1 - larger };
                let from = if side == larger { remainder } else { From::Rows };
                next.push(Live { node: left + side, rows, from });
            }
        }
        live = next;
        if live.is_empty() {
            break;
        }
    }
    Grown { nodes }
}

/// The best split of each live node, if any is worth it. Ties go to the lower feature, then the lower bin.
fn best_splits(
    columns: &mut [Column],
    live: &[Live],
    order: &[(u32, Gradient)],
    settings: &Settings,
) -> Vec<Option<Split>> {
    let by_feature: Vec<Vec<Option<Split>>> = columns
        .par_iter_mut()
        .map(|column| {
            column.fill(live, order);
            column.histograms.iter().map(|h| column.best(h, settings)).collect()
        })
        .collect();
    let better = |best: Option<Split>, next: Option<Split>| match (best, next) {
        (Some(b), Some(n)) if n.gain > b.gain => Some(n),
        (None, n) => n,
        (b, _) => b,
    };
    (0..live.len()).map(|i| by_feature.iter().map(|splits| splits[i]).fold(None, better)).collect()
}

impl<'a> Column<'a> {
    fn new((feature, (bins, cuts)): (usize, (&'a Vec<u8>, &'a Vec<f32>))) -> Self {
        Self { feature, bins, used: cuts.len() + 1, histograms: Vec::new() }
    }

    /// Replaces the last level's histograms by this level's.
    fn fill(&mut self, live: &[Live], order: &[(u32, Gradient)]) {
        let mut fresh = vec![[Sums::default(); BINS]; live.len()];
        for (at, histogram) in live.iter().zip(&mut fresh).filter(|(at, _)| matches!(at.from, From::Rows)) {
            for (row, gradient) in &order[at.rows.clone()] {
                histogram[usize::from(self.bins[*row as usize]) % BINS].add(*gradient);
            }
        }
        for (i, at) in live.iter().enumerate() {
            if let From::Remainder { parent, sibling } = at.from {
                let built = fresh[sibling];
                let sums = self.histograms[parent].iter().zip(&built).take(self.used);
                for (left, (parent, built)) in fresh[i].iter_mut().zip(sums) {
                    *left = parent.minus(*built);
                }
            }
        }
        self.histograms = fresh;
    }

    fn best(&self, histogram: &Histogram, settings: &Settings) -> Option<Split> {
        let (l2, least) = (f64::from(settings.l2), f64::from(settings.min_child_weight));
        let total = histogram[..self.used].iter().fold(Sums::default(), |sum, s| sum.plus(*s));
        let mut left = Sums::default();
        let mut best: Option<Split> = None;
        for (bin, sums) in histogram[..self.used - 1].iter().enumerate() {
            left = left.plus(*sums);
            let right = total.minus(left);
            if left.second < least || right.second < least {
                continue;
            }
            let gain = 0.5 * (left.saving(l2) + right.saving(l2) - total.saving(l2));
            if gain > f64::from(settings.min_gain) && best.is_none_or(|b| gain > b.gain) {
                best = Some(Split { feature: self.feature, bin: bin as u8, gain });
            }
        }
        best
    }
}

/// Puts the rows that go left first, keeping their order on both sides; returns how many go left.
fn part(rows: &mut [(u32, Gradient)], bins: &[u8], bin: u8) -> usize {
    let (left, right): (Vec<_>, Vec<_>) = rows.iter().copied().partition(|(row, _)| bins[*row as usize] <= bin);
    rows[..left.len()].copy_from_slice(&left);
    rows[left.len()..].copy_from_slice(&right);
    left.len()
}

fn leaf(rows: &[(u32, Gradient)], weights: &[f32], settings: &Settings) -> Node {
    let mut sums = Sums::default();
    for (_, gradient) in rows {
        sums.add(*gradient);
    }
    let weight = rows.iter().map(|(row, _)| f64::from(weights[*row as usize])).sum();
    let scale = sums.second + f64::from(settings.l2);
    let answer = if scale > 0.0 { -sums.first / scale * f64::from(settings.learning_rate) } else { 0.0 };
    Node::Leaf { answer: round(answer), weight }
}

impl Grown {
    /// The answer for a row of the table.
    pub(super) fn answer(&self, binned: &Binned, row: usize) -> f64 {
        let mut at = 0;
        loop {
            match &self.nodes[at] {
                Node::Leaf { answer, .. } => return f64::from(*answer),
                Node::Inner { split, left, right } => {
                    at = if binned.columns[split.feature][row] <= split.bin { *left } else { *right };
                }
            }
        }
    }

    /// The tree as it is stored: inner nodes first, each with the mean answer of the training weight below it.
    pub(super) fn into_tree(self, binned: &Binned) -> Tree {
        let inner = self.nodes.iter().filter(|n| matches!(n, Node::Inner { .. })).count();
        let (mut next_inner, mut next_leaf) = (0, inner);
        let mut place = Vec::with_capacity(self.nodes.len());
        for node in &self.nodes {
            let next = if matches!(node, Node::Inner { .. }) { &mut next_inner } else { &mut next_leaf };
            place.push(*next);
            *next += 1;
        }
        // Children follow their parents, so that walking backwards meets both children first.
        let mut means = vec![(0.0, 0.0); self.nodes.len()];
        let mut value = vec![0.0; self.nodes.len()];
        let (mut feature, mut threshold) = (vec![0; inner], vec![0.0; inner]);
        let (mut low, mut high) = (vec![0; inner], vec![0; inner]);
        for (at, node) in self.nodes.iter().enumerate().rev() {
            let own = place[at];
            means[at] = match node {
                Node::Leaf { answer, weight } => (f64::from(*answer), *weight),
                Node::Inner { split, left, right } => {
                    feature[own] = split.feature as u32;
                    threshold[own] = binned.cuts[split.feature][usize::from(split.bin)];
                    (low[own], high[own]) = (place[*left] as u32, place[*right] as u32);
                    let (a, b) = (means[*left], means[*right]);
                    let weight = a.1 + b.1;
                    (if weight > 0.0 { (a.0 * a.1 + b.0 * b.1) / weight } else { 0.0 }, weight)
                }
            };
            value[own] = round(means[at].0);
        }
        Tree::from_arrays(feature, threshold, low, high, value)
    }
}
