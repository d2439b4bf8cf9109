//! Where a new shot begins.

use super::Thumbnail;

/// A change this large is a cut whatever happens around it only if it also stands out from its surroundings by
/// [`STANDS_OUT`]. Both were read off the development clips: within shots the measure stays under 0.35, across the
/// cuts of an outside clip it lies above 0.5.
const CUT: f32 = 0.36;
/// A cut is this many times as unlike as the median of the changes around it.
const STANDS_OUT: f32 = 2.5;
/// Changes on each side that count as the surroundings.
const AROUND: usize = 12;

/// The positions at which a new shot begins, from the thumbnails of consecutive frames (`None` where a frame cannot be read;
/// the last readable one stands in for it). Position 0 is not listed.
///
/// A single odd frame (a flash, a frame damaged whole) makes two changes: when the frames before and after it are alike,
/// neither is a cut.
pub fn cuts(thumbnails: &[Option<Thumbnail>]) -> Vec<usize> {
    let known: Vec<(usize, &Thumbnail)> =
        thumbnails.iter().enumerate().filter_map(|(i, t)| t.as_ref().map(|t| (i, t))).collect();
    let change: Vec<f32> = known.windows(2).map(|w| w[0].1.unlike(w[1].1)).collect();
    let mut found = Vec::new();
    for k in 0..change.len() {
        if change[k] < CUT {
            continue;
        }
        let mut around: Vec<f32> = (k.saturating_sub(AROUND)..(k + AROUND + 1).min(change.len()))
            .filter(|j| *j != k)
            .map(|j| change[j])
            .collect();
        around.sort_by(f32::total_cmp);
        let usual = around.get(around.len() / 2).copied().unwrap_or(0.0);
        if change[k] < STANDS_OUT * usual.max(0.05) {
            continue;
        }
        // Seen past one odd frame, is the picture the same? `change[k]` lies between known frames k and k + 1.
        let same =
            |a: usize, b: usize| known.get(a).zip(known.get(b)).is_some_and(|((_, a), (_, b))| a.unlike(b) < 0.6 * CUT);
        if same(k, k + 2) || (k > 0 && same(k - 1, k + 1)) {
            continue;
        }
        found.push(known[k + 1].0);
    }
    found
}
