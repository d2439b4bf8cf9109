//! Frames damaged whole that were made, and frames that only look so.
#![allow(clippy::unwrap_used)]

use besom_scan::Plane;

use super::*;

const W: usize = 512;
const H: usize = 384;

/// Frame `n` of a pan of `speed` pixels a frame with grain; `seed` is the grain's.
fn frame(at: f32, seed: u32, grain: f32) -> Plane {
    let mut state = seed.wrapping_mul(747_796_405).wrapping_add(1);
    Plane::from_fn(W, H, |x, y| {
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / 16_777_216.0 - 0.5
        };
        let noise = 2.0 * grain * (next() + next() + next());
        let (x, y) = (x as f32 + at, y as f32);
        420.0 + 110.0 * (0.041 * x).sin() * (0.037 * y).cos() + 70.0 * (0.11 * x + 0.05 * y).sin() + noise
    })
}

/// Five frames of a pan, the middle one changed.
fn five(speed: f32, grain: f32, change: impl Fn(usize, Plane) -> Plane) -> Vec<Sketch> {
    (0..5).map(|n| Sketch::new(&[change(n, frame(speed * n as f32, n as u32 + 1, grain))]).unwrap()).collect()
}

fn seen(sketches: &[Sketch]) -> Vec<Odd> {
    all(&std::array::from_fn(|k| sketches.get(k)))
}

fn what(sketches: &[Sketch]) -> Vec<What> {
    seen(sketches).iter().map(|o| o.what).collect()
}

#[test]
fn an_undamaged_pan_is_not_odd() {
    for speed in [0.0, 3.0, 11.0] {
        for grain in [0.0, 6.0] {
            assert_eq!(what(&five(speed, grain, |_, p| p)), [], "{speed} {grain}");
        }
    }
}

#[test]
fn a_flash_is_one_frame_and_at_risk() {
    for gain in [0.6, 1.35] {
        let found = seen(&five(3.0, 6.0, |n, p| if n == 2 { p.map(|v| v * gain) } else { p }));
        assert_eq!(found.iter().map(|o| o.what).collect::<Vec<_>>(), [What::Flash], "{gain}");
        assert!(found[0].risk.any() && found[0].confidence < 0.5);
        assert_eq!(found[0].polarity, if gain > 1.0 { Polarity::Bright } else { Polarity::Dark });
    }
    // A light that stays on, and one that goes up slowly, are the scene's.
    assert_eq!(what(&five(3.0, 6.0, |n, p| if n >= 2 { p.map(|v| v * 1.35) } else { p })), []);
    assert_eq!(what(&five(3.0, 6.0, |n, p| p.map(|v| v * (1.0 + 0.15 * n as f32)))), []);
}

#[test]
fn covered_torn_and_lost_frames_are_told_apart_and_masked() {
    let paint = |share: f32, code: f32| {
        move |n: usize, p: Plane| {
            if n != 2 {
                return p;
            }
            let edge = move |y: usize| share * W as f32 + 12.0 * (0.1 * y as f32).sin();
            Plane::from_fn(W, H, |x, y| if (x as f32) < edge(y) { code + (x * 7 % 11) as f32 } else { p.at(x, y) })
        }
    };
    for (share, code, expected) in
        [(0.3, 950.0, What::Torn), (0.7, 200.0, What::Covered), (0.3, 620.0, What::Covered), (1.2, 30.0, What::Lost)]
    {
        let found = seen(&five(3.0, 6.0, paint(share, code)));
        assert_eq!(found.iter().map(|o| o.what).collect::<Vec<_>>(), [expected], "{share} {code}");
        assert!(found[0].confidence > 0.6);
        let area = found[0].clone().candidate(W, H, 6.0).area() as f32 / (W * H) as f32;
        assert!((area - share.min(1.0)).abs() < 0.08, "{area} of the frame for {share}");
    }
}

#[test]
fn the_same_grain_twice_is_a_duplicate_and_a_held_drawing_is_not() {
    // The frame before once more, a fifth of a pixel lower and with the scanner's own noise.
    let again = |n: usize, p: Plane| {
        if n != 2 {
            return p;
        }
        let before = frame(3.0, 2, 6.0);
        Plane::from_fn(W, H, |x, y| {
            0.8 * before.at(x, y) + 0.2 * before.clamped(x as i32, y as i32 + 1) + (x * 5 + y * 3) as f32 % 3.0 - 1.0
        })
    };
    let found = seen(&five(3.0, 6.0, again));
    assert_eq!(found.iter().map(|o| o.what).collect::<Vec<_>>(), [What::Duplicated]);
    assert!(found[0].confidence > 0.7);
    assert!(!tells_of_a_missing_frame(&found[0].clone().candidate(64, 48, 6.0)));
    // A camera that stands still: the pictures are the same, the grain is not.
    assert_eq!(what(&five(0.0, 6.0, |_, p| p)), []);
    // Drawings without grain, each held for two frames.
    assert_eq!(what(&five(0.0, 0.0, |n, _| frame(4.0 * n.div_ceil(2) as f32, 1, 0.0))), []);
    // One picture without grain held once could be meant so.
    let held = seen(&five(4.0, 0.0, |n, p| if n == 2 { frame(4.0, 1, 0.0) } else { p }));
    assert!(held.iter().all(|o| o.confidence < 0.5), "{held:?}");
}

#[test]
fn a_missing_frame_is_seen_in_a_pan_and_not_in_a_jerk_that_stays() {
    let pan = |places: [f32; 5]| five(0.0, 6.0, move |n, _| frame(places[n], n as u32 + 1, 6.0));
    let found = seen(&pan([0.0, 6.0, 18.0, 24.0, 30.0]));
    assert_eq!(found.iter().map(|o| o.what).collect::<Vec<_>>(), [What::Missing]);
    assert!(found[0].risk.any() && found[0].confidence < 0.5);
    assert!(tells_of_a_missing_frame(&found[0].clone().candidate(64, 48, 6.0)));
    assert_eq!(what(&pan([0.0, 6.0, 18.0, 30.0, 42.0])), [], "the pan has become faster");
    assert_eq!(what(&pan([0.0, 0.2, 12.0, 12.2, 12.4])), [], "a camera that stood still was pushed");
}

#[test]
fn at_the_end_of_a_shot_a_flash_is_the_cuts_own() {
    let sketches = five(3.0, 6.0, |n, p| if n == 2 { p.map(|v| v * 1.4) } else { p });
    let found = all(&[sketches.first(), sketches.get(1), sketches.get(2), None, None]);
    assert!(found.iter().all(|o| o.what == What::FlashAtCut && o.risk.one_sided), "{found:?}");
}
