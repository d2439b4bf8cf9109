//! From the counts of all sets to the table's rows: means over clips, the worst clip, and what is to be reached.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::{Counted, Set, Tally};

/// What a figure is to reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reach {
    /// At least this.
    Least(f64),
    /// At most this.
    Most(f64),
    /// Nothing was asked for; more is better.
    Open,
}

/// One figure over all clips.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What it measures.
    pub name: String,
    /// What its mean is to reach.
    pub reach: Reach,
    /// What its worst clip is to reach.
    pub worst_reach: Reach,
    /// Mean over the clips of the mean over their sets; `None` where no clip has the figure.
    pub mean: Option<f64>,
    /// The worst clip.
    pub worst: Option<(f64, String)>,
    /// The figure over all objects of all clips together.
    pub pooled: Option<f64>,
}

type Figure = fn(&Tally) -> Option<f64>;

/// The rows of a table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// In the table's order.
    pub rows: Vec<Row>,
}

const BASE: [Set; 2] = [Set::Light, Set::Heavy];
const UNSTEADY: [Set; 2] = [Set::LightUnsteady, Set::HeavyUnsteady];
const COARSE: [Set; 2] = [Set::LightCoarse, Set::HeavyCoarse];

fn dust(t: &Tally) -> Option<f64> {
    t.all.dust.share()
}

fn precision(t: &Tally) -> Option<f64> {
    t.all.precision()
}

fn line_precision(t: &Tally) -> Option<f64> {
    (t.lines.0 > 0).then(|| 1.0 - t.lines.1 as f64 / t.lines.0 as f64)
}

impl Summary {
    /// Works out every row for which there are sets.
    pub fn of(counted: &[Counted]) -> Self {
        use Reach::{Least, Most, Open};
        let mut summary = Self::default();
        let mut add = |name: &str, reach: (Reach, Reach), sets: &[Set], figure: Figure| {
            summary.rows.extend(row(counted, name, reach, sets, figure));
        };
        add("dust recall", (Least(0.92), Least(0.80)), &BASE, dust);
        add("precision", (Least(0.90), Least(0.75)), &BASE, precision);
        add("dust of 30 px and more, recall", (Least(0.98), Open), &BASE, |t| t.all.large_dust.share());
        add("hair recall", (Least(0.92), Open), &BASE, |t| t.all.hair.share());
        add("line recall", (Least(0.85), Open), &BASE, |t| t.all.line.share());
        add("line precision", (Least(0.85), Open), &BASE, line_precision);
        add("undamaged: false a frame and Mpx", (Most(1.0), Most(f64::INFINITY)), &[Set::Undamaged], |t| {
            Some(t.all.false_per_megapixel())
        });
        add("undamaged: the same, not at risk", (Most(0.3), Most(f64::INFINITY)), &[Set::Undamaged], |t| {
            Some(t.calm.false_per_megapixel())
        });
        add("calibration error (see pooled)", (Open, Most(f64::INFINITY)), &BASE, |t| t.reliability.error());
        if let Some(row) = summary.rows.last_mut().filter(|row| row.name.starts_with("calibration")) {
            // Clips are too small for ten bins each: the figure asked for is that of all candidates together.
            row.mean = None;
            row.reach = Most(0.05);
        }
        summary.rows.extend(loss(counted, "flicker 3 %, weave 1.5 px: loss of recall", dust));
        summary.rows.extend(loss(counted, "flicker 3 %, weave 1.5 px: loss of precision", precision));
        let mut add = |name: &str, reach: (Reach, Reach), sets: &[Set], figure: Figure| {
            summary.rows.extend(row(counted, name, reach, sets, figure));
        };
        add("grain 14: dust recall", (Least(0.85), Open), &COARSE, dust);
        add("grain 14: precision", (Least(0.85), Open), &COARSE, precision);
        add("varied films: dust recall", (Open, Open), &[Set::Varied], dust);
        add("varied films: precision", (Open, Open), &[Set::Varied], precision);
        add("varied films: hair recall", (Open, Open), &[Set::Varied], |t| t.all.hair.share());
        summary
    }

    /// The table as text.
    pub fn text(&self) -> String {
        let mut text = format!(
            "{:45} {:>9} {:>8} {:8} {:>9} {:>8} {:24} {:>8}\n",
            "figure", "reach", "mean", "", "worst", "reach", "", "pooled"
        );
        for row in &self.rows {
            let worst = row.worst.as_ref().map(|(value, _)| *value);
            let main = row.mean.or(row.pooled);
            let clip = row.worst.as_ref().map_or("", |(_, clip)| clip);
            // Writing to a string cannot fail.
            let _ = writeln!(
                text,
                "{:45} {:>9} {:>8} {:8} {:>9} {:>8} {:24} {:>8}",
                row.name,
                row.reach.text(),
                number(row.mean),
                row.reach.verdict(main),
                number(worst),
                row.worst_reach.text(),
                format!("{clip} {}", row.worst_reach.verdict(worst)).trim(),
                number(row.pooled),
            );
        }
        text
    }
}

impl Reach {
    fn text(self) -> String {
        match self {
            Self::Least(value) => format!(">= {value:.2}"),
            Self::Most(value) if value.is_finite() => format!("<= {value:.2}"),
            Self::Most(_) | Self::Open => String::new(),
        }
    }

    fn verdict(self, value: Option<f64>) -> &'static str {
        match (self, value) {
            (Self::Least(least), Some(value)) if value >= least => "reached",
            (Self::Most(most), Some(value)) if most.is_finite() && value <= most => "reached",
            (Self::Least(_), Some(_)) => "MISSED",
            (Self::Most(most), Some(_)) if most.is_finite() => "MISSED",
            _ => "",
        }
    }

    const fn less_is_better(self) -> bool {
        matches!(self, Self::Most(_))
    }
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{value:.3}"))
}

/// For each clip in the order in which it first came, the mean of a figure over some of its sets.
fn by_clip(counted: &[Counted], sets: &[Set], figure: Figure) -> Vec<(String, f64)> {
    let mut order: Vec<&str> = Vec::new();
    let mut values: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for c in counted.iter().filter(|c| sets.contains(&c.set)) {
        if !order.contains(&c.clip.as_str()) {
            order.push(&c.clip);
        }
        values.entry(&c.clip).or_default().extend(figure(&c.tally));
    }
    let known = order.into_iter().filter_map(|clip| values.get(clip).filter(|v| !v.is_empty()).map(|v| (clip, v)));
    known.map(|(clip, v)| (clip.to_owned(), v.iter().sum::<f64>() / v.len() as f64)).collect()
}

fn mean(values: &[(String, f64)]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().map(|(_, v)| v).sum::<f64>() / values.len() as f64)
}

fn row(counted: &[Counted], name: &str, reach: (Reach, Reach), sets: &[Set], figure: Figure) -> Option<Row> {
    let mut pooled = Tally::default();
    let mut any = false;
    for c in counted.iter().filter(|c| sets.contains(&c.set)) {
        pooled.merge(&c.tally);
        any = true;
    }
    let clips = by_clip(counted, sets, figure);
    let less = reach.0.less_is_better() || reach.1.less_is_better();
    let order = |a: &&(String, f64), b: &&(String, f64)| if less { b.1.total_cmp(&a.1) } else { a.1.total_cmp(&b.1) };
    let worst = clips.iter().min_by(order).map(|(clip, value)| (*value, clip.clone()));
    any.then(|| Row {
        name: name.to_owned(),
        reach: reach.0,
        worst_reach: reach.1,
        mean: mean(&clips),
        worst,
        pooled: figure(&pooled),
    })
}

/// What a figure loses from steady film to unsteady film, over the clips that have both.
fn loss(counted: &[Counted], name: &str, figure: Figure) -> Option<Row> {
    let (steady, unsteady) = (by_clip(counted, &BASE, figure), by_clip(counted, &UNSTEADY, figure));
    let lost: Vec<(String, f64)> = unsteady
        .into_iter()
        .filter_map(|(clip, value)| steady.iter().find(|(c, _)| *c == clip).map(|(_, before)| (clip, before - value)))
        .collect();
    let worst = lost.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|(clip, value)| (*value, clip.clone()));
    (!lost.is_empty()).then(|| Row {
        name: name.to_owned(),
        reach: Reach::Most(0.02),
        worst_reach: Reach::Most(f64::INFINITY),
        mean: mean(&lost),
        worst,
        pooled: None,
    })
}
