//! What every comparison needs of a frame, made once.

use std::borrow::Cow;
use std::sync::OnceLock;

use besom_motion::Pyramid;
use besom_motion::pyramid::halved_row;
use besom_scan::Plane;
use rayon::prelude::*;

use crate::colour;
use crate::gate::outstanding;
use crate::grain::Grain;
use crate::infrared::Infrared;
use crate::lines::{self, Evened, Shape, banded, shapes};
use crate::whole::Sketch;

/// A frame ready for motion and detection.
#[derive(Clone, Debug)]
pub struct Prepared {
    /// Its colour channels in analysis codes, one or three planes.
    pub planes: Vec<Plane>,
    /// Lightly smoothed luma: the plane on which marks are looked for. Smoothing by a binomial 3x3 halves white grain
    /// while a speck of three pixels keeps most of its contrast.
    pub luma: Plane,
    /// Opponent colours at half size, for marks that tint the picture; `None` for a scan of one channel.
    pub colour: Option<[Plane; colour::PLANES]>,
    /// Luma at falling sizes for the motion search.
    pub pyramid: Pyramid,
    /// The mean of every whole band of [`crate::lines::BAND`] rows of each plane, on which line scratches are looked for.
    pub bands: Vec<Plane>,
    /// The bands evened by the grain of the shot that the frame was first looked at in: it stands in the windows of five frames.
    evened: OnceLock<(Evened, Vec<Plane>)>,
    /// See [`Prepared::lines`].
    lines: OnceLock<(Evened, Vec<Shape>)>,
    /// See [`Prepared::outstanding`].
    outstanding: OnceLock<Plane<i16>>,
    /// What damage of the whole frame is looked for on; `None` for a frame too small for it.
    pub sketch: Option<Sketch>,
    /// Its infrared, when the scan has one and it can be trusted.
    pub infrared: Option<Infrared>,
}

impl Prepared {
    /// Prepares a frame; `None` when there are no planes, an empty one, or planes of different sizes.
    pub fn new(planes: Vec<Plane>) -> Option<Self> {
        let first = planes.first()?;
        let (width, height) = (first.width(), first.height());
        if width == 0 || height == 0 || planes.iter().any(|p| p.width() != width || p.height() != height) {
            return None;
        }
        let (luma, finest) = smoothed_and_finest(&planes, Pyramid::reduction(width, height));
        let (colour, pyramid) = (colour::opponents(&planes), Pyramid::of_finest(finest, width, height));
        let (bands, sketch) = (banded(&planes), Sketch::new(&planes));
        let (evened, lines, outstanding) = (OnceLock::new(), OnceLock::new(), OnceLock::new());
        Some(Self { luma, planes, colour, pyramid, bands, evened, lines, outstanding, sketch, infrared: None })
    }

    /// The same with an infrared plane, which is left out when its size is another.
    #[must_use]
    pub fn with_infrared(mut self, infrared: Option<Infrared>) -> Self {
        let size = (self.width(), self.height());
        self.infrared = infrared.filter(|plane| plane.size() == size);
        self
    }

    /// Works out what a detection by this grain asks of every frame in its window. It would be worked out when first asked for,
    /// but then by several threads at once, or by one while others wait. Changes no result.
    pub fn make_ready(&self, grain: &Grain) {
        if lines::are_looked_for(self.height()) {
            self.lines(&Evened::new(grain, self.planes.len()));
        }
        self.outstanding();
    }

    /// The bands evened, worked out once as long as it is by the same grain.
    pub(crate) fn evened_bands(&self, by: &Evened) -> Cow<'_, [Plane]> {
        if self.evened.get().is_none() {
            // Made before it is put there: whoever waits for a lock must not be asked to do the same work meanwhile.
            let _ = self.evened.set((by.clone(), by.planes(&self.bands)));
        }
        match self.evened.get() {
            Some((grain, planes)) if grain == by => Cow::Borrowed(planes),
            _ => Cow::Owned(by.planes(&self.bands)),
        }
    }

    /// The lines that the frame shows by itself, worked out once as long as it is by the same grain: the frames around it ask for
    /// them too. Whoever asks meanwhile waits, which holds nothing up because no other thread is needed for them.
    pub(crate) fn lines(&self, by: &Evened) -> Cow<'_, [Shape]> {
        // The bands first, because they are made on several threads.
        let bands = self.evened_bands(by);
        let (grain, known) = self.lines.get_or_init(|| (by.clone(), shapes(self, &bands)));
        if grain == by { Cow::Borrowed(known) } else { Cow::Owned(shapes(self, &bands)) }
    }

    /// How far each pixel stands out from both its sides, at the size of the motion search, on which marks fixed in the gate are
    /// looked for: made when it is first asked for.
    pub fn outstanding(&self) -> &Plane<i16> {
        if self.outstanding.get().is_none() {
            // Made before it is put there, as the evened bands are.
            let _ = self.outstanding.set(outstanding(&self.luma));
        }
        self.outstanding.get_or_init(|| outstanding(&self.luma))
    }

    /// Columns.
    pub fn width(&self) -> usize {
        self.luma.width()
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.luma.height()
    }
}

/// The mean of the channels with green twice: near the eye's weights, yet a mark in one dye layer alone still counts for
/// a quarter.
pub fn luma(planes: &[Plane]) -> Plane {
    let [red, green, blue] = planes else {
        return planes.first().cloned().unwrap_or_else(|| Plane::new(0, 0));
    };
    let width = red.width();
    let mut out = Plane::new(width, red.height());
    out.as_mut_slice()
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, row)| luma_row(red.row(y), green.row(y), blue.row(y), row));
    out
}

#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn luma_row(red: &[f32], green: &[f32], blue: &[f32], out: &mut [f32]) {
    for (out, ((r, g), b)) in out.iter_mut().zip(red.iter().zip(green).zip(blue)) {
        *out = luma_of(*r, *g, *b);
    }
}

/// One sample of [`luma`].
// Inlined into the loops that are compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
pub(crate) fn luma_of(red: f32, green: f32, blue: f32) -> f32 {
    0.25 * (red + blue) + 0.5 * green
}

/// Binomial smoothing (1 2 1 along both axes, divided by 16); the border repeats its samples.
pub fn smoothed(plane: &Plane) -> Plane {
    let (width, height) = (plane.width(), plane.height());
    let mut out = Plane::new(width, height);
    out.as_mut_slice().par_chunks_mut(width).enumerate().for_each(|(y, out)| {
        let (up, down) = (plane.row(y.saturating_sub(1)), plane.row((y + 1).min(height - 1)));
        smoothed_row(up, plane.row(y), down, &mut vec![0.0f32; width + 2], out);
    });
    out
}

/// One row of [`smoothed`]; `column` has two samples more than a row.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn smoothed_row(up: &[f32], row: &[f32], down: &[f32], column: &mut [f32], out: &mut [f32]) {
    let width = row.len();
    for (column, ((up, row), down)) in column[1..=width].iter_mut().zip(up.iter().zip(row).zip(down)) {
        *column = 0.25 * (up + down) + 0.5 * row;
    }
    (column[0], column[width + 1]) = (column[1], column[width]);
    for (out, c) in out.iter_mut().zip(column.windows(3)) {
        *out = 0.25 * (c[0] + c[2]) + 0.5 * c[1];
    }
}

/// Rows of [`smoothed_and_finest`] made as one piece: few enough that their luma stays in the fast cache.
const BAND: usize = 8;

/// The smoothed luma of a frame, and its sharp luma at the finest size of the motion search (`reduction` 1 or 2), in one
/// pass that keeps no sharp plane.
fn smoothed_and_finest(planes: &[Plane], reduction: usize) -> (Plane, Plane) {
    let (width, height) = (planes[0].width(), planes[0].height());
    let mut smooth = Plane::new(width, height);
    let mut finest = Plane::new(width.div_ceil(reduction), height.div_ceil(reduction));
    let piece = finest.width() * BAND / reduction;
    smooth
        .as_mut_slice()
        .par_chunks_mut(width * BAND)
        .zip(finest.as_mut_slice().par_chunks_mut(piece))
        .enumerate()
        .for_each(|(band, (smooth, finest))| band_of(planes, band * BAND, reduction, smooth, finest));
    (smooth, finest)
}

fn band_of(planes: &[Plane], y0: usize, reduction: usize, smooth: &mut [f32], finest: &mut [f32]) {
    let (width, height) = (planes[0].width(), planes[0].height());
    let rows = smooth.len() / width;
    // The band's luma with a row more on each side.
    let mut sharp = vec![0.0f32; (rows + 2) * width];
    for (k, out) in sharp.chunks_exact_mut(width).enumerate() {
        let y = (y0 + k).saturating_sub(1).min(height - 1);
        if let [red, green, blue] = planes {
            luma_row(red.row(y), green.row(y), blue.row(y), out);
        } else {
            out.copy_from_slice(planes[0].row(y));
        }
    }
    let row = |k: usize| &sharp[k * width..(k + 1) * width];
    let mut column = vec![0.0f32; width + 2];
    for (k, out) in smooth.chunks_exact_mut(width).enumerate() {
        smoothed_row(row(k), row(k + 1), row(k + 2), &mut column, out);
    }
    if reduction == 1 {
        finest.copy_from_slice(&sharp[width..(rows + 1) * width]);
    } else {
        for (k, out) in finest.chunks_exact_mut(width.div_ceil(2)).enumerate() {
            halved_row(row(2 * k + 1), row((2 * k + 2).min(rows)), out);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use besom_motion::pyramid::halved;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn one_pass_gives_what_the_steps_give(w in 1usize..40, h in 1usize..40, colours in any::<bool>(), seed in any::<u32>()) {
            let mut s = seed;
            let mut noise = |_, _| {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (s >> 22) as f32
            };
            let planes: Vec<Plane> = (0..if colours { 3 } else { 1 }).map(|_| Plane::from_fn(w, h, &mut noise)).collect();
            let sharp = luma(&planes);
            prop_assert_eq!(smoothed_and_finest(&planes, 1), (smoothed(&sharp), sharp.clone()));
            prop_assert_eq!(smoothed_and_finest(&planes, 2), (smoothed(&sharp), halved(&sharp)));
            // The definition of the smoothing, sample by sample.
            let at = |x: usize, y: usize| {
                let mut sum = 0.0;
                for (j, wj) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
                    for (i, wi) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
                        sum += wi * wj * sharp.clamped(x as i32 + i, y as i32 + j);
                    }
                }
                sum / 16.0
            };
            let smooth = smoothed(&sharp);
            for (x, y) in [(0, 0), (w - 1, h - 1), (w / 2, h / 2)] {
                prop_assert!((smooth.at(x, y) - at(x, y)).abs() < 1e-2);
            }
        }
    }
}
