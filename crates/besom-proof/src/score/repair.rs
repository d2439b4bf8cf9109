//! How close a repair comes to the clean picture, whether its grain matches, and whether it kept to its masks.

use besom_scan::Plane;

use super::objects::{LEAST_PIXELS, near, objects};
use super::ssim::{PEAK, blur, ssim};
use crate::ageing::{DUST, HAIR};
use crate::peers::channel_mean;

/// Pixels that similarity boxes reach beyond the bounds of their object.
const BOX_MARGIN: i32 = 8;
/// Squared distances between which the rim around repairs lies: 3 to 8 pixels.
const RIM: (u32, u32) = (9, 64);

/// What a frame's repair is scored on. Everything is of one size; pictures have the same number of channels.
#[derive(Clone, Copy, Debug)]
pub struct Pictures<'a> {
    /// The dirty picture.
    pub scan: &'a [Plane],
    /// The truth.
    pub clean: &'a [Plane],
    /// The repaired picture.
    pub repaired: &'a [Plane],
    /// Label bits of the truth.
    pub labels: &'a Plane<u8>,
    /// Not 0 where the repair was allowed to change pixels.
    pub mask: &'a Plane<u8>,
}

/// Sums for a standard deviation.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Spread {
    count: u64,
    sum: f64,
    squares: f64,
}

impl Spread {
    fn add(&mut self, value: f64) {
        self.count += 1;
        self.sum += value;
        self.squares += value * value;
    }

    fn merge(&mut self, other: Self) {
        self.count += other.count;
        self.sum += other.sum;
        self.squares += other.squares;
    }

    fn deviation(self) -> Option<f64> {
        let count = self.count as f64;
        (self.count > 1).then(|| (self.squares / count - (self.sum / count).powi(2)).max(0.0).sqrt())
    }
}

/// The repair score of any number of frames.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Repair {
    squared_error: f64,
    samples: u64,
    similarity: f64,
    boxes: u64,
    inside: Spread,
    rim: Spread,
    /// Pixels outside the masks that differ from the scan in any channel. Must be 0.
    pub changed_outside: u64,
}

impl Repair {
    /// The score of one frame.
    pub fn of_frame(pictures: &Pictures) -> Self {
        let mut score = Self::default();
        score.add_error(pictures);
        score.add_similarity(pictures);
        score.add_grain(pictures);
        let mask = pictures.mask.as_slice();
        let differs =
            |i: usize| pictures.scan.iter().zip(pictures.repaired).any(|(s, r)| s.as_slice()[i] != r.as_slice()[i]);
        score.changed_outside = (0..mask.len()).filter(|i| mask[*i] == 0 && differs(*i)).count() as u64;
        score
    }

    /// Adds another score.
    pub fn merge(&mut self, other: &Self) {
        self.squared_error += other.squared_error;
        self.samples += other.samples;
        self.similarity += other.similarity;
        self.boxes += other.boxes;
        self.inside.merge(other.inside);
        self.rim.merge(other.rim);
        self.changed_outside += other.changed_outside;
    }

    /// Peak signal-to-noise ratio in dB over all true pixels of dust and hairs, all channels, against the clean picture;
    /// the peak is 1023. `None` without such pixels; infinite for a perfect repair.
    pub fn psnr(&self) -> Option<f64> {
        (self.samples > 0).then(|| 10.0 * (PEAK * PEAK * self.samples as f64 / self.squared_error).log10())
    }

    /// Mean structural similarity over the bounds of each true dust or hair object grown by 8 pixels, on the mean of the
    /// channels. As windows must lie inside, boxes cut below 11 pixels by the frame's edge are left out; `None` without
    /// boxes.
    pub fn ssim(&self) -> Option<f64> {
        (self.boxes > 0).then(|| self.similarity / self.boxes as f64)
    }

    /// Standard deviation of the high-pass residue (picture minus its Gaussian of sigma 1.5) inside the repairs over the
    /// same on a rim 3 to 8 pixels outside, all channels together. One means that the repair's grain cannot be told from
    /// its surroundings'; dirt left on the rim lowers it. `None` when there is no repair or no spread on the rim.
    pub fn grain_ratio(&self) -> Option<f64> {
        let (inside, rim) = (self.inside.deviation()?, self.rim.deviation()?);
        (rim > 0.0).then(|| inside / rim)
    }

    fn add_error(&mut self, pictures: &Pictures) {
        for (clean, repaired) in pictures.clean.iter().zip(pictures.repaired) {
            let samples = clean.as_slice().iter().zip(repaired.as_slice()).zip(pictures.labels.as_slice());
            for ((c, r), _) in samples.filter(|(_, label)| **label & (DUST | HAIR) != 0) {
                self.squared_error += (f64::from(*c) - f64::from(*r)).powi(2);
                self.samples += 1;
            }
        }
    }

    fn add_similarity(&mut self, pictures: &Pictures) {
        let (clean, repaired) = (channel_mean(pictures.clean), channel_mean(pictures.repaired));
        for object in objects(pictures.labels, |v| v & (DUST | HAIR) != 0, LEAST_PIXELS) {
            let window = object.bounds().grown(BOX_MARGIN);
            if let Some(similarity) = ssim(&clean.crop(&window), &repaired.crop(&window)) {
                self.similarity += similarity;
                self.boxes += 1;
            }
        }
    }

    fn add_grain(&mut self, pictures: &Pictures) {
        let (width, height) = (pictures.mask.width(), pictures.mask.height());
        if pictures.mask.as_slice().iter().all(|v| *v == 0) {
            return;
        }
        let wide = near(pictures.mask, RIM.1);
        let close = near(pictures.mask, RIM.0 - 1);
        for plane in pictures.repaired {
            let samples: Vec<f64> = plane.as_slice().iter().map(|v| f64::from(*v)).collect();
            let smooth = blur(&samples, width, height);
            for i in 0..samples.len() {
                let residue = samples[i] - smooth[i];
                if pictures.mask.as_slice()[i] != 0 {
                    self.inside.add(residue);
                } else if wide.as_slice()[i] != 0 && close.as_slice()[i] == 0 {
                    self.rim.add(residue);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use besom_scan::{Rect, RunMask};

    /// Two patterns that any language can repeat exactly; the second stands for a repair of the first.
    fn patterns() -> (Plane, Plane) {
        let a = Plane::from_fn(24, 20, |x, y| ((x * 37 + y * 61 + x * y * 5) % 401 + 300) as f32);
        let b = Plane::from_fn(24, 20, |x, y| a.at(x, y) + ((x * 13 + y * 7) % 23) as f32 * 4.0 - 30.0);
        (a, b)
    }

    fn scored(clean: &Plane, repaired: &Plane, labels: &Plane<u8>, mask: &Plane<u8>) -> Repair {
        let clean = std::slice::from_ref(clean);
        let repaired = std::slice::from_ref(repaired);
        Repair::of_frame(&Pictures { scan: clean, clean, repaired, labels, mask })
    }

    #[test]
    fn psnr_over_a_mask_agrees_with_another_implementation() {
        let (a, b) = patterns();
        let labels = Plane::from_fn(24, 20, |x, y| if (x + 2 * y) % 5 == 0 { HAIR } else { crate::ageing::LINE });
        // scikit-image 0.26.0, peak_signal_noise_ratio(a[m], b[m], data_range=1023) with m where (x + 2y) % 5 == 0.
        approx::assert_abs_diff_eq!(
            scored(&a, &b, &labels, &labels).psnr().unwrap(),
            31.175_670_044_339_31,
            epsilon = 1e-9
        );
        assert_eq!(scored(&a, &a, &labels, &labels).psnr(), Some(f64::INFINITY));
        assert_eq!(scored(&a, &b, &Plane::new(24, 20), &labels).psnr(), None);
    }

    #[test]
    fn ssim_of_a_box_agrees_with_another_implementation() {
        let (a, b) = patterns();
        let mut labels = Plane::new(24, 20);
        RunMask::from_rect(&Rect::new(9, 8, 12, 10)).paint(&mut labels, DUST);
        // The bounds grown by 8: rows 0 to 17 and columns 1 to 19. scikit-image 0.26.0, structural_similarity of
        // a[0:18, 1:20] and b[0:18, 1:20], gaussian_weights=True, sigma=1.5, use_sample_covariance=False, data_range=1023.
        approx::assert_abs_diff_eq!(
            scored(&a, &b, &labels, &labels).ssim().unwrap(),
            0.974_867_699_273_082_8,
            epsilon = 1e-9
        );
    }

    #[test]
    fn the_grain_ratio_agrees_with_another_implementation() {
        let (_, b) = patterns();
        let mut mask = Plane::new(24, 20);
        RunMask::from_rect(&Rect::new(9, 8, 12, 10)).paint(&mut mask, 1);
        let labels = Plane::new(24, 20);
        // SciPy 1.17.1: std of b - gaussian_filter(b, 1.5, truncate=3.5, mode='nearest') inside the mask over the same
        // where distance_transform_edt says 3..=8.
        approx::assert_abs_diff_eq!(
            scored(&b, &b, &labels, &mask).grain_ratio().unwrap(),
            1.025_040_831_137_531_6,
            epsilon = 1e-9
        );
        assert_eq!(scored(&b, &b, &labels, &Plane::new(24, 20)).grain_ratio(), None);
    }

    #[test]
    fn changes_outside_the_mask_are_counted_by_pixel() {
        let scan = vec![Plane::filled(5, 4, 100.0), Plane::filled(5, 4, 200.0)];
        let mut repaired = scan.clone();
        let mut mask = Plane::new(5, 4);
        mask.set(1, 1, 255);
        repaired[0].set(1, 1, 7.0);
        repaired[0].set(3, 2, 101.0);
        repaired[1].set(3, 2, 201.0);
        repaired[1].set(4, 3, 199.0);
        let labels = Plane::new(5, 4);
        let pictures = Pictures { scan: &scan, clean: &scan, repaired: &repaired, labels: &labels, mask: &mask };
        let mut score = Repair::of_frame(&pictures);
        assert_eq!(score.changed_outside, 2);
        score.merge(&Repair::of_frame(&pictures));
        assert_eq!(score.changed_outside, 4);
    }
}
