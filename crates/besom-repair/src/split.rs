//! Parting low frequencies from high ones in a small box.

/// Half the taps of the filter.
const RADIUS: usize = 4;
/// A Gaussian of 1.5 pixels: about the scale at which film grain at 2K ends and picture begins.
const KERNEL: [f32; RADIUS + 1] = [1.0, 0.800_737, 0.411_112, 0.135_335, 0.028_566];

/// Gaussian means of the known values (NaN: unknown) of rows `width` long; NaN where nothing near is known.
///
/// Weighted by what is known, so that unknown pixels and the box's border neither darken nor spread.
pub(crate) fn low_pass(values: &[f32], width: usize) -> Vec<f32> {
    if width == 0 {
        return Vec::new();
    }
    let height = values.len() / width;
    let mut rows = vec![(0.0f32, 0.0f32); values.len()];
    for y in 0..height {
        let row = &values[y * width..(y + 1) * width];
        for x in 0..width {
            let (mut sum, mut total) = (0.0, 0.0);
            let left = x.saturating_sub(RADIUS);
            for (k, v) in row[left..=(x + RADIUS).min(width - 1)].iter().enumerate() {
                if !v.is_nan() {
                    let weight = KERNEL[x.abs_diff(left + k)];
                    sum += weight * v;
                    total += weight;
                }
            }
            rows[y * width + x] = (sum, total);
        }
    }
    let mut low = Vec::with_capacity(values.len());
    for y in 0..height {
        let top = y.saturating_sub(RADIUS);
        for x in 0..width {
            let (mut sum, mut total) = (0.0, 0.0);
            for row in top..=(y + RADIUS).min(height - 1) {
                let (s, t) = rows[row * width + x];
                sum += KERNEL[y.abs_diff(row)] * s;
                total += KERNEL[y.abs_diff(row)] * t;
            }
            low.push(if total > 0.0 { sum / total } else { f32::NAN });
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kernel_is_the_gaussian_it_says() {
        for (i, k) in KERNEL.iter().enumerate() {
            approx::assert_abs_diff_eq!(*k, (-((i * i) as f32) / (2.0 * 1.5 * 1.5)).exp(), epsilon = 1e-4);
        }
    }

    #[test]
    fn it_is_the_weighted_mean_written_out() {
        let (width, height) = (13, 11);
        let values: Vec<f32> =
            (0..width * height).map(|i| if i % 17 == 3 { f32::NAN } else { ((i * 7919) % 257) as f32 }).collect();
        let low = low_pass(&values, width);
        for y in 0..height {
            for x in 0..width {
                let (mut sum, mut total) = (0.0f64, 0.0f64);
                for b in 0..height {
                    for a in 0..width {
                        let (v, dx, dy) = (values[b * width + a], x.abs_diff(a), y.abs_diff(b));
                        if !v.is_nan() && dx <= RADIUS && dy <= RADIUS {
                            let w = f64::from(KERNEL[dx]) * f64::from(KERNEL[dy]);
                            sum += w * f64::from(v);
                            total += w;
                        }
                    }
                }
                approx::assert_abs_diff_eq!(low[y * width + x], (sum / total) as f32, epsilon = 1e-3);
            }
        }
    }
}
