//! Made scenes: what is a mark in the gate is known from how they are made.
#![allow(clippy::unwrap_used)]

use besom_scan::Plane;

use super::*;

/// A number from -1 to 1 for a place, the same for the same place.
fn hashed(x: i32, y: i32, seed: u32) -> f32 {
    let mut h =
        (x as u32).wrapping_mul(0x9E37_79B9) ^ (y as u32).wrapping_mul(0x85EB_CA6B) ^ seed.wrapping_mul(0xC2B2_AE35);
    for _ in 0..3 {
        h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
    }
    (h >> 16) as f32 / 32_767.5 - 1.0
}

/// Hashed numbers on a lattice of a size, bilinear between.
fn lattice(x: f32, y: f32, size: f32, seed: u32) -> f32 {
    let (u, v) = (x / size, y / size);
    let (i, j) = (u.floor(), v.floor());
    let (s, t) = (u - i, v - j);
    let at = |di: i32, dj: i32| hashed(i as i32 + di, j as i32 + dj, seed);
    (at(0, 0) * (1.0 - s) + at(1, 0) * s) * (1.0 - t) + (at(0, 1) * (1.0 - s) + at(1, 1) * s) * t
}

/// A texture of two sizes, panned by `pan` pixels a frame to the left, with grain of about three codes.
fn scene(frame: usize, pan: f32, x: usize, y: usize) -> f32 {
    let (u, v) = (x as f32 + pan * frame as f32, y as f32);
    let grain = 5.0 * hashed(x as i32, y as i32, 77 + frame as u32);
    450.0 + 90.0 * lattice(u, v, 23.0, 1) + 40.0 * lattice(u, v, 7.0, 2) + grain
}

/// Five frames; `mark` gives the code that a mark shows at a pixel of a frame, 0 where there is none.
fn shot(pan: f32, mark: impl Fn(usize, usize, usize) -> f32) -> Vec<Option<Prepared>> {
    (0..5)
        .map(|n| {
            let code = |x: usize, y: usize| match mark(n, x, y) {
                0.0 => scene(n, pan, x, y),
                code => code,
            };
            Prepared::new(vec![Plane::from_fn(240, 160, code)])
        })
        .collect()
}

fn found(shot: &[Option<Prepared>], n: usize) -> Vec<GateSuspect> {
    suspected(&Window::of_shot(shot, n).unwrap(), &Grain::flat(1, 1.6))
}

/// A hair that reaches in from the upper edge, three pixels wide.
fn hair(x: usize, y: usize) -> bool {
    y < 60 && (x as f32 - 120.0 - 12.0 * libm::sinf(y as f32 / 20.0)).abs() < 1.6
}

fn at_hair(suspects: &[GateSuspect]) -> Option<&GateSuspect> {
    let share = |s: &&GateSuspect| {
        s.mask.pixels().filter(|(x, y)| hair(*x as usize, *y as usize)).count() as f32 / s.mask.area() as f32
    };
    suspects.iter().filter(|s| s.mask.area() > 60 && share(s) > 0.6).max_by_key(|s| s.mask.area())
}

#[test]
fn a_hair_in_the_gate_stands_still_while_the_picture_pans() {
    let shot = shot(4.0, |_, x, y| if hair(x, y) { 180.0 } else { 0.0 });
    let suspects = found(&shot, 2);
    let mark = at_hair(&suspects).unwrap();
    assert_eq!(mark.polarity, Polarity::Dark);
    assert!(mark.get("stays_near") < 3.0 && mark.get("stays_less_goes") > 5.0, "{:?}", mark.values);
    assert_eq!(mark.get("frames"), 4.0);
    assert_eq!(mark.get("at_edge"), 1.0);
    // At the end of the shot there are two frames, both on one side.
    assert_eq!(at_hair(&found(&shot, 4)).unwrap().get("frames"), 2.0);
}

#[test]
fn a_still_picture_tells_nothing() {
    let suspects = found(&shot(0.0, |_, x, y| if hair(x, y) { 180.0 } else { 0.0 }), 2);
    assert!(suspects.is_empty(), "{} suspects", suspects.len());
}

#[test]
fn what_goes_with_the_picture_is_no_mark() {
    // The same shape, but of the scene: it pans as well.
    let suspects = found(
        &shot(4.0, |n, x, y| if (x + 4 * n).checked_sub(8).is_some_and(|x| hair(x, y)) { 180.0 } else { 0.0 }),
        2,
    );
    let left = at_hair(&suspects).map(|s| s.get("stays_less_goes"));
    assert!(left.is_none_or(|gain| gain < 0.0), "{left:?}");
}

#[test]
fn dust_of_one_frame_is_no_mark_and_may_hide_one_once() {
    let dust = |n: usize, x: usize, y: usize| n == 2 && (60..66).contains(&x) && (80..86).contains(&y);
    let shot = shot(4.0, |n, x, y| {
        if dust(n, x, y) {
            150.0
        } else if n != 1 && hair(x, y) {
            180.0
        } else {
            0.0
        }
    });
    let suspects = found(&shot, 2);
    assert!(at_hair(&suspects).is_some(), "one frame without it is forgiven");
    let on_dust = |s: &GateSuspect| s.mask.pixels().any(|(x, y)| dust(2, x as usize, y as usize));
    assert!(!suspects.iter().any(on_dust));
}

#[test]
fn two_threads_find_what_one_finds() {
    let shot = shot(3.0, |_, x, y| if hair(x, y) { 800.0 } else { 0.0 });
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| found(&shot, 2)).into_iter().map(|s| (s.mask, s.values)).collect::<Vec<_>>()
    };
    let one = on(1);
    assert!(!one.is_empty());
    assert_eq!(one, on(3));
}
