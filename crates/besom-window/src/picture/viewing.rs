//! The viewing transform: a table from stored samples to screen values. It serves the eye only; no scan is changed.
//!
//! egui's textures hold bytes exactly as the screen receives them, so the whole transform happens here. Tables are
//! indexed by the stored sample's 16 bits: an integer code as it is, a half float by its bit pattern, a single float by
//! the half nearest to it.

use besom_scan::{Encoding, Frame, Samples, Transfer};
use half::f16;

/// Which channels are shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Channel {
    /// All, in colour.
    #[default]
    All,
    /// The first, as grey.
    Red,
    /// The second, as grey.
    Green,
    /// The third, as grey.
    Blue,
}

impl Channel {
    pub(crate) const ALL: [Self; 4] = [Self::All, Self::Red, Self::Green, Self::Blue];

    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::All => "All",
            Self::Red => "Red",
            Self::Green => "Green",
            Self::Blue => "Blue",
        }
    }

    /// Which stored channel each screen channel takes.
    pub(crate) const fn sources(self) -> [usize; 3] {
        match self {
            Self::All => [0, 1, 2],
            Self::Red => [0, 0, 0],
            Self::Green => [1, 1, 1],
            Self::Blue => [2, 2, 2],
        }
    }
}

/// For each channel, the screen values (0 to 1, before balance) that become black and white.
pub(crate) type Levels = [(f32, f32); 3];

/// How the view differs from the plain transform.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Viewing {
    /// Stops; 0 as scanned.
    pub(crate) exposure: f32,
    /// Slope about mid grey; 1 as scanned.
    pub(crate) contrast: f32,
    /// Which channels.
    pub(crate) channel: Channel,
    /// Balance for a faded scan, as measured on the frame where it was asked for.
    pub(crate) balance: Option<Levels>,
}

impl Default for Viewing {
    fn default() -> Self {
        Self { exposure: 0.0, contrast: 1.0, channel: Channel::All, balance: None }
    }
}

/// Printing-density codes (10-bit scale) of black and white, and density a code. Kodak's Cineon figures, from memory.
const BLACK_CODE: f32 = 95.0;
const WHITE_CODE: f32 = 685.0;
const DENSITY_A_CODE: f32 = 0.002;
/// Gamma of the negative.
const NEGATIVE_GAMMA: f32 = 0.6;
/// Gamma of the screen, taken as a plain power; common practice.
const SCREEN_GAMMA: f32 = 2.2;

/// Screen bytes for each 16-bit sample and screen channel.
pub(crate) struct Lut {
    tables: [Vec<u8>; 3],
    sources: [usize; 3],
}

impl Lut {
    /// The table for frames of this kind.
    pub(crate) fn new(frame: &Frame, viewing: &Viewing) -> Self {
        let float = matches!(frame.samples, Samples::F16(_) | Samples::F32(_));
        let plain: Vec<f32> = (0..=u16::MAX).map(|bits| light(bits, float, frame.encoding)).collect();
        let sources = if frame.channels >= 3 { viewing.channel.sources() } else { [0; 3] };
        let levels = viewing.balance.unwrap_or([(0.0, 1.0); 3]);
        let mut tables: [Vec<u8>; 3] = [const { Vec::new() }; 3];
        for (table, source) in tables.iter_mut().zip(sources) {
            let (low, high) = levels[source.min(2)];
            *table = plain.iter().map(|l| screen(*l, viewing, low, high)).collect();
        }
        Self { tables, sources }
    }

    /// The stored channel behind each screen channel.
    pub(crate) fn sources(&self) -> [usize; 3] {
        self.sources
    }

    /// The screen byte of a sample for a screen channel (0 to 2).
    #[inline]
    pub(crate) fn byte(&self, channel: usize, sample: u16) -> u8 {
        self.tables[channel][usize::from(sample)]
    }
}

/// Linear light of a sample; 1.0 is white.
fn light(bits: u16, float: bool, encoding: Encoding) -> f32 {
    if float {
        let value = f16::from_bits(bits).to_f32();
        return if value.is_finite() { value.max(0.0) } else { 0.0 };
    }
    let depth = i32::from(encoding.bits.min(16));
    let part = f32::from(bits) / (2f32.powi(depth) - 1.0);
    match encoding.transfer {
        Transfer::PrintingDensity | Transfer::Log => {
            let code = f32::from(bits) * 2f32.powi(10 - depth);
            let at = |c: f32| 10f32.powf((c - WHITE_CODE) * DENSITY_A_CODE / NEGATIVE_GAMMA);
            let floor = at(BLACK_CODE);
            ((at(code) - floor) / (1.0 - floor)).max(0.0)
        }
        Transfer::Video => part.powf(SCREEN_GAMMA),
        Transfer::Linear => part,
    }
}

fn screen(light: f32, viewing: &Viewing, low: f32, high: f32) -> u8 {
    let shown = encode(light * 2f32.powf(viewing.exposure));
    let balanced = (shown - low) / (high - low).max(1e-3);
    let value = (balanced - 0.5) * viewing.contrast + 0.5;
    (value.clamp(0.0, 1.0) * 255.0).round() as u8
}

fn encode(light: f32) -> f32 {
    light.max(0.0).powf(1.0 / SCREEN_GAMMA)
}

/// Levels that bring the 1st and 99th percentile of each channel to black and white, from about 40,000 samples.
pub(crate) fn measure(frame: &Frame) -> Levels {
    let float = matches!(frame.samples, Samples::F16(_) | Samples::F32(_));
    let pixels = frame.width * frame.height;
    let step = (pixels / 40_000).max(1);
    let mut levels = [(0.0, 1.0); 3];
    for (channel, level) in levels.iter_mut().enumerate() {
        let source = if frame.channels >= 3 { channel } else { 0 };
        let mut values: Vec<f32> = (0..pixels)
            .step_by(step)
            .map(|p| {
                let bits = frame.samples.bits(p * frame.channels + source);
                encode(light(sample_index(&frame.samples, bits), float, frame.encoding)).min(1.0)
            })
            .collect();
        values.sort_unstable_by(f32::total_cmp);
        let at = |part: f32| values.get((values.len() as f32 * part) as usize).copied().unwrap_or(part);
        let (low, high) = (at(0.01), at(0.99));
        if high - low > 0.02 {
            *level = (low, high);
        }
    }
    levels
}

/// The table's index of a stored sample's raw bits.
pub(crate) fn sample_index(samples: &Samples, bits: u32) -> u16 {
    match samples {
        Samples::F32(_) => f16::from_f32(f32::from_bits(bits)).to_bits(),
        _ => bits as u16,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(samples: Samples, bits: u8, transfer: Transfer) -> Frame {
        Frame { width: samples.len(), height: 1, channels: 1, samples, encoding: Encoding { bits, transfer } }
    }

    #[test]
    fn video_passes_unchanged_and_density_has_its_black_and_white() {
        let video = Lut::new(&frame(Samples::U8(vec![0]), 8, Transfer::Video), &Viewing::default());
        for code in 0..=255u16 {
            assert_eq!(u16::from(video.byte(0, code)), code);
        }
        let density = Lut::new(&frame(Samples::U16(vec![0]), 10, Transfer::PrintingDensity), &Viewing::default());
        assert_eq!(density.byte(0, 95), 0);
        assert_eq!(density.byte(0, 685), 255);
        // Kodak's 18 % grey card stands at code 445 or 470 (from memory; the figures differ between papers): the light
        // there must be 14 to 20 % of white, shown at about 45 %.
        assert!((100..125).contains(&density.byte(0, 460)), "{}", density.byte(0, 460));
    }

    #[test]
    fn halves_and_singles_agree_and_odd_values_are_black() {
        let half = Lut::new(&frame(Samples::F16(vec![f16::ONE]), 16, Transfer::Linear), &Viewing::default());
        assert_eq!(half.byte(0, f16::ONE.to_bits()), 255);
        assert_eq!(half.byte(0, f16::NAN.to_bits()), 0);
        assert_eq!(half.byte(0, f16::NEG_INFINITY.to_bits()), 0);
        let singles = Samples::F32(vec![0.18]);
        assert_eq!(sample_index(&singles, 0.18f32.to_bits()), f16::from_f32(0.18).to_bits());
    }

    #[test]
    fn one_stop_doubles_the_light_and_one_channel_fills_all_three() {
        let mut rgb = frame(Samples::U16(vec![1000, 2000, 4000]), 16, Transfer::Linear);
        (rgb.width, rgb.channels) = (1, 3);
        let brighter = Lut::new(&rgb, &Viewing { exposure: 1.0, ..Viewing::default() });
        let plain = Lut::new(&rgb, &Viewing::default());
        assert_eq!(brighter.byte(0, 1000), plain.byte(0, 2000));
        assert_eq!(Lut::new(&rgb, &Viewing { channel: Channel::Blue, ..Viewing::default() }).sources(), [2; 3]);
    }
}
