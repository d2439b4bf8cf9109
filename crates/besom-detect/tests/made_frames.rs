//! Detection on frames whose every defect is known because it was made.
#![allow(clippy::unwrap_used)]

use besom_detect::evidence;
use besom_detect::survey::{Thumbnail, cuts, measure_grain};
use besom_detect::{Candidate, Grain, Kind, Model, Polarity, Prepared, Settings, Spares, Window, detect_in};
use besom_scan::Plane;

const W: usize = 320;
const H: usize = 240;

fn scene(x: f32, y: f32) -> f32 {
    450.0
        + 70.0 * (0.21 * x + 0.03 * y).sin()
        + 60.0 * (0.17 * y - 0.05 * x).cos()
        + 40.0 * (0.108 * x + 0.11 * y).sin()
}

/// Gaussian noise of standard deviation 1: `SplitMix64` (Steele, Lea and Flood 2014, from memory) through Box and Muller.
fn noise(seed: u32) -> impl FnMut() -> f32 {
    let mut state = u64::from(seed).wrapping_mul(0x2545_F491_4F6C_DD1D);
    let mut uniform = move || {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    };
    move || {
        let (u, v) = (1.0 - uniform(), uniform());
        ((-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()) as f32
    }
}

/// Frame `n` of a pan of three pixels a frame with grain of 6 codes in each channel.
fn frame(n: u32) -> Vec<Plane> {
    (0..3)
        .map(|c| {
            let mut grain = noise(100 * n + c);
            Plane::from_fn(W, H, |x, y| scene(x as f32 + 3.0 * n as f32, y as f32) + 6.0 * grain())
        })
        .collect()
}

/// Marks: place, radius, codes.
const MARKS: [(i32, i32, i32, f32); 6] = [
    (40, 40, 2, 40.0),
    (120, 60, 3, 950.0),
    (200, 90, 4, 60.0),
    (260, 150, 2, 960.0),
    (80, 180, 5, 70.0),
    (170, 200, 3, 940.0),
];

fn soiled(n: u32) -> Vec<Plane> {
    let mut planes = frame(n);
    for plane in &mut planes {
        for (cx, cy, r, value) in MARKS {
            for y in cy - r..=cy + r {
                for x in cx - r..=cx + r {
                    if (x - cx).pow(2) + (y - cy).pow(2) <= r * r {
                        plane.set(x as usize, y as usize, value);
                    }
                }
            }
        }
    }
    planes
}

fn grain() -> Grain {
    Grain::flat(3, 2.5)
}

fn found(dirty: bool, sides: [bool; 4]) -> Vec<Candidate> {
    found_in(&Spares::default(), dirty, sides)
}

fn found_in(spares: &Spares, dirty: bool, sides: [bool; 4]) -> Vec<Candidate> {
    let make = |n: u32, wanted: bool| wanted.then(|| Prepared::new(frame(n)).unwrap());
    let around = [make(1, sides[0]), make(2, sides[1]), make(4, sides[2]), make(5, sides[3])];
    let current = Prepared::new(if dirty { soiled(3) } else { frame(3) }).unwrap();
    let window = Window {
        before_last: around[0].as_ref(),
        previous: around[1].as_ref(),
        current: &current,
        next: around[2].as_ref(),
        after_next: around[3].as_ref(),
    };
    detect_in(spares, &window, &grain(), &Model::built_in().unwrap(), &Settings::default())
}

fn hit(candidates: &[Candidate], x: i32, y: i32) -> Option<&Candidate> {
    // Of candidates on one another (a faint line of the scene under a mark), the surest.
    let there = candidates.iter().filter(|c| c.mask.contains(x as u32, y as u32));
    there.max_by(|a, b| a.confidence.total_cmp(&b.confidence))
}

#[test]
fn every_mark_is_found_with_its_sign_and_sure() {
    let candidates = found(true, [true; 4]);
    for (x, y, r, value) in MARKS {
        let c = hit(&candidates, x, y).unwrap_or_else(|| panic!("the mark at {x}, {y} was not found"));
        assert_eq!(c.polarity, if value < 450.0 { Polarity::Dark } else { Polarity::Bright });
        assert_eq!(c.kind, Kind::Dust);
        assert!(c.confidence > 0.5, "{x}, {y}: {}", c.confidence);
        let area = (3.1 * (r * r) as f32) as usize;
        assert!(c.area() >= area && c.area() < 4 * area + 30, "{x}, {y}: {} of {area}", c.area());
        assert!(!c.risk.one_sided && !c.reasons.is_empty() && c.reasons.len() <= 3);
    }
}

#[test]
fn a_clean_pan_has_next_to_nothing() {
    let sure = found(false, [true; 4]).into_iter().filter(|c| c.confidence >= 0.4).count();
    assert!(sure <= 1, "{sure} candidates on a clean frame");
}

#[test]
fn one_side_is_enough_and_is_said() {
    for sides in [[true, true, false, false], [false, false, true, true], [false, true, false, false]] {
        let candidates = found(true, sides);
        let known: Vec<_> = MARKS.iter().filter_map(|(x, y, _, _)| hit(&candidates, *x, *y)).collect();
        assert!(known.len() >= 5, "{sides:?}: {} of 6", known.len());
        assert!(known.iter().all(|c| c.risk.one_sided));
    }
    assert!(found(true, [false; 4]).is_empty());
}

#[test]
fn the_result_does_not_depend_on_threads() {
    let on = |threads: usize| {
        rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| found(true, [true; 4]))
    };
    assert_eq!(on(1), on(3));
}

#[test]
fn what_other_frames_left_in_spare_planes_does_not_matter() {
    let (spares, fresh) = (Spares::default(), found(true, [true; 4]));
    for (dirty, sides) in [(true, [true; 4]), (false, [true, true, false, false]), (true, [true; 4])] {
        let again = found_in(&spares, dirty, sides);
        assert!(again == fresh || !dirty, "frames that went before change what is found");
    }
}

#[test]
fn the_spike_rule_has_the_false_alarms_that_theory_gives() {
    // For independent Gaussian grain the rate of SDIp at k sigmas is 2 * Int phi(x) Phi(x-k)^2 dx: 5.4e-3 at k = 3 and 3.5e-4
    // at k = 4 (integrated numerically from the definition).
    let side = 1400;
    let plane = |seed| {
        let mut grain = noise(seed);
        Plane::from_fn(side, side, |_, _| 500.0 + 5.0 * grain())
    };
    let e = evidence::test(&plane(1), &plane(2), &plane(3), &vec![5.0; 1024]);
    let rate = |k: f32| e.spike.as_slice().iter().filter(|v| v.abs() >= k).count() as f32 / (side * side) as f32;
    approx::assert_relative_eq!(rate(3.0), 5.4e-3, max_relative = 0.05);
    approx::assert_relative_eq!(rate(4.0), 3.5e-4, max_relative = 0.15);
}

#[test]
fn grain_is_measured_as_it_was_made() {
    let (a, b) = (Prepared::new(frame(1)).unwrap(), Prepared::new(frame(2)).unwrap());
    let measured = measure_grain(&[(&a, &b)], 3, 99.0);
    // Three independent channels of 6 codes: luma 6 * sqrt(1/16 + 1/4 + 1/16), and the binomial filter keeps the root of
    // (36/256) of white grain.
    let luma = 6.0 * 0.375f32.sqrt() * (36.0f32 / 256.0).sqrt();
    approx::assert_relative_eq!(measured.luma_at(450.0), luma, max_relative = 0.25);
    approx::assert_relative_eq!(measured.channel_at(0, 450.0), 6.0, max_relative = 0.2);
    assert_eq!(measure_grain(&[], 3, 4.5), Grain::flat(3, 4.5));
}

fn thumbnail(picture: impl Fn(f32, f32) -> f32) -> Thumbnail {
    Thumbnail::new(&[Plane::from_fn(160, 120, |x, y| picture(x as f32, y as f32))])
}

#[test]
fn cuts_are_found_and_flashes_and_gaps_are_not() {
    let other =
        |x: f32, y: f32| 300.0 + 150.0 * (0.05 * x).cos() * (0.09 * y).sin() + if y > 60.0 { 200.0 } else { 0.0 };
    let mut reel: Vec<Option<Thumbnail>> =
        (0..20).map(|n| Some(thumbnail(|x, y| scene(x + 2.0 * n as f32, y) + 4.0 * (n % 3) as f32))).collect();
    reel.extend((0..20).map(|n| Some(thumbnail(|x, y| other(x, y + n as f32)))));
    assert_eq!(cuts(&reel), vec![20]);
    reel[7] = Some(thumbnail(|x, y| 0.1 * scene(x, y) + 900.0));
    assert_eq!(cuts(&reel), vec![20], "a flash is no cut");
    reel[31] = None;
    assert_eq!(cuts(&reel), vec![20], "a frame that cannot be read is no cut");
    reel[20] = None;
    assert_eq!(cuts(&reel), vec![21], "the first readable frame of the shot begins it");
}
