//! Pictures for the screen: whole frames at full size or reduced by a box, and crops.

use besom_scan::Rect;
use besom_scan::{Frame, Samples};
use egui::{Color32, ColorImage};
use half::f16;

use super::viewing::{Lut, sample_index};
use crate::tokens;

/// A stored sample that can be averaged and looked up.
trait Sample: Copy {
    fn value(self) -> f32;
    fn index(value: f32) -> u16;
    fn own_index(self) -> u16;
}

impl Sample for u8 {
    fn value(self) -> f32 {
        f32::from(self)
    }
    fn index(value: f32) -> u16 {
        value.round() as u16
    }
    fn own_index(self) -> u16 {
        u16::from(self)
    }
}

impl Sample for u16 {
    fn value(self) -> f32 {
        f32::from(self)
    }
    fn index(value: f32) -> u16 {
        value.round() as u16
    }
    fn own_index(self) -> u16 {
        self
    }
}

impl Sample for f16 {
    fn value(self) -> f32 {
        let value = self.to_f32();
        if value.is_finite() { value } else { 0.0 }
    }
    fn index(value: f32) -> u16 {
        f16::from_f32(value).to_bits()
    }
    fn own_index(self) -> u16 {
        self.to_bits()
    }
}

impl Sample for f32 {
    fn value(self) -> f32 {
        if self.is_finite() { self } else { 0.0 }
    }
    fn index(value: f32) -> u16 {
        f16::from_f32(value).to_bits()
    }
    fn own_index(self) -> u16 {
        f16::from_f32(self).to_bits()
    }
}

/// The reduction (1, 2, 4 or 8) for a zoom in screen pixels a picture pixel: never less than a pixel a screen pixel.
pub(crate) fn step_for_zoom(zoom: f32) -> usize {
    match zoom {
        z if z > 0.5 => 1,
        z if z > 0.25 => 2,
        z if z > 0.125 => 4,
        _ => 8,
    }
}

/// The frame, each screen pixel the mean of `step` x `step` stored samples (means of stored codes: even in density for
/// log and video codes, even in light for linear ones), so that small marks fade but never flicker away.
pub(crate) fn whole(frame: &Frame, lut: &Lut, step: usize) -> ColorImage {
    match &frame.samples {
        Samples::U8(v) => reduce(frame, v, lut, step.max(1)),
        Samples::U16(v) => reduce(frame, v, lut, step.max(1)),
        Samples::F16(v) => reduce(frame, v, lut, step.max(1)),
        Samples::F32(v) => reduce(frame, v, lut, step.max(1)),
    }
}

fn reduce<T: Sample>(frame: &Frame, samples: &[T], lut: &Lut, step: usize) -> ColorImage {
    let (width, height) = (frame.width.div_ceil(step), frame.height.div_ceil(step));
    if samples.len() < frame.width * frame.height * frame.channels || frame.channels == 0 {
        return ColorImage::filled([1, 1], tokens::SURROUND);
    }
    let mut pixels = Vec::with_capacity(width * height);
    for y in 0..height {
        if step == 1 {
            full_row(frame, samples, lut, y, &mut pixels);
        } else {
            reduced_row(frame, samples, lut, y, step, &mut pixels);
        }
    }
    ColorImage::new([width, height], pixels)
}

fn full_row<T: Sample>(frame: &Frame, samples: &[T], lut: &Lut, y: usize, pixels: &mut Vec<Color32>) {
    let [r, g, b] = lut.sources();
    let row = frame.width * frame.channels;
    for pixel in samples[y * row..(y + 1) * row].chunks_exact(frame.channels) {
        let byte = |channel, source: usize| lut.byte(channel, pixel[source].own_index());
        pixels.push(Color32::from_rgb(byte(0, r), byte(1, g), byte(2, b)));
    }
}

fn reduced_row<T: Sample>(frame: &Frame, samples: &[T], lut: &Lut, y: usize, step: usize, pixels: &mut Vec<Color32>) {
    let rows = y * step..((y + 1) * step).min(frame.height);
    for x in 0..frame.width.div_ceil(step) {
        let columns = x * step..((x + 1) * step).min(frame.width);
        let count = (rows.len() * columns.len()) as f32;
        let mut sums = [0.0f32; 3];
        for py in rows.clone() {
            for px in columns.clone() {
                let at = (py * frame.width + px) * frame.channels;
                for (sum, source) in sums.iter_mut().zip(lut.sources()) {
                    *sum += samples[at + source].value();
                }
            }
        }
        let [r, g, b] = [0, 1, 2].map(|c| lut.byte(c, T::index(sums[c] / count)));
        pixels.push(Color32::from_rgb(r, g, b));
    }
}

/// A part of the frame at full size; what lies outside the frame shows the surround.
pub(crate) fn crop(frame: &Frame, lut: &Lut, rect: &Rect) -> ColorImage {
    let mut image = ColorImage::filled([rect.width().max(1), rect.height().max(1)], tokens::SURROUND);
    let inside = rect.intersect(&Rect::of_size(frame.width, frame.height));
    let [r, g, b] = lut.sources();
    for y in inside.y0..inside.y1 {
        for x in inside.x0..inside.x1 {
            let byte = |channel, source| {
                let bits = frame.native_bits(x as usize, y as usize, source);
                lut.byte(channel, sample_index(&frame.samples, bits))
            };
            let at = (y - rect.y0) as usize * rect.width() + (x - rect.x0) as usize;
            if let Some(pixel) = image.pixels.get_mut(at) {
                *pixel = Color32::from_rgb(byte(0, r), byte(1, g), byte(2, b));
            }
        }
    }
    image
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::viewing::Viewing;
    use besom_scan::{Encoding, Transfer};

    fn ramp(width: usize, height: usize) -> Frame {
        let samples = (0..width * height * 3).map(|i| (i * 7 % 256) as u8).collect();
        let encoding = Encoding { bits: 8, transfer: Transfer::Video };
        Frame { width, height, channels: 3, samples: Samples::U8(samples), encoding }
    }

    #[test]
    fn full_size_shows_every_sample_and_a_crop_is_a_part_of_it() {
        let frame = ramp(7, 5);
        let lut = Lut::new(&frame, &Viewing::default());
        let image = whole(&frame, &lut, 1);
        assert_eq!(image.size, [7, 5]);
        let part = crop(&frame, &lut, &Rect::new(-1, 2, 3, 6));
        assert_eq!(part.size, [4, 4]);
        for (x, y) in [(0, 2), (2, 4)] {
            assert_eq!(part.pixels[(y - 2) * 4 + x + 1], image.pixels[y * 7 + x]);
        }
        assert_eq!(part.pixels[0], tokens::SURROUND);
        assert_eq!(part.pixels[15], tokens::SURROUND);
    }

    #[test]
    fn reduction_is_the_mean_of_whole_and_of_cut_blocks() {
        let frame = ramp(5, 3);
        let lut = Lut::new(&frame, &Viewing::default());
        let image = whole(&frame, &lut, 2);
        assert_eq!(image.size, [3, 2]);
        let mean = |pixels: &[(usize, usize)]| {
            let sum: u32 = pixels.iter().map(|(x, y)| frame.native_bits(*x, *y, 0)).sum();
            (sum as f32 / pixels.len() as f32).round() as u8
        };
        assert_eq!(image.pixels[0].r(), mean(&[(0, 0), (1, 0), (0, 1), (1, 1)]));
        assert_eq!(image.pixels[2].r(), mean(&[(4, 0), (4, 1)]));
        assert_eq!(image.pixels[5].r(), mean(&[(4, 2)]));
    }
}
