//! Marks that stand out in their own frame inside regions of failed motion.
//!
//! Where the neighbouring frames show something else altogether, all of the picture stands out from them, and the temporal test
//! says nothing of a mark in it. What it differs from there is its own surroundings. Such a part is a suspect beside the region that it
//! lies in: which of the two is a mark is for the confidence to say.

use besom_motion::Sums;
use besom_scan::{Plane, Rect, RunMask};

use crate::candidate::Polarity;
use crate::components::{Component, Thresholds, connected};

/// Pixels from which an object is looked into.
const LARGE: usize = 60;
/// A part has less than this share of the object's pixels.
const MOST: f32 = 0.6;
/// What a part must stand out by from the mean around, in grain sigmas: at its best pixels, and at each.
const SEED: f32 = 6.0;
const GROW: f32 = 3.0;

/// How far around a pixel is its surroundings, on a scan of `width` columns: at least six pixels.
fn reach(width: usize) -> i32 {
    (width / 200).max(6) as i32
}

/// A part of an object.
pub(crate) struct Part {
    /// The object's place among the others.
    pub(crate) of: usize,
    /// The part.
    pub(crate) component: Component,
}

/// The parts of large objects that stand out from their surroundings in `luma` as well, in the object's own direction; `sigma` is
/// the grain for every whole code. In the order of the objects.
pub(crate) fn parts(found: &[Component], luma: &Plane, sigma: &[f32], thresholds: &Thresholds) -> Vec<Part> {
    let large = found.iter().enumerate().filter(|(_, c)| c.mask.area() >= LARGE);
    large.flat_map(|(of, c)| inside(c, luma, sigma, thresholds).map(move |component| Part { of, component })).collect()
}

fn inside(
    whole: &Component,
    luma: &Plane,
    sigma: &[f32],
    thresholds: &Thresholds,
) -> impl Iterator<Item = Component> + use<> {
    let reach = reach(luma.width());
    let window = whole.bounds.grown(reach).intersect(&luma.rect());
    let sums = sums_of(luma, &window);
    let sign = if whole.polarity == Polarity::Bright { 1.0 } else { -1.0 };
    let stands_out = |&(x, y): &(u32, u32)| {
        let mean = mean_around(&sums, &window, (x as i32, y as i32), reach);
        let unit = sigma[(mean as i32).clamp(0, sigma.len() as i32 - 1) as usize];
        sign * (luma.at(x as usize, y as usize) - mean) / unit
    };
    let above: Vec<((u32, u32), f32)> =
        whole.mask.pixels().map(|at| (at, stands_out(&at))).filter(|(_, by)| *by >= GROW).collect();
    let seeds: Vec<(u32, u32)> = above.iter().filter(|(_, by)| *by >= SEED).map(|(at, _)| *at).collect();
    // Without as many seeds as a part needs there is none.
    let above = if seeds.len() < thresholds.area { Vec::new() } else { above };
    let seeds = RunMask::from_pixels(seeds.into_iter());
    let most = MOST * whole.mask.area() as f32;
    let is_part = |mask: &RunMask| {
        let area = mask.area();
        area >= 2 * thresholds.area && (area as f32) < most && mask.overlap(&seeds) >= thresholds.area
    };
    let polarity = whole.polarity;
    let all = RunMask::from_pixels(above.iter().map(|(at, _)| *at));
    let parts: Vec<RunMask> = connected(&all).into_iter().filter(is_part).collect();
    parts.into_iter().map(move |mask| Component::new(mask, polarity))
}

/// The mean of the window's samples over a square of `2 * reach + 1` pixels around one of them, as far as it lies inside.
fn mean_around(sums: &Sums<f64>, window: &Rect, (x, y): (i32, i32), reach: i32) -> f32 {
    let square = Rect::new(x - reach, y - reach, x + reach + 1, y + reach + 1).intersect(window);
    let columns = (square.x0 - window.x0) as usize..(square.x1 - window.x0) as usize;
    let rows = (square.y0 - window.y0) as usize..(square.y1 - window.y0) as usize;
    let pixels = (columns.len() * rows.len()).max(1);
    (sums.over(columns, rows) / pixels as f64) as f32
}

/// The sums of a window that lies inside the plane; in double precision, since whole frames of codes may be summed.
fn sums_of(plane: &Plane, window: &Rect) -> Sums<f64> {
    let (width, height) = ((window.x1 - window.x0) as usize, (window.y1 - window.y0) as usize);
    Sums::of(width, height, |x, y| f64::from(plane.at(window.x0 as usize + x, window.y0 as usize + y)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_are_those_of_adding_up() {
        let plane = Plane::from_fn(23, 17, |x, y| ((x * 31 + y * 57) % 101) as f32);
        let window = Rect::new(3, 2, 20, 16);
        let sums = sums_of(&plane, &window);
        for (x, y) in [(3, 2), (10, 8), (19, 15), (4, 14)] {
            let square = Rect::new(x - 3, y - 3, x + 4, y + 4).intersect(&window);
            let pixels: Vec<f32> = (square.y0..square.y1)
                .flat_map(|y| (square.x0..square.x1).map(move |x| (x, y)))
                .map(|(x, y)| plane.clamped(x, y))
                .collect();
            let plain = pixels.iter().sum::<f32>() / pixels.len() as f32;
            assert!((mean_around(&sums, &window, (x, y), 3) - plain).abs() < 1e-3, "{x} {y}");
        }
    }

    #[test]
    fn a_speck_in_a_region_of_failed_motion_is_a_part_and_the_regions_own_shading_is_none() {
        // A region of 40 by 30 that shades off gently, and a bright speck of 4 by 5 in it.
        let luma = Plane::from_fn(80, 60, |x, y| {
            let speck = (30..34).contains(&x) && (25..30).contains(&y);
            400.0 + 0.5 * x as f32 + if speck { 60.0 } else { 0.0 }
        });
        let region = RunMask::from_rect(&Rect::new(20, 15, 60, 45));
        let whole = Component { bounds: region.bounds(), mask: region, polarity: Polarity::Bright };
        let found = parts(std::slice::from_ref(&whole), &luma, &[4.0; 1024], &Thresholds::default());
        let bounds: Vec<Rect> = found.iter().map(|p| p.component.bounds).collect();
        assert_eq!(bounds, vec![Rect::new(30, 25, 34, 30)]);
        // A region that is darker than its neighbours has no bright mark.
        let dark = Component { polarity: Polarity::Dark, ..whole };
        assert!(parts(&[dark], &luma, &[4.0; 1024], &Thresholds::default()).is_empty());
    }
}
