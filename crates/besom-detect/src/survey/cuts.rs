//! Where a new shot begins.

use besom_motion::order::middle;

use super::Thumbnail;

/// A change this large is a cut whatever happens around it only if it also stands out from its surroundings by
/// [`STANDS_OUT`]. Both were read off the development clips: within shots the measure stays under 0.35, across the
/// cuts of an outside clip it lies above 0.5.
const CUT: f32 = 0.36;
/// A cut is this many times as unlike as the median of the changes around it.
const STANDS_OUT: f32 = 2.5;
/// The least change that is usual.
const QUIET: f32 = 0.05;
/// Changes on each side that count as the surroundings.
const AROUND: usize = 12;

/// So many odd frames in a row (a flash, frames damaged whole) are bridged when the frames before and after them are alike.
/// A shot of so few frames between two parts of one shot is taken for such a flash.
const BRIDGED: usize = 3;
/// Two frames are alike when they differ by less than this share of [`CUT`], or of the change between them that is in
/// question: across a cut, all pairs differ about as much; motion over a few frames does not reach it.
const ALIKE: f32 = 0.6;

/// The positions at which a new shot begins, from the thumbnails of consecutive frames (`None` where a frame cannot be read;
/// the last readable one stands in for it). Position 0 is not listed.
///
/// A change is a cut when it is large, stands out from the changes around it, and the picture before it does not come back
/// after up to three odd frames.
pub fn cuts(thumbnails: &[Option<Thumbnail>]) -> Vec<usize> {
    let known: Vec<(usize, &Thumbnail)> =
        thumbnails.iter().enumerate().filter_map(|(i, t)| t.as_ref().map(|t| (i, t))).collect();
    let change: Vec<f32> = known.windows(2).map(|w| w[0].1.unlike(w[1].1)).collect();
    // `change[k]` lies between known frames k and k + 1.
    (0..change.len())
        .filter(|k| change[*k] >= CUT && change[*k] >= STANDS_OUT * usual(&change, *k) && !bridged(&known, &change, *k))
        .map(|k| known[k + 1].0)
        .collect()
}

/// The median of the changes around one.
fn usual(change: &[f32], k: usize) -> f32 {
    let mut around: Vec<f32> =
        (k.saturating_sub(AROUND)..(k + AROUND + 1).min(change.len())).filter(|j| *j != k).map(|j| change[j]).collect();
    if around.is_empty() { QUIET } else { middle(&mut around).max(QUIET) }
}

/// Whether the picture before a change is there again a few frames later.
fn bridged(known: &[(usize, &Thumbnail)], change: &[f32], k: usize) -> bool {
    let alike = |a: usize, b: usize| {
        let bound = ALIKE * CUT.max(change[k]);
        known.get(a).zip(known.get(b)).is_some_and(|((_, a), (_, b))| a.unlike(b) < bound)
    };
    (k.saturating_sub(BRIDGED)..=k).any(|a| (k + 1..=a + BRIDGED + 1).any(|b| b > a + 1 && alike(a, b)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use besom_scan::Plane;
    use proptest::prelude::*;

    use super::*;

    /// Frame `n` of a made scene: soft shapes of its own, panning, with grain.
    fn scene(scene: u32, n: u32, gain: f32) -> Thumbnail {
        let part = |k: u32| ((scene * 7 + k * 13) % 29) as f32 / 29.0;
        let mut state = scene * 1009 + n;
        let plane = Plane::from_fn(128, 96, |x, y| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let grain = (state >> 8) as f32 / 16_777_216.0 - 0.5;
            let (x, y) = (x as f32 + 2.0 * n as f32, y as f32);
            let shapes = (x * (0.05 + 0.2 * part(1)) + y * (0.3 * part(2) - 0.15) + 6.0 * part(3)).sin()
                + (y * (0.06 + 0.2 * part(4)) + x * (0.2 * part(5) - 0.1) + 6.0 * part(6)).cos();
            95.0 + gain * (300.0 + 90.0 * shapes) + 20.0 * grain
        });
        Thumbnail::new(&[plane])
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn shots_put_together_come_apart_where_they_were_joined(
            lengths in proptest::collection::vec(4u32..14, 1..5), first in 0u32..20,
        ) {
            let (mut reel, mut joins) = (Vec::new(), Vec::new());
            for (shot, length) in lengths.iter().enumerate() {
                joins.push(reel.len());
                reel.extend((0..*length).map(|n| Some(scene(first + shot as u32, n, 1.0))));
            }
            prop_assert_eq!(cuts(&reel), &joins[1..]);
        }
    }

    #[test]
    fn flashes_of_up_to_three_frames_and_unreadable_frames_are_no_cuts() {
        for odd in 1..=3 {
            for gain in [0.05, 0.4, 1.9] {
                let reel: Vec<_> =
                    (0..20).map(|n| Some(scene(3, n, if (9..9 + odd).contains(&n) { gain } else { 1.0 }))).collect();
                assert_eq!(cuts(&reel), [0usize; 0], "{odd} frames at {gain}");
            }
            let reel: Vec<_> =
                (0..20).map(|n| if (9..9 + odd).contains(&n) { None } else { Some(scene(3, n, 1.0)) }).collect();
            assert_eq!(cuts(&reel), [0usize; 0]);
        }
    }

    #[test]
    fn a_fade_to_black_is_no_cut() {
        let fade: Vec<_> = (0..40).map(|n| Some(scene(5, n, (32.0 - n as f32).clamp(0.0, 16.0) / 16.0))).collect();
        assert_eq!(cuts(&fade), [0usize; 0]);
    }
}
