//! The whole column of the frame in which a line stands, beyond the line's own ends.
//!
//! A scratch ploughs one code into the film. Over ground that is darker than this code it is bright, over brighter ground
//! dark, and where both are alike it cannot be seen: one scratch shows as pieces of either polarity with gaps between, all
//! in one column. Its column also shows in the frames around, wherever the ground lets it be seen there.

use besom_motion::order::{least, most};
use besom_scan::Plane;

use super::shape::Shape;
use super::strip::{GAP, Parts, Strip, quantile};

/// What a single column of a band must stand out by to be clear, in grain sigmas: more than twice what grain, which is
/// correlated over a pixel or two, leaves of the mean of eight samples. Broader cores need less by the square root.
const CLEAR: f32 = 1.0;
/// Fewest bands of a line whose slope is followed beyond its ends; a shorter one is taken to be upright.
const SLOPE_KNOWN: usize = 24;
/// Bands of a line's end on which it is followed.
const FIT: usize = 24;
/// Pixels by which a line may leave the straight continuation of its end.
const SLACK: i32 = 3;
/// Most bands of a column that are read for a measure: every second, third, ... of a longer one.
const MOST_BANDS: usize = 60;

/// Where a line leads: its centre in every band of the frame.
pub(super) struct Column {
    centres: Vec<f32>,
    parts: Parts,
    sign: f32,
    /// The bands in which the line itself is strong.
    own: Vec<bool>,
}

/// What a column shows, and what others beside it show.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Shown {
    /// Share of the bands in which it clearly stands out from both sides, darker or brighter.
    pub(super) share: f32,
    /// The same at columns beside it, on the mean.
    pub(super) beside: f32,
    /// Share of these bands in which it has the line's own polarity; not a number without any.
    pub(super) same: f32,
    /// Pixels from where it was expected.
    pub(super) offset: f32,
}

/// A band of a line's column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) centre: f32,
    /// Whether the line shows there.
    pub(super) shows: bool,
}

impl Column {
    /// The column of a line in a frame of `rows` bands.
    pub(super) fn of(shape: &Shape, rows: usize) -> Self {
        let path = &shape.path;
        let (first, count) = (path.first, path.len());
        let end = |from: usize, to: usize, at: usize| {
            let (offset, slope) = super::strip::straight((from..to).map(|k| (k as f32, path.centres[k])));
            if count < SLOPE_KNOWN { (path.centres[at], 0.0) } else { (offset + slope * at as f32, slope) }
        };
        let above = end(0, FIT.min(count), 0);
        let below = end(count.saturating_sub(FIT), count, count - 1);
        let centre = |row: usize| {
            if row < first {
                above.0 - above.1 * (first - row) as f32
            } else if row < first + count {
                path.centres[row - first]
            } else {
                below.0 + below.1 * (row + 1 - first - count) as f32
            }
        };
        let own = |row: usize| row.checked_sub(first).is_some_and(|k| k < count && shape.strong(k));
        Self {
            centres: (0..rows).map(centre).collect(),
            parts: shape.parts,
            sign: shape.track.sign,
            own: (0..rows).map(own).collect(),
        }
    }

    /// The line's centre in a band of the frame.
    pub(super) fn centre(&self, band: usize) -> f32 {
        self.centres.get(band).or(self.centres.last()).copied().unwrap_or(0.0)
    }

    fn width(&self) -> i32 {
        self.parts.core.1 - self.parts.core.0 + 1
    }

    fn clear(&self) -> f32 {
        CLEAR / (self.width() as f32).sqrt()
    }

    /// How far each of `rows` stands out at each offset up to `reach` around `aside`, row by row; see [`standing_out`].
    fn read(&self, bands: &[Plane], rows: &[usize], reach: i32, aside: f32) -> Vec<f32> {
        let size = (2 * reach + 1) as usize;
        let mut strongest = vec![0.0f32; rows.len() * size];
        let mut sums = [(); TOGETHER].map(|()| Vec::new());
        for plane in bands {
            let places = rows.iter().map(|r| (self.centres[*r] + aside, *r as f32));
            let strip = Strip::take(std::slice::from_ref(plane), &[1.0], places, (reach + self.parts.reach()) as usize);
            for (block, strongest) in strongest.chunks_mut(TOGETHER * size).enumerate() {
                // Where there are fewer bands left the last one is summed again.
                let samples = std::array::from_fn(|k| strip.band((block * TOGETHER + k).min(rows.len() - 1)));
                running_sums(samples, &mut sums);
                for (strongest, sums) in strongest.chunks_exact_mut(size).zip(&sums) {
                    standing_out(sums, &self.parts, strongest);
                }
            }
        }
        strongest
    }

    /// What another frame shows at the column, searched up to `search` pixels to either side of its place `aside` pixels
    /// away.
    pub(super) fn shown(&self, bands: &[Plane], search: i32, aside: f32) -> Shown {
        let step = self.centres.len().div_ceil(MOST_BANDS).max(1);
        let rows: Vec<usize> = (0..self.centres.len()).step_by(step).collect();
        self.shown_in(bands, &rows, search, aside)
    }

    /// What the line's own frame shows at the column besides the bands in which the line itself is strong.
    pub(super) fn besides(&self, bands: &[Plane], search: i32) -> Shown {
        let step = self.centres.len().div_ceil(MOST_BANDS).max(1);
        let rows: Vec<usize> = (0..self.centres.len()).step_by(step).filter(|r| !self.own[*r]).collect();
        self.shown_in(bands, &rows, search, 0.0)
    }

    fn shown_in(&self, bands: &[Plane], rows: &[usize], search: i32, aside: f32) -> Shown {
        if rows.is_empty() || bands.is_empty() {
            return Shown { same: f32::NAN, ..Shown::default() };
        }
        // Beside it, beyond its own edges: two places to the left and two to the right.
        let (near, place) = (search.max(self.width()) + 4, 2 * search + 1);
        let reach = near + 2 * place;
        let size = (2 * reach + 1) as usize;
        let read = self.read(bands, rows, reach, aside);
        let at = |offset: i32| (offset + reach) as usize;
        // Over a busy picture much stands out: only what does so more than three of four places beside it is counted.
        let mut usual: Vec<f32> = read
            .chunks_exact(size)
            .flat_map(|row| row[..=at(-near)].iter().chain(&row[at(near)..]))
            .map(|v| v.abs())
            .collect();
        let clear = self.clear().max(quantile(&mut usual, 0.75));
        let mut counts = vec![0u32; size];
        for row in read.chunks_exact(size) {
            for (count, v) in counts.iter_mut().zip(row) {
                *count += u32::from(v.abs() > clear);
            }
        }
        let most = |from: i32, to: i32| (from..to).map(|o| counts[at(o)]).max().unwrap_or(0) as f32;
        // The nearest of equals.
        let best = (-search..=search).max_by_key(|o| (counts[at(*o)], -o.abs())).unwrap_or(0);
        let beside = [1 - near - 2 * place, 1 - near - place, near, near + place];
        let there = counts[at(best)] as f32;
        let same = read.chunks_exact(size).filter(|row| self.sign * row[at(best)] > clear).count() as f32;
        let all = rows.len() as f32;
        Shown {
            share: there / all,
            beside: beside.iter().map(|from| most(*from, from + place)).sum::<f32>() / (beside.len() as f32 * all),
            same: if there > 0.0 { same / there } else { f32::NAN },
            offset: best as f32,
        }
    }

    /// For every band of the frame the line's centre, followed from its path (the bands `own`) up and down, and whether it
    /// shows there, of either polarity: where it stands out doubly, or stands out beside another band that does.
    pub(super) fn pieces(&self, bands: &[Plane], own: std::ops::Range<usize>) -> Vec<Piece> {
        let rows: Vec<usize> = (0..self.centres.len()).collect();
        if bands.is_empty() {
            return Vec::new();
        }
        let size = (2 * SLACK + 1) as usize;
        let read = self.read(bands, &rows, SLACK, 0.0);
        let clear = self.clear();
        let mut strengths = vec![(0.0f32, 0i32); rows.len()];
        let mut follow = |rows: &mut dyn Iterator<Item = usize>, wander: i32| {
            let mut at = 0;
            for row in rows {
                let strength = |s: i32| read[row * size + (s + SLACK) as usize].abs();
                let best = (at - wander..=at + wander)
                    .filter(|s| s.abs() <= SLACK)
                    .max_by(|a, b| strength(*a).total_cmp(&strength(*b)).then((b - at).abs().cmp(&(a - at).abs())));
                let Some(best) = best else { continue };
                if strength(best) > clear {
                    at = best;
                }
                strengths[row] = (strength(best), at);
            }
        };
        follow(&mut own.clone(), 0);
        follow(&mut (0..own.start).rev(), 1);
        follow(&mut (own.end..rows.len()), 1);
        let stands = |row: usize| strengths.get(row).is_some_and(|s| s.0 > clear);
        let shows = |row: &usize| {
            strengths[*row].0 > 2.0 * clear
                || (stands(*row) && (stands(*row + 1) || row.checked_sub(1).is_some_and(stands)))
        };
        let piece = |row: usize| Piece { centre: self.centres[row] + strengths[row].1 as f32, shows: shows(&row) };
        (0..strengths.len()).map(piece).collect()
    }
}

/// Bands whose sums run side by side: each sum waits for the one before it, so several are kept going.
const TOGETHER: usize = 4;

/// Puts the running sums of the samples of some bands of one length, from 0 on: one more than there are samples.
fn running_sums(samples: [&[f32]; TOGETHER], sums: &mut [Vec<f32>; TOGETHER]) {
    let count = samples[0].len();
    for sums in sums.iter_mut() {
        sums.clear();
        sums.resize(count + 1, 0.0);
    }
    let [a, b, c, d] = samples.map(|samples| &samples[..count]);
    let [sums_a, sums_b, sums_c, sums_d] = sums.each_mut().map(|sums| &mut sums[1..=count]);
    let mut sum = [0.0f32; TOGETHER];
    for k in 0..count {
        sum = [sum[0] + a[k], sum[1] + b[k], sum[2] + c[k], sum[3] + d[k]];
        (sums_a[k], sums_b[k], sums_c[k], sums_d[k]) = (sum[0], sum[1], sum[2], sum[3]);
    }
}

/// Keeps, at each offset, the stronger of what is there and of how far the core stands out from both its sides: positive
/// where it is brighter than both, negative where it is darker, 0 between them. `sums` are the band's running sums.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn standing_out(sums: &[f32], parts: &Parts, strongest: &mut [f32]) {
    let (a, b) = parts.core;
    let (reach, count) = (parts.reach(), strongest.len());
    // Place of the first offset's first sample of each part among the samples.
    let place = |offset: i32| (offset + reach) as usize;
    let side = parts.side as usize;
    let (left, core, right) = (place(a - GAP - parts.side), place(a), place(b + GAP + 1));
    let wide = (b - a + 1) as usize;
    let (by_side, by_core) = (1.0 / side as f32, 1.0 / wide as f32);
    let (left, left_end) = (&sums[left..][..count], &sums[left + side..][..count]);
    let (core, core_end) = (&sums[core..][..count], &sums[core + wide..][..count]);
    let (right, right_end) = (&sums[right..][..count], &sums[right + side..][..count]);
    for k in 0..count {
        let (left, right) = (by_side * (left_end[k] - left[k]), by_side * (right_end[k] - right[k]));
        let core = by_core * (core_end[k] - core[k]);
        let out_by = most(core - most(left, right), 0.0) + least(core - least(left, right), 0.0);
        strongest[k] = if out_by.abs() > strongest[k].abs() { out_by } else { strongest[k] };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// [`Column::read`] by its definition: the means of the parts around every offset, channel by channel.
    fn plain_read(column: &Column, bands: &[Plane], rows: &[usize], reach: i32, aside: f32) -> Vec<f32> {
        let mut strongest = Vec::new();
        for row in rows {
            for offset in -reach..=reach {
                let mut kept = 0.0f32;
                for plane in bands {
                    let at = |x: i32| {
                        let place = column.centres[*row] + aside + (offset + x) as f32;
                        let (low, share) = (place.floor(), place - place.floor());
                        let [here, next] = [0, 1].map(|k| f64::from(plane.clamped(low as i32 + k, *row as i32)));
                        here * f64::from(1.0 - share) + next * f64::from(share)
                    };
                    let mean = |from: i32, to: i32| (from..=to).map(at).sum::<f64>() / f64::from(to - from + 1);
                    let ((a, b), side) = (column.parts.core, column.parts.side);
                    let core = mean(a, b);
                    let sides = [mean(a - GAP - side, a - GAP - 1), mean(b + GAP + 1, b + GAP + side)];
                    let (low, high) = (sides[0].min(sides[1]), sides[0].max(sides[1]));
                    let out_by = ((core - high).max(0.0) + (core - low).min(0.0)) as f32;
                    if out_by.abs() > kept.abs() {
                        kept = out_by;
                    }
                }
                strongest.push(kept);
            }
        }
        strongest
    }

    proptest! {
        #[test]
        fn what_stands_out_is_what_the_definition_says(
            seed in any::<u32>(), core in (-4i32..1, 0i32..5), side in 2i32..6, count in 1usize..11, reach in 0i32..20,
            aside in -9.0f32..9.0,
        ) {
            let mut s = seed;
            let mut noise = |_, _| {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (s >> 20) as f32 / 100.0
            };
            let bands: Vec<Plane> = (0..3).map(|_| Plane::from_fn(60, 12, &mut noise)).collect();
            let centres = (0..12).map(|y| 24.3 + y as f32 * 0.37).collect();
            let column = Column { centres, parts: Parts { core, side }, sign: 1.0, own: vec![false; 12] };
            let rows: Vec<usize> = (0..count).collect();
            let fast = column.read(&bands, &rows, reach, aside);
            let plain = plain_read(&column, &bands, &rows, reach, aside);
            prop_assert_eq!(fast.len(), plain.len());
            for (fast, plain) in fast.iter().zip(&plain) {
                // Running sums of some thousand codes in single precision; two channels may stand out equally far, one
                // to either side.
                prop_assert!((fast - plain).abs() < 1e-2 || (fast + plain).abs() < 1e-2, "{} {}", fast, plain);
            }
        }
    }

    /// A column of 20 bands at x = 40 of a flat field, bright in bands 2 to 4, dark in 10 and 11, faint in 15.
    fn field() -> (Column, Plane) {
        let value = |x: usize, y: usize| match (x, y) {
            (39..=41, 2..=4) => 56.0,
            (40..=42, 10..=11) => 44.0,
            (39..=41, 15) => 50.9,
            _ => 50.0,
        };
        let own = (0..20).map(|y| (2..=4).contains(&y)).collect();
        let parts = Parts { core: (-1, 1), side: 3 };
        (Column { centres: vec![40.0; 20], parts, sign: 1.0, own }, Plane::from_fn(90, 20, value))
    }

    #[test]
    fn pieces_of_either_polarity_are_found_in_the_column() {
        let (column, plane) = field();
        let pieces = column.pieces(&[plane], 2..5);
        // Worked out by hand: band 15 stands out once (0.9 against 1 / sqrt 3 = 0.58), alone, and is left out.
        let shown: Vec<(usize, f32)> =
            pieces.iter().enumerate().filter(|(_, p)| p.shows).map(|(row, p)| (row, p.centre)).collect();
        assert_eq!(shown, vec![(2, 40.0), (3, 40.0), (4, 40.0), (10, 41.0), (11, 41.0)]);
        assert_eq!((pieces[7].centre, pieces[12].centre), (40.0, 41.0), "it is where it was seen last");
    }

    #[test]
    fn a_column_is_held_against_those_beside_it() {
        let (column, plane) = field();
        let all = column.shown(std::slice::from_ref(&plane), 2, 0.0);
        // Bands 2 to 4, 10, 11 and 15: the dark ones too, which cover two of the core's three columns.
        assert_eq!((all.share, all.offset, all.beside), (0.3, 0.0, 0.0));
        assert!((all.same - 4.0 / 6.0).abs() < 1e-6);
        // The same column, looked for two pixels to its right: one pixel beside it two of the core's columns still show all.
        assert_eq!(column.shown(std::slice::from_ref(&plane), 2, 2.0), Shown { offset: -1.0, ..all });
        let others = column.besides(&[plane], 2);
        assert!((others.share - 3.0 / 17.0).abs() < 1e-6);
        assert!((others.same - 1.0 / 3.0).abs() < 1e-6);
    }

    #[test]
    fn sides_that_disagree_show_nothing() {
        // An edge of the picture.
        let edge = Plane::from_fn(90, 20, |x, _| if x < 40 { 40.0 } else { 60.0 });
        let (column, _) = field();
        assert_eq!(column.shown(std::slice::from_ref(&edge), 3, 0.0).share, 0.0);
        assert!(column.pieces(&[edge], 2..5).iter().all(|p| !p.shows));
    }
}
