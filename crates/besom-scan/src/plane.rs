//! One channel of a picture: rows of samples, top row first.

use ndarray::Array2;

use crate::Rect;

/// A two-dimensional array of samples in row order without padding; the index is `(y, x)` as in `ndarray`.
///
/// Analysis planes hold `f32` in *analysis codes*: a perceptually even scale on which 0 to 1023 is the range of a
/// 10-bit scan, so that a grain of 7 codes reads 7 whatever the file's depth.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane<T = f32> {
    // Invariant: standard (row-major, contiguous) layout, kept by every constructor and never handed out mutably whole.
    samples: Array2<T>,
}

impl<T: Copy + Default> Plane<T> {
    /// A plane of default samples (zeros).
    pub fn new(width: usize, height: usize) -> Self {
        Self { samples: Array2::from_elem((height, width), T::default()) }
    }

    /// A plane with every sample equal to `value`.
    pub fn filled(width: usize, height: usize, value: T) -> Self {
        Self { samples: Array2::from_elem((height, width), value) }
    }

    /// A plane from samples in row order; `None` when their number is not `width * height`.
    pub fn from_vec(width: usize, height: usize, samples: Vec<T>) -> Option<Self> {
        Array2::from_shape_vec((height, width), samples).ok().map(|samples| Self { samples })
    }

    /// A plane computed sample by sample from `(x, y)`.
    pub fn from_fn(width: usize, height: usize, mut sample: impl FnMut(usize, usize) -> T) -> Self {
        Self { samples: Array2::from_shape_fn((height, width), |(y, x)| sample(x, y)) }
    }

    /// Columns.
    pub fn width(&self) -> usize {
        self.samples.ncols()
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.samples.nrows()
    }

    /// The whole plane as a rectangle.
    pub fn rect(&self) -> Rect {
        Rect::of_size(self.width(), self.height())
    }

    /// All samples in row order.
    pub fn as_slice(&self) -> &[T] {
        self.samples.as_slice().unwrap_or(&[])
    }

    /// All samples in row order, to be changed.
    pub fn as_mut_slice(&mut self) -> &mut [T] {
        self.samples.as_slice_mut().unwrap_or(&mut [])
    }

    /// One row.
    ///
    /// # Panics
    /// When `y` is not below the height.
    pub fn row(&self, y: usize) -> &[T] {
        let width = self.width();
        &self.as_slice()[y * width..(y + 1) * width]
    }

    /// One row, to be changed.
    ///
    /// # Panics
    /// When `y` is not below the height.
    pub fn row_mut(&mut self, y: usize) -> &mut [T] {
        let width = self.width();
        &mut self.as_mut_slice()[y * width..(y + 1) * width]
    }

    /// The sample at `(x, y)`.
    ///
    /// # Panics
    /// When the position is outside.
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> T {
        self.samples[(y, x)]
    }

    /// The sample at `(x, y)`, or `None` outside.
    #[inline]
    pub fn get(&self, x: i32, y: i32) -> Option<T> {
        if x < 0 || y < 0 {
            return None;
        }
        self.samples.get((y as usize, x as usize)).copied()
    }

    /// The sample nearest to `(x, y)`: positions outside take the border's sample.
    ///
    /// # Panics
    /// When the plane is empty.
    #[inline]
    pub fn clamped(&self, x: i32, y: i32) -> T {
        let x = x.clamp(0, self.width() as i32 - 1) as usize;
        let y = y.clamp(0, self.height() as i32 - 1) as usize;
        self.samples[(y, x)]
    }

    /// Sets the sample at `(x, y)`.
    ///
    /// # Panics
    /// When the position is outside.
    #[inline]
    pub fn set(&mut self, x: usize, y: usize, value: T) {
        self.samples[(y, x)] = value;
    }

    /// The plane as an `ndarray` array, index `(y, x)`.
    pub fn array(&self) -> &Array2<T> {
        &self.samples
    }

    /// A plane of the same size with `f` applied to each sample.
    #[must_use]
    pub fn map<U: Copy + Default>(&self, f: impl FnMut(T) -> U) -> Plane<U> {
        Plane {
            samples: Array2::from_shape_vec(self.samples.raw_dim(), self.as_slice().iter().copied().map(f).collect())
                .unwrap_or_default(),
        }
    }

    /// A copy of the part inside `rect`, which is first cut to the plane.
    #[must_use]
    pub fn crop(&self, rect: &Rect) -> Self {
        let r = rect.intersect(&self.rect());
        Self::from_fn(r.width(), r.height(), |x, y| self.at(x + r.x0 as usize, y + r.y0 as usize))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_and_clamping() {
        let p = Plane::from_fn(3, 2, |x, y| x as i32 + 10 * y as i32);
        assert_eq!(p.row(1), &[10, 11, 12]);
        assert_eq!(p.clamped(-5, 9), 10);
        assert_eq!(p.get(3, 0), None);
        assert_eq!(p.crop(&Rect::new(1, 1, 9, 9)).as_slice(), &[11, 12]);
        assert_eq!(p.map(|v| v * 2).at(2, 1), 24);
    }
}
