//! Where what stands out stays for the whole window.

use besom_scan::{Plane, Rect, RunMask};
use rayon::prelude::*;

use crate::candidate::Polarity;

/// What of a frame stands out in the other frames of the window too.
pub(super) struct Persistence {
    /// What stays at each sample or at one beside it, signed as what stands out is.
    pub(super) near: Plane<i16>,
    /// What each sample is to a mark; negative for a dark one.
    pub(super) class: Plane<i8>,
}

/// What stays near this sample: a mark may grow onto it for a few samples.
const SLIPS: i8 = 1;
/// What stays at this very sample: a mark grows through it.
const HOLDS: i8 = 2;
/// What stays at this very sample so plainly that a mark begins with it.
const SEEDS: i8 = 3;

/// What stands out at each sample of the frame and, with the same polarity, in the other frames: the weakest of all frames, or,
/// with four others, the second weakest of those and the frame itself, so that a speck of dust may hide the mark once. All
/// planes have one size. `sigma` fills a row with the grain at its samples, in the planes' units.
pub(super) fn persistence(
    current: &Plane<i16>,
    others: &[&Plane<i16>],
    sigma: &(dyn Fn(usize, &mut [i16]) + Sync),
) -> Persistence {
    let (width, height) = (current.width(), current.height());
    let mut found = Persistence { near: Plane::new(width, height), class: Plane::new(width, height) };
    let near = found.near.as_mut_slice().par_chunks_mut(width * ROWS);
    near.zip(found.class.as_mut_slice().par_chunks_mut(width * ROWS)).enumerate().for_each(|(band, (near, class))| {
        let mut room = Room::new(width);
        for (k, (near, class)) in near.chunks_mut(width).zip(class.chunks_mut(width)).enumerate() {
            let y = band * ROWS + k;
            sigma(y, &mut room.sigma);
            persistence_row(current.row(y), others, y, &mut room, near);
            class_row(current.row(y), &room, near, class);
        }
    });
    found
}

/// Rows that one thread takes at a time.
const ROWS: usize = 16;

/// What a row is worked out in.
struct Room {
    sigma: Vec<i16>,
    high: Vec<i16>,
    low: Vec<i16>,
    /// At the very sample, and at it or one beside it, of the frame's own polarity: the weakest of the other frames, and the
    /// second weakest.
    exact: [Vec<i16>; 2],
    beside: [Vec<i16>; 2],
}

impl Room {
    fn new(width: usize) -> Self {
        let row = || vec![0i16; width];
        let (high, low) = (vec![0; width + 2], vec![0; width + 2]);
        Self { sigma: row(), high, low, exact: [row(), row()], beside: [row(), row()] }
    }
}

/// Into `near` what stays near each sample of a row, and into the second of `room.exact` what stays at it, without its sign.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn persistence_row(current: &[i16], others: &[&Plane<i16>], y: usize, room: &mut Room, near: &mut [i16]) {
    let width = current.len();
    let (high, low) = (&mut room.high[..width + 2], &mut room.low[..width + 2]);
    let [exact, exact_second] = room.exact.each_mut().map(|row| &mut row[..width]);
    let [beside, beside_second] = room.beside.each_mut().map(|row| &mut row[..width]);
    for row in [&mut *exact, &mut *exact_second, &mut *beside, &mut *beside_second] {
        row.fill(i16::MAX);
    }
    for other in others {
        let (up, down) =
            (&other.row(y.saturating_sub(1))[..width], &other.row((y + 1).min(other.height() - 1))[..width]);
        let row = &other.row(y)[..width];
        for x in 0..width {
            high[x + 1] = up[x].max(row[x]).max(down[x]);
            low[x + 1] = up[x].min(row[x]).min(down[x]);
        }
        (high[0], high[width + 1]) = (high[1], high[width]);
        (low[0], low[width + 1]) = (low[1], low[width]);
        for x in 0..width {
            // All ones where the frame is dark: then what is negative counts.
            let dark = current[x] >> 15;
            let value = (row[x] ^ dark) - dark;
            exact_second[x] = exact_second[x].min(exact[x].max(value));
            exact[x] = exact[x].min(value);
            let above = high[x].max(high[x + 1]).max(high[x + 2]);
            let below = low[x].min(low[x + 1]).min(low[x + 2]);
            let value = if dark == 0 { above } else { -below };
            beside_second[x] = beside_second[x].min(beside[x].max(value));
            beside[x] = beside[x].min(value);
        }
    }
    let forgiven = others.len() >= 4;
    let near = &mut near[..width];
    for x in 0..width {
        let here = current[x].abs();
        let (at, about) = if forgiven { (exact_second[x], beside_second[x]) } else { (exact[x], beside[x]) };
        exact_second[x] = here.min(at).max(0);
        let about = here.min(about).max(0);
        near[x] = if current[x] < 0 { -about } else { about };
    }
}

/// What each sample of a row is to a mark.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn class_row(current: &[i16], room: &Room, near: &[i16], class: &mut [i8]) {
    let width = current.len();
    let (sigma, exact, near, class) =
        (&room.sigma[..width], &room.exact[1][..width], &near[..width], &mut class[..width]);
    for x in 0..width {
        let (out, sigma) = (i32::from(current[x].abs()), i32::from(sigma[x]));
        let (exact, near) = (i32::from(exact[x]), i32::from(near[x].abs()));
        let stays = |value: i32, (tenth_sigmas, tenths): (i32, i32)| {
            i8::from(10 * value >= tenth_sigmas * sigma) & i8::from(10 * value >= tenths * out)
        };
        let slips = stays(near, GROW);
        let class_of = slips + (slips & stays(exact, GROW)) + (slips & stays(exact, GROW) & stays(exact, SEED));
        class[x] = if current[x] < 0 { -class_of } else { class_of };
    }
}

/// Samples of one polarity that hang together.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    /// The samples, row by row.
    pub(super) samples: Vec<(u32, u32)>,
    /// Dark or bright.
    pub(super) polarity: Polarity,
    /// What its strongest tenth stands out by at least, in the planes' units.
    pub(super) strong: i16,
}

impl Standing {
    /// The samples as a mask.
    pub(super) fn mask(&self) -> RunMask {
        RunMask::from_pixels(self.samples.iter().copied())
    }

    /// Its first sample: row, column.
    pub(super) fn first(&self) -> Option<(u32, u32)> {
        self.samples.first().map(|(x, y)| (*y, *x))
    }

    /// The smallest rectangle around the samples.
    pub(super) fn bounds(&self) -> Rect {
        let mut bounds = Rect::new(i32::MAX, i32::MAX, 0, 0);
        for &(x, y) in &self.samples {
            let (x, y) = (x as i32, y as i32);
            bounds = Rect::new(bounds.x0.min(x), bounds.y0.min(y), bounds.x1.max(x + 1), bounds.y1.max(y + 1));
        }
        bounds
    }
}

/// A seed stays by so many tenths of a grain sigma, and by this many tenths of what stands out of the frame.
const SEED: (i32, i32) = (45, 6);
/// Down to these a mark grows, where what stays may have slipped by a sample.
const GROW: (i32, i32) = (16, 5);
/// Samples that a mark grows where nothing stays at the very place.
const SLIPPED: u8 = 4;
/// What belongs to a mark stands out by this share of what its strongest tenth does.
const BELONGS: f32 = 0.4;

/// Grows seeds over 8-connected samples of one sign: through what stays at its very place, and a few samples on from there
/// through what stays near it. Nothing begins where `moving` says that the picture stands still. Objects of fewer than `least`
/// or more than `largest` samples are dropped, and all are in the order of their first pixel.
pub(super) fn standing(
    persistence: &Persistence,
    moving: impl Fn(usize, usize) -> bool,
    (least, largest): (usize, usize),
) -> Vec<Standing> {
    let Persistence { near, class } = persistence;
    let (width, height) = (class.width(), class.height());
    // How far on a sample may still grow, plus one; 0 for samples not reached.
    let mut reached = Plane::<u8>::new(width, height);
    let mut found = Vec::new();
    let (mut stack, mut pixels) = (Vec::new(), Vec::new());
    for y in 0..height {
        for (start, piece) in class.row(y).chunks(PIECE).enumerate() {
            // Most pieces of a row hold no seed.
            if piece.iter().fold(0, |most, c| most.max(c.abs())) < SEEDS {
                continue;
            }
            for (k, c) in piece.iter().enumerate() {
                let x = start * PIECE + k;
                if c.abs() < SEEDS || reached.at(x, y) != 0 || !moving(x, y) {
                    continue;
                }
                grow(class, (x, y), &mut reached, &mut stack, &mut pixels);
                let strong = keep_what_belongs(near, &mut pixels);
                if (least..=largest).contains(&pixels.len()) {
                    let mut samples: Vec<(u32, u32)> = pixels.iter().map(|(x, y)| (*x as u32, *y as u32)).collect();
                    samples.sort_unstable_by_key(|(x, y)| (*y, *x));
                    let polarity = if *c > 0 { Polarity::Bright } else { Polarity::Dark };
                    found.push(Standing { samples, polarity, strong });
                }
            }
        }
    }
    found.sort_by_key(Standing::first);
    found
}

/// Samples of a row that are asked for seeds at once.
const PIECE: usize = 32;

/// The samples that a seed reaches, into `pixels`.
fn grow(
    class: &Plane<i8>,
    (x, y): (usize, usize),
    reached: &mut Plane<u8>,
    stack: &mut Vec<(usize, usize)>,
    pixels: &mut Vec<(usize, usize)>,
) {
    let (width, height) = (class.width(), class.height());
    let sign = class.at(x, y).signum();
    pixels.clear();
    stack.push((x, y));
    reached.set(x, y, SLIPPED + 1);
    pixels.push((x, y));
    while let Some((px, py)) = stack.pop() {
        let left = reached.at(px, py);
        let (first, last) = (px.saturating_sub(1), (px + 1).min(width - 1));
        for ny in py.saturating_sub(1)..=(py + 1).min(height - 1) {
            let row = class.row(ny)[first..=last].iter().zip(&mut reached.row_mut(ny)[first..=last]);
            for (k, (c, reached)) in row.enumerate() {
                // Most samples around stay nowhere, or have been reached from as near.
                let c = sign * c;
                let now = if c >= HOLDS { SLIPPED + 1 } else { left - 1 };
                if c < SLIPS || now <= *reached {
                    continue;
                }
                if *reached == 0 {
                    pixels.push((first + k, ny));
                }
                *reached = now;
                stack.push((first + k, ny));
            }
        }
    }
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
            let grain = |x: usize, y: usize| (100 + 30 * x + 7 * y) as i16;
            let sigma = |y: usize, out: &mut [i16]| out.iter_mut().enumerate().for_each(|(x, s)| *s = grain(x, y));
            let fast = persistence(&all[0], &others, &sigma);
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
                    let (exact, near) = (side(1, 0) - side(-1, 0), side(1, 1) - side(-1, 1));
                    prop_assert_eq!(fast.near.clamped(x, y), near);
                    let here = all[0].clamped(x, y);
                    let stays = |value: i16, (sigmas, share): (i32, i32)| {
                        let (value, out) = (f64::from(value.abs()), f64::from(here.abs()));
                        10.0 * value >= f64::from(sigmas) * f64::from(grain(x as usize, y as usize))
                            && 10.0 * value >= f64::from(share) * out
                    };
                    let class = match () {
                        () if !stays(near, GROW) => 0,
                        () if !stays(exact, GROW) => SLIPS,
                        () if !stays(exact, SEED) => HOLDS,
                        () => SEEDS,
                    };
                    prop_assert_eq!(fast.class.clamped(x, y), if here < 0 { -class } else { class });
                }
            }
        }
    }

    #[test]
    fn a_mark_grows_along_its_sign_and_not_far_through_what_slips() {
        use Polarity::{Bright, Dark};
        let row = [0i16, 20, 40, 20, 0, -40, -20, 5, 40, 20, 20, 20, 20, 20, 20, 20];
        let grown = |exact: &dyn Fn(usize) -> i16, moving: bool, sizes: (usize, usize)| -> Vec<(i32, i32, Polarity)> {
            let mut room = Room::new(16);
            room.sigma.fill(8);
            room.exact[1] = (0..16).map(|x| exact(x).abs()).collect();
            let mut class = Plane::new(16, 1);
            class_row(&row, &room, &row, class.as_mut_slice());
            let persistence = Persistence { near: Plane::from_fn(16, 1, |x, _| row[x]), class };
            let bounds = |s: &Standing| (s.bounds().x0, s.bounds().x1, s.polarity);
            standing(&persistence, |_, _| moving, sizes).iter().map(bounds).collect()
        };
        assert_eq!(grown(&|x| row[x], true, (2, 99)), [(1, 4, Bright), (5, 7, Dark), (8, 16, Bright)]);
        assert_eq!(grown(&|x| row[x], true, (3, 7)), [(1, 4, Bright)]);
        // Only column 8 stays at its very place: four samples more.
        assert_eq!(grown(&|x| if x == 8 { 40 } else { 0 }, true, (2, 99)), [(8, 13, Bright)]);
        assert!(grown(&|x| row[x] / 2, true, (1, 99)).is_empty(), "a seed must stay as strong as it is");
        assert!(grown(&|x| row[x], false, (1, 99)).is_empty(), "where nothing moves nothing is looked for");
    }
}
