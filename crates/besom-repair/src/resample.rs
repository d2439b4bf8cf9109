//! Reading a source between its pixels without softening its grain and without touching its own defects.

use std::sync::LazyLock;

use besom_motion::interpolate::cubic_weights;
use besom_scan::Plane;

/// Half the taps of the wide kernel.
const HALF: usize = 3;

/// Weights of the six samples around a position `t` (0..1) past the third of them: a sinc windowed by a wider sinc
/// (Lanczos, three lobes), normalised to a sum of one. At the
/// worst phase it keeps 0.89 of white noise's strength in each direction, where the cubic kernel keeps 0.80.
fn wide_weights(t: f32) -> [f32; 2 * HALF] {
    let mut weights = [0.0; 2 * HALF];
    if !(1e-4..=1.0 - 1e-4).contains(&t) {
        weights[if t < 0.5 { HALF - 1 } else { HALF }] = 1.0;
        return weights;
    }
    let mut sum = 0.0;
    for (i, weight) in weights.iter_mut().enumerate() {
        let d = (t + (HALF - 1) as f32 - i as f32).abs();
        // The constant factors of the two sincs cancel in the normalisation.
        *weight = sin_pi(d) * sin_pi(d / HALF as f32) / (d * d);
        sum += *weight;
    }
    for w in &mut weights {
        *w /= sum;
    }
    weights
}

/// The sine of pi times `x`, `x` in 0 to 3, by its Taylor series: plain arithmetic gives the same bits on every machine,
/// which library sines do not promise.
fn sin_pi(x: f32) -> f32 {
    let turns = (x + 0.5).floor();
    let a = (x - turns) * std::f32::consts::PI;
    let q = a * a;
    let sine = a * (1.0 + q * (-1.0 / 6.0 + q * (1.0 / 120.0 + q * (-1.0 / 5040.0 + q * (1.0 / 362_880.0)))));
    if turns as i32 % 2 == 0 { sine } else { -sine }
}

/// Phases of the wide kernel that are kept: reading at the nearest of them is at most 1/128 pixel off.
const PHASES: usize = 64;
static TABLE: LazyLock<[[f32; 2 * HALF]; PHASES + 1]> =
    LazyLock::new(|| std::array::from_fn(|i| wide_weights(i as f32 / PHASES as f32)));

fn tabled(t: f32) -> [f32; 2 * HALF] {
    TABLE[((t * PHASES as f32 + 0.5) as usize).min(PHASES)]
}

/// How a position between pixels is to be read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Reader {
    /// Six taps a side from `(x, y)` on.
    Wide { x: usize, y: usize, wx: [f32; 6], wy: [f32; 6] },
    /// Four taps a side from `(x, y)` on, the border held.
    Cubic { x: i32, y: i32, wx: [f32; 4], wy: [f32; 4] },
    /// Two taps a side from `(x, y)` on, the border held: beside dirt.
    Linear { x: i32, y: i32, wx: [f32; 2], wy: [f32; 2] },
}

impl Reader {
    /// The widest reader at `(x, y)` whose taps touch no pixel of `skip`; `None` when even the narrowest would, or when the
    /// position lies outside the frame.
    pub(crate) fn new(skip: &Plane<u8>, x: f32, y: f32) -> Option<Self> {
        let (ix, iy) = whole(skip, x, y)?;
        let (tx, ty) = (x - ix as f32, y - iy as f32);
        let room = ix >= 2 && iy >= 2 && ix + 3 < skip.width() as i32 && iy + 3 < skip.height() as i32;
        if room && clean(skip, (ix - 2, ix + 3), (iy - 2, iy + 3)) {
            return Some(Self::Wide { x: (ix - 2) as usize, y: (iy - 2) as usize, wx: tabled(tx), wy: tabled(ty) });
        }
        Self::narrow(skip, ix, iy, tx, ty)
    }

    /// The same without the widest reader: for comparisons, where speed matters more than grain.
    pub(crate) fn quick(skip: &Plane<u8>, x: f32, y: f32) -> Option<Self> {
        let (ix, iy) = whole(skip, x, y)?;
        Self::narrow(skip, ix, iy, x - ix as f32, y - iy as f32)
    }

    fn narrow(skip: &Plane<u8>, ix: i32, iy: i32, tx: f32, ty: f32) -> Option<Self> {
        if clean(skip, (ix - 1, ix + 2), (iy - 1, iy + 2)) {
            return Some(Self::Cubic { x: ix - 1, y: iy - 1, wx: cubic_weights(tx), wy: cubic_weights(ty) });
        }
        // Beside dirt two taps must do, or one where the position all but hits it.
        let (sx, sy) = (snapped(tx), snapped(ty));
        let reach = |i: i32, t: f32| (i + i32::from(t >= 1.0), i + i32::from(t > 0.0));
        clean(skip, reach(ix, sx), reach(iy, sy)).then_some(Self::Linear {
            x: ix,
            y: iy,
            wx: [1.0 - sx, sx],
            wy: [1.0 - sy, sy],
        })
    }

    /// The plane's value there.
    pub(crate) fn read(&self, plane: &Plane) -> f32 {
        match self {
            Self::Wide { x, y, wx, wy } => {
                let (samples, width) = (plane.as_slice(), plane.width());
                let row = |j: usize| &samples[(y + j) * width + x..][..6];
                let along = |j: usize| row(j).iter().zip(wx).map(|(v, w)| v * w).sum::<f32>();
                (0..6).map(|j| wy[j] * along(j)).sum()
            }
            Self::Cubic { x, y, wx, wy } => held(plane, *x, *y, wx, wy),
            Self::Linear { x, y, wx, wy } => held(plane, *x, *y, wx, wy),
        }
    }
}

/// The pixel at or before a position, `None` outside the frame.
fn whole(skip: &Plane<u8>, x: f32, y: f32) -> Option<(i32, i32)> {
    let inside = |p: f32, length: usize| p > -0.5 && p < length as f32 - 0.5;
    // Adding one before cutting off is a floor for positions above -1, and far cheaper than the library's.
    let low = |p: f32| (p + 1.0) as i32 - 1;
    (inside(x, skip.width()) && inside(y, skip.height())).then(|| (low(x), low(y)))
}

/// True when the pixels of the (inclusive) columns and rows, cut to the frame, are all to be trusted.
fn clean(skip: &Plane<u8>, columns: (i32, i32), rows: (i32, i32)) -> bool {
    let (width, height) = (skip.width() as i32, skip.height() as i32);
    let (x0, x1) = (columns.0.clamp(0, width - 1) as usize, columns.1.clamp(0, width - 1) as usize);
    let samples = skip.as_slice();
    (rows.0.clamp(0, height - 1)..=rows.1.clamp(0, height - 1)).all(|y| {
        let start = y as usize * width as usize;
        samples[start + x0..=start + x1].iter().fold(0, |any, s| any | s) == 0
    })
}

/// Fractions within a fiftieth of a whole pixel taken for whole.
fn snapped(t: f32) -> f32 {
    if t < 0.02 {
        0.0
    } else if t > 0.98 {
        1.0
    } else {
        t
    }
}

/// A weighted sum of samples from `(x, y)` on, those outside taken from the border.
fn held<const N: usize>(plane: &Plane, x: i32, y: i32, wx: &[f32; N], wy: &[f32; N]) -> f32 {
    let mut sum = 0.0;
    let (ix, iy) = (x as usize, y as usize);
    if x >= 0 && y >= 0 && ix + N <= plane.width() && iy + N <= plane.height() {
        let (samples, width) = (plane.as_slice(), plane.width());
        for (j, wy) in wy.iter().enumerate() {
            let row = &samples[(iy + j) * width + ix..][..N];
            sum += wy * row.iter().zip(wx).map(|(v, w)| v * w).sum::<f32>();
        }
        return sum;
    }
    for (j, wy) in wy.iter().enumerate() {
        for (i, wx) in wx.iter().enumerate() {
            sum += wx * wy * plane.clamped(x + i as i32, y + j as i32);
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    #[test]
    fn whole_pixels_are_read_as_they_are() {
        let plane = Plane::from_fn(20, 20, |x, y| ((x * 37 + y * 91) % 101) as f32);
        let skip = Plane::<u8>::new(20, 20);
        for (x, y) in [(0, 0), (5, 9), (19, 19), (10, 2)] {
            let reader = Reader::new(&skip, x as f32, y as f32).unwrap();
            approx::assert_abs_diff_eq!(reader.read(&plane), plane.at(x, y), epsilon = 1e-3);
        }
        assert_eq!(Reader::new(&skip, -0.6, 3.0), None);
    }

    #[test]
    fn the_plain_sine_is_a_sine() {
        for i in 0..=300 {
            let x = i as f32 * 0.01;
            approx::assert_abs_diff_eq!(sin_pi(x), (x * std::f32::consts::PI).sin(), epsilon = 5e-6);
        }
    }

    #[test]
    fn a_reader_never_touches_skipped_pixels() {
        let mut plane = Plane::filled(24, 24, 100.0f32);
        let mut skip = Plane::<u8>::new(24, 24);
        skip.set(12, 12, 1);
        plane.set(12, 12, 1e9);
        for i in 0..=480 {
            for j in 0..=48 {
                let (x, y) = (i as f32 * 0.05, j as f32 * 0.5);
                if let Some(reader) = Reader::new(&skip, x, y) {
                    approx::assert_abs_diff_eq!(reader.read(&plane), 100.0, epsilon = 0.01);
                }
            }
        }
    }
}
