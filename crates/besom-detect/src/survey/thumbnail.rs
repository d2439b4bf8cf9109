//! A frame reduced to what a cut is seen by.

use besom_scan::Plane;

/// Columns of a thumbnail; its rows follow the frame's shape.
const THUMBNAIL_WIDTH: usize = 64;

/// A frame reduced for finding cuts: mean luma of square areas.
#[derive(Clone, Debug, PartialEq)]
pub struct Thumbnail {
    luma: Plane,
}

impl Thumbnail {
    /// Reduces a frame. Every fourth row and column of a large frame is enough for a mean over hundreds of pixels.
    pub fn new(planes: &[Plane]) -> Self {
        let Some(first) = planes.first().filter(|p| p.width() > 0 && p.height() > 0) else {
            return Self { luma: Plane::new(0, 0) };
        };
        let (width, height) = (first.width(), first.height());
        let columns = THUMBNAIL_WIDTH.min(width);
        let rows = (height * columns / width).clamp(1, height);
        let step = if width >= 16 * columns { 4 } else { 1 };
        let luma = Plane::from_fn(columns, rows, |c, r| {
            let (x0, x1) = (c * width / columns, ((c + 1) * width / columns).max(c * width / columns + 1));
            let (y0, y1) = (r * height / rows, ((r + 1) * height / rows).max(r * height / rows + 1));
            let (mut sum, mut count) = (0.0, 0.0);
            for y in (y0..y1).step_by(step) {
                for plane in planes {
                    for v in plane.row(y)[x0..x1].iter().step_by(step) {
                        sum += v;
                        count += 1.0;
                    }
                }
            }
            sum / f32::max(count, 1.0)
        });
        Self { luma }
    }

    /// The reduced luma, analysis codes.
    pub fn luma(&self) -> &Plane {
        &self.luma
    }

    /// How unlike two frames are, 0 for the same: the mean absolute difference after the whole frame's level and, where that
    /// helps, its contrast are made equal and every block of 8x8 samples has found its best place within 4 samples, divided
    /// by the picture's own contrast.
    ///
    /// Nothing stands out of a picture whose contrast is not above `HAZE` by much: the last frames of a fade are
    /// like each other, whatever is left in them.
    pub fn unlike(&self, other: &Self) -> f32 {
        let (a, b) = (&self.luma, &other.luma);
        if a.width() != b.width() || a.height() != b.height() || a.width() == 0 {
            return f32::INFINITY;
        }
        let (ma, mb) = (mean(a), mean(b));
        let (sa, sb) = (spread(a, ma), spread(b, mb));
        let plain = best_fit(a, b, |v| v - ma, |v| v - mb) / (sa.max(sb) + HAZE);
        // A flash or a fade takes contrast away; both frames are brought to the middle of theirs.
        let (weak, strong) = (sa.min(sb), sa.max(sb));
        if strong < EVEN * weak || weak < 0.5 * HAZE {
            return plain;
        }
        let middle = (sa * sb).sqrt();
        let even = best_fit(a, b, |v| (v - ma) * (middle / sa), |v| (v - mb) * (middle / sb)) / (middle + HAZE);
        plain.min(even)
    }
}

/// Contrast, in codes, that counts as none.
const HAZE: f32 = 12.0;
/// Contrasts closer than this factor are taken as one.
const EVEN: f32 = 1.15;

fn mean(plane: &Plane) -> f32 {
    plane.as_slice().iter().sum::<f32>() / plane.as_slice().len() as f32
}

fn spread(plane: &Plane, mean: f32) -> f32 {
    plane.as_slice().iter().map(|v| (v - mean).abs()).sum::<f32>() / plane.as_slice().len() as f32
}

/// Mean over blocks of the least mean absolute difference within reach, both frames seen through a tone curve.
fn best_fit(a: &Plane, b: &Plane, tone_a: impl Fn(f32) -> f32, tone_b: impl Fn(f32) -> f32) -> f32 {
    const BLOCK: usize = 8;
    const REACH: i32 = 4;
    let (a, b) = (a.map(tone_a), b.map(tone_b));
    let (mut sum, mut blocks) = (0.0, 0.0);
    for y0 in (0..a.height()).step_by(BLOCK) {
        for x0 in (0..a.width()).step_by(BLOCK) {
            let (w, h) = (BLOCK.min(a.width() - x0), BLOCK.min(a.height() - y0));
            let mut best = f32::INFINITY;
            for dy in -REACH..=REACH {
                for dx in -REACH..=REACH {
                    let mut difference = 0.0;
                    for y in y0..y0 + h {
                        for x in x0..x0 + w {
                            difference += (a.at(x, y) - b.clamped(x as i32 + dx, y as i32 + dy)).abs();
                        }
                    }
                    best = best.min(difference / (w * h) as f32);
                }
            }
            sum += best;
            blocks += 1.0;
        }
    }
    sum / blocks
}
