//! Supersampling: every pixel is the mean of samples spread over its area and over the time the shutter is open.

use besom_scan::Plane;
use rayon::prelude::*;

use super::paint::{Light, Scene};
use crate::ageing::noise;

/// Samples a pixel. They also divide the time the shutter is open.
const SAMPLES: usize = 10;

/// Share of a frame's time that the shutter is open: 180 degrees.
const SHUTTER: f32 = 0.5;

/// One frame of a scene as linear light, and how much of each pixel is a moving speck that belongs (0..1).
pub(super) fn frame(scene: &dyn Scene, width: usize, height: usize, number: usize, rate: f32) -> ([Plane; 3], Plane) {
    let rows: Vec<Vec<Light>> = (0..height)
        .into_par_iter()
        .map(|y| (0..width).map(|x| pixel(scene, (x, y), (width, height), number, rate)).collect())
        .collect();
    let plane = |pick: &dyn Fn(&Light) -> f32| Plane::from_fn(width, height, |x, y| pick(&rows[y][x]));
    (std::array::from_fn(|c| plane(&|light| light.rgb[c])), plane(&|light| light.belongs))
}

fn pixel(
    scene: &dyn Scene,
    (x, y): (usize, usize),
    (width, height): (usize, usize),
    number: usize,
    rate: f32,
) -> Light {
    let unit = 2.0 / height as f32;
    let mut sum = Light { rgb: [0.0; 3], belongs: 0.0 };
    // A pixel's own offset in time breaks the stroboscope that equal sub-frames would show in fast motion.
    let jitter = 0.5 + 0.5 * noise::lattice(x as i32, y as i32, number as i32, 0x7133);
    for n in 0..SAMPLES {
        // An additive recurrence with the plastic number's ratios spreads samples evenly in both directions.
        let (u, v) = ((0.5 + 0.754_877_7 * n as f32).fract(), (0.5 + 0.569_840_3 * n as f32).fract());
        // Samples reach a little beyond the pixel: a lens of the time, and less aliasing.
        let px = (x as f32 + 0.5 + 1.35 * (u - 0.5)) * unit - width as f32 / height as f32;
        let py = (y as f32 + 0.5 + 1.35 * (v - 0.5)) * unit - 1.0;
        let open = (n as f32 + jitter) / SAMPLES as f32;
        let light = scene.light((px, py), (number as f32 + SHUTTER * open) / rate);
        for (sum, light) in sum.rgb.iter_mut().zip(light.rgb) {
            *sum += light;
        }
        sum.belongs += light.belongs;
    }
    Light { rgb: sum.rgb.map(|v| v / SAMPLES as f32), belongs: sum.belongs / SAMPLES as f32 }
}
