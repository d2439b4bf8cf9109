//! Grain: signal-dependent, spatially correlated, partly shared between the colour channels.

use besom_scan::Plane;

use super::dice::{Dice, Purpose};
use super::style::GrainStyle;

/// Share of a channel's grain variance that all channels have in common.
pub const SHARED_VARIANCE: f32 = 0.4;

/// Grain of each colour record against the mean, red, green, blue: the blue-sensitive layer is the coarsest. The squares
/// average one. (Common practice.)
const RECORDS: [f32; 3] = [0.98, 0.88, 1.13];

/// Standard deviation of the correlation kernel in pixels: neighbours correlate by about a half.
pub(super) const SPREAD: f32 = 0.62;

/// Standard deviation of grain at an analysis code, for a mean strength of `grain` codes: weakest in the clear and the
/// dense parts, strongest between; its mean over evenly spread codes is `grain`.
pub fn sigma_at(code: f32, grain: f32) -> f32 {
    let t = (code / 1023.0).clamp(0.0, 1.0);
    // The parabola's mean over 0..1 is 2/3, so the factor averages 0.6 + 0.6 * 2/3 = 1.
    grain * (0.6 + 0.6 * 4.0 * t * (1.0 - t))
}

/// [`sigma_at`] in a style: the hump between the ends keeps the mean over evenly spread codes.
fn sigma_in_style(code: f32, grain: f32, style: &GrainStyle) -> f32 {
    let t = (code / 1023.0).clamp(0.0, 1.0);
    let hump = 1.5 * (1.0 - style.ends);
    (grain * (style.ends + hump * 4.0 * t * (1.0 - t) + style.slope * (t - 0.5))).max(0.1 * grain)
}

/// Adds grain of a mean strength of `grain` codes to one frame.
pub(super) fn add(planes: &mut [Plane], grain: f32, style: &GrainStyle, (seed, frame): (u64, usize)) {
    let Some(first) = planes.first() else { return };
    let (width, height) = (first.width(), first.height());
    if grain <= 0.0 || width == 0 || height == 0 {
        return;
    }
    let kernel = kernel(style.spread);
    let shared = field(width, height, &kernel, &mut Dice::new(seed, frame, Purpose::Grain(3)));
    // One record, or one silver image in all three channels.
    let alone = planes.len() == 1 || style.shared >= 1.0;
    let usual = style.ends == 0.6 && style.slope == 0.0;
    for (channel, plane) in planes.iter_mut().enumerate() {
        let own = field(width, height, &kernel, &mut Dice::new(seed, frame, Purpose::Grain(channel as u8)));
        let record = if alone { 1.0 } else { RECORDS[channel.min(2)] };
        let (common, separate) = (libm::sqrtf(style.shared), libm::sqrtf(1.0 - style.shared));
        let fields = shared.as_slice().iter().zip(own.as_slice());
        for (sample, (shared, own)) in plane.as_mut_slice().iter_mut().zip(fields) {
            let sigma = if usual { sigma_at(*sample, grain) } else { sigma_in_style(*sample, grain, style) };
            *sample += sigma * record * (common * shared + separate * own);
        }
    }
}

/// Adds grain of the same strength everywhere to a plane that is no colour record.
pub(super) fn add_even(plane: &mut Plane, grain: f32, seed: u64, frame: usize) {
    if grain <= 0.0 || plane.width() == 0 || plane.height() == 0 {
        return;
    }
    let own = field(plane.width(), plane.height(), &kernel(SPREAD), &mut Dice::new(seed, frame, Purpose::Grain(0)));
    plane.as_mut_slice().iter_mut().zip(own.as_slice()).for_each(|(sample, own)| *sample += grain * own);
}

/// A field of unit variance whose neighbours are correlated.
fn field(width: usize, height: usize, kernel: &[f32], dice: &mut Dice) -> Plane {
    let margin = kernel.len() / 2;
    // White noise with a margin, so that the border is as strong as the middle.
    let (wide, tall) = (width + 2 * margin, height + 2 * margin);
    let mut white = Vec::with_capacity(wide * tall + 4);
    while white.len() < wide * tall {
        white.extend_from_slice(&dice.rough_normals());
    }
    let mut rows = vec![0.0_f32; width * tall];
    for y in 0..tall {
        let source = &white[y * wide..(y + 1) * wide];
        for (x, target) in rows[y * width..(y + 1) * width].iter_mut().enumerate() {
            *target = kernel.iter().zip(&source[x..x + kernel.len()]).map(|(k, s)| k * s).sum();
        }
    }
    let mut out = Plane::new(width, height);
    for y in 0..height {
        let target = out.row_mut(y);
        for (j, k) in kernel.iter().enumerate() {
            let source = &rows[(y + j) * width..(y + j + 1) * width];
            for (target, s) in target.iter_mut().zip(source) {
                *target += k * s;
            }
        }
    }
    out
}

/// A Gaussian whose squares sum to one, so that filtering white noise keeps its variance.
fn kernel(spread: f32) -> Vec<f32> {
    let reach = (3.0 * spread).ceil().max(2.0);
    let kernel: Vec<f32> = (0..=2 * reach as usize)
        .map(|i| {
            let d = i as f32 - reach;
            libm::expf(-d * d / (2.0 * spread * spread))
        })
        .collect();
    let energy = libm::sqrtf(kernel.iter().map(|k| k * k).sum());
    kernel.into_iter().map(|k| k / energy).collect()
}
