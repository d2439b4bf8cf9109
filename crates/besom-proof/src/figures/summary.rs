//! From the counts of all sets to the table's rows: means over clips, the worst clip, and what is to be reached.

use std::fmt::Write as _;

use super::{Counted, Sets, Tally};

/// Which of two values of a figure is the better one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Better {
    /// The larger one.
    More,
    /// The smaller one.
    Less,
}

/// One figure over all clips.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What it measures.
    pub name: String,
    /// What is better.
    pub better: Better,
    /// What its mean is to reach; `None` where nothing was asked for.
    pub reach: Option<f64>,
    /// What its worst clip is to reach.
    pub worst_reach: Option<f64>,
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

fn dust(t: &Tally) -> Option<f64> {
    t.all.dust.share()
}

fn hair(t: &Tally) -> Option<f64> {
    t.all.hair.share()
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
        use Better::{Less, More};
        use Sets::{Base, Coarse, Undamaged, Varied};
        let row = |name, asked, sets, figure| row(counted, name, asked, sets, figure);
        // Clips are too small for ten bins each: the calibration asked for is that of all candidates together.
        let pooled_alone = |row: Row| Row { mean: None, ..row };
        let rows = [
            row("dust recall", (More, Some(0.92), Some(0.80)), Base, dust),
            row("precision", (More, Some(0.90), Some(0.75)), Base, precision),
            row("dust of 30 px and more, recall", (More, Some(0.98), None), Base, |t| t.all.large_dust.share()),
            row("hair recall", (More, Some(0.92), None), Base, hair),
            row("line recall", (More, Some(0.85), None), Base, |t| t.all.line.share()),
            row("line precision", (More, Some(0.85), None), Base, line_precision),
            row("scratches linked over frames, recall", (More, Some(0.85), None), Base, |t| t.scratches.truth.share()),
            row("scratches linked over frames, precision", (More, Some(0.85), None), Base, |t| t.scratches.precision()),
            row("undamaged: false a frame and Mpx", (Less, Some(1.0), None), Undamaged, |t| {
                Some(t.all.false_per_megapixel())
            }),
            row("undamaged: the same, not at risk", (Less, Some(0.3), None), Undamaged, |t| {
                Some(t.calm.false_per_megapixel())
            }),
            row("calibration error (see pooled)", (Less, Some(0.05), None), Base, |t| t.reliability.error())
                .map(pooled_alone),
            loss(counted, "flicker 3 %, weave 1.5 px: loss of recall", dust),
            loss(counted, "flicker 3 %, weave 1.5 px: loss of precision", precision),
            row("grain 14: dust recall", (More, Some(0.85), None), Coarse, dust),
            row("grain 14: precision", (More, Some(0.85), None), Coarse, precision),
            row("varied films: dust recall", (More, None, None), Varied, dust),
            row("varied films: precision", (More, None, None), Varied, precision),
            row("varied films: hair recall", (More, None, None), Varied, hair),
        ];
        Self { rows: rows.into_iter().flatten().collect() }
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
                row.better.reach(row.reach),
                number(row.mean),
                row.better.verdict(row.reach, main),
                number(worst),
                row.better.reach(row.worst_reach),
                format!("{clip} {}", row.better.verdict(row.worst_reach, worst)).trim(),
                number(row.pooled),
            );
        }
        text
    }
}

impl Better {
    fn reach(self, reach: Option<f64>) -> String {
        let sign = if self == Self::More { ">=" } else { "<=" };
        reach.map_or_else(String::new, |reach| format!("{sign} {reach:.2}"))
    }

    fn verdict(self, reach: Option<f64>, value: Option<f64>) -> &'static str {
        let (Some(reach), Some(value)) = (reach, value) else { return "" };
        let reached = if self == Self::More { value >= reach } else { value <= reach };
        if reached { "reached" } else { "MISSED" }
    }
}

/// A figure to three decimals; a dash where there is none.
pub fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{value:.3}"))
}

/// For each clip in the order in which it first came, the mean of a figure over some of its sets.
fn by_clip(counted: &[Counted], sets: Sets, figure: Figure) -> Vec<(String, f64)> {
    let mut clips: Vec<(&str, Vec<f64>)> = Vec::new();
    for c in counted.iter().filter(|c| sets.sets().contains(&c.set)) {
        let place = clips.iter().position(|(clip, _)| *clip == c.clip).unwrap_or(clips.len());
        if place == clips.len() {
            clips.push((&c.clip, Vec::new()));
        }
        clips[place].1.extend(figure(&c.tally));
    }
    let known = clips.into_iter().filter(|(_, values)| !values.is_empty());
    known.map(|(clip, values)| (clip.to_owned(), values.iter().sum::<f64>() / values.len() as f64)).collect()
}

fn mean(values: &[(String, f64)]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().map(|(_, v)| v).sum::<f64>() / values.len() as f64)
}

/// A figure over some sets; `asked` is what is better, and what the mean and the worst clip are to reach.
fn row(
    counted: &[Counted],
    name: &str,
    asked: (Better, Option<f64>, Option<f64>),
    sets: Sets,
    figure: Figure,
) -> Option<Row> {
    let mut pooled = Tally::default();
    let mut any = false;
    for c in counted.iter().filter(|c| sets.sets().contains(&c.set)) {
        pooled.merge(&c.tally);
        any = true;
    }
    let clips = by_clip(counted, sets, figure);
    let (better, reach, worst_reach) = asked;
    let order = |a: &&(String, f64), b: &&(String, f64)| match better {
        Better::More => a.1.total_cmp(&b.1),
        Better::Less => b.1.total_cmp(&a.1),
    };
    let worst = clips.iter().min_by(order).map(|(clip, value)| (*value, clip.clone()));
    any.then(|| Row {
        name: name.to_owned(),
        better,
        reach,
        worst_reach,
        mean: mean(&clips),
        worst,
        pooled: figure(&pooled),
    })
}

/// What a figure loses from steady film to unsteady film, over the clips that have both.
fn loss(counted: &[Counted], name: &str, figure: Figure) -> Option<Row> {
    let (steady, unsteady) = (by_clip(counted, Sets::Base, figure), by_clip(counted, Sets::Unsteady, figure));
    let lost: Vec<(String, f64)> = unsteady
        .into_iter()
        .filter_map(|(clip, value)| steady.iter().find(|(c, _)| *c == clip).map(|(_, before)| (clip, before - value)))
        .collect();
    let worst = lost.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|(clip, value)| (*value, clip.clone()));
    (!lost.is_empty()).then(|| Row {
        name: name.to_owned(),
        better: Better::Less,
        reach: Some(0.02),
        worst_reach: None,
        mean: mean(&lost),
        worst,
        pooled: None,
    })
}
