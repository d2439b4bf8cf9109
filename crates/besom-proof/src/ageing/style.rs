//! Styles: how one film's dirt, grain and picture differ from another's.
//!
//! The default draws exactly what the presets always drew. [`Settings::varied`] picks a point of the whole space, one a
//! clip, so that a detector that learns from many clips does not learn one die's dirt. The ranges are wider than what a
//! single archive holds; they are ours (common practice), not measured.

use super::Settings;
use super::dice::{Dice, Purpose};
use super::lines::LineStyle;

/// What kind of film it is, besides how much of everything there is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Style {
    /// Dust, dirt and what they share with hairs.
    pub dirt: DirtStyle,
    /// Hairs and fibres.
    pub hair: HairStyle,
    /// Line scratches.
    pub line: LineStyle,
    /// Grain.
    pub grain: GrainStyle,
    /// The gate's unsteadiness and the exposure's.
    pub gate: GateStyle,
    /// The picture beneath.
    pub picture: PictureStyle,
}

/// Sizes, opacities and edges of dirt.
#[derive(Clone, Debug, PartialEq)]
pub struct DirtStyle {
    /// Factor on all lengths of particles.
    pub size: f32,
    /// Factor on the spread of the logarithm of their lengths.
    pub spread: f32,
    /// Share of dirt, which is larger, among dust and dirt.
    pub large: f32,
    /// Share of sparkles.
    pub sparkles: f32,
    /// Median width of an edge in pixels.
    pub soft: f32,
    /// Widest edge.
    pub softest: f32,
    /// Cumulative percentages of specks, blobs, chips, crumbs and smudges; the rest are flakes.
    pub shapes: [usize; 5],
    /// Share of pieces that let the picture through, and their opacities.
    pub thin: f32,
    /// Lowest and highest opacity of the thin pieces.
    pub thin_opacity: (f32, f32),
    /// The same of the others.
    pub full_opacity: (f32, f32),
    /// Share of bright pieces.
    pub bright: f32,
    /// Share of tinted pieces.
    pub tinted: f32,
    /// Share of pieces that add or take density instead of covering: the picture's detail shows through them.
    pub dense: f32,
    /// Share of pieces that were printed in from an earlier film: blurred, and the print's grain lies over them.
    pub printed: f32,
    /// Share of pieces with a rim of the other polarity, where they bend the light.
    pub halo: f32,
    /// Largest change of code within a piece.
    pub mottle: f32,
    /// Share of particles that others cling close to.
    pub clusters: f32,
}

impl Default for DirtStyle {
    fn default() -> Self {
        Self {
            size: 1.0,
            spread: 1.0,
            large: super::particle::DIRT_SHARE,
            sparkles: super::particle::SPARKLE_SHARE,
            soft: 1.1,
            softest: 3.0,
            shapes: [30, 58, 72, 86, 94],
            thin: 1.0 / 3.0,
            thin_opacity: (0.15, 0.6),
            full_opacity: (0.75, 1.0),
            bright: 0.5,
            tinted: 0.22,
            dense: 0.0,
            printed: 0.0,
            halo: 0.0,
            mottle: 0.0,
            clusters: 0.0,
        }
    }
}

/// Shapes of hairs, as factors.
#[derive(Clone, Debug, PartialEq)]
pub struct HairStyle {
    /// On lengths.
    pub length: f32,
    /// On widths.
    pub width: f32,
    /// On curvature.
    pub curl: f32,
    /// On the softness of edges.
    pub soft: f32,
}

impl Default for HairStyle {
    fn default() -> Self {
        Self { length: 1.0, width: 1.0, curl: 1.0, soft: 1.0 }
    }
}

/// Look of the grain at a given strength.
#[derive(Clone, Debug, PartialEq)]
pub struct GrainStyle {
    /// Standard deviation of the kernel that correlates neighbours, in pixels.
    pub spread: f32,
    /// Share of the variance that all channels have in common.
    pub shared: f32,
    /// Strength at either end of the code range, against the mean. See [`super::sigma_at`].
    pub ends: f32,
    /// What the strength gains from black to white, against the mean.
    pub slope: f32,
}

impl Default for GrainStyle {
    fn default() -> Self {
        Self { spread: super::grain::SPREAD, shared: super::grain::SHARED_VARIANCE, ends: 0.6, slope: 0.0 }
    }
}

/// What the gate adds besides weave and even flicker.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GateStyle {
    /// Root mean square of the picture's turning, in radians.
    pub turn: f32,
    /// Flicker that varies slowly over the frame, as a share (root mean square about half of it).
    pub swell: f32,
}

/// What is done to the clean picture before anything is added.
#[derive(Clone, Debug, PartialEq)]
pub struct PictureStyle {
    /// All channels carry the luma: a black-and-white film scanned in colour.
    pub grey: bool,
    /// Standard deviation of a blur, pixels.
    pub blur: f32,
    /// Strength of an unsharp mask.
    pub sharpen: f32,
    /// Codes that 0 and 1023 become.
    pub codes: (f32, f32),
    /// Exponent between them.
    pub gamma: f32,
    /// Codes that the level gains from the top of the frame to its bottom.
    pub gradient: f32,
}

impl Default for PictureStyle {
    fn default() -> Self {
        Self { grey: false, blur: 0.0, sharpen: 0.0, codes: (0.0, 1023.0), gamma: 1.0, gradient: 0.0 }
    }
}

impl Settings {
    /// A film unlike others: every amount and every trait drawn anew, the same for the same seed. Dirt lies between that of
    /// a nearly clean print and of a heavily used one, grain between 3 and 16 codes, weave between 0.1 and 2 pixels,
    /// flicker up to 4 %.
    pub fn varied(seed: u64) -> Self {
        // A stream that no frame of any clip uses.
        let mut dice = Dice::new(seed, usize::MAX >> 5, Purpose::Lines);
        let dice = &mut dice;
        let dirt = DirtStyle::varied(dice);
        // Large dirt is rarer than small: the area covered stays of one order.
        let fewer = libm::powf(dirt.size, -0.8);
        let picture = PictureStyle::varied(dice);
        Self {
            grain: between(dice, 3.0, 16.0),
            weave: between(dice, 0.1, 2.0),
            flicker: between(dice, 0.002, 0.04),
            dust: between(dice, 12.0, 300.0) * fewer,
            hairs: between(dice, 1.0, 30.0),
            clouds: if dice.chance(0.5) { dice.range(0.0, 0.2) } else { 0.0 },
            lines: if dice.chance(0.6) { dice.range(0.2, 3.0) } else { 0.0 },
            gate_marks: 0.0,
            style: Style {
                dirt,
                hair: HairStyle {
                    length: between(dice, 0.6, 1.8),
                    width: between(dice, 0.6, 1.7),
                    curl: between(dice, 0.3, 3.0),
                    soft: between(dice, 0.6, 2.2),
                },
                line: LineStyle::varied(),
                grain: GrainStyle::varied(dice, picture.grey),
                gate: GateStyle {
                    turn: if dice.chance(0.5) { dice.range(0.0, 0.0007) } else { 0.0 },
                    swell: if dice.chance(0.6) { dice.range(0.0, 0.03) } else { 0.0 },
                },
                picture,
            },
        }
    }
}

/// Evenly spread over the logarithm.
fn between(dice: &mut Dice, low: f32, high: f32) -> f32 {
    low * libm::powf(high / low, dice.unit())
}

/// Nought for some films and anything up to `most` for the others.
fn sometimes(dice: &mut Dice, chance: f32, most: f32) -> f32 {
    if dice.chance(chance) { dice.range(0.0, most) } else { 0.0 }
}

impl DirtStyle {
    fn varied(dice: &mut Dice) -> Self {
        // Small dirt is mostly sharp and large dirt mostly soft, since it stands further off the film; not always.
        let coarse = dice.unit();
        let size = 0.65 * libm::powf(3.2, coarse);
        let soft = (0.6 + 1.6 * coarse) * dice.log_normal(1.0, 0.35);
        let thin = dice.range(0.1, 0.7);
        let low = dice.range(0.1, 0.35);
        // One film's dirt is all dark, another's (printed from a dirty negative) all bright.
        let bright = match dice.below(4) {
            0 => dice.range(0.0, 0.12),
            1 => dice.range(0.88, 1.0),
            _ => dice.range(0.2, 0.8),
        };
        Self {
            size,
            spread: between(dice, 0.7, 1.8),
            large: dice.range(0.05, 0.6),
            sparkles: dice.range(0.0, 0.2),
            soft: soft.clamp(0.5, 3.5),
            softest: (2.5 * soft).clamp(2.0, 7.0),
            shapes: shapes(dice),
            thin,
            thin_opacity: (low, low + dice.range(0.15, 0.45)),
            full_opacity: (dice.range(0.55, 0.9), 1.0),
            bright,
            tinted: sometimes(dice, 0.7, 0.5),
            dense: sometimes(dice, 0.5, 0.6),
            printed: sometimes(dice, 0.5, 0.6),
            halo: sometimes(dice, 0.5, 0.5),
            mottle: sometimes(dice, 0.6, 160.0),
            clusters: sometimes(dice, 0.6, 0.25),
        }
    }
}

/// Random shares of the six shapes, as cumulative percentages.
fn shapes(dice: &mut Dice) -> [usize; 5] {
    let parts: [f32; 6] = std::array::from_fn(|n| if n < 4 { dice.range(0.05, 1.0) } else { dice.range(0.0, 0.4) });
    let all: f32 = parts.iter().sum();
    let mut sum = 0.0;
    std::array::from_fn(|n| {
        sum += parts[n];
        (100.0 * sum / all) as usize
    })
}

impl GrainStyle {
    fn varied(dice: &mut Dice, grey: bool) -> Self {
        Self {
            spread: between(dice, 0.35, 1.3),
            // Silver film has one grain for all three channels of its scan.
            shared: if grey { 1.0 } else { dice.range(0.05, 0.9) },
            ends: dice.range(0.2, 1.2),
            slope: dice.range(-0.5, 0.5),
        }
    }
}

impl PictureStyle {
    fn varied(dice: &mut Dice) -> Self {
        // A third as they are, a third flat as a scan of a negative, a third with another curve.
        let (codes, gamma) = match dice.below(3) {
            0 => ((0.0, 1023.0), 1.0),
            1 => ((dice.range(80.0, 250.0), dice.range(560.0, 820.0)), dice.range(0.55, 1.0)),
            _ => ((dice.range(0.0, 80.0), dice.range(850.0, 1023.0)), dice.range(0.7, 1.5)),
        };
        let (blur, sharpen) = match dice.below(4) {
            0 => (dice.range(0.3, 1.1), 0.0),
            1 => (0.0, dice.range(0.1, 0.8)),
            _ => (0.0, 0.0),
        };
        Self {
            grey: dice.chance(0.2),
            blur,
            sharpen,
            codes,
            gamma,
            gradient: if dice.chance(0.3) { dice.range(-120.0, 120.0) } else { 0.0 },
        }
    }
}
