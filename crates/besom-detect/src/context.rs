//! A mark among the other marks of its frame.
//!
//! How far one doubtful mark can be believed depends on its company: where motion fails, a hundred doubtful marks stand
//! together and none is dirt; on a frame with much plain dirt another faint one is likely. The first judgement of every
//! suspect is counted, over the frame and around the mark, and a second small ensemble judges with these counts.

use besom_scan::Rect;

use crate::cells::{Cells, centre};

/// Names of the counts, in the order of [`Company::values`].
pub const NAMES: [&str; 9] = [
    "frame_sure",
    "frame_doubtful",
    "frame_marks",
    "frame_share",
    "frame_rank",
    "near_share",
    "near_doubtful",
    "wide_share",
    "wide_doubtful",
];

/// What the other marks of a frame say; see [`NAMES`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Company {
    /// One value a name.
    pub values: [f32; NAMES.len()],
}

/// A first judgement above which a mark counts as sure, and below which it counts for nothing.
const SURE: f32 = 0.7;
const DOUBTFUL: f32 = 0.1;

/// What a mark adds to its cell: its judgement, itself, and itself when it is doubtful.
fn counts(judgement: f32) -> [f32; 3] {
    [judgement, 1.0, f32::from(judgement > DOUBTFUL && judgement <= SURE)]
}

/// The company of each mark of a frame of `width` x `height` pixels, given the bounds and the first judgement (0 to 1) of
/// all of them. A mark is not counted into its own company. Counts are taken a megapixel and as ln(1 + n).
pub fn companies(marks: &[(Rect, f32)], width: usize, height: usize) -> Vec<Company> {
    let megapixels = ((width * height) as f32 / 1e6).max(1e-3);
    let mut cells = [(); 3].map(|()| Cells::new(width, height));
    let (mut sure, mut doubtful, mut total) = (0.0f32, 0.0f32, 0.0f32);
    for (bounds, p) in marks {
        for (cells, count) in cells.iter_mut().zip(counts(*p)) {
            cells.add(centre(bounds), count);
        }
        sure += f32::from(*p > SURE);
        doubtful += counts(*p)[2];
        total += p;
    }
    let mut order: Vec<usize> = (0..marks.len()).collect();
    order.sort_by(|a, b| marks[*b].1.total_cmp(&marks[*a].1).then(a.cmp(b)));
    let mut rank = vec![0usize; marks.len()];
    for (place, k) in order.into_iter().enumerate() {
        rank[k] = place;
    }
    let per_megapixel = |n: f32| libm::log1pf(n.max(0.0) / megapixels);
    let others = (marks.len() as f32 - 1.0).max(1.0);
    let company = |(k, (bounds, p)): (usize, &(Rect, f32))| {
        let own = counts(*p);
        let mut values = [0.0f32; NAMES.len()];
        values[0] = per_megapixel(sure - f32::from(*p > SURE));
        values[1] = per_megapixel(doubtful - own[2]);
        values[2] = per_megapixel(marks.len() as f32);
        values[3] = (total - p).max(0.0) / others;
        values[4] = per_megapixel(rank[k] as f32);
        for (i, reach) in [(5, 1), (7, 4)] {
            let [sum, count, doubt] = [0, 1, 2].map(|k| cells[k].around(centre(bounds), reach).0 - own[k]);
            values[i] = sum.max(0.0) / (count.max(0.0) + 0.5);
            values[i + 1] = libm::log1pf(doubt.max(0.0));
        }
        Company { values }
    };
    marks.iter().enumerate().map(company).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(x: i32, y: i32, p: f32) -> (Rect, f32) {
        (Rect::new(x, y, x + 4, y + 4), p)
    }

    #[test]
    fn a_mark_is_not_its_own_company() {
        let alone = companies(&[mark(100, 100, 0.9)], 1000, 1000)[0].values;
        assert_eq!(alone[0], 0.0);
        assert_eq!(alone[3], 0.0);
        assert_eq!(&alone[4..], &[0.0; 5]);
    }

    #[test]
    fn near_and_far_company_are_told_apart() {
        let marks = [mark(100, 100, 0.9), mark(120, 100, 0.5), mark(800, 800, 0.5)];
        let found = companies(&marks, 1000, 1000);
        let named = |k: usize, name: &str| found[k].values[NAMES.iter().position(|n| *n == name).unwrap_or(99)];
        approx::assert_relative_eq!(named(0, "near_doubtful"), 2f32.ln());
        assert_eq!(named(2, "near_doubtful"), 0.0);
        approx::assert_relative_eq!(named(0, "frame_doubtful"), 3f32.ln());
        approx::assert_relative_eq!(named(1, "frame_sure"), 2f32.ln());
        assert_eq!(named(0, "frame_rank"), 0.0);
        assert!(named(2, "frame_rank") > named(1, "frame_rank"));
    }

    #[test]
    fn marks_at_the_border_and_beyond_do_not_matter() {
        let marks = [mark(-6, -6, 0.5), mark(998, 998, 0.5), mark(5, 5, 0.2)];
        assert_eq!(companies(&marks, 1000, 1000).len(), 3);
    }
}
