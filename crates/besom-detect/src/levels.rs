//! Marks inside regions of failed motion.
//!
//! Where motion fails, wide regions stand out a little, and a speck or hair in one would be lost in it. A mark with an edge
//! keeps its pixels when the threshold rises; a region without loses most of them at every step. Whoever is stable over the
//! threshold is an object: the idea of maximally stable extremal regions (Matas, Chum, Urban and Pajdla, BMVC 2002, from
//! memory), here on the response in grain sigmas.

use besom_scan::RunMask;

use crate::components::{Component, Thresholds, connected};
use crate::evidence::Evidence;

/// Pixels from which an object is looked into.
const LARGE: usize = 30;
/// What the threshold rises by from step to step.
const STEP: f32 = 2.0;
/// Share of its pixels that an object must keep at the next step to be stable: when one part is left of it, and when several are.
const STABLE: (f32, f32) = (0.3, 0.9);

/// The objects with the larger of them parted where a higher threshold shows stabler ones inside.
pub(crate) fn parted(found: Vec<Component>, evidence: &Evidence, thresholds: &Thresholds) -> Vec<Component> {
    let mut parts = Vec::with_capacity(found.len());
    for component in found {
        let polarity = component.polarity;
        let mut masks = Vec::new();
        part(component.mask, thresholds.grow, evidence, thresholds, &mut masks);
        parts.extend(masks.into_iter().map(|mask| Component::new(mask, polarity)));
    }
    parts
}

/// Puts the stable objects of a mask whose responses are at least `level`; the mask itself where it has none.
fn part(whole: RunMask, level: f32, evidence: &Evidence, thresholds: &Thresholds, out: &mut Vec<RunMask>) {
    let area = whole.area();
    let inside = if area < LARGE { Vec::new() } else { inside(&whole, STEP * level, evidence, thresholds) };
    let most = inside.iter().map(RunMask::area).max().unwrap_or(0) as f32;
    let needed = if inside.len() > 1 { STABLE.1 } else { STABLE.0 };
    if inside.is_empty() || most >= needed * area as f32 {
        out.push(whole);
        return;
    }
    for mask in inside {
        part(mask, STEP * level, evidence, thresholds, out);
    }
}

/// The objects of a mask at a higher threshold.
fn inside(whole: &RunMask, level: f32, evidence: &Evidence, thresholds: &Thresholds) -> Vec<RunMask> {
    let reaches = |&(x, y): &(u32, u32)| evidence.spike.at(x as usize, y as usize).abs() >= level;
    let above = RunMask::from_pixels(whole.pixels().filter(reaches));
    connected(&above).into_iter().filter(|m| m.area() >= thresholds.area && thresholds.seeded(m, evidence)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::components::components;
    use besom_scan::Plane;

    fn parts(spike: Plane) -> Vec<(usize, (i32, i32))> {
        let evidence = Evidence { rank: spike.map(|v| 0.5 * v), spike };
        let thresholds = Thresholds::default();
        let whole = components(&evidence, &thresholds);
        assert_eq!(whole.len(), 1);
        let parts = parted(whole, &evidence, &thresholds);
        parts.iter().map(|c| (c.mask.area(), (c.bounds.x0, c.bounds.y0))).collect()
    }

    #[test]
    fn marks_in_a_weak_region_are_found_in_it() {
        // A wide region of 4 sigmas, and in it a speck of 40 and a hair of 25.
        let spike = Plane::from_fn(60, 50, |x, y| match (x, y) {
            (20..25, 10..14) => 40.0,
            (x, 30) if (10..40).contains(&x) => 25.0,
            (2..58, 2..48) => 4.0,
            _ => 0.0,
        });
        assert_eq!(parts(spike), vec![(20, (20, 10)), (30, (10, 30))]);
    }

    #[test]
    fn a_blotch_with_soft_edges_stays_whole() {
        let spike = Plane::from_fn(60, 50, |x, y| {
            let (dx, dy) = (x as f32 - 30.0, y as f32 - 25.0);
            30.0 * (-((dx * dx + dy * dy) / 128.0).powi(2)).exp()
        });
        let parts = parts(spike);
        assert_eq!(parts.len(), 1);
        assert!(parts[0].0 > 300);
    }
}
