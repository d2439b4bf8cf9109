//! A frame's luma at falling sizes, prepared once and used by every motion search that involves the frame.

use besom_scan::Plane;
use rayon::prelude::*;

/// Samples added on every side of a level so that a displaced patch reads no test for the border. Displacements that lead
/// farther out are held at this distance.
pub const MARGIN: usize = 16;

/// Smallest side of the coarsest level: below this a patch of 8 samples sees the whole picture.
const SMALLEST: usize = 24;

/// One size of the picture with its margin.
#[derive(Clone, Debug)]
pub struct Level {
    padded: Plane,
    width: usize,
    height: usize,
}

impl Level {
    fn new(plane: &Plane) -> Self {
        let (width, height) = (plane.width(), plane.height());
        let mut padded = Plane::new(width + 2 * MARGIN, height + 2 * MARGIN);
        let stride = padded.width();
        padded.as_mut_slice().par_chunks_mut(stride).enumerate().for_each(|(y, out)| {
            let row = plane.row(y.saturating_sub(MARGIN).min(height - 1));
            out[..MARGIN].fill(row[0]);
            out[MARGIN..MARGIN + width].copy_from_slice(row);
            out[MARGIN + width..].fill(row[width - 1]);
        });
        Self { padded, width, height }
    }

    /// Columns without the margin.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows without the margin.
    pub fn height(&self) -> usize {
        self.height
    }

    /// The samples with [`MARGIN`] copies of the border on each side.
    pub fn padded(&self) -> &Plane {
        &self.padded
    }
}

/// Luma at full size (level 0, only kept for small frames), half, quarter and so on.
#[derive(Clone, Debug)]
pub struct Pyramid {
    levels: Vec<Level>,
    finest: usize,
    width: usize,
    height: usize,
}

/// Frames of up to this many pixels are searched at full size; larger ones from half size on: a scan of 2K and more shows
/// detail no finer than two pixels, and a patch of 8 samples covers 16 of them. On the development clips (0.1 to 2
/// megapixels) the full size takes a fifth off the compensated difference and four times the time.
const FULL_SIZE_PIXELS: usize = 2_200_000;

impl Pyramid {
    /// Prepares a luma plane. The planes of one comparison must have one size.
    ///
    /// # Panics
    /// When the plane is empty.
    pub fn new(luma: &Plane) -> Self {
        let (width, height) = (luma.width(), luma.height());
        if Self::reduction(width, height) == 1 {
            Self::of_finest(luma.clone(), width, height)
        } else {
            Self::of_finest(halved(luma), width, height)
        }
    }

    /// Scan pixels to one sample of the finest size that is searched: 1 or 2.
    pub const fn reduction(width: usize, height: usize) -> usize {
        if width * height > FULL_SIZE_PIXELS { 2 } else { 1 }
    }

    /// Prepares a frame of `width` x `height` from its luma at the finest size that is searched: as it is, or [`halved`],
    /// as [`Pyramid::reduction`] says.
    ///
    /// # Panics
    /// When the plane is empty, or has another size than that.
    pub fn of_finest(finest: Plane, width: usize, height: usize) -> Self {
        let reduction = Self::reduction(width, height);
        assert!(width > 0 && height > 0, "a frame has pixels");
        assert!(
            finest.width() == width.div_ceil(reduction) && finest.height() == height.div_ceil(reduction),
            "the finest size is that of the frame"
        );
        let mut levels = Vec::new();
        let mut plane = finest;
        let finest = reduction - 1;
        loop {
            levels.push(Level::new(&plane));
            if plane.width().min(plane.height()) < 2 * SMALLEST {
                break;
            }
            plane = halved(&plane);
        }
        Self { levels, finest, width, height }
    }

    /// From the finest level that is searched to the coarsest.
    pub fn levels(&self) -> &[Level] {
        &self.levels
    }

    /// Scan pixels to one sample of `levels()[index]`.
    pub fn scale(&self, index: usize) -> usize {
        1 << (self.finest + index)
    }

    /// Columns of the scan.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows of the scan.
    pub fn height(&self) -> usize {
        self.height
    }
}

/// Half the size, each sample the mean of 2x2; an odd last row or column is averaged with itself.
pub fn halved(plane: &Plane) -> Plane {
    let (width, height) = (plane.width().div_ceil(2), plane.height().div_ceil(2));
    let mut half = Plane::new(width, height);
    let last = plane.height() - 1;
    half.as_mut_slice()
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, out)| halved_row(plane.row(2 * y), plane.row((2 * y + 1).min(last)), out));
    half
}

/// One row of [`halved`] from the two above each other.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub fn halved_row(a: &[f32], b: &[f32], out: &mut [f32]) {
    for ((out, a), b) in out.iter_mut().zip(a.chunks_exact(2)).zip(b.chunks_exact(2)) {
        *out = 0.25 * (a[0] + a[1] + b[0] + b[1]);
    }
    if let (1, Some(out), Some(a), Some(b)) = (a.len() % 2, out.last_mut(), a.last(), b.last()) {
        *out = 0.5 * (a + b);
    }
}

#[inline]
fn sort2(a: &mut f32, b: &mut f32) {
    let (low, high) = (a.min(*b), a.max(*b));
    (*a, *b) = (low, high);
}

/// Median of 3x3; the border repeats its samples.
///
/// Column-sorted triples leave the median as the middle of (largest minimum, middle of middles, smallest maximum), a
/// network of minima and maxima that vectorises (common practice).
pub fn median3(plane: &Plane) -> Plane {
    let (width, height) = (plane.width(), plane.height());
    let mut out = Plane::new(width, height);
    out.as_mut_slice().par_chunks_mut(width).enumerate().for_each(|(y, out)| {
        let rows = [plane.row(y.saturating_sub(1)), plane.row(y), plane.row((y + 1).min(height - 1))];
        let mut low = vec![0.0f32; width + 2];
        let mut middle = vec![0.0f32; width + 2];
        let mut high = vec![0.0f32; width + 2];
        for x in 0..width {
            let (mut a, mut b, mut c) = (rows[0][x], rows[1][x], rows[2][x]);
            sort2(&mut a, &mut b);
            sort2(&mut b, &mut c);
            sort2(&mut a, &mut b);
            (low[x + 1], middle[x + 1], high[x + 1]) = (a, b, c);
        }
        for triple in [&mut low, &mut middle, &mut high] {
            triple[0] = triple[1];
            triple[width + 1] = triple[width];
        }
        for x in 0..width {
            let least = low[x].max(low[x + 1]).max(low[x + 2]);
            let most = high[x].min(high[x + 1]).min(high[x + 2]);
            let (mut a, mut b, mut c) = (middle[x], middle[x + 1], middle[x + 2]);
            sort2(&mut a, &mut b);
            sort2(&mut b, &mut c);
            sort2(&mut a, &mut b);
            let (mut p, mut q, mut r) = (least, b, most);
            sort2(&mut p, &mut q);
            sort2(&mut q, &mut r);
            sort2(&mut p, &mut q);
            out[x] = q;
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn plain_median(plane: &Plane, x: i32, y: i32) -> f32 {
        let mut v: Vec<f32> =
            (-1..=1).flat_map(|j| (-1..=1).map(move |i| (i, j))).map(|(i, j)| plane.clamped(x + i, y + j)).collect();
        v.sort_by(f32::total_cmp);
        v[4]
    }

    proptest! {
        #[test]
        fn the_median_network_matches_sorting(w in 1usize..9, h in 1usize..7, seed in any::<u32>()) {
            let mut s = seed;
            let plane = Plane::from_fn(w, h, |_, _| { s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223); (s >> 24) as f32 });
            let fast = median3(&plane);
            for y in 0..h { for x in 0..w {
                prop_assert_eq!(fast.at(x, y), plain_median(&plane, x as i32, y as i32));
            } }
        }
    }

    #[test]
    fn halving_averages_and_keeps_odd_borders() {
        let plane = Plane::from_fn(3, 3, |x, y| (x + 3 * y) as f32);
        let half = halved(&plane);
        assert_eq!(half.as_slice(), &[2.0, 3.5, 6.5, 8.0]);
    }
}
