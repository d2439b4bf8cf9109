//! Structural similarity, and the Gaussian it shares with the grain score.
//!
//! Wang, Bovik, Sheikh, Simoncelli, IEEE Trans. Image Processing 13(4):600-612, 2004: 11 x 11 Gaussian window of
//! sigma 1.5, K1 = 0.01, K2 = 0.03, population covariances.

use besom_scan::Plane;

/// Largest code: the dynamic range of every score.
pub const PEAK: f64 = 1023.0;
const SIGMA: f64 = 1.5;
const REACH: usize = 5;

/// The mean structural similarity of two planes of one size over the pixels whose whole window lies inside; `None` when
/// a side is below 11 pixels or the sizes differ.
pub fn ssim(a: &Plane, b: &Plane) -> Option<f64> {
    let (width, height) = (a.width(), a.height());
    if width <= 2 * REACH || height <= 2 * REACH || a.rect() != b.rect() {
        return None;
    }
    let product = |f: &dyn Fn(f64, f64) -> f64| {
        let both = a.as_slice().iter().zip(b.as_slice());
        blur(&both.map(|(a, b)| f(f64::from(*a), f64::from(*b))).collect::<Vec<_>>(), width, height)
    };
    let (ma, mb) = (product(&|a, _| a), product(&|_, b| b));
    let (aa, bb, ab) = (product(&|a, _| a * a), product(&|_, b| b * b), product(&|a, b| a * b));
    let (c1, c2) = ((0.01 * PEAK).powi(2), (0.03 * PEAK).powi(2));
    let mut sum = 0.0;
    for y in REACH..height - REACH {
        for i in y * width + REACH..(y + 1) * width - REACH {
            let (va, vb, cov) = (aa[i] - ma[i] * ma[i], bb[i] - mb[i] * mb[i], ab[i] - ma[i] * mb[i]);
            sum +=
                (2.0 * ma[i] * mb[i] + c1) * (2.0 * cov + c2) / ((ma[i] * ma[i] + mb[i] * mb[i] + c1) * (va + vb + c2));
        }
    }
    Some(sum / ((width - 2 * REACH) * (height - 2 * REACH)) as f64)
}

/// The samples blurred by the Gaussian of sigma 1.5 cut at 5 pixels; the border's samples hold outside.
pub(super) fn blur(samples: &[f64], width: usize, height: usize) -> Vec<f64> {
    let mut weights: [f64; 2 * REACH + 1] =
        std::array::from_fn(|i| (-(i as f64 - REACH as f64).powi(2) / (2.0 * SIGMA * SIGMA)).exp());
    let sum: f64 = weights.iter().sum();
    for weight in &mut weights {
        *weight /= sum;
    }
    let place = |at: usize, k: usize, size: usize| (at + k).saturating_sub(REACH).min(size - 1);
    let mut across = vec![0.0; samples.len()];
    for (row, out) in samples.chunks_exact(width).zip(across.chunks_exact_mut(width)) {
        for (x, out) in out.iter_mut().enumerate() {
            *out = weights.iter().enumerate().map(|(k, w)| w * row[place(x, k, width)]).sum();
        }
    }
    let mut down = vec![0.0; samples.len()];
    for (y, out) in down.chunks_exact_mut(width).enumerate() {
        for (k, w) in weights.iter().enumerate() {
            let row = &across[place(y, k, height) * width..][..width];
            out.iter_mut().zip(row).for_each(|(o, v)| *o += w * v);
        }
    }
    down
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Two patterns that any language can repeat exactly.
    fn patterns() -> (Plane, Plane) {
        let a = Plane::from_fn(24, 20, |x, y| ((x * 37 + y * 61 + x * y * 5) % 401 + 300) as f32);
        let b = Plane::from_fn(24, 20, |x, y| a.at(x, y) + ((x * 13 + y * 7) % 23) as f32 * 4.0 - 30.0);
        (a, b)
    }

    #[test]
    fn agrees_with_another_implementation() {
        let (a, b) = patterns();
        // scikit-image 0.26.0, structural_similarity(a, b, gaussian_weights=True, sigma=1.5,
        // use_sample_covariance=False, data_range=1023) on these float64 patterns.
        approx::assert_abs_diff_eq!(ssim(&a, &b).unwrap(), 0.974_653_640_197_481_4, epsilon = 1e-9);
    }

    #[test]
    fn alike_is_one_and_small_is_none() {
        let (a, b) = patterns();
        assert_eq!(ssim(&a, &a).unwrap(), 1.0);
        assert_eq!(ssim(&a, &Plane::new(24, 19)), None);
        let small = besom_scan::Rect::new(0, 0, 10, 20);
        assert_eq!(ssim(&a.crop(&small), &b.crop(&small)), None);
    }

    #[test]
    fn the_blur_agrees_with_another_implementation() {
        let (a, _) = patterns();
        let samples: Vec<f64> = a.as_slice().iter().map(|v| f64::from(*v)).collect();
        let blurred = blur(&samples, 24, 20);
        // SciPy 1.17.1, ndimage.gaussian_filter(a, 1.5, truncate=3.5, mode='nearest') at (x, y).
        for ((x, y), value) in [
            ((0, 0), 357.816_406_393_673_84),
            ((11, 9), 498.216_178_634_488_6),
            ((23, 19), 458.489_608_139_292_05),
            ((2, 18), 496.308_274_431_461_3),
        ] {
            approx::assert_abs_diff_eq!(blurred[y * 24 + x], value, epsilon = 1e-9);
        }
    }
}
