//! From responses to objects: hysteresis and connected components.

use besom_scan::{Plane, Rect, Run, RunMask};

use crate::candidate::Polarity;
use crate::evidence::Evidence;

/// Thresholds of the test, in grain sigmas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thresholds {
    /// Spike response of a seed.
    pub seed: f32,
    /// Rank-order response of a seed.
    pub rank: f32,
    /// Spike response down to which a seed grows: the soft edge.
    pub grow: f32,
    /// Fewest pixels of an object.
    pub area: usize,
}

impl Default for Thresholds {
    fn default() -> Self {
        Self { seed: 3.6, rank: 0.3, grow: 2.3, area: 4 }
    }
}

/// One connected object of one polarity.
#[derive(Clone, Debug)]
pub struct Component {
    /// Its pixels.
    pub mask: RunMask,
    /// The smallest rectangle around them.
    pub bounds: Rect,
    /// Dark or bright.
    pub polarity: Polarity,
}

impl Component {
    /// Of the pixels of a mask.
    pub(crate) fn new(mask: RunMask, polarity: Polarity) -> Self {
        Self { bounds: mask.bounds(), mask, polarity }
    }
}

impl Thresholds {
    /// Whether responses are those of a seed.
    pub(crate) fn is_seed(&self, spike: f32, rank: f32) -> bool {
        spike.abs() >= self.seed && rank.abs() >= self.rank
    }

    /// Whether any pixel of a mask is a seed.
    pub(crate) fn seeded(&self, mask: &RunMask, evidence: &Evidence) -> bool {
        let seed = |x: usize, y: usize| self.is_seed(evidence.spike.at(x, y), evidence.rank.at(x, y));
        mask.pixels().any(|(x, y)| seed(x as usize, y as usize))
    }
}

/// Grows seeds over 8-connected pixels of the same sign and returns the objects in the order of their first pixel.
pub fn components(evidence: &Evidence, t: &Thresholds) -> Vec<Component> {
    let (width, height) = (evidence.spike.width(), evidence.spike.height());
    let mut seen = Plane::<u8>::new(width, height);
    let mut found = Vec::new();
    let mut stack: Vec<(u32, u32)> = Vec::new();
    let mut pixels: Vec<(u32, u32)> = Vec::new();
    let mut seeds: Vec<usize> = Vec::new();
    for y in 0..height {
        let (spike, rank) = (evidence.spike.row(y), evidence.rank.row(y));
        seeds.clear();
        put_seeds(spike, rank, t, &mut seeds);
        for x in seeds.iter().copied() {
            if seen.at(x, y) != 0 {
                continue;
            }
            let sign = spike[x].signum();
            pixels.clear();
            stack.push((x as u32, y as u32));
            seen.set(x, y, 1);
            while let Some((px, py)) = stack.pop() {
                pixels.push((px, py));
                for ny in py.saturating_sub(1)..=(py + 1).min(height as u32 - 1) {
                    for nx in px.saturating_sub(1)..=(px + 1).min(width as u32 - 1) {
                        let (i, j) = (nx as usize, ny as usize);
                        if seen.at(i, j) == 0 && evidence.spike.at(i, j) * sign >= t.grow {
                            seen.set(i, j, 1);
                            stack.push((nx, ny));
                        }
                    }
                }
            }
            if pixels.len() >= t.area {
                found.push(component(&pixels, sign));
            }
        }
    }
    // Seeds are met row by row, but growth may reach above the seed: order by the first pixel of the whole object.
    found.sort_by_key(|c| c.mask.first_pixel());
    found
}

/// Responses that are looked at together for a seed, of which most rows have few.
const TOGETHER: usize = 16;

/// Puts the columns of a row's seeds.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn put_seeds(spike: &[f32], rank: &[f32], t: &Thresholds, seeds: &mut Vec<usize>) {
    for (block, (spike, rank)) in spike.chunks(TOGETHER).zip(rank.chunks(TOGETHER)).enumerate() {
        let mut any = false;
        for (spike, rank) in spike.iter().zip(rank) {
            any |= (spike.abs() >= t.seed) & (rank.abs() >= t.rank);
        }
        if any {
            seeds.extend((0..spike.len()).filter(|k| t.is_seed(spike[*k], rank[*k])).map(|k| block * TOGETHER + k));
        }
    }
}

/// The 8-connected parts of a mask, in the order of their first pixel.
pub fn connected(mask: &RunMask) -> Vec<RunMask> {
    let runs = mask.runs();
    // Each run's part is named by its first run.
    let mut part: Vec<usize> = (0..runs.len()).collect();
    let mut above = 0;
    for k in 0..runs.len() {
        let run = runs[k];
        while (runs[above].y + 1, runs[above].x1) < (run.y, run.x0) {
            above += 1;
        }
        for (j, other) in runs.iter().enumerate().take(k).skip(above).take_while(|(_, o)| o.y < run.y && o.x0 <= run.x1)
        {
            if other.x1 >= run.x0 {
                let (a, b) = (first_of(&mut part, j), first_of(&mut part, k));
                part[a.max(b)] = a.min(b);
            }
        }
    }
    let mut parts: Vec<Vec<Run>> = vec![Vec::new(); runs.len()];
    for (k, run) in runs.iter().enumerate() {
        parts[first_of(&mut part, k)].push(*run);
    }
    parts.into_iter().filter(|p| !p.is_empty()).map(RunMask::from_runs).collect()
}

/// The first run of a run's part; the way there is halved for those who ask later.
fn first_of(part: &mut [usize], mut k: usize) -> usize {
    while part[k] != k {
        part[k] = part[part[k]];
        k = part[k];
    }
    k
}

fn component(pixels: &[(u32, u32)], sign: f32) -> Component {
    let mask = RunMask::from_pixels(pixels.iter().copied());
    let polarity = if sign > 0.0 { Polarity::Bright } else { Polarity::Dark };
    Component::new(mask, polarity)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_parts_of_a_mask_are_those_that_a_flood_finds(w in 1usize..14, h in 1usize..10, seed in any::<u32>()) {
            let mut s = seed;
            let spike = Plane::from_fn(w, h, |_, _| {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                if s >> 31 == 0 { 0.0 } else { 9.0 }
            });
            let flood = components(&Evidence { rank: spike.clone(), spike: spike.clone() }, &Thresholds { area: 1, ..Thresholds::default() });
            let all = RunMask::from_pixels((0..h).flat_map(|y| (0..w).map(move |x| (x as u32, y as u32))).filter(|&(x, y)| spike.at(x as usize, y as usize) > 0.0));
            prop_assert_eq!(connected(&all), flood.into_iter().map(|c| c.mask).collect::<Vec<_>>());
        }
    }

    #[test]
    fn seeds_grow_to_the_soft_edge_but_not_across_signs() {
        let row = [0.0, 2.5, 3.0, 5.0, 2.4, 0.0, -2.5, -4.0, -3.0, -2.9, 0.0, 3.0, 3.0, 3.0, 3.0];
        let spike = Plane::from_fn(15, 1, |x, _| row[x]);
        let rank = spike.map(|v| v * 0.5);
        let found = components(&Evidence { spike, rank }, &Thresholds::default());
        let list: Vec<_> = found.iter().map(|c| (c.bounds.x0, c.bounds.x1, c.polarity)).collect();
        assert_eq!(list, vec![(1, 5, Polarity::Bright), (6, 10, Polarity::Dark)]);
    }
}
