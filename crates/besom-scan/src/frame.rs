//! A decoded frame: native samples, and the road to and from analysis codes.

use half::f16;
use rayon::prelude::*;

use crate::{Plane, curve};

/// Samples interleaved pixel by pixel in row order, in the file's own codes (a 10-bit sample is 0 to 1023 in `U16`).
#[derive(Clone, Debug, PartialEq)]
pub enum Samples {
    /// 8-bit codes.
    U8(Vec<u8>),
    /// 10-, 12- or 16-bit codes.
    U16(Vec<u16>),
    /// Half floats, kept as bits (NaN payloads survive).
    F16(Vec<f16>),
    /// Single floats.
    F32(Vec<f32>),
}

impl Samples {
    /// Number of samples.
    pub fn len(&self) -> usize {
        match self {
            Self::U8(v) => v.len(),
            Self::U16(v) => v.len(),
            Self::F16(v) => v.len(),
            Self::F32(v) => v.len(),
        }
    }

    /// True when there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Sample `index` as raw bits; 0 when there is no such sample.
    pub fn bits(&self, index: usize) -> u32 {
        match self {
            Self::U8(v) => v.get(index).map_or(0, |s| u32::from(*s)),
            Self::U16(v) => v.get(index).map_or(0, |s| u32::from(*s)),
            Self::F16(v) => v.get(index).map_or(0, |s| u32::from(s.to_bits())),
            Self::F32(v) => v.get(index).map_or(0, |s| s.to_bits()),
        }
    }
}

/// What a code value stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Transfer {
    /// Density of a film negative as a print stock sees it: a code is 0.002 D at 10 bits.
    PrintingDensity,
    /// Another logarithmic code.
    Log,
    /// A gamma-coded picture.
    Video,
    /// Linear light; a full integer code or the float 1.0 is white.
    Linear,
}

impl std::fmt::Display for Transfer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::PrintingDensity => "printing density",
            Self::Log => "log",
            Self::Video => "video",
            Self::Linear => "linear light",
        })
    }
}

/// How samples are coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Encoding {
    /// Bits of a sample: 8, 10, 12 or 16 for integers, 16 or 32 for floats.
    pub bits: u8,
    /// What the codes stand for.
    pub transfer: Transfer,
}

/// A picture in native samples.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Samples a pixel: 1 grey, 2 grey and alpha, 3 red, green, blue, 4 with alpha or infrared last.
    pub channels: usize,
    /// `width * height * channels` samples.
    pub samples: Samples,
    /// How they are coded.
    pub encoding: Encoding,
}

impl Frame {
    /// The channels analysis and repair look at: 1 or 3. Alpha and infrared are carried, never judged.
    pub fn colour_channels(&self) -> usize {
        if self.channels >= 3 { 3 } else { 1 }
    }

    /// One plane a colour channel, in analysis codes.
    ///
    /// Integer codes are scaled by a power of two so that 10-bit codes stay as they are (8-bit times 4, 12-bit by 4,
    /// 16-bit by 64): exact in `f32`, and the scaling of printing density and video codes alike. Linear light goes
    /// through the printing-density curve (see `curve.rs`); NaN counts as black and infinity as the brightest half.
    pub fn analysis(&self) -> Vec<Plane> {
        match &self.samples {
            Samples::U8(v) => self.integer_planes(v),
            Samples::U16(v) => self.integer_planes(v),
            Samples::F16(v) => {
                let codes = curve::half_codes();
                self.planes(v, |s| codes[usize::from(s.to_bits())])
            }
            Samples::F32(v) => self.planes(v, |s| curve::code(f64::from(s))),
        }
    }

    fn integer_planes<T: Copy + Into<u32> + Sync>(&self, samples: &[T]) -> Vec<Plane> {
        if self.encoding.transfer == Transfer::Linear {
            let codes: Vec<f32> = (0..=self.full_code()).map(|v| self.linear_code(v)).collect();
            let last = codes.len() - 1;
            return self.planes(samples, |s| codes[(s.into() as usize).min(last)]);
        }
        let scale = self.scale();
        self.planes(samples, |s| s.into() as f32 * scale)
    }

    /// Splits interleaved samples into planes, a few rows a task: memory is the limit, not arithmetic.
    fn planes<T: Copy + Sync>(&self, samples: &[T], code: impl Fn(T) -> f32 + Sync) -> Vec<Plane> {
        const ROWS: usize = 64;
        let (width, channels) = (self.width, self.channels);
        // Not `vec![plane; n]`: cloning would write every page of memory once more.
        let mut planes: Vec<Plane> = (0..self.colour_channels()).map(|_| Plane::new(width, self.height)).collect();
        if width == 0 || channels > 4 || samples.len() < width * self.height * channels {
            return planes;
        }
        let source = samples.par_chunks(ROWS * width * channels);
        if let [red, green, blue] = planes.as_mut_slice() {
            let rows = ROWS * width;
            let targets = red
                .as_mut_slice()
                .par_chunks_mut(rows)
                .zip(green.as_mut_slice().par_chunks_mut(rows))
                .zip(blue.as_mut_slice().par_chunks_mut(rows));
            source.zip(targets).for_each(|(source, ((red, green), blue))| {
                // A constant number of channels lets the loop run without checks: three times as fast.
                if channels == 3 {
                    split(source.as_chunks::<3>().0, red, green, blue, &code);
                } else {
                    split(source.as_chunks::<4>().0, red, green, blue, &code);
                }
            });
        } else if let [grey] = planes.as_mut_slice() {
            source.zip(grey.as_mut_slice().par_chunks_mut(ROWS * width)).for_each(|(source, grey)| {
                for (pixel, g) in source.chunks_exact(channels).zip(grey) {
                    *g = code(pixel[0]);
                }
            });
        }
        planes
    }

    /// The stored sample as raw bits: the code of an integer sample, the bit pattern of a float. 0 outside the frame.
    pub fn native_bits(&self, x: usize, y: usize, channel: usize) -> u32 {
        if x >= self.width || y >= self.height || channel >= self.channels {
            return 0;
        }
        self.samples.bits((y * self.width + x) * self.channels + channel)
    }

    /// The native sample nearest to an analysis code, as raw bits, clipped to what the file can hold (for floats: to
    /// finite halves). The exact inverse of [`analysis`](Self::analysis) for every integer code and every finite
    /// half that is not negative zero.
    pub fn to_native(&self, analysis_code: f32) -> u32 {
        match self.samples {
            Samples::F16(_) => u32::from(f16::from_f64(curve::light(analysis_code)).to_bits()),
            Samples::F32(_) => (curve::light(analysis_code) as f32).to_bits(),
            _ if self.encoding.transfer == Transfer::Linear => {
                let full = f64::from(self.full_code());
                (curve::light(analysis_code) * full).round().clamp(0.0, full) as u32
            }
            // `as` turns NaN into 0 and clips: the wanted behaviour for a code from a broken computation.
            _ => ((analysis_code / self.scale()).round() as u32).min(self.full_code()),
        }
    }

    /// The largest integer code.
    fn full_code(&self) -> u32 {
        (1 << u32::from(self.encoding.bits.min(16))) - 1
    }

    fn scale(&self) -> f32 {
        codes_an_integer(self.encoding.bits)
    }

    fn linear_code(&self, native: u32) -> f32 {
        curve::code(f64::from(native) / f64::from(self.full_code()))
    }
}

/// Analysis codes a native integer code of so many bits.
pub(crate) fn codes_an_integer(bits: u8) -> f32 {
    2f32.powi(10 - i32::from(bits))
}

/// The first three samples of each pixel, as codes, into three planes.
pub(crate) fn split<T: Copy, const N: usize>(
    pixels: &[[T; N]],
    red: &mut [f32],
    green: &mut [f32],
    blue: &mut [f32],
    code: impl Fn(T) -> f32,
) {
    for (((pixel, r), g), b) in pixels.iter().zip(red).zip(green).zip(blue) {
        *r = code(pixel[0]);
        *g = code(pixel[1]);
        *b = code(pixel[2]);
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn row(samples: Samples, bits: u8, transfer: Transfer) -> Frame {
        Frame { width: samples.len(), height: 1, channels: 1, samples, encoding: Encoding { bits, transfer } }
    }

    fn round_trip(frame: &Frame) {
        let plane = &frame.analysis()[0];
        for (x, code) in plane.row(0).iter().enumerate() {
            assert_eq!(frame.to_native(*code), frame.native_bits(x, 0, 0), "{:?} code {code}", frame.encoding);
        }
    }

    #[test]
    fn every_integer_code_survives() {
        for transfer in [Transfer::PrintingDensity, Transfer::Log, Transfer::Video, Transfer::Linear] {
            round_trip(&row(Samples::U8((0..=255).collect()), 8, transfer));
            for bits in [10u8, 12, 16] {
                let last = ((1u32 << bits) - 1) as u16;
                round_trip(&row(Samples::U16((0..=last).collect()), bits, transfer));
            }
        }
    }

    #[test]
    fn every_finite_half_survives() {
        let halves: Vec<f16> = (0..0x7C00u16).chain(0x8001..0xFC00).map(f16::from_bits).collect();
        round_trip(&row(Samples::F16(halves), 16, Transfer::Linear));
    }

    #[test]
    fn odd_halves_give_finite_codes() {
        let odd = [0x7C00u16, 0xFC00, 0x7E01, 0xFFFF, 0x8000].map(f16::from_bits).to_vec();
        let frame = row(Samples::F16(odd), 16, Transfer::Linear);
        assert!(frame.analysis()[0].row(0).iter().all(|c| c.is_finite()));
        assert_eq!(frame.native_bits(2, 0, 0), 0x7E01, "a NaN keeps its payload");
    }

    #[test]
    fn single_floats_come_back_close() {
        let frame = row(Samples::F32(vec![0.0, 1e-4, 0.18, 1.0, 13.0, 4000.0]), 32, Transfer::Linear);
        for (x, code) in frame.analysis()[0].row(0).iter().enumerate() {
            let (was, is) = (f32::from_bits(frame.native_bits(x, 0, 0)), f32::from_bits(frame.to_native(*code)));
            // A float code near 2000 has steps of 1.2e-4, about 1e-6 of the light.
            assert!((was - is).abs() <= was * 2e-6 + 1e-9, "{was} {is}");
        }
    }

    #[test]
    fn codes_out_of_range_are_clipped() {
        let frame = row(Samples::U16(vec![0]), 10, Transfer::Log);
        assert_eq!(frame.to_native(-3.0), 0);
        assert_eq!(frame.to_native(1023.4), 1023);
        assert_eq!(frame.to_native(5000.0), 1023);
        assert_eq!(frame.to_native(f32::NAN), 0);
    }

    #[test]
    fn planes_hold_the_colour_channels_in_order() {
        let samples = (0..2 * 130 * 4u16).collect::<Vec<_>>();
        let frame = Frame {
            width: 2,
            height: 130,
            channels: 4,
            samples: Samples::U16(samples),
            encoding: Encoding { bits: 10, transfer: Transfer::Log },
        };
        let planes = frame.analysis();
        assert_eq!(planes.len(), 3);
        for (c, plane) in planes.iter().enumerate() {
            for y in 0..130 {
                for x in 0..2 {
                    assert_eq!(plane.row(y)[x], frame.native_bits(x, y, c) as f32);
                }
            }
        }
    }
}
