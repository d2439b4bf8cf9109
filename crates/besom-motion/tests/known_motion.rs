//! Motion that is known because it was made.
#![allow(clippy::unwrap_used)]

use besom_motion::compensate::{compensate, compensate_plain};
use besom_motion::{Flicker, Pyramid, Vector, estimate_field};
use besom_scan::Plane;

/// Smooth texture that repeats nowhere: cubic value noise at three sizes, in analysis codes.
fn scene(x: f32, y: f32) -> f32 {
    500.0
        + 160.0 * lattice(x / 31.0, y / 31.0, 1)
        + 110.0 * lattice(x / 11.0, y / 11.0, 2)
        + 60.0 * lattice(x / 5.0, y / 5.0, 3)
}

/// Random values on whole positions, joined by smooth steps; -1 to 1.
fn lattice(x: f32, y: f32, seed: i32) -> f32 {
    let (fx, fy) = (x.floor(), y.floor());
    let value = |i: f32, j: f32| {
        let mut h = (i as i32).wrapping_mul(374_761_393)
            ^ (j as i32).wrapping_mul(668_265_263)
            ^ seed.wrapping_mul(1_274_126_177);
        h = (h ^ (h >> 13)).wrapping_mul(1_103_515_245);
        ((h ^ (h >> 16)) & 0xFFFF) as f32 / 32_767.5 - 1.0
    };
    let step = |t: f32| t * t * (3.0 - 2.0 * t);
    let (u, v) = (step(x - fx), step(y - fy));
    let top = value(fx, fy) * (1.0 - u) + value(fx + 1.0, fy) * u;
    let low = value(fx, fy + 1.0) * (1.0 - u) + value(fx + 1.0, fy + 1.0) * u;
    top * (1.0 - v) + low * v
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

fn grainy(width: usize, height: usize, seed: u32, sigma: f32, picture: impl Fn(f32, f32) -> f32) -> Plane {
    let mut grain = noise(seed);
    Plane::from_fn(width, height, |x, y| picture(x as f32, y as f32) + sigma * grain())
}

fn median_error(field: &besom_motion::MotionField, truth: impl Fn(f32, f32) -> Vector, w: usize, h: usize) -> f32 {
    let mut errors: Vec<f32> = (12..h - 12)
        .step_by(5)
        .flat_map(|y| (12..w - 12).step_by(5).map(move |x| (x as f32, y as f32)))
        .map(|(x, y)| field.at(x, y).distance(truth(x, y)))
        .collect();
    errors.sort_by(f32::total_cmp);
    errors[errors.len() / 2]
}

#[test]
fn a_shift_between_pixels_is_found_under_grain() {
    for (dx, dy) in [(0.0, 0.0), (0.35, -0.6), (3.2, 1.7), (-11.4, 6.25), (24.0, -9.5)] {
        let a = grainy(240, 180, 1, 7.0, scene);
        let b = grainy(240, 180, 2, 7.0, |x, y| scene(x - dx, y - dy));
        let field = estimate_field(&Pyramid::new(&a), &Pyramid::new(&b));
        let error = median_error(&field, |_, _| Vector::new(dx, dy), 240, 180);
        assert!(error < 0.2, "({dx}, {dy}): {error}");
    }
}

#[test]
fn turning_and_growing_is_followed() {
    let truth =
        |x: f32, y: f32| Vector::new(0.02 * (x - 120.0) - 0.03 * (y - 90.0), 0.03 * (x - 120.0) + 0.02 * (y - 90.0));
    // b is defined through a: the scene at p stands at p + v(p).
    let inverse = |x: f32, y: f32| {
        let (mut px, mut py) = (x, y);
        for _ in 0..20 {
            let v = truth(px, py);
            (px, py) = (x - v.dx, y - v.dy);
        }
        (px, py)
    };
    let a = grainy(240, 180, 3, 4.0, scene);
    let b = grainy(240, 180, 4, 4.0, |x, y| {
        let (px, py) = inverse(x, y);
        scene(px, py)
    });
    let field = estimate_field(&Pyramid::new(&a), &Pyramid::new(&b));
    assert!(median_error(&field, truth, 240, 180) < 0.25);
}

#[test]
fn dirt_does_not_steer_the_motion_around_it() {
    let a0 = grainy(240, 180, 5, 5.0, scene);
    let b = grainy(240, 180, 6, 5.0, |x, y| scene(x - 4.0, y + 2.0));
    let mut a = a0;
    for y in 80..88 {
        for x in 100..109 {
            a.set(x, y, 900.0);
        }
    }
    let field = estimate_field(&Pyramid::new(&a), &Pyramid::new(&b));
    for (x, y) in [(92.0, 84.0), (117.0, 84.0), (104.0, 70.0), (104.0, 98.0)] {
        assert!(field.at(x, y).distance(Vector::new(4.0, -2.0)) < 0.6, "{:?}", field.at(x, y));
    }
}

#[test]
fn the_fast_compensation_is_the_plain_one() {
    for (w, h) in [(64, 48), (61, 47), (9, 5), (3, 3)] {
        let a = grainy(w, h, 7, 9.0, scene);
        let b = grainy(w, h, 8, 9.0, |x, y| scene(x - 1.3, y + 0.4));
        let field = estimate_field(&Pyramid::new(&a), &Pyramid::new(&b));
        let (fast, plain) = (compensate(&b, &field), compensate_plain(&b, &field));
        for (f, p) in fast.as_slice().iter().zip(plain.as_slice()) {
            approx::assert_abs_diff_eq!(f, p, epsilon = 0.02);
        }
    }
}

#[test]
fn flicker_is_measured_through_dirt() {
    let a = grainy(320, 240, 9, 6.0, |x, y| scene(x, y) + 18.0 + 0.02 * x);
    let mut dirty = a;
    for y in (0..240).step_by(12) {
        for x in (0..320).step_by(12) {
            dirty.set(x, y, 60.0);
        }
    }
    let b = grainy(320, 240, 10, 6.0, scene);
    let flicker = Flicker::measure(&dirty, &b);
    for (x, y) in [(40.0, 40.0), (160.0, 120.0), (280.0, 200.0)] {
        approx::assert_abs_diff_eq!(flicker.at(x, y), 18.0 + 0.02 * x, epsilon = 1.5);
    }
    let mut level = b.clone();
    flicker.level(&mut level);
    approx::assert_abs_diff_eq!(level.at(160, 120) - b.at(160, 120), flicker.at(160.0, 120.0), epsilon = 0.1);
}

/// Flicker of gamma codes multiplies them: a white then moves farther than a black, wherever it stands.
#[test]
fn a_gain_is_measured_and_taken_away_through_dirt() {
    let wide = |x: f32, y: f32| 460.0 + 1.6 * (scene(x, y) - 400.0) + 300.0 * ((x - 160.0) / 160.0).powi(3);
    let b = grainy(320, 240, 14, 6.0, wide);
    for gain in [0.93f32, 1.0, 1.03, 1.08] {
        let mut a = grainy(320, 240, 13, 6.0, |x, y| gain * wide(x, y) - 4.0);
        for y in (0..240).step_by(12) {
            for x in (0..320).step_by(12) {
                a.set(x, y, 60.0);
            }
        }
        let flicker = Flicker::measure(&a, &b);
        approx::assert_abs_diff_eq!(flicker.gain(), gain, epsilon = 0.006);
        let mut level = b.clone();
        flicker.level(&mut level);
        // Means over squares of a row of blocks: grain of 6 codes is a third of a code there.
        for x0 in (2..300).step_by(40) {
            let differences = (0..400).map(|k| (x0 + k % 20, 107 + k / 20)).filter(|(x, y)| x % 12 != 0 || y % 12 != 0);
            let (sum, count) =
                differences.fold((0.0, 0.0), |(s, n), (x, y)| (s + a.at(x, y) - level.at(x, y), n + 1.0));
            approx::assert_abs_diff_eq!(sum / count, 0.0, epsilon = 3.0);
        }
    }
}

#[test]
fn a_picture_of_one_level_has_no_gain() {
    let (a, b) = (grainy(160, 120, 3, 6.0, |_, _| 518.0), grainy(160, 120, 4, 6.0, |_, _| 500.0));
    approx::assert_abs_diff_eq!(Flicker::measure(&a, &b).gain(), 1.0);
    approx::assert_abs_diff_eq!(Flicker::measure(&a, &b).mean(), 18.0, epsilon = 1.0);
}

#[test]
fn one_thread_or_two_give_the_same_bits() {
    let a = Pyramid::new(&grainy(200, 150, 11, 7.0, scene));
    let b = Pyramid::new(&grainy(200, 150, 12, 7.0, |x, y| scene(x - 6.5, y - 3.0)));
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| estimate_field(&a, &b))
    };
    let (one, two) = (on(1), on(2));
    for (x, y) in [(3.0, 3.0), (77.3, 20.1), (150.0, 148.0)] {
        assert_eq!(one.at(x, y), two.at(x, y));
    }
    let (columns, rows) = one.cells();
    assert!((0..rows).all(|r| (0..columns).all(|c| one.cell_vector(c, r) == two.cell_vector(c, r))));
}

#[test]
fn frames_of_a_few_pixels_are_no_trouble() {
    for (w, h) in [(1, 1), (2, 1), (1, 9), (7, 8), (9, 3)] {
        let a = Pyramid::new(&grainy(w, h, 13, 3.0, scene));
        let v = estimate_field(&a, &a).at(0.0, 0.0);
        assert!(v.dx.is_finite() && v.dy.is_finite());
    }
}
