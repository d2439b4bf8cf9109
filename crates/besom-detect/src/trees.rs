//! A small ensemble of decision trees: from a candidate's measurements to the probability that it is a defect.
//!
//! The ensemble is stored as one readable RON file, so that a person can see every question it asks. Training lives
//! elsewhere; this module only reads, checks, evaluates and explains.
//!
//! Gradient-boosted trees after Friedman, "Greedy function approximation: a gradient boosting machine", Annals of
//! Statistics 29(5), 2001; attribution along the path after Saabas, "Interpreting random forests", 2014 (both cited
//! from memory).

use std::borrow::Cow;
use std::fmt::Write as _;

use serde::Deserialize;

/// The version of the file format that this code writes and the only one it reads.
pub const VERSION: u32 = 1;
/// No path from a root to a leaf may be longer than this.
pub const MAX_DEPTH: usize = 32;

/// Why a file of trees, or a set of parts, cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TreesError {
    /// The text is not RON, or fields are missing, unknown or of the wrong type.
    #[error("the trees cannot be read: {0}")]
    Syntax(String),
    /// The file is of another version.
    #[error("the trees are of version {0}, but only version {VERSION} can be read")]
    Version(u32),
    /// A tree is not a proper tree over the given features.
    #[error("tree {tree} is not valid: {reason}")]
    Tree {
        /// Index of the tree, from 0.
        tree: usize,
        /// What is wrong with it.
        reason: String,
    },
    /// The base score or the calibration curve is not usable.
    #[error("the trees' calibration is not valid: {0}")]
    Calibration(String),
}

/// One binary tree.
///
/// Inner nodes are numbered `0..k` and leaves `k..=2k`; node 0 is the root. An inner node's children have higher numbers
/// than itself, so no path can loop.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tree {
    /// For each inner node, the feature it asks about.
    feature: Vec<u32>,
    /// For each inner node, its threshold: values up to it, and values that are not a number, go left.
    threshold: Vec<f32>,
    /// For each inner node, the child for values up to the threshold.
    left: Vec<u32>,
    /// For each inner node, the child for values above the threshold.
    right: Vec<u32>,
    /// For every node, inner ones first: the mean raw score of the training rows below it; a leaf's is its answer.
    value: Vec<f32>,
}

impl Tree {
    /// A tree from its arrays: `feature`, `threshold`, `left` and `right` for the `k` inner nodes, `value` for all
    /// `2k + 1` nodes. Nothing is checked here; [`Trees::new`] checks.
    pub fn from_arrays(
        feature: Vec<u32>,
        threshold: Vec<f32>,
        left: Vec<u32>,
        right: Vec<u32>,
        value: Vec<f32>,
    ) -> Self {
        Self { feature, threshold, left, right, value }
    }

    /// Number of inner nodes.
    pub fn inner(&self) -> usize {
        self.feature.len()
    }

    /// The feature that each inner node asks about.
    pub fn features(&self) -> &[u32] {
        &self.feature
    }

    fn check(&self, features: usize) -> Result<(), String> {
        let k = self.inner();
        let nodes = 2 * k + 1;
        if [self.threshold.len(), self.left.len(), self.right.len()] != [k; 3] {
            return Err("its arrays differ in length".into());
        }
        if self.value.len() != nodes {
            return Err(format!("{k} inner nodes need {nodes} values, but there are {}", self.value.len()));
        }
        if let Some(f) = self.feature.iter().find(|f| **f as usize >= features) {
            return Err(format!("it asks for feature {f}, but there are only {features}"));
        }
        if !self.threshold.iter().chain(&self.value).all(|v| v.is_finite()) {
            return Err("it holds a number that is not finite".into());
        }
        self.check_shape(k, nodes)
    }

    /// Every node but the root is the child of exactly one node of a lower number, and no path is too long.
    fn check_shape(&self, k: usize, nodes: usize) -> Result<(), String> {
        let mut depth = vec![0; nodes];
        for node in 0..k {
            for child in [self.left[node] as usize, self.right[node] as usize] {
                if child >= nodes {
                    return Err(format!("node {node} points to node {child}, which does not exist"));
                }
                if child <= node {
                    return Err(format!("node {node} points back to node {child}"));
                }
                if depth[child] != 0 {
                    return Err(format!("node {child} is reached twice"));
                }
                depth[child] = depth[node] + 1;
                if depth[child] > MAX_DEPTH {
                    return Err(format!("it is deeper than {MAX_DEPTH} questions"));
                }
            }
        }
        // 2k links to 2k nodes, none reached twice: every node is reached.
        Ok(())
    }
}

/// A boosted ensemble with its calibration. Always valid: every constructor checks.
#[derive(Clone, PartialEq)]
pub struct Trees {
    features: Vec<String>,
    base: f32,
    members: Vec<Tree>,
    calibration: Vec<(f32, f32)>,
    /// The same trees once more, as they are walked.
    walk: Walk,
}

// What the trees are, and not how they are walked: stored results are told by this text.
#[allow(clippy::missing_fields_in_debug)]
impl std::fmt::Debug for Trees {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Trees")
            .field("features", &self.features)
            .field("base", &self.base)
            .field("members", &self.members)
            .field("calibration", &self.calibration)
            .finish()
    }
}

/// A node of an ensemble laid out in one array. A leaf leads to itself, so that the number of steps down a tree does not
/// depend on the row, and the processor need not guess.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Step {
    threshold: f32,
    feature: u32,
    /// The node for values up to the threshold, and the one for values above it.
    next: [u32; 2],
}

/// All trees of an ensemble in one array, each with its root and its depth.
#[derive(Clone, Debug, Default, PartialEq)]
struct Walk {
    steps: Vec<Step>,
    values: Vec<f32>,
    roots: Vec<(u32, u32)>,
}

impl Walk {
    /// Lays out trees that have been checked.
    fn new(trees: &[Tree]) -> Self {
        let mut walk = Self::default();
        for tree in trees {
            let (inner, root) = (tree.inner(), walk.steps.len() as u32);
            let mut depth = vec![0u32; 2 * inner + 1];
            for node in 0..inner {
                let next = [tree.left[node], tree.right[node]];
                for child in next {
                    depth[child as usize] = depth[node] + 1;
                }
                let next = next.map(|child| root + child);
                walk.steps.push(Step { threshold: tree.threshold[node], feature: tree.feature[node], next });
            }
            for leaf in root + inner as u32..=root + 2 * inner as u32 {
                walk.steps.push(Step { threshold: 0.0, feature: 0, next: [leaf; 2] });
            }
            walk.values.extend(&tree.value);
            walk.roots.push((root, depth.into_iter().max().unwrap_or(0)));
        }
        walk
    }

    /// The node that a row goes to. What is not a number goes left.
    fn next(&self, node: u32, row: &[f32]) -> u32 {
        let step = self.steps[node as usize];
        step.next[usize::from(row[step.feature as usize] > step.threshold)]
    }

    /// Goes down a few trees side by side: each step waits for the one before it, so several walks are kept going. `seen` is
    /// told of every step: which of the trees, from which node, to which.
    fn down<const N: usize>(
        &self,
        roots: &[(u32, u32); N],
        row: &[f32],
        mut seen: impl FnMut(usize, u32, u32),
    ) -> [u32; N] {
        let mut nodes = roots.map(|(root, _)| root);
        for _ in 0..roots.iter().fold(0, |most, (_, depth)| most.max(*depth)) {
            for (k, node) in nodes.iter_mut().enumerate() {
                let next = self.next(*node, row);
                seen(k, *node, next);
                *node = next;
            }
        }
        nodes
    }

    /// The sum of a start and of the answers that a row falls into, in the order of the trees. In f64, so that no file's numbers
    /// can overflow into something that is not a number.
    fn sum(&self, start: f32, row: &[f32]) -> f64 {
        let (groups, rest) = self.roots.as_chunks::<SIDE_BY_SIDE>();
        let mut sum = f64::from(start);
        for roots in groups {
            for leaf in self.down(roots, row, |_, _, _| {}) {
                sum += f64::from(self.values[leaf as usize]);
            }
        }
        for root in rest {
            let [leaf] = self.down(&[*root], row, |_, _, _| {});
            sum += f64::from(self.values[leaf as usize]);
        }
        sum
    }

    /// Credits every change of the node values on a row's way down to the feature asked about, in the order of the trees and of
    /// the steps down each.
    fn credit(&self, row: &[f32], moved: &mut [f32]) {
        let mut ways = [[(0u32, 0.0f32); MAX_DEPTH]; SIDE_BY_SIDE];
        let (groups, rest) = self.roots.as_chunks::<SIDE_BY_SIDE>();
        let step = |from: u32, to: u32| {
            let moved = self.values[to as usize] - self.values[from as usize];
            (self.steps[from as usize].feature, moved)
        };
        for roots in groups {
            let mut taken = [0usize; SIDE_BY_SIDE];
            self.down(roots, row, |k, from, to| {
                ways[k][taken[k]] = step(from, to);
                taken[k] += 1;
            });
            // A leaf leads to itself and moves nothing.
            for (way, (_, depth)) in ways.iter().zip(roots) {
                for (feature, by) in &way[..*depth as usize] {
                    moved[*feature as usize] += by;
                }
            }
        }
        for root in rest {
            self.down(&[*root], row, |_, from, to| {
                let (feature, by) = step(from, to);
                moved[feature as usize] += by;
            });
        }
    }
}

/// Trees that are walked side by side.
const SIDE_BY_SIDE: usize = 16;

/// The file, field by field.
#[derive(Deserialize)]
#[serde(rename = "Trees", deny_unknown_fields)]
struct File {
    version: u32,
    features: Vec<String>,
    base: f32,
    calibration: Vec<(f32, f32)>,
    trees: Vec<Tree>,
}

/// The one field that every version of the file has.
#[derive(Deserialize)]
#[serde(rename = "Trees")]
struct Versioned {
    version: u32,
}

impl Trees {
    /// An ensemble from its parts.
    ///
    /// `features` names the measurements in the order in which rows give them. `base` is the raw score before any tree.
    /// `calibration` maps raw scores to probabilities: raw scores strictly rising, probabilities never falling and within
    /// 0..=1, straight lines between knots, constant outside; when empty, the logistic function is used.
    ///
    /// # Errors
    /// [`TreesError::Tree`] or [`TreesError::Calibration`], naming what is wrong.
    pub fn new(
        features: Vec<String>,
        base: f32,
        trees: Vec<Tree>,
        calibration: Vec<(f32, f32)>,
    ) -> Result<Self, TreesError> {
        if !base.is_finite() {
            return Err(TreesError::Calibration("the base score is not finite".into()));
        }
        check_calibration(&calibration)?;
        for (tree, t) in trees.iter().enumerate() {
            t.check(features.len()).map_err(|reason| TreesError::Tree { tree, reason })?;
        }
        let walk = Walk::new(&trees);
        Ok(Self { features, base, members: trees, calibration, walk })
    }

    /// The same trees with another calibration curve, under the rules of [`Trees::new`].
    ///
    /// # Errors
    /// [`TreesError::Calibration`].
    pub fn with_calibration(self, calibration: Vec<(f32, f32)>) -> Result<Self, TreesError> {
        Self::new(self.features, self.base, self.members, calibration)
    }

    /// [`Trees::from_ron`] for an ensemble that must have been trained on the measurements `names`, in their order.
    ///
    /// # Errors
    /// Any [`TreesError`], also when its features are others.
    pub fn trained_on(names: &[&str], text: &str) -> Result<Self, TreesError> {
        let trees = Self::from_ron(text)?;
        if trees.features().iter().ne(names.iter()) {
            return Err(TreesError::Syntax("it was trained on other measurements than this version takes".into()));
        }
        Ok(trees)
    }

    /// Reads the file format that [`Trees::to_ron`] writes. Any text is safe to give.
    ///
    /// # Errors
    /// Any [`TreesError`].
    pub fn from_ron(text: &str) -> Result<Self, TreesError> {
        let syntax = |e: ron::error::SpannedError| TreesError::Syntax(e.to_string());
        let file: Result<File, _> = ron::from_str(text);
        let version = match &file {
            Ok(file) => file.version,
            // A file of another version may look otherwise, and its version says so better than what is wrong with it.
            Err(_) => ron::from_str::<Versioned>(text).map_err(syntax)?.version,
        };
        if version != VERSION {
            return Err(TreesError::Version(version));
        }
        let file = file.map_err(syntax)?;
        Self::new(file.features, file.base, file.trees, file.calibration)
    }

    /// The ensemble as readable RON. Numbers are the shortest that read back as the same `f32`.
    pub fn to_ron(&self) -> String {
        let mut out = String::from("// An ensemble of decision trees. Values up to a threshold go left.\n");
        out.push_str(
            "// Inner nodes come first, leaves after them; `value` has both, `left` and `right` point into it.\n",
        );
        let _ = writeln!(out, "Trees(\n  version: {VERSION},\n  features: [");
        for (i, name) in self.features.iter().enumerate() {
            // Debug quotes and escapes as RON does.
            let _ = writeln!(out, "    {name:?}, // {i}");
        }
        let _ = writeln!(out, "  ],\n  base: {},", number(self.base));
        out.push_str("  // Raw score and the probability it stands for.\n  calibration: [\n");
        for (raw, probability) in &self.calibration {
            let _ = writeln!(out, "    ({}, {}),", number(*raw), number(*probability));
        }
        out.push_str("  ],\n  trees: [\n");
        for tree in &self.members {
            out.push_str("    (\n");
            array(&mut out, "feature", &tree.feature, u32::to_string);
            array(&mut out, "threshold", &tree.threshold, |v| number(*v));
            array(&mut out, "left", &tree.left, u32::to_string);
            array(&mut out, "right", &tree.right, u32::to_string);
            array(&mut out, "value", &tree.value, |v| number(*v));
            out.push_str("    ),\n");
        }
        out.push_str("  ],\n)\n");
        out
    }

    /// The names of the features, in the order in which rows give them.
    pub fn features(&self) -> &[String] {
        &self.features
    }

    /// The trees.
    pub fn trees(&self) -> &[Tree] {
        &self.members
    }

    /// The calibration curve; empty for the logistic function.
    pub fn calibration(&self) -> &[(f32, f32)] {
        &self.calibration
    }

    /// The raw score of a row of features: `base` plus every tree's answer, summed in the order of the trees.
    ///
    /// A feature that is not a number, or that a short row lacks, goes left at every question.
    pub fn raw(&self, features: &[f32]) -> f32 {
        self.walk.sum(self.base, &self.whole(features)) as f32
    }

    /// A row with what it lacks as not a number, and something to ask for where there are no features.
    fn whole<'a>(&self, row: &'a [f32]) -> Cow<'a, [f32]> {
        let needed = self.features.len().max(1);
        if row.len() >= needed {
            return Cow::Borrowed(row);
        }
        Cow::Owned(row.iter().copied().chain(std::iter::repeat(f32::NAN)).take(needed).collect())
    }

    /// The calibrated probability of a row of features, 0 to 1.
    pub fn probability(&self, features: &[f32]) -> f32 {
        self.calibrated(self.raw(features))
    }

    /// The probability that a raw score stands for, 0 to 1.
    pub fn calibrated(&self, raw: f32) -> f32 {
        let curve = &self.calibration;
        let above = curve.partition_point(|knot| knot.0 <= raw);
        match (above.checked_sub(1).and_then(|below| curve.get(below)), curve.get(above)) {
            (Some(low), Some(high)) => {
                let part = (f64::from(raw) - f64::from(low.0)) / (f64::from(high.0) - f64::from(low.0));
                (low.1 + (high.1 - low.1) * part as f32).clamp(low.1, high.1)
            }
            (Some(end), None) | (None, Some(end)) => end.1,
            (None, None) => 1.0 / (1.0 + (-raw).exp()),
        }
    }

    /// The raw score of an average training row: where [`Trees::contributions`] start from.
    pub fn expected(&self) -> f32 {
        self.members.iter().fold(self.base, |sum, tree| sum + tree.value[0])
    }

    /// How much each feature moved the raw score of this row away from [`Trees::expected`]: at every node on the row's
    /// path through each tree, the change of the node values is credited to the feature asked about.
    ///
    /// One number a feature; together with [`Trees::expected`] they add up to [`Trees::raw`] but for rounding.
    pub fn contributions(&self, features: &[f32]) -> Vec<f32> {
        let row = self.whole(features);
        let mut moved = vec![0.0; row.len()];
        self.walk.credit(&row, &mut moved);
        moved.truncate(self.features.len());
        moved
    }
}

fn check_calibration(curve: &[(f32, f32)]) -> Result<(), TreesError> {
    let refuse = |reason: &str| Err(TreesError::Calibration(reason.into()));
    if !curve.iter().all(|(raw, p)| raw.is_finite() && (0.0..=1.0).contains(p)) {
        return refuse("a knot is not finite or its probability lies outside 0 to 1");
    }
    if curve.windows(2).any(|w| w[1].0 <= w[0].0) {
        return refuse("its raw scores do not rise");
    }
    if curve.windows(2).any(|w| w[1].1 < w[0].1) {
        return refuse("its probabilities fall");
    }
    Ok(())
}

/// The shortest text that reads back as the same number.
fn number(value: f32) -> String {
    format!("{value}")
}

fn array<T>(out: &mut String, name: &str, values: &[T], text: impl Fn(&T) -> String) {
    let _ = writeln!(out, "      {name}: [{}],", values.iter().map(text).collect::<Vec<_>>().join(", "));
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    /// `a <= 1 ? -1 : (b <= 2 ? 0.5 : 2)`, with 4, 2 and 2 training rows in the leaves.
    fn two_questions() -> Tree {
        Tree::from_arrays(vec![0, 1], vec![1.0, 2.0], vec![2, 3], vec![1, 4], vec![0.125, 1.25, -1.0, 0.5, 2.0])
    }

    fn small() -> Trees {
        let stump = Tree::from_arrays(vec![1], vec![0.0], vec![1], vec![2], vec![0.0, -0.25, 0.25]);
        let lone = Tree::from_arrays(vec![], vec![], vec![], vec![], vec![0.5]);
        let curve = vec![(-1.0, 0.1), (1.0, 0.5), (3.0, 0.9)];
        Trees::new(vec!["a".into(), "b".into()], -0.5, vec![two_questions(), stump, lone], curve).unwrap()
    }

    #[test]
    fn rows_follow_their_questions() {
        let trees = small();
        // Worked by hand: base -0.5, lone leaf 0.5, so the two trees' answers remain.
        assert_eq!(trees.raw(&[1.0, -3.0]), -1.25);
        assert_eq!(trees.raw(&[1.5, 2.0]), 0.75);
        assert_eq!(trees.raw(&[1.5, 2.5]), 2.25);
        assert_eq!(trees.raw(&[f32::NAN, f32::NAN]), -1.25, "not a number goes left");
        assert_eq!(trees.raw(&[]), -1.25, "a missing feature goes left");
    }

    #[test]
    fn probabilities_run_straight_between_knots() {
        let trees = small();
        assert_eq!(trees.calibrated(-9.0), 0.1);
        assert_eq!(trees.calibrated(-1.0), 0.1);
        approx::assert_relative_eq!(trees.calibrated(0.0), 0.3);
        approx::assert_relative_eq!(trees.calibrated(2.0), 0.7);
        assert_eq!(trees.calibrated(3.0), 0.9);
        assert_eq!(trees.calibrated(f32::INFINITY), 0.9);
        assert!((0.0..=1.0).contains(&trees.calibrated(f32::NAN)));
        let plain = trees.with_calibration(vec![]).unwrap();
        assert_eq!(plain.calibrated(0.0), 0.5);
    }

    #[test]
    fn contributions_add_up_to_the_score() {
        let trees = small();
        for row in [[0.0, 0.0], [5.0, 1.0], [5.0, 7.0]] {
            let moved = trees.contributions(&row);
            approx::assert_relative_eq!(trees.expected() + moved.iter().sum::<f32>(), trees.raw(&row), epsilon = 1e-6);
        }
        // By hand for a = 5, b = 7: a moves 1.25 - 0.125, b moves 2 - 1.25 and then 0.25 - 0.
        assert_eq!(trees.contributions(&[5.0, 7.0]), vec![1.125, 1.0]);
    }

    #[test]
    fn files_read_back_the_same() {
        let trees = small();
        assert_eq!(Trees::from_ron(&trees.to_ron()).unwrap(), trees);
        let odd = Trees::new(vec!["quote \" and \\".into()], 1e-7, vec![], vec![(-1.5e-9, 0.0), (1e9, 1.0)]).unwrap();
        assert_eq!(Trees::from_ron(&odd.to_ron()).unwrap(), odd);
    }

    #[test]
    fn bad_trees_are_refused_with_the_reason() {
        let refused = |tree: Tree| Trees::new(vec!["a".into(), "b".into()], 0.0, vec![tree], vec![]).unwrap_err();
        let says = |tree: Tree, words: &str| {
            let text = refused(tree).to_string();
            assert!(text.contains(words), "{text}");
        };
        let with = |change: fn(&mut Tree)| {
            let mut tree = two_questions();
            change(&mut tree);
            tree
        };
        says(with(|t| t.feature[1] = 2), "asks for feature 2");
        says(with(|t| t.left[1] = 5), "does not exist");
        says(with(|t| t.right[0] = 0), "points back");
        says(with(|t| t.left[1] = 1), "points back");
        says(with(|t| t.left[1] = 2), "reached twice");
        says(with(|t| t.value.truncate(4)), "need 5 values");
        says(with(|t| t.threshold.truncate(1)), "differ in length");
        says(with(|t| t.value[3] = f32::NAN), "not finite");
        let k = MAX_DEPTH as u32 + 1;
        // Each inner node's left child is a leaf, its right child the next inner node.
        let chain = Tree::from_arrays(
            vec![0; k as usize],
            vec![0.0; k as usize],
            (k..2 * k).collect(),
            (1..k).chain([2 * k]).collect(),
            vec![0.0; 2 * k as usize + 1],
        );
        says(chain, "deeper than");
    }

    #[test]
    fn bad_files_are_refused_with_the_reason() {
        let good = small().to_ron();
        let says = |text: &str, words: &str| {
            let error = Trees::from_ron(text).unwrap_err().to_string();
            assert!(error.contains(words), "{error}");
        };
        says("", "cannot be read");
        says(&good.replace("version: 1", "version: 7"), "version 7");
        says("Trees(version: 7, something_new: [1, (2, 3)])", "version 7");
        says(&good.replace("base: -0.5", "base: inf"), "base score is not finite");
        says(&good.replace("(1, 0.5)", "(1, 0.95)"), "probabilities fall");
        says(&good.replace("(1, 0.5)", "(-1, 0.5)"), "do not rise");
        says(&good.replace("(1, 0.5)", "(1, 1.5)"), "outside 0 to 1");
        says(&good.replace("left: [2, 3]", "left: [2, 4000000]"), "does not exist");
    }

    /// The raw score and the contributions by their definitions, tree by tree and question by question.
    fn plain(trees: &Trees, row: &[f32]) -> (f32, Vec<f32>) {
        let (mut sum, mut moved) = (f64::from(trees.base), vec![0.0f32; trees.features.len()]);
        for tree in &trees.members {
            let mut node = 0;
            while node < tree.inner() {
                let feature = tree.feature[node] as usize;
                let right = row.get(feature).is_some_and(|v| *v > tree.threshold[node]);
                let child = (if right { tree.right[node] } else { tree.left[node] }) as usize;
                moved[feature] += tree.value[child] - tree.value[node];
                node = child;
            }
            sum += f64::from(tree.value[node]);
        }
        (sum as f32, moved)
    }

    proptest! {
        #[test]
        fn the_shipped_trees_are_walked_as_they_are_written(values in prop::collection::vec(-3.0f32..30.0, 0..80), odd in 0usize..80) {
            let trees = Trees::from_ron(include_str!("../../../assets/first-look.ron")).unwrap();
            let mut row = values;
            if let Some(value) = row.get_mut(odd) {
                *value = f32::NAN;
            }
            let (raw, moved) = plain(&trees, &row);
            prop_assert_eq!(trees.raw(&row), raw);
            prop_assert_eq!(trees.contributions(&row), moved);
        }

        /// Whatever stands in the file, reading it ends in an error or in an ensemble that can be evaluated.
        #[test]
        fn no_file_makes_it_panic(at in 0usize..2000, cut in 0usize..40, put in "[0-9\\-,\\[\\]().a-z]{0,3}") {
            let good = small().to_ron();
            let at = at.min(good.len());
            let end = (at + cut).min(good.len());
            let text = format!("{}{put}{}", &good[..at], &good[end..]);
            if let Ok(trees) = Trees::from_ron(&text) {
                prop_assert!((0.0..=1.0).contains(&trees.probability(&[0.5, 3.0])));
                let _ = trees.contributions(&[0.5, 3.0]);
            }
        }

        #[test]
        fn not_a_number_always_goes_left(threshold in -1e6f32..1e6) {
            let stump = Tree::from_arrays(vec![0], vec![threshold], vec![1], vec![2], vec![0.0, -1.0, 1.0]);
            let trees = Trees::new(vec!["a".into()], 0.0, vec![stump], vec![]).unwrap();
            prop_assert_eq!(trees.raw(&[f32::NAN]), -1.0);
            prop_assert_eq!(trees.raw(&[threshold]), -1.0);
            prop_assert_eq!(trees.raw(&[threshold.next_up()]), 1.0);
        }
    }
}
