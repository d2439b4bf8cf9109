//! A frame reduced to what a cut is seen by.

use besom_scan::Plane;

/// Columns of a thumbnail; its rows follow the frame's shape.
pub const THUMBNAIL_WIDTH: usize = 64;

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

    /// How unlike two frames are, 0 for the same: the mean absolute difference after the whole frame's level is taken away
    /// and every block of 8x8 samples has found its best place within 4 samples, divided by the picture's own contrast.
    pub fn unlike(&self, other: &Self) -> f32 {
        const BLOCK: usize = 8;
        const REACH: i32 = 4;
        let (a, b) = (&self.luma, &other.luma);
        if a.width() != b.width() || a.height() != b.height() || a.width() == 0 {
            return f32::INFINITY;
        }
        let mean = |p: &Plane| p.as_slice().iter().sum::<f32>() / p.as_slice().len() as f32;
        let (ma, mb) = (mean(a), mean(b));
        let spread =
            |p: &Plane, m: f32| p.as_slice().iter().map(|v| (v - m).abs()).sum::<f32>() / p.as_slice().len() as f32;
        let contrast = spread(a, ma).max(spread(b, mb)).max(8.0);
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
                                let there = b.clamped(x as i32 + dx, y as i32 + dy);
                                difference += ((a.at(x, y) - ma) - (there - mb)).abs();
                            }
                        }
                        best = best.min(difference / (w * h) as f32);
                    }
                }
                sum += best;
                blocks += 1.0;
            }
        }
        sum / blocks / contrast
    }
}
