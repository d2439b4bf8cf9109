//! Connected components and distances on masks.

use besom_detect::components::connected;
use besom_scan::{Plane, Run, RunMask};

/// An object has at least this many pixels; smaller components are neither truth nor claim.
pub const LEAST_PIXELS: usize = 4;

/// The 8-connected components of a plane's pixels for which `inside` holds, at least `least` pixels each, ordered by their
/// first pixel in row order.
pub fn objects(plane: &Plane<u8>, inside: impl Fn(u8) -> bool, least: usize) -> Vec<RunMask> {
    let inside = RunMask::from_plane(&plane.map(|v| u8::from(inside(v))), 0, 0);
    connected(&inside).into_iter().filter(|object| object.area() >= least).collect()
}

/// Ones at every pixel whose squared distance to a non-zero pixel of `plane` is at most `squared` (so 9 means "within
/// three pixels", Euclidean).
pub fn near(plane: &Plane<u8>, squared: u32) -> Plane<u8> {
    let reach = squared.isqrt() as i64;
    let runs = RunMask::from_plane(plane, 0, 0);
    let mut grown = Vec::with_capacity(runs.runs().len() * (2 * reach as usize + 1));
    for run in runs.runs() {
        for dy in -reach..=reach {
            let y = i64::from(run.y) + dy;
            if y < 0 || y >= plane.height() as i64 {
                continue;
            }
            let side = (squared - (dy * dy) as u32).isqrt();
            grown.push(Run { y: y as u32, x0: run.x0.saturating_sub(side), x1: run.x1 + side });
        }
    }
    let mut marked = Plane::new(plane.width(), plane.height());
    RunMask::from_runs(grown).paint(&mut marked, 1);
    marked
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A plane from a picture: `.` is 0, digits are themselves.
    pub(crate) fn drawn(rows: &[&str]) -> Plane<u8> {
        let value = |x: usize, y: usize| rows[y].as_bytes()[x];
        Plane::from_fn(rows[0].len(), rows.len(), |x, y| if value(x, y) == b'.' { 0 } else { value(x, y) - b'0' })
    }

    fn sizes(plane: &Plane<u8>, least: usize) -> Vec<usize> {
        objects(plane, |v| v != 0, least).iter().map(RunMask::area).collect()
    }

    #[test]
    fn corners_connect() {
        let plane = drawn(&[
            "1...1.", //
            ".1.1..", //
            "..1..1", //
            "......", //
            "11...1",
        ]);
        assert_eq!(sizes(&plane, 1), vec![5, 1, 2, 1]);
        assert_eq!(sizes(&plane, 2), vec![5, 2]);
    }

    #[test]
    fn arms_that_meet_late_are_one() {
        let plane = drawn(&[
            "1.1.1.1", //
            "1.1.1.1", //
            "1111111", //
            ".......", //
            "1.11..1", //
            "1.1...1", //
            "111.111",
        ]);
        assert_eq!(sizes(&plane, 1), vec![15, 8, 5]);
        assert_eq!(sizes(&Plane::new(0, 0), 1), Vec::<usize>::new());
    }

    #[test]
    fn near_is_a_disc() {
        let mut plane = Plane::new(9, 9);
        plane.set(4, 4, 1u8);
        let disc = near(&plane, 9);
        let wanted = drawn(&[
            ".........",
            "....1....",
            "..11111..",
            "..11111..",
            ".1111111.",
            "..11111..",
            "..11111..",
            "....1....",
            ".........",
        ]);
        assert_eq!(disc, wanted);
    }

    /// Plain flood fill: component numbers by first pixel in row order.
    fn flooded(plane: &Plane<u8>) -> (Plane<u8>, u8) {
        let mut numbers = Plane::new(plane.width(), plane.height());
        let mut count = 0;
        for y in 0..plane.height() as i32 {
            for x in 0..plane.width() as i32 {
                if plane.get(x, y) != Some(1) || numbers.get(x, y) != Some(0) {
                    continue;
                }
                count += 1;
                let mut todo = vec![(x, y)];
                while let Some((x, y)) = todo.pop() {
                    if plane.get(x, y) == Some(1) && numbers.get(x, y) == Some(0) {
                        numbers.set(x as usize, y as usize, count);
                        todo.extend((-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (x + dx, y + dy))));
                    }
                }
            }
        }
        (numbers, count)
    }

    proptest! {
        #[test]
        fn components_match_a_flood_fill(bits in proptest::collection::vec(0u8..3, 13 * 11)) {
            let plane = Plane::from_fn(13, 11, |x, y| u8::from(bits[y * 13 + x] == 0));
            let (numbers, count) = flooded(&plane);
            let found = objects(&plane, |v| v != 0, 1);
            prop_assert_eq!(found.len(), usize::from(count));
            let mut painted = Plane::new(13, 11);
            for (i, object) in found.iter().enumerate() {
                object.paint(&mut painted, i as u8 + 1);
            }
            prop_assert_eq!(painted, numbers);
        }

        #[test]
        fn near_matches_the_distance(bits in proptest::collection::vec(0u8..12, 13 * 11), squared in 0u32..40) {
            let plane = Plane::from_fn(13, 11, |x, y| u8::from(bits[y * 13 + x] == 0));
            let marked: Vec<(i32, i32)> =
                (0..143).map(|i| (i % 13, i / 13)).filter(|(x, y)| plane.get(*x, *y) == Some(1)).collect();
            let plain = Plane::from_fn(13, 11, |x, y| {
                let close = |(u, v): &(i32, i32)| (x as i32 - u).pow(2) + (y as i32 - v).pow(2) <= squared as i32;
                u8::from(marked.iter().any(close))
            });
            prop_assert_eq!(near(&plane, squared), plain);
        }
    }
}
