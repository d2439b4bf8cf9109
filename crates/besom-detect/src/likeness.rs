//! From a handful of decided candidates of a shot to the others that are of the same sort.
//!
//! A restorer marks a few snow flakes as intended; the other flakes of the shot should follow, and the dust among them
//! should not. What makes two candidates alike is measured on what is stored of every candidate ([`Traits`]), in units of
//! the shot's own spread. A candidate is then held against the examples that belong to the picture on one side, and on
//! the other against the examples of damage and what the detector is surest of: the ratio of two kernel densities
//! (Parzen, Annals of Mathematical Statistics 33(3), 1962, from memory), and how much company of its like a candidate has
//! in space and time, move its confidence by Bayes' rule, downwards only. Few examples move it little, one or two not at
//! all.
//!
//! Pure functions: the same examples, in any order, give the same bits.

use besom_scan::RunMask;
use rayon::prelude::*;

use crate::candidate::{Candidate, Polarity};

/// Fewer examples that belong to the picture say nothing.
pub const LEAST_EXAMPLES: usize = 3;

/// Names of the traits, in the order of [`Traits`].
pub const NAMES: [&str; 11] = [
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
    "company of its like",
];

/// Places in [`NAMES`].
const CONFIDENCE: usize = 5;
const AT_RISK: usize = 9;
const COMPANY: usize = 10;

/// What is compared of two candidates, one value a name of [`NAMES`].
pub type Traits = [f32; NAMES.len()];

/// How much each trait counts: the square of its weight in the distance. Company is weighed apart (see [`Company`]).
const WEIGHTS: Traits = [1.0, 1.0, 1.0, 1.0, 2.0, 1.0, 0.5, 0.5, 1.0, 0.5, 0.0];

/// Least spread of each trait in a shot, so that a shot of much alike candidates does not magnify noise.
const LEAST_SPREAD: Traits = [0.3, 0.15, 0.05, 0.15, 1.0, 0.5, 0.25, 0.25, 0.3, 1.0, 0.3];

/// Largest spread, for traits that have a scale of their own.
const MOST_SPREAD: Traits = [2.0, 1.0, 0.4, 1.0, 1.0, 2.0, 0.25, 0.25, 1.5, 1.0, 1.0];

/// Cells a frame's width is cut into for counting neighbours.
const CELLS: i32 = 16;

/// Frames before and after a frame in which a candidate's like is looked for as well.
const AROUND: usize = 2;
/// Two candidates look alike when their polarity is the same and the logarithms of their sizes and of their contrasts
/// differ by less than these.
const LIKE_SIZE: f32 = 0.6;
const LIKE_CONTRAST: f32 = 0.5;

/// The traits of a shot's candidates, frame by frame, in their order. `None` stands for a frame that was not searched;
/// `width` and `height` are the frames', in pixels.
pub fn traits(shot: &[Option<&[Candidate]>], width: usize, height: usize) -> Vec<Vec<Traits>> {
    let looks: Vec<Option<Looks>> =
        shot.par_iter().map(|frame| frame.map(|list| Looks::new(list, width, height))).collect();
    let of_frame = |(place, looks_here): (usize, &Option<Looks>)| {
        let (Some(candidates), Some(here)) = (shot.get(place).copied().flatten(), looks_here) else {
            return Vec::new();
        };
        let range = place.saturating_sub(AROUND)..(place + AROUND + 1).min(looks.len());
        let around: Vec<&Looks> =
            range.filter(|other| *other != place).filter_map(|other| looks.get(other)?.as_ref()).collect();
        let one =
            |(candidate, look): (&Candidate, &Look)| traits_of(candidate, look, here, &around, width.max(1) as f32);
        candidates.iter().zip(&here.of).map(one).collect()
    };
    looks.par_iter().enumerate().map(of_frame).collect()
}

fn traits_of(candidate: &Candidate, look: &Look, here: &Looks, around: &[&Looks], width: f32) -> Traits {
    let area = candidate.area().max(1) as f32;
    let p = candidate.confidence.clamp(0.01, 0.99);
    // Snow falls on through the frames around, and glints come again; dust lies on one frame and has its like near by
    // chance alone, the more of it the more lies there. At the ends of a shot the frames there are stand for all.
    let share = (2 * AROUND) as f32 / around.len().max(1) as f32;
    let (mut likes, mut others) = here.company(look, 1);
    for (like, other) in around.iter().map(|frame| frame.company(look, 0)) {
        likes += share * like;
        others += share * other;
    }
    [
        look.size,
        libm::logf(elongation(&candidate.mask)),
        area / candidate.bounds().area().max(1) as f32,
        look.contrast,
        if look.bright { 1.0 } else { -1.0 },
        libm::logf(p / (1.0 - p)),
        look.x as f32 / width,
        look.y as f32 / width,
        libm::logf(here.neighbours(look).max(1) as f32),
        if candidate.risk.any() { 1.0 } else { 0.0 },
        libm::logf(1.0 + likes) - 0.5 * libm::logf(2.0 + others),
    ]
}

/// What is seen of a candidate at a glance.
#[derive(Clone, Copy, Debug)]
struct Look {
    x: i32,
    y: i32,
    /// Logarithm of its pixels.
    size: f32,
    /// Logarithm of its contrast in grain sigmas.
    contrast: f32,
    bright: bool,
}

impl Look {
    fn new(candidate: &Candidate) -> Self {
        let b = candidate.bounds();
        Self {
            x: i32::midpoint(b.x0, b.x1),
            y: i32::midpoint(b.y0, b.y1),
            size: libm::logf(candidate.area().max(1) as f32),
            contrast: libm::logf(candidate.peak.max(0.5)),
            bright: candidate.polarity == Polarity::Bright,
        }
    }
}

/// The candidates of a frame, sorted into square cells.
struct Looks {
    of: Vec<Look>,
    /// The same, cell by cell.
    sorted: Vec<Look>,
    /// Where each cell begins in `sorted`, and where the last one ends.
    starts: Vec<usize>,
    side: i32,
    columns: i32,
    rows: i32,
}

impl Looks {
    fn new(candidates: &[Candidate], width: usize, height: usize) -> Self {
        let side = (width as i32 / CELLS).max(1);
        let (columns, rows) = (width as i32 / side + 1, height as i32 / side + 1);
        let of: Vec<Look> = candidates.iter().map(Look::new).collect();
        // Whatever lies outside counts for the cell at the edge.
        let cell = |look: &Look| {
            let (x, y) = ((look.x / side).clamp(0, columns - 1), (look.y / side).clamp(0, rows - 1));
            (y * columns + x) as usize
        };
        let mut order: Vec<(usize, usize)> = of.iter().map(cell).zip(0..).collect();
        order.sort_unstable();
        let sorted = order.iter().filter_map(|(_, index)| of.get(*index)).copied().collect();
        let starts = (0..=(columns * rows) as usize).map(|cell| order.partition_point(|o| o.0 < cell)).collect();
        Self { of, sorted, starts, side, columns, rows }
    }

    /// The candidates of the nine cells around a place, a row of cells at a time.
    fn near(&self, look: &Look) -> impl Iterator<Item = &[Look]> {
        let (column, row) = (look.x / self.side, look.y / self.side);
        let (from, to) = ((column - 1).clamp(0, self.columns), (column + 2).clamp(0, self.columns));
        ((row - 1).max(0)..(row + 2).min(self.rows)).filter_map(move |row| {
            let at = |column: i32| self.starts.get((row * self.columns + column) as usize).copied();
            self.sorted.get(at(from)?..at(to)?)
        })
    }

    fn neighbours(&self, look: &Look) -> usize {
        self.near(look).map(<[Look]>::len).sum()
    }

    /// How many candidates within a cell's side of a place look like what lies there, and how many there are, both
    /// without `own`: 1 where the candidate itself is one of them.
    fn company(&self, look: &Look, own: usize) -> (f32, f32) {
        let (mut likes, mut all) = (0usize, 0usize);
        for other in self.near(look).flatten() {
            let (dx, dy) = (i64::from(look.x - other.x), i64::from(look.y - other.y));
            if dx * dx + dy * dy < i64::from(self.side) * i64::from(self.side) {
                let like = look.bright == other.bright
                    && (look.size - other.size).abs() < LIKE_SIZE
                    && (look.contrast - other.contrast).abs() < LIKE_CONTRAST;
                likes += usize::from(like);
                all += 1;
            }
        }
        (likes.saturating_sub(own) as f32, all.saturating_sub(own) as f32)
    }
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
    company: Company,
}

/// How much likelier company makes it that a candidate belongs to the picture. Specks that belong come in company: more of
/// their like lie around them, on their frame and those around it, than chance has it. Where the examples have no more
/// company than the shot's dirt, it says nothing.
#[derive(Clone, Copy, Debug, Default)]
struct Company {
    /// Gain of the logarithm per unit of the trait; not negative.
    slope: f32,
    /// Where company speaks for neither side.
    middle: f32,
}

/// Variance of the trait among candidates of one sort.
const COMPANY_SPREAD: f32 = 0.3;
/// As many examples as the shot's dirt counts for where few examples tell of their company, on either side.
const COMPANY_DOUBT: (f32, f32) = (2.0, 4.0);
/// Least and most that company multiplies by: a lone speck is hardly one of a swarm, but dust too may lie among dust.
const COMPANY_REACH: (f32, f32) = (0.06, 4.0);

impl Company {
    /// `dirt` is the mean over the shot, each candidate counting as dirt by how sure the detector is of it.
    fn new(belonging: &[Traits], damage: &[Traits], dirt: f32) -> Self {
        let sum = |list: &[Traits]| list.iter().map(|t| t[COMPANY]).sum::<f32>();
        let (few, many) = COMPANY_DOUBT;
        let dirt = (sum(damage) + many * dirt) / (damage.len() as f32 + many);
        let belongs = (sum(belonging) + few * dirt) / (belonging.len() as f32 + few);
        Self { slope: (belongs - dirt).max(0.0) / COMPANY_SPREAD, middle: 0.5 * (belongs + dirt) }
    }

    /// The ratio of two bell curves of one width.
    fn factor(self, traits: &Traits) -> f32 {
        let (least, most) = COMPANY_REACH;
        libm::expf(self.slope * (traits[COMPANY] - self.middle)).clamp(least, most)
    }
}

/// Points of the space of traits, trait by trait so that the processor compares several at once.
#[derive(Clone, Debug, Default)]
struct Points {
    /// Company is not among them.
    values: [Vec<f32>; COMPANY],
    weights: Vec<f32>,
}

/// How far an example's influence reaches, in spreads of the shot; beyond it two candidates are not alike.
const REACH: f32 = 3.7;
/// How many examples of damage the detector's own opinion weighs as much as.
const OPINION: f32 = 2.0;
/// Density that anything has of being damage: dirt may look like nothing seen so far.
const ANYTHING: f32 = 0.03;
/// The detector's opinion is asked of so many candidates at most.
const MOST_ASKED: usize = 128;
/// How much the opinion of a candidate at risk counts beside that of another.
const AT_RISK_WEIGHT: f32 = 0.3;
/// What is proposed is at least this much likelier among the examples than among the damage.
const TWICE: f32 = 2.0;
/// What lies beyond this ratio counts by the power of [`TOGETHER`] only: traits hang together, and the confidence is one
/// of them, so that the ratio of the densities says strong things too strongly. What the detector is sure of stays.
const FREELY: f32 = 3.0;
const TOGETHER: f32 = 0.1;
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
        let measured = measured(shot);
        let scale = scale(&measured);
        // In an order of their own, so that sums do not depend on the order of the decisions.
        let sorted = |list: &[Traits]| {
            let mut list = list.to_vec();
            list.sort_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal));
            list.truncate(MOST_ASKED);
            list
        };
        let (belonging, damage) = (sorted(belonging), sorted(damage));
        let points = |list: &[Traits]| {
            let mut points = Points::default();
            for traits in list {
                points.add(&scale_by(traits, &scale), 1.0);
            }
            points
        };
        // What a person called part of the picture is no evidence of damage, whatever the detector holds of it.
        let held = |traits: &Traits| if belonging.contains(traits) { 0.0 } else { dirt_held(traits) };
        let mut surest = Points::default();
        let every = measured.len().div_ceil(MOST_ASKED).max(1);
        for traits in measured.iter().step_by(every) {
            surest.add(&scale_by(traits, &scale), held(traits));
        }
        let sum: f32 = surest.weights.iter().sum();
        surest.weights.iter_mut().for_each(|w| *w /= sum.max(1e-6));
        let (mut sum, mut company) = (0.0, 0.0);
        for traits in &measured {
            let weight = held(traits);
            sum += weight;
            company += weight * traits[COMPANY];
        }
        let company = Company::new(&belonging, &damage, company / f32::max(sum, 1e-6));
        Self { belonging: points(&belonging), damage: points(&damage), scale, surest, company }
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
        let ratio = (belongs / count as f32) / (dirt + ANYTHING) * self.company.factor(traits);
        let factor = if ratio > FREELY { FREELY * libm::powf(ratio / FREELY, TOGETHER) } else { ratio.max(1.0) };
        let left = confidence / (confidence + (1.0 - confidence) * factor);
        let left = if left.is_finite() { left.min(confidence) } else { confidence };
        let proposed = like > 0 && factor >= TWICE;
        Judged { likeness: ratio / (1.0 + ratio), confidence: left, like, proposed }
    }
}

/// Which candidates of a shot are like one of them by the measure by which an example counts its like: an answer for each
/// candidate, frame by frame. Position counts among other things, so that what lies far away is less alike.
pub fn alike(one: &Traits, shot: &[Vec<Traits>]) -> Vec<Vec<bool>> {
    let scale = scale(&measured(shot));
    let mut example = Points::default();
    example.add(&scale_by(one, &scale), 1.0);
    let like = |traits: &Traits| example.density(&scale_by(traits, &scale)).1 > 0;
    shot.iter().map(|frame| frame.iter().map(like).collect()).collect()
}

/// The candidates that the spread of a shot is measured on.
fn measured(shot: &[Vec<Traits>]) -> Vec<Traits> {
    let total = shot.iter().map(Vec::len).sum::<usize>();
    let step = total.div_ceil(MOST_MEASURED).max(1);
    shot.iter().flatten().step_by(step).copied().collect()
}

/// How much a candidate counts as what the detector holds for dirt.
fn dirt_held(traits: &Traits) -> f32 {
    let p = 1.0 / (1.0 + libm::expf(-traits[CONFIDENCE]));
    // What may be part of the picture tells less of damage.
    p * p * if traits[AT_RISK] > 0.5 { AT_RISK_WEIGHT } else { 1.0 }
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
        let traits = traits(&[Some(&shot)], 960, 720).remove(0);
        let of = |list: &[usize]| list.iter().map(|i| traits[*i]).collect::<Vec<_>>();
        let examples = Examples::new(&of(belonging), &of(damage), std::slice::from_ref(&traits));
        traits.iter().zip(&shot).map(|(t, c)| examples.judge(t, c.confidence)).collect()
    }

    #[test]
    fn the_like_of_one_flake_are_flakes_and_of_one_speck_specks() {
        let shot = shot();
        let traits = traits(&[Some(&shot)], 960, 720);
        for (one, own) in [(4, 0..30), (40, 30..60)] {
            let like = alike(&traits[0][one], &traits).remove(0);
            assert!(like[one], "everything is like itself");
            let (inside, outside): (Vec<_>, Vec<_>) = (0..60).filter(|i| like[*i]).partition(|i| own.contains(i));
            assert!(inside.len() >= 10 && outside.is_empty(), "{inside:?} {outside:?}");
        }
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

    /// Five frames of flakes that fall through a corner together, and on each frame, far from them, a speck of dust that
    /// looks just like a flake and has no company of its like.
    fn fall() -> Vec<Vec<Candidate>> {
        let one = |x: i32, y: i32| Candidate {
            mask: RunMask::from_rect(&Rect::new(x, y, x + 3, y + 3)),
            ..candidate(true, 0, 0.6)
        };
        let frame = |n: i32| {
            let flakes = (0..6).map(move |i| (60 + 19 * i, 40 + 17 * (i % 3) + 9 * n));
            flakes.chain([(900 - 150 * n, 500 + 30 * n)]).map(|(x, y)| one(x, y)).collect()
        };
        (0..5).map(frame).collect()
    }

    #[test]
    fn a_lone_speck_that_looks_like_the_flakes_keeps_more_of_its_confidence() {
        let fall = fall();
        let shot: Vec<Option<&[Candidate]>> = fall.iter().map(|f| Some(f.as_slice())).collect();
        let traits = traits(&shot, 960, 720);
        let examples = Examples::new(&[traits[0][1], traits[1][3], traits[2][0], traits[4][5]], &[], &traits);
        assert!(examples.company.slope > 0.0);
        for frame in &traits {
            let lone = examples.judge(&frame[6], 0.6);
            for flake in &frame[..6] {
                assert!(flake[COMPANY] > frame[6][COMPANY]);
                // The same look at the same place, told apart by company alone.
                let mut elsewhere = *flake;
                elsewhere[COMPANY] = frame[6][COMPANY];
                assert!(examples.judge(flake, 0.6).confidence < examples.judge(&elsewhere, 0.6).confidence);
                assert!(examples.judge(flake, 0.6).confidence < lone.confidence);
            }
        }
        // Examples that stand alone themselves say nothing about company.
        let lone: Vec<Traits> = traits.iter().map(|frame| frame[6]).collect();
        let examples = Examples::new(&lone, &[], &traits);
        assert!(traits.iter().flatten().all(|t| examples.company.factor(t) == 1.0));
    }

    #[test]
    fn a_frame_that_was_not_searched_counts_for_none() {
        let fall = fall();
        let mut shot: Vec<Option<&[Candidate]>> = fall.iter().map(|f| Some(f.as_slice())).collect();
        let all = traits(&shot, 960, 720);
        shot[1] = None;
        let some = traits(&shot, 960, 720);
        assert!(some[1].is_empty() && some[2].len() == 7);
        // Three frames of four are left around the middle one and stand for all: the flakes keep their company nearly.
        assert!(all[2].iter().zip(&some[2]).all(|(a, b)| (a[COMPANY] - b[COMPANY]).abs() < 0.35));
        assert!(traits(&[None, None], 960, 720).iter().all(Vec::is_empty));
    }

    /// Company counted pair by pair, the plain twin of the cells.
    fn company_plainly(shot: &[Vec<Candidate>], place: usize, index: usize, width: usize) -> f32 {
        let side = i64::from((width as i32 / CELLS).max(1));
        let at = |c: &Candidate| {
            let b = c.bounds();
            (i64::from(i32::midpoint(b.x0, b.x1)), i64::from(i32::midpoint(b.y0, b.y1)))
        };
        let me = &shot[place][index];
        let count = |frame: usize| -> (f32, f32) {
            let (mut likes, mut all) = (0.0, 0.0);
            for (_, other) in shot[frame].iter().enumerate().filter(|(i, _)| (frame, *i) != (place, index)) {
                let ((x, y), (u, v)) = (at(me), at(other));
                if (x - u).pow(2) + (y - v).pow(2) < side * side {
                    let ln = |a: f32, b: f32| (libm::logf(a) - libm::logf(b)).abs();
                    let like = me.polarity == other.polarity
                        && ln(me.area() as f32, other.area() as f32) < LIKE_SIZE
                        && ln(me.peak, other.peak) < LIKE_CONTRAST;
                    likes += if like { 1.0 } else { 0.0 };
                    all += 1.0;
                }
            }
            (likes, all)
        };
        let around: Vec<usize> = (0..shot.len()).filter(|f| *f != place && f.abs_diff(place) <= AROUND).collect();
        let share = 4.0 / around.len().max(1) as f32;
        let (mut likes, mut all) = count(place);
        for frame in around {
            let (l, a) = count(frame);
            likes += share * l;
            all += share * a;
        }
        libm::logf(1.0 + likes) - 0.5 * libm::logf(2.0 + all)
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

        /// The cells find what a look at every pair finds.
        #[test]
        fn company_is_counted_as_pair_by_pair(
            frames in proptest::collection::vec(
                proptest::collection::vec((any::<bool>(), 0i32..320, 0i32..240, 3.0f32..12.0), 0..30), 1..7),
        ) {
            let of = |(flake, x, y, peak): &(bool, i32, i32, f32)| Candidate {
                mask: RunMask::from_rect(&Rect::new(*x, *y, x + 3 + x % 4, y + 3)),
                peak: *peak,
                ..candidate(*flake, 0, 0.5)
            };
            let shot: Vec<Vec<Candidate>> = frames.iter().map(|f| f.iter().map(of).collect()).collect();
            let lists: Vec<Option<&[Candidate]>> = shot.iter().map(|f| Some(f.as_slice())).collect();
            let traits = traits(&lists, 320, 240);
            for (place, frame) in traits.iter().enumerate() {
                for (index, found) in frame.iter().enumerate() {
                    prop_assert_eq!(found[COMPANY].to_bits(), company_plainly(&shot, place, index, 320).to_bits());
                }
            }
        }

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
