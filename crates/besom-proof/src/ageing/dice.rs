//! Seeded random numbers: one independent stream for every purpose of every frame.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

/// What a stream of random numbers is for. Streams never share numbers, so that switching hairs off moves no dust.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Purpose {
    /// Grain of a channel (0..=2) or the part all channels share (3).
    Grain(u8),
    /// Weave and flicker.
    Gate,
    /// Dust, dirt and clouds.
    Dust,
    /// Hairs.
    Hair,
    /// Line scratches, which are planned once for the whole clip.
    Lines,
}

impl Purpose {
    fn number(self) -> u64 {
        match self {
            Self::Grain(channel) => u64::from(channel.min(3)),
            Self::Gate => 4,
            Self::Dust => 5,
            Self::Hair => 6,
            Self::Lines => 7,
        }
    }
}

/// A stream of random numbers that is the same on every machine: `ChaCha8`, and the mathematics of `libm` instead of
/// the platform's.
pub(crate) struct Dice(ChaCha8Rng);

impl Dice {
    /// The stream of one purpose in one frame.
    pub(crate) fn new(seed: u64, frame: usize, purpose: Purpose) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream((frame as u64) * 8 + purpose.number());
        Self(generator)
    }

    /// Uniform in `[0, 1)`.
    pub(crate) fn unit(&mut self) -> f32 {
        (self.0.next_u32() >> 8) as f32 * (1.0 / 16_777_216.0)
    }

    /// Uniform in `[low, high)`.
    pub(crate) fn range(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.unit()
    }

    /// True with a probability.
    pub(crate) fn chance(&mut self, probability: f32) -> bool {
        self.unit() < probability
    }

    /// True with a probability; where that is nought, no number is taken from the stream.
    pub(crate) fn sometimes(&mut self, probability: f32) -> bool {
        probability > 0.0 && self.chance(probability)
    }

    /// One of `0..count`.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        ((self.unit() * count as f32) as usize).min(count.saturating_sub(1))
    }

    /// Standard normal (Box and Muller).
    pub(crate) fn normal(&mut self) -> f32 {
        let radius = libm::sqrtf(-2.0 * libm::logf(1.0 - self.unit()));
        radius * libm::cosf(std::f32::consts::TAU * self.unit())
    }

    /// Log-normal with a median and the standard deviation of its logarithm.
    pub(crate) fn log_normal(&mut self, median: f32, spread: f32) -> f32 {
        median * libm::expf(spread * self.normal())
    }

    /// Poisson distributed; by the normal approximation above a mean of 60.
    pub(crate) fn poisson(&mut self, mean: f32) -> usize {
        if mean > 60.0 {
            return (mean + libm::sqrtf(mean) * self.normal()).round().max(0.0) as usize;
        }
        let limit = libm::expf(-mean.max(0.0));
        let (mut count, mut product) = (0, self.unit());
        while product > limit {
            count += 1;
            product *= self.unit();
        }
        count
    }

    /// Four nearly normal numbers of unit variance at the price of four draws: sums of four 16-bit uniforms (Irwin-Hall).
    /// Only for fields that are filtered afterwards, which makes them normal.
    pub(crate) fn rough_normals(&mut self) -> [f32; 4] {
        // A sum of four uniforms on 0..65536 has mean 131 070 and standard deviation 65 536 / sqrt(3).
        std::array::from_fn(|_| {
            let bits = self.0.next_u64();
            let sum = (0..4).map(|part| (bits >> (16 * part)) & 0xFFFF).sum::<u64>();
            (sum as f32 - 131_070.0) * (1.732_050_8 / 65_536.0)
        })
    }
}
