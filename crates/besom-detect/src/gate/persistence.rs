//! Where what stands out stays for the whole window.

use besom_scan::{Plane, Run, RunMask};
use rayon::prelude::*;

use crate::candidate::Polarity;

/// What of a frame stands out in the other frames of the window too.
pub(super) struct Persistence {
    /// At the very same sample.
    pub(super) exact: Plane<i16>,
    /// At the sample or one beside it.
    pub(super) near: Plane<i16>,
}

/// What stands out at each sample of the frame and, with the same polarity, in the other frames: the weakest of all frames, or,
/// with four others, the second weakest of those and the frame itself, so that a speck of dust may hide the mark once. Signed as
/// the planes are. All planes have one size.
pub(super) fn persistence(current: &Plane<i16>, others: &[&Plane<i16>]) -> Persistence {
    let (width, height) = (current.width(), current.height());
    let mut found = Persistence { exact: Plane::new(width, height), near: Plane::new(width, height) };
    let rows = found.exact.as_mut_slice().par_chunks_mut(width).zip(found.near.as_mut_slice().par_chunks_mut(width));
    rows.enumerate().for_each(|(y, (exact, near))| persistence_row(current.row(y), others, y, exact, near));
    found
}

/// The weakest and the second weakest of what the other frames show, of one polarity.
struct Weakest {
    first: Vec<i16>,
    second: Vec<i16>,
}

impl Weakest {
    fn new(width: usize) -> Self {
        Self { first: vec![i16::MAX; width], second: vec![i16::MAX; width] }
    }

    // Inlined into the loop that is compiled for several processor levels.
    #[allow(clippy::inline_always)]
    #[inline(always)]
    fn take(&mut self, x: usize, value: i16) {
        self.second[x] = self.second[x].min(self.first[x].max(value));
        self.first[x] = self.first[x].min(value);
    }

    fn kept(&self, others: usize) -> &[i16] {
        if others >= 4 { &self.second } else { &self.first }
    }
}

#[multiversion::multiversion(targets("x86_64+avx2"))]
fn persistence_row(current: &[i16], others: &[&Plane<i16>], y: usize, exact: &mut [i16], near: &mut [i16]) {
    let width = current.len();
    let (mut high, mut low) = (vec![0i16; width + 2], vec![0i16; width + 2]);
    let [mut bright, mut dark, mut bright_near, mut dark_near] = [(); 4].map(|()| Weakest::new(width));
    for other in others {
        let (up, down) = (other.row(y.saturating_sub(1)), other.row((y + 1).min(other.height() - 1)));
        let row = &other.row(y)[..width];
        for x in 0..width {
            high[x + 1] = up[x].max(row[x]).max(down[x]);
            low[x + 1] = up[x].min(row[x]).min(down[x]);
        }
        (high[0], high[width + 1]) = (high[1], high[width]);
        (low[0], low[width + 1]) = (low[1], low[width]);
        for x in 0..width {
            bright.take(x, row[x]);
            dark.take(x, -row[x]);
            bright_near.take(x, high[x].max(high[x + 1]).max(high[x + 2]));
            dark_near.take(x, -low[x].min(low[x + 1]).min(low[x + 2]));
        }
    }
    for (out, bright, dark) in [(exact, &bright, &dark), (near, &bright_near, &dark_near)] {
        let (bright, dark) = (bright.kept(others.len()), dark.kept(others.len()));
        for x in 0..width {
            let here = current[x];
            out[x] = here.min(bright[x]).max(0) - (-here).min(dark[x]).max(0);
        }
    }
}

/// Pixels of one polarity that hang together, at the planes' size.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    /// The pixels.
    pub(super) mask: RunMask,
    /// Dark or bright.
    pub(super) polarity: Polarity,
    /// What its strongest tenth stands out by at least, in the planes' units.
    pub(super) strong: i16,
}

/// What a mark is grown from.
pub(super) struct Growth<'a> {
    /// What stands out of the frame.
    pub(super) outstanding: &'a Plane<i16>,
    /// What of it stays.
    pub(super) persistence: &'a Persistence,
    /// Grain at a sample, in the planes' units.
    pub(super) sigma: &'a dyn Fn(usize, usize) -> f32,
    /// Whether the picture moves near a sample, without which nothing is looked for.
    pub(super) moving: &'a dyn Fn(usize, usize) -> bool,
}

/// A seed stays by so many grain sigmas, and by this share of what stands out of the frame.
const SEED: (f32, f32) = (4.5, 0.6);
/// Down to these a mark grows, where what stays may have slipped by a sample.
const GROW: (f32, f32) = (1.6, 0.5);
/// Samples that a mark grows where nothing stays at the very place.
const SLIPPED: u8 = 4;
/// What belongs to a mark stands out by this share of what its strongest tenth does.
const BELONGS: f32 = 0.4;

impl Growth<'_> {
    /// Whether a sample stays in a plane by so many sigmas and by a share of what stands out of the frame.
    fn stays(&self, plane: &Plane<i16>, (x, y): (usize, usize), sign: f32, (sigmas, share): (f32, f32)) -> bool {
        let value = sign * f32::from(plane.at(x, y));
        value >= share * sign * f32::from(self.outstanding.at(x, y)) && value >= sigmas * (self.sigma)(x, y)
    }
}

/// Grows seeds over 8-connected samples of one sign: through what stays at its very place, and a few samples on from there
/// through what stays near it. Objects of fewer than `least` or more than `largest` samples are dropped, and all are in the
/// order of their first pixel.
pub(super) fn standing(growth: &Growth, (least, largest): (usize, usize)) -> Vec<Standing> {
    let Persistence { exact, near } = growth.persistence;
    let (width, height) = (exact.width(), exact.height());
    // How far on a sample may still grow, plus one; 0 for samples not reached.
    let mut reached = Plane::<u8>::new(width, height);
    let mut found = Vec::new();
    let (mut stack, mut pixels) = (Vec::new(), Vec::new());
    for y in 0..height {
        for x in 0..width {
            let value = exact.at(x, y);
            if value == 0 || reached.at(x, y) != 0 || !(growth.moving)(x, y) {
                continue;
            }
            let sign = f32::from(value.signum());
            if !growth.stays(exact, (x, y), sign, SEED) {
                continue;
            }
            pixels.clear();
            stack.push((x, y));
            reached.set(x, y, SLIPPED + 1);
            pixels.push((x, y));
            while let Some((px, py)) = stack.pop() {
                let left = reached.at(px, py);
                for ny in py.saturating_sub(1)..=(py + 1).min(height - 1) {
                    for nx in px.saturating_sub(1)..=(px + 1).min(width - 1) {
                        let before = reached.at(nx, ny);
                        if before > SLIPPED || !growth.stays(near, (nx, ny), sign, GROW) {
                            continue;
                        }
                        let held = growth.stays(exact, (nx, ny), sign, GROW);
                        let now = if held { SLIPPED + 1 } else { left - 1 };
                        if now > before {
                            if before == 0 {
                                pixels.push((nx, ny));
                            }
                            reached.set(nx, ny, now);
                            stack.push((nx, ny));
                        }
                    }
                }
            }
            let strong = keep_what_belongs(near, &mut pixels);
            if (least..=largest).contains(&pixels.len()) {
                let run = |(x, y): &(usize, usize)| Run { y: *y as u32, x0: *x as u32, x1: *x as u32 + 1 };
                let mask = RunMask::from_runs(pixels.iter().map(run).collect());
                let polarity = if value > 0 { Polarity::Bright } else { Polarity::Dark };
                found.push(Standing { mask, polarity, strong });
            }
        }
    }
    found.sort_by_key(|s| s.mask.first_pixel());
    found
}

/// Drops the samples that stand out much less than the strongest tenth of them: texture that a mark has grown into. Gives what
/// that tenth stands out by at least.
fn keep_what_belongs(kept: &Plane<i16>, pixels: &mut Vec<(usize, usize)>) -> i16 {
    let mut leads: Vec<i16> = pixels.iter().map(|(x, y)| kept.at(*x, *y).saturating_abs()).collect();
    let tenth = leads.len() * 9 / 10;
    let strong = *leads.select_nth_unstable(tenth).1;
    let least = BELONGS * f32::from(strong);
    pixels.retain(|(x, y)| f32::from(kept.at(*x, *y)).abs() >= least);
    strong
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn planes(count: usize, w: usize, h: usize, seed: u32) -> Vec<Plane<i16>> {
        let mut s = seed;
        let mut noise = |_, _| {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (s >> 20) as i16 - 2048
        };
        (0..count).map(|_| Plane::from_fn(w, h, &mut noise)).collect()
    }

    proptest! {
        #[test]
        fn the_kernel_follows_its_definition(w in 1usize..30, h in 1usize..9, count in 2usize..5, seed in any::<u32>()) {
            let all = planes(count + 1, w, h, seed);
            let others: Vec<&Plane<i16>> = all[1..].iter().collect();
            let fast = persistence(&all[0], &others);
            for y in 0..h as i32 {
                for x in 0..w as i32 {
                    let side = |sign: i16, reach: i32| {
                        let around = |p: &Plane<i16>| {
                            let near = (-reach..=reach).flat_map(|j| (-reach..=reach).map(move |i| (i, j)));
                            near.map(|(i, j)| sign * p.clamped(x + i, y + j)).max().unwrap_or(0)
                        };
                        let mut all_others: Vec<i16> = others.iter().map(|p| around(p)).collect();
                        all_others.sort_unstable();
                        let kept = all_others[usize::from(count >= 4)];
                        (sign * all[0].clamped(x, y)).min(kept).max(0)
                    };
                    prop_assert_eq!(fast.exact.clamped(x, y), side(1, 0) - side(-1, 0));
                    prop_assert_eq!(fast.near.clamped(x, y), side(1, 1) - side(-1, 1));
                }
            }
        }
    }

    #[test]
    fn a_mark_grows_along_its_sign_and_not_far_through_what_slips() {
        use Polarity::{Bright, Dark};
        let row = [0i16, 20, 40, 20, 0, -40, -20, 5, 40, 20, 20, 20, 20, 20, 20, 20];
        let near = Plane::from_fn(16, 1, |x, _| row[x]);
        let grown = |exact: &dyn Fn(usize) -> i16, moving: bool, sizes: (usize, usize)| -> Vec<(i32, i32, Polarity)> {
            let persistence = Persistence { exact: Plane::from_fn(16, 1, |x, _| exact(x)), near: near.clone() };
            let (sigma, moving) = (|_, _| 8.0, move |_, _| moving);
            let growth = Growth { outstanding: &near, persistence: &persistence, sigma: &sigma, moving: &moving };
            let bounds = |s: &Standing| (s.mask.bounds().x0, s.mask.bounds().x1, s.polarity);
            standing(&growth, sizes).iter().map(bounds).collect()
        };
        assert_eq!(grown(&|x| row[x], true, (2, 99)), [(1, 4, Bright), (5, 7, Dark), (8, 16, Bright)]);
        assert_eq!(grown(&|x| row[x], true, (3, 7)), [(1, 4, Bright)]);
        // Only column 8 stays at its very place: four samples more.
        assert_eq!(grown(&|x| if x == 8 { 40 } else { 0 }, true, (2, 99)), [(8, 13, Bright)]);
        assert!(grown(&|x| row[x] / 2, true, (1, 99)).is_empty(), "a seed must stay as strong as it is");
        assert!(grown(&|x| row[x], false, (1, 99)).is_empty(), "where nothing moves nothing is looked for");
    }
}
