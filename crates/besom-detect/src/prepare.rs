//! What every comparison needs of a frame, made once.

use besom_motion::Pyramid;
use besom_scan::Plane;
use rayon::prelude::*;

use crate::infrared::Infrared;

/// A frame ready for motion and detection.
#[derive(Clone, Debug)]
pub struct Prepared {
    /// Its colour channels in analysis codes, one or three planes.
    pub planes: Vec<Plane>,
    /// Lightly smoothed luma: the plane on which marks are looked for. Smoothing by a binomial 3x3 halves white grain
    /// while a speck of three pixels keeps most of its contrast.
    pub luma: Plane,
    /// Luma at falling sizes for the motion search.
    pub pyramid: Pyramid,
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
        let sharp = luma(&planes);
        let pyramid = Pyramid::new(&sharp);
        Some(Self { luma: smoothed(&sharp), planes, pyramid, infrared: None })
    }

    /// The same with an infrared plane, which is left out when its size is another.
    #[must_use]
    pub fn with_infrared(mut self, infrared: Option<Infrared>) -> Self {
        let size = (self.width(), self.height());
        self.infrared = infrared.filter(|plane| plane.size() == size);
        self
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
    out.as_mut_slice().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        let parts = red.row(y).iter().zip(green.row(y)).zip(blue.row(y));
        for (out, ((r, g), b)) in row.iter_mut().zip(parts) {
            *out = 0.25 * (r + b) + 0.5 * g;
        }
    });
    out
}

/// Binomial smoothing (1 2 1 along both axes, divided by 16); the border repeats its samples.
pub fn smoothed(plane: &Plane) -> Plane {
    let (width, height) = (plane.width(), plane.height());
    let mut out = Plane::new(width, height);
    out.as_mut_slice().par_chunks_mut(width).enumerate().for_each(|(y, out)| {
        let (up, row, down) = (plane.row(y.saturating_sub(1)), plane.row(y), plane.row((y + 1).min(height - 1)));
        let mut column = vec![0.0f32; width + 2];
        for x in 0..width {
            column[x + 1] = 0.25 * (up[x] + down[x]) + 0.5 * row[x];
        }
        (column[0], column[width + 1]) = (column[1], column[width]);
        for x in 0..width {
            out[x] = 0.25 * (column[x] + column[x + 2]) + 0.5 * column[x + 1];
        }
    });
    out
}
