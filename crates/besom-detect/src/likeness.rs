//! From a handful of decided candidates of a shot to the others that are of the same sort.
//!
//! A restorer marks a few snow flakes as intended; the other flakes of the shot should follow, and the dust among them
//! should not. What makes two candidates alike is measured on what is stored of every candidate ([`Traits`]), in units of
//! the shot's own spread. A candidate is then held against the examples that belong to the picture on one side, and on
//! the other against the examples of damage and what the detector is surest of: the ratio of two kernel densities
//! (Parzen, Annals of Mathematical Statistics 33(3), 1962, from memory) moves its confidence by Bayes' rule, downwards
//! only. Few examples move it little, one or two not at all.
//!
//! Pure functions: the same examples, in any order, give the same bits.

use besom_scan::RunMask;

use crate::candidate::{Candidate, Polarity};

/// Fewer examples that belong to the picture say nothing.
pub const LEAST_EXAMPLES: usize = 3;

/// Names of the traits, in the order of [`Traits`].
pub const NAMES: [&str; 10] = [
    "size",
    "length for its width",
    "filled share",
    "contrast",
    "polarity",
    "confidence",
    "across",
    "down",
    "neighbours",
    "at risk",
];

/// Places in [`NAMES`].
const CONFIDENCE: usize = 5;
const AT_RISK: usize = 9;

/// What is compared of two candidates, one value a name of [`NAMES`].
pub type Traits = [f32; NAMES.len()];

/// How much each trait counts: the square of its weight in the distance.
const WEIGHTS: Traits = [1.0, 1.0, 1.0, 1.0, 2.0, 1.0, 0.5, 0.5, 1.0, 0.5];

/// Least spread of each trait in a shot, so that a shot of much alike candidates does not magnify noise.
const LEAST_SPREAD: Traits = [0.3, 0.15, 0.05, 0.15, 1.0, 0.5, 0.25, 0.25, 0.3, 1.0];

/// Largest spread, for traits that have a scale of their own.
const MOST_SPREAD: Traits = [2.0, 1.0, 0.4, 1.0, 1.0, 2.0, 0.25, 0.25, 1.5, 1.0];

/// Cells a frame's width is cut into for counting neighbours.
const CELLS: i32 = 16;

/// The traits of one frame's candidates, in their order; `width` and `height` are the frame's.
pub fn traits(candidates: &[Candidate], width: usize, height: usize) -> Vec<Traits> {
    let side = (width as i32 / CELLS).max(1);
    let centre = |c: &Candidate| {
        let b = c.bounds();
        (i32::midpoint(b.x0, b.x1), i32::midpoint(b.y0, b.y1))
    };
    let (columns, rows) = (width as i32 / side + 1, height as i32 / side + 1);
    let mut cells = vec![0u32; (columns * rows) as usize];
    let cell = |x: i32, y: i32| {
        let inside = (0..columns).contains(&x) && (0..rows).contains(&y);
        inside.then_some((y * columns + x) as usize)
    };
    for (x, y) in candidates.iter().map(centre) {
        if let Some(count) = cell(x / side, y / side).and_then(|i| cells.get_mut(i)) {
            *count += 1;
        }
    }
    let around = |x: i32, y: i32| -> u32 {
        let near = (-1..=1).flat_map(|j| (-1..=1).map(move |i| (x / side + i, y / side + j)));
        near.filter_map(|(x, y)| cells.get(cell(x, y)?)).sum()
    };
    let scale = width.max(1) as f32;
    let one = |c: &Candidate| {
        let (x, y) = centre(c);
        let area = c.area().max(1) as f32;
        let p = c.confidence.clamp(0.01, 0.99);
        [
            libm::logf(area),
            libm::logf(elongation(&c.mask)),
            area / c.bounds().area().max(1) as f32,
            libm::logf(c.peak.max(0.5)),
            if c.polarity == Polarity::Bright { 1.0 } else { -1.0 },
            libm::logf(p / (1.0 - p)),
            x as f32 / scale,
            y as f32 / scale,
            libm::logf(around(x, y).max(1) as f32),
            if c.risk.any() { 1.0 } else { 0.0 },
        ]
    };
    candidates.iter().map(one).collect()
}

/// Ratio of the longer to the shorter axis of a mask's moments of inertia; 1 for a disc, and for no pixels.
fn elongation(mask: &RunMask) -> f32 {
    let (mut n, mut sx, mut sy, mut sxx, mut syy, mut sxy) = (0.0f64, 0.0f64, 0.0f64, 0.0f64, 0.0f64, 0.0f64);
    for run in mask.runs() {
        let y = f64::from(run.y);
        for x in run.x0..run.x1 {
            let x = f64::from(x);
            n += 1.0;
            sx += x;
            sy += y;
            sxx += x * x;
            syy += y * y;
            sxy += x * y;
        }
    }
    if n < 1.0 {
        return 1.0;
    }
    // A pixel is a square with a moment of its own.
    let (xx, yy) = (sxx / n - (sx / n).powi(2) + 1.0 / 12.0, syy / n - (sy / n).powi(2) + 1.0 / 12.0);
    let xy = sxy / n - sx * sy / (n * n);
    let half = 0.5 * (xx + yy);
    let root = (0.25 * (xx - yy).powi(2) + xy * xy).sqrt();
    ((half + root) / (half - root).max(1.0 / 12.0)).max(1.0).sqrt() as f32
}

/// What the examples say about one candidate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// Probability that it is of the sort of the examples that belong to the picture, 0 to 1.
    pub likeness: f32,
    /// The confidence that is left; never above the detector's.
    pub confidence: f32,
    /// How many of the examples it is like.
    pub like: u32,
    /// True when it is like enough to be proposed as they were decided.
    pub proposed: bool,
}

/// A shot's examples, ready to judge its candidates by.
#[derive(Clone, Debug)]
pub struct Examples {
    /// What a trait is multiplied by before two are compared.
    scale: Traits,
    belonging: Points,
    damage: Points,
    /// What the detector holds for dirt in this shot, each counting by how sure it is.
    surest: Points,
}

/// Points of the space of traits, trait by trait so that the processor compares several at once.
#[derive(Clone, Debug, Default)]
struct Points {
    values: [Vec<f32>; NAMES.len()],
    weights: Vec<f32>,
}

/// How far an example's influence reaches, in spreads of the shot; beyond it two candidates are not alike.
const REACH: f32 = 3.7;
/// How many examples of damage the detector's own opinion weighs as much as.
const OPINION: f32 = 2.0;
/// Density that anything has of being damage: dirt may look like nothing seen so far.
const ANYTHING: f32 = 0.02;
/// The detector's opinion is asked of so many candidates at most.
const MOST_ASKED: usize = 128;
/// How much the opinion of a candidate at risk counts beside that of another.
const AT_RISK_WEIGHT: f32 = 0.3;
/// What is proposed is at least this much likelier among the examples than among the damage.
const TWICE: f32 = 2.0;
/// Candidates that the spread of a shot is measured on.
const MOST_MEASURED: usize = 2048;

impl Points {
    fn add(&mut self, scaled: &Traits, weight: f32) {
        for (list, value) in self.values.iter_mut().zip(scaled) {
            list.push(*value);
        }
        self.weights.push(weight);
    }

    /// The mean of the points' kernels at a place, each counting by its weight, and how many points reach it by more
    /// than half.
    fn density(&self, at: &Traits) -> (f32, u32) {
        let mut distance = [0.0f32; MOST_ASKED];
        let count = self.weights.len().min(MOST_ASKED);
        let Some(distance) = distance.get_mut(..count) else { return (0.0, 0) };
        for (list, value) in self.values.iter().zip(at) {
            for (d, other) in distance.iter_mut().zip(list) {
                let step = value - other;
                *d += step * step;
            }
        }
        let (mut sum, mut near) = (0.0, 0);
        for (d, weight) in distance.iter().zip(&self.weights) {
            // The biweight: like the bell curve's middle, and nothing beyond its reach.
            let inside = (1.0 - d / (REACH * REACH)).max(0.0);
            let kernel = inside * inside;
            sum += weight * kernel;
            near += u32::from(kernel > 0.25);
        }
        (sum, near)
    }
}

impl Examples {
    /// Takes a shot's examples: what belongs to the picture, what is damage, and all candidates of the shot, frame by
    /// frame. Of each sort of example the first 128 count.
    pub fn new(belonging: &[Traits], damage: &[Traits], shot: &[Vec<Traits>]) -> Self {
        let total = shot.iter().map(Vec::len).sum::<usize>();
        let step = total.div_ceil(MOST_MEASURED).max(1);
        let measured: Vec<Traits> = shot.iter().flatten().step_by(step).copied().collect();
        let scale = scale(&measured);
        let scaled = |t: &Traits| scale_by(t, &scale);
        let points = |list: &[Traits]| {
            // In an order of their own, so that sums do not depend on the order of the decisions.
            let mut list: Vec<Traits> = list.iter().map(scaled).collect();
            list.sort_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal));
            let mut points = Points::default();
            for traits in list.iter().take(MOST_ASKED) {
                points.add(traits, 1.0);
            }
            points
        };
        let mut surest = Points::default();
        let every = measured.len().div_ceil(MOST_ASKED).max(1);
        for traits in measured.iter().step_by(every) {
            // What a person called part of the picture is no evidence of damage, whatever the detector holds of it.
            if !belonging.contains(traits) {
                let p = 1.0 / (1.0 + libm::expf(-traits[CONFIDENCE]));
                // What may be part of the picture tells less of damage.
                let weight = if traits[AT_RISK] > 0.5 { AT_RISK_WEIGHT } else { 1.0 };
                surest.add(&scaled(traits), p * p * weight);
            }
        }
        let sum: f32 = surest.weights.iter().sum();
        surest.weights.iter_mut().for_each(|w| *w /= sum.max(1e-6));
        Self { scale, belonging: points(belonging), damage: points(damage), surest }
    }

    /// Judges a candidate of the shot by its traits and the detector's confidence.
    pub fn judge(&self, traits: &Traits, confidence: f32) -> Judged {
        let unmoved = Judged { likeness: 0.0, confidence, like: 0, proposed: false };
        let count = self.belonging.weights.len();
        if count < LEAST_EXAMPLES {
            return unmoved;
        }
        let at = scale_by(traits, &self.scale);
        let (belongs, like) = self.belonging.density(&at);
        if belongs <= 0.0 {
            return unmoved;
        }
        let damage = self.damage.density(&at).0;
        let opinion = self.surest.density(&at).0;
        let dirt = (OPINION * opinion + damage) / (OPINION + self.damage.weights.len() as f32);
        let ratio = (belongs / count as f32) / (dirt + ANYTHING);
        let factor = ratio.max(1.0);
        let left = confidence / (confidence + (1.0 - confidence) * factor);
        let left = if left.is_finite() { left.min(confidence) } else { confidence };
        let proposed = like > 0 && factor >= TWICE;
        Judged { likeness: ratio / (1.0 + ratio), confidence: left, like, proposed }
    }
}

fn scale_by(traits: &Traits, scale: &Traits) -> Traits {
    std::array::from_fn(|k| traits[k] * scale[k])
}

/// One over the spread of each trait, with its weight: the spread of a bell curve that has the same quartiles.
fn scale(measured: &[Traits]) -> Traits {
    std::array::from_fn(|k| {
        let mut values: Vec<f32> = measured.iter().map(|t| t[k]).collect();
        values.sort_by(f32::total_cmp);
        let at = |share: f32| values.get((share * values.len() as f32) as usize).copied().unwrap_or(0.0);
        let spread = (at(0.75) - at(0.25)) / 1.349;
        WEIGHTS[k].sqrt() / spread.max(LEAST_SPREAD[k]).min(MOST_SPREAD[k])
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::candidate::{Origin, Risk};
    use besom_scan::Rect;
    use proptest::prelude::*;

    /// A candidate of a made-up shot: flakes are small, round, bright and faint, dust is larger and dark.
    fn candidate(flake: bool, place: i32, confidence: f32) -> Candidate {
        let (x, y) = (place * 37 % 900, place * 53 % 700);
        let (w, h) = if flake { (3 + place % 2, 3) } else { (7 + place % 3, 4 + place % 2) };
        Candidate {
            mask: RunMask::from_rect(&Rect::new(x, y, x + w, y + h)),
            kind: crate::Kind::Dust,
            polarity: if flake { Polarity::Bright } else { Polarity::Dark },
            confidence,
            risk: Risk::default(),
            origin: Origin::Film,
            peak: if flake { 6.0 } else { 12.0 } + (place % 4) as f32 * 0.3,
            reasons: Vec::new(),
        }
    }

    /// Thirty flakes, then thirty specks of dust.
    fn shot() -> Vec<Candidate> {
        (0..60).map(|n| candidate(n < 30, n, 0.4 + (n % 5) as f32 * 0.1)).collect()
    }

    fn judged(belonging: &[usize], damage: &[usize]) -> Vec<Judged> {
        let shot = shot();
        let traits = traits(&shot, 960, 720);
        let of = |list: &[usize]| list.iter().map(|i| traits[*i]).collect::<Vec<_>>();
        let examples = Examples::new(&of(belonging), &of(damage), std::slice::from_ref(&traits));
        traits.iter().zip(&shot).map(|(t, c)| examples.judge(t, c.confidence)).collect()
    }

    #[test]
    fn one_or_two_examples_change_nothing() {
        for few in [&[][..], &[4], &[4, 11]] {
            for (judged, candidate) in judged(few, &[40, 41]).iter().zip(shot()) {
                assert_eq!(judged.confidence.to_bits(), candidate.confidence.to_bits());
                assert!(!judged.proposed && judged.like == 0 && judged.likeness == 0.0);
            }
        }
    }

    #[test]
    fn what_is_of_the_sort_of_four_examples_loses_confidence_and_nothing_else_moves() {
        let judged = judged(&[3, 10, 17, 24], &[]);
        let shot = shot();
        for (i, (judged, before)) in judged.iter().zip(&shot).enumerate() {
            if i < 30 {
                assert!(judged.confidence < before.confidence, "flake {i}: {judged:?}");
            } else {
                assert_eq!(judged.confidence.to_bits(), before.confidence.to_bits(), "dust {i}");
                assert!(!judged.proposed);
            }
        }
        assert!(judged.iter().any(|j| j.proposed && j.like > 0));
    }

    #[test]
    fn an_accepted_example_protects_its_like() {
        // Flake 5 and its like are accepted: every flake keeps more of its confidence, those most like it most.
        let without = judged(&[3, 10, 17, 24], &[]);
        let with = judged(&[3, 10, 17, 24], &[5, 6, 7, 8]);
        for i in 0..30 {
            assert!(with[i].confidence > without[i].confidence, "flake {i}: {:?} and {:?}", with[i], without[i]);
        }
    }

    #[test]
    fn sums_of_a_mask_give_the_axes_of_a_bar() {
        // The moments of a bar of a by b pixels are (a^2 - 1) / 12 and that of a pixel, 1 / 12: their ratio is a / b squared.
        let bar = RunMask::from_rect(&Rect::new(100, 50, 112, 54));
        assert!((elongation(&bar) - 3.0).abs() < 1e-5);
        assert!((elongation(&RunMask::from_rect(&Rect::new(0, 0, 5, 5))) - 1.0).abs() < 1e-5);
        assert_eq!(elongation(&RunMask::default()), 1.0);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Nothing is ever raised, nothing leaves its range, and the order of the examples does not count.
        #[test]
        fn examples_in_any_order_lower_and_never_raise(
            mut belonging in proptest::collection::vec(0usize..60, 0..12),
            mut damage in proptest::collection::vec(0usize..60, 0..12),
        ) {
            let first = judged(&belonging, &damage);
            for (judged, candidate) in first.iter().zip(shot()) {
                prop_assert!(judged.confidence <= candidate.confidence && judged.confidence >= 0.0);
                prop_assert!((0.0..=1.0).contains(&judged.likeness));
            }
            belonging.reverse();
            let half = damage.len() / 2;
            damage.rotate_left(half);
            prop_assert_eq!(first, judged(&belonging, &damage));
        }
    }
}
