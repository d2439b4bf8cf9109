//! The curve that makes linear light perceptually even for analysis.
//!
//! It is the printing-density curve of negative scans: 300 codes a decade of light, white (light 1.0) at code 685,
//! no light at code 95. With `b = 10^((95 - 685) / 300)`:
//!
//! `code = 685 + 300 * log10(light * (1 - b) + b)`
//!
//! (300 = 0.6 / 0.002: negative gamma over density a code; the Cineon figures, common practice.) Light above white
//! goes on past 1023 (13.4 times white) to about 2130 for the largest half. Below zero the curve continues as its own
//! mirror image about (0, 95), so it is strictly monotone, smooth, finite and invertible over all finite light.

use half::f16;

/// Code of no light.
const BLACK: f64 = 95.0;
/// Code of light 1.0.
const WHITE: f64 = 685.0;
/// Codes a decade of light.
const DECADE: f64 = 300.0;
/// The largest light the curve takes: the largest finite half. More (and infinity) counts as this much.
const BRIGHTEST: f64 = 65504.0;

/// The light that makes the toe of the curve, `b` above.
fn toe() -> f64 {
    10f64.powf((BLACK - WHITE) / DECADE)
}

/// Analysis code of linear light (1.0 is white). NaN counts as no light, infinities as the ends of the range.
pub(crate) fn code(light: f64) -> f32 {
    if light.is_nan() {
        return BLACK as f32;
    }
    let amount = light.abs().min(BRIGHTEST);
    let b = toe();
    let above = WHITE - BLACK + DECADE * (amount * (1.0 - b) + b).log10();
    // The toe makes `above` zero at no light, up to rounding; the clamp keeps the mirror monotone.
    let above = above.max(0.0);
    if light < 0.0 { (BLACK - above) as f32 } else { (BLACK + above) as f32 }
}

/// Linear light of an analysis code: the inverse of [`code`], limited to finite half light. NaN counts as black.
pub(crate) fn light(code: f32) -> f64 {
    let above = f64::from(code) - BLACK;
    if above.is_nan() {
        return 0.0;
    }
    let b = toe();
    let amount = (10f64.powf((above.abs() + BLACK - WHITE) / DECADE) - b) / (1.0 - b);
    amount.clamp(0.0, BRIGHTEST).copysign(above)
}

/// The analysis codes of all 65,536 half bit patterns.
pub(crate) fn half_codes() -> &'static [f32] {
    static CODES: std::sync::OnceLock<Vec<f32>> = std::sync::OnceLock::new();
    CODES.get_or_init(|| (0..=u16::MAX).map(|bits| code(f16::from_bits(bits).to_f64())).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn matches_the_published_cineon_figure() {
        // An 18 % card lands on 0.4573196 of a 10-bit scan: a figure printed for this curve by colour-science sources.
        assert!((code(0.18) - 0.457_319_6 * 1023.0).abs() < 0.01);
        assert_eq!(code(0.0), 95.0);
        assert_eq!(code(1.0), 685.0);
    }

    #[test]
    fn is_monotone_over_every_finite_half() {
        let codes = half_codes();
        for bits in 0..0x7BFFu16 {
            assert!(codes[bits as usize] < codes[bits as usize + 1], "{bits:#x}");
            let below = |b: u16| codes[(b | 0x8000) as usize];
            assert!(below(bits) > below(bits + 1), "{bits:#x}");
        }
    }

    #[test]
    fn odd_values_stay_finite() {
        for bits in [0x7C00u16, 0xFC00, 0x7E01, 0xFFFF] {
            assert!(half_codes()[bits as usize].is_finite());
        }
        assert_eq!(light(f32::NAN), 0.0);
        assert_eq!(light(f32::INFINITY), BRIGHTEST);
        assert_eq!(light(f32::NEG_INFINITY), -BRIGHTEST);
    }
}
