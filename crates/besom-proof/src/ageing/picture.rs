//! The clean picture as another film would hold it: sharpness, contrast, level.

use besom_scan::Plane;

use super::style::PictureStyle;

/// The planes in a style.
pub(super) fn styled(planes: &[Plane], style: &PictureStyle) -> Vec<Plane> {
    let mut planes = if style.grey { grey(planes) } else { planes.to_vec() };
    for plane in &mut planes {
        if style.blur > 0.0 {
            *plane = blurred(plane, style.blur);
        }
        if style.sharpen > 0.0 {
            let soft = blurred(plane, 1.0);
            for (sample, soft) in plane.as_mut_slice().iter_mut().zip(soft.as_slice()) {
                *sample += style.sharpen * (*sample - soft);
            }
        }
        toned(plane, style);
    }
    planes
}

fn grey(planes: &[Plane]) -> Vec<Plane> {
    let [red, green, blue] = planes else { return planes.to_vec() };
    // Rec. 601 weights.
    let luma = Plane::from_fn(red.width(), red.height(), |x, y| {
        0.299 * red.at(x, y) + 0.587 * green.at(x, y) + 0.114 * blue.at(x, y)
    });
    vec![luma; 3]
}

fn toned(plane: &mut Plane, style: &PictureStyle) {
    let (low, high) = style.codes;
    let height = plane.height().max(1) as f32;
    let changed = style.gamma != 1.0 || style.codes != (0.0, 1023.0);
    for y in 0..plane.height() {
        let level = style.gradient * ((y as f32 + 0.5) / height - 0.5);
        for sample in plane.row_mut(y) {
            if changed {
                let share = (*sample / 1023.0).clamp(0.0, 1.0);
                *sample = low + (high - low) * libm::powf(share, style.gamma);
            }
            *sample = (*sample + level).clamp(0.0, 1023.0);
        }
    }
}

/// A Gaussian blur; borders repeat.
pub(super) fn blurred(plane: &Plane, sigma: f32) -> Plane {
    let reach = (3.0 * sigma).ceil() as i32;
    let weights: Vec<f32> = (-reach..=reach)
        .map(|d| {
            let d = d as f32 / sigma;
            libm::expf(-0.5 * d * d)
        })
        .collect();
    let all: f32 = weights.iter().sum();
    let sum =
        |pick: &dyn Fn(i32) -> f32| weights.iter().zip(-reach..=reach).map(|(w, d)| w * pick(d)).sum::<f32>() / all;
    let (width, height) = (plane.width(), plane.height());
    let across = Plane::from_fn(width, height, |x, y| sum(&|d| plane.clamped(x as i32 + d, y as i32)));
    Plane::from_fn(width, height, |x, y| sum(&|d| across.clamped(x as i32, y as i32 + d)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_changes_nothing() {
        let planes = vec![Plane::from_fn(9, 7, |x, y| (x * 100 + y * 13) as f32); 3];
        assert_eq!(styled(&planes, &PictureStyle::default()), planes);
    }

    #[test]
    fn a_blur_keeps_the_level_and_spreads_a_point_by_its_width() {
        let mut plane = Plane::new(31, 31);
        plane.set(15, 15, 1000.0);
        let soft = blurred(&plane, 1.5);
        let second = |axis: fn(usize, usize) -> usize| {
            let mut sum = 0.0;
            for y in 0..31 {
                for x in 0..31 {
                    let d = axis(x, y) as f32 - 15.0;
                    sum += d * d * soft.at(x, y);
                }
            }
            sum / 1000.0
        };
        approx::assert_relative_eq!(soft.as_slice().iter().sum::<f32>(), 1000.0, epsilon = 0.1);
        // The second moment of a Gaussian is its variance; cut at 3 sigma it loses about 2 %.
        for moment in [second(|x, _| x), second(|_, y| y)] {
            assert!((moment - 2.25).abs() < 0.1, "{moment}");
        }
    }

    #[test]
    fn flat_codes_and_a_gradient_do_what_they_say() {
        let style = PictureStyle { codes: (100.0, 700.0), gradient: 60.0, ..PictureStyle::default() };
        let out = styled(&[Plane::filled(3, 4, 1023.0), Plane::filled(3, 4, 0.0)], &style);
        // Rows stand at -3/8, -1/8, 1/8 and 3/8 of the height.
        approx::assert_relative_eq!(out[0].at(0, 0), 700.0 - 22.5, epsilon = 1e-3);
        approx::assert_relative_eq!(out[1].at(2, 3), 100.0 + 22.5, epsilon = 1e-3);
    }
}
