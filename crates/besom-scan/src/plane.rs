//! One channel of a picture: rows of samples, top row first.

use ndarray::ArrayView2;

use crate::Rect;

/// A two-dimensional array of samples in row order without padding; the index is `(y, x)` as in `ndarray`.
///
/// Analysis planes hold `f32` in *analysis codes*: a perceptually even scale on which 0 to 1023 is the range of a
/// 10-bit scan, so that a grain of 7 codes reads 7 whatever the file's depth.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane<T = f32> {
    width: usize,
    height: usize,
    // Invariant: `width * height` samples, row by row.
    samples: Vec<T>,
}

impl<T: Copy + Default> Plane<T> {
    /// A plane of default samples (zeros).
    pub fn new(width: usize, height: usize) -> Self {
        Self::filled(width, height, T::default())
    }

    /// A plane with every sample equal to `value`.
    pub fn filled(width: usize, height: usize, value: T) -> Self {
        Self { width, height, samples: vec![value; width * height] }
    }

    /// A plane from samples in row order; `None` when their number is not `width * height`.
    pub fn from_vec(width: usize, height: usize, samples: Vec<T>) -> Option<Self> {
        (width.checked_mul(height) == Some(samples.len())).then_some(Self { width, height, samples })
    }

    /// A plane computed sample by sample from `(x, y)`.
    pub fn from_fn(width: usize, height: usize, mut sample: impl FnMut(usize, usize) -> T) -> Self {
        let mut samples = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                samples.push(sample(x, y));
            }
        }
        Self { width, height, samples }
    }

    /// Columns.
    #[inline]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    #[inline]
    pub fn height(&self) -> usize {
        self.height
    }

    /// The whole plane as a rectangle.
    pub fn rect(&self) -> Rect {
        Rect::of_size(self.width(), self.height())
    }

    /// All samples in row order.
    pub fn as_slice(&self) -> &[T] {
        &self.samples
    }

    /// All samples in row order, to be changed.
    pub fn as_mut_slice(&mut self) -> &mut [T] {
        &mut self.samples
    }

    /// The samples themselves, in row order.
    pub fn into_vec(self) -> Vec<T> {
        self.samples
    }

    /// One row.
    ///
    /// # Panics
    /// When `y` is not below the height.
    pub fn row(&self, y: usize) -> &[T] {
        &self.samples[y * self.width..(y + 1) * self.width]
    }

    /// One row, to be changed.
    ///
    /// # Panics
    /// When `y` is not below the height.
    pub fn row_mut(&mut self, y: usize) -> &mut [T] {
        &mut self.samples[y * self.width..(y + 1) * self.width]
    }

    /// The sample at `(x, y)`.
    ///
    /// # Panics
    /// When the position is outside.
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> T {
        assert!(x < self.width, "column {x} of {}", self.width);
        self.samples[y * self.width + x]
    }

    /// The sample at `(x, y)`, or `None` outside.
    #[inline]
    pub fn get(&self, x: i32, y: i32) -> Option<T> {
        let inside = x >= 0 && y >= 0 && (x as usize) < self.width && (y as usize) < self.height;
        inside.then(|| self.samples[y as usize * self.width + x as usize])
    }

    /// The sample nearest to `(x, y)`: positions outside take the border's sample.
    ///
    /// # Panics
    /// When the plane is empty.
    #[inline]
    pub fn clamped(&self, x: i32, y: i32) -> T {
        let x = x.clamp(0, self.width() as i32 - 1) as usize;
        let y = y.clamp(0, self.height() as i32 - 1) as usize;
        self.samples[y * self.width + x]
    }

    /// Sets the sample at `(x, y)`.
    ///
    /// # Panics
    /// When the position is outside.
    #[inline]
    pub fn set(&mut self, x: usize, y: usize, value: T) {
        assert!(x < self.width, "column {x} of {}", self.width);
        self.samples[y * self.width + x] = value;
    }

    /// The plane as an `ndarray` view, index `(y, x)`.
    pub fn array(&self) -> Option<ArrayView2<'_, T>> {
        ArrayView2::from_shape((self.height, self.width), &self.samples).ok()
    }

    /// A plane of the same size with `f` applied to each sample.
    #[must_use]
    pub fn map<U: Copy + Default>(&self, f: impl FnMut(T) -> U) -> Plane<U> {
        Plane { width: self.width, height: self.height, samples: self.samples.iter().copied().map(f).collect() }
    }

    /// A copy of the part inside `rect`, which is first cut to the plane.
    #[must_use]
    pub fn crop(&self, rect: &Rect) -> Self {
        let r = rect.intersect(&self.rect());
        let mut samples = Vec::with_capacity(r.area());
        for y in r.y0..r.y0 + r.height() as i32 {
            samples.extend_from_slice(&self.row(y as usize)[r.x0 as usize..r.x0 as usize + r.width()]);
        }
        Self { width: r.width(), height: r.height(), samples }
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
