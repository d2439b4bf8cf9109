//! Film grain of a shot: its standard deviation as a curve over density, one curve a channel.

/// Number of equal density bins over the analysis range 0..1024.
pub const BINS: usize = 16;

/// Grain of a shot. Measured once by the survey; every threshold of the detector is a multiple of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Grain {
    /// For each colour channel, the standard deviation of one frame's grain at the centre of each bin, in codes.
    pub channels: Vec<[f32; BINS]>,
    /// The same for the luma plane that detection works on.
    pub luma: [f32; BINS],
}

impl Grain {
    /// A curve that says `sigma` codes everywhere.
    pub fn flat(channels: usize, sigma: f32) -> Self {
        Self { channels: vec![[sigma; BINS]; channels], luma: [sigma; BINS] }
    }

    /// Luma grain at a density, interpolated between bin centres.
    pub fn luma_at(&self, code: f32) -> f32 {
        interpolate(&self.luma, code)
    }

    /// A channel's grain at a density; channels that do not exist read as luma.
    pub fn channel_at(&self, channel: usize, code: f32) -> f32 {
        interpolate(self.channels.get(channel).unwrap_or(&self.luma), code)
    }
}

fn interpolate(curve: &[f32; BINS], code: f32) -> f32 {
    let place = (code * (BINS as f32 / 1024.0) - 0.5).clamp(0.0, (BINS - 1) as f32);
    let low = (place as usize).min(BINS - 2);
    let part = place - low as f32;
    curve[low] * (1.0 - part) + curve[low + 1] * part
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_is_read_between_its_bins() {
        let mut grain = Grain::flat(3, 5.0);
        grain.luma[3] = 9.0;
        approx::assert_relative_eq!(grain.luma_at(224.0), 9.0);
        approx::assert_relative_eq!(grain.luma_at(192.0), 7.0);
        approx::assert_relative_eq!(grain.luma_at(-50.0), 5.0);
        approx::assert_relative_eq!(grain.luma_at(5000.0), 5.0);
    }
}
