//! The two sets of colours, dark and light, for everything but the picture and what lies over it.

use besom_reel::Decision;
use egui::{Color32, Context, Painter, Theme, Ui};

use super::grey;

/// The colours of one theme. All but the hues of decisions and [`Tones::attention`] are neutral.
pub(crate) struct Tones {
    /// Behind cards and tables.
    pub(crate) ground: Color32,
    /// Panels and bars.
    pub(crate) panel: Color32,
    /// Wells: text fields, tracks, the strip's ground.
    pub(crate) well: Color32,
    /// Raised things: buttons, cards.
    pub(crate) raised: Color32,
    /// Their edges while nothing points at them.
    pub(crate) rim: Color32,
    /// Raised things under the pointer.
    pub(crate) hover: Color32,
    /// Raised things held down, and the chosen one of several.
    pub(crate) chosen: Color32,
    /// Candidates that wait for a decision, where many are counted together: seen at once, but not dazzling.
    pub(crate) waiting: Color32,
    /// What is done, where many are counted together.
    pub(crate) swept: Color32,
    /// Hairlines between areas.
    pub(crate) line: Color32,
    /// Edges of controls: 3:1 on [`Tones::panel`].
    pub(crate) edge: Color32,
    /// What is read.
    pub(crate) text: Color32,
    /// What explains.
    pub(crate) quiet: Color32,
    /// Keyboard focus, the place on the reel, the candidate in hand.
    pub(crate) here: Color32,
    /// Under a line in the colour of [`Tones::here`] that crosses other colours.
    pub(crate) casing: Color32,
    /// Something that needs a look.
    pub(crate) attention: Color32,
    /// Protected regions: neutral, told by hatching.
    pub(crate) protected: Color32,
    /// In the order of [`Decision::ALL`].
    decisions: [Color32; 4],
}

impl Tones {
    /// The hue of a decision in lists, buttons and bars.
    pub(crate) const fn decision(&self, decision: Decision) -> Color32 {
        let [undecided, accepted, rejected, intended] = self.decisions;
        match decision {
            Decision::Undecided => undecided,
            Decision::Accepted => accepted,
            Decision::Rejected => rejected,
            Decision::Intended => intended,
        }
    }
}

pub(super) const DARK: Tones = Tones {
    ground: grey(40),
    panel: grey(30),
    well: grey(20),
    raised: grey(48),
    rim: grey(66),
    hover: grey(62),
    chosen: grey(76),
    waiting: grey(186),
    swept: grey(92),
    line: grey(58),
    edge: grey(108),
    text: grey(230),
    quiet: grey(168),
    here: grey(255),
    casing: super::over::CASING,
    attention: super::over::ATTENTION,
    protected: super::over::PROTECTED,
    decisions: [
        super::over::decision(Decision::Undecided),
        super::over::decision(Decision::Accepted),
        super::over::decision(Decision::Rejected),
        super::over::decision(Decision::Intended),
    ],
};

/// The hues are those of the dark theme, darkened until they stand on light ground.
pub(super) const LIGHT: Tones = Tones {
    ground: grey(222),
    panel: grey(236),
    well: grey(252),
    raised: grey(224),
    rim: grey(200),
    hover: grey(212),
    chosen: grey(198),
    waiting: grey(72),
    swept: grey(168),
    line: grey(206),
    edge: grey(118),
    text: grey(26),
    quiet: grey(74),
    here: grey(0),
    casing: Color32::from_rgba_premultiplied(220, 220, 220, 220),
    attention: Color32::from_rgb(0x8A, 0x53, 0x00),
    protected: grey(60),
    decisions: [
        Color32::from_rgb(0x6E, 0x62, 0x00),
        Color32::from_rgb(0x00, 0x6B, 0xA8),
        Color32::from_rgb(0xA8, 0x49, 0x00),
        Color32::from_rgb(0xA0, 0x42, 0x78),
    ],
};

/// What is lit by one of the themes.
pub(crate) trait Lit {
    /// True for the dark theme.
    fn dark(&self) -> bool;
}

impl Lit for Ui {
    fn dark(&self) -> bool {
        self.visuals().dark_mode
    }
}

impl Lit for Painter {
    fn dark(&self) -> bool {
        self.ctx().dark()
    }
}

impl Lit for Context {
    fn dark(&self) -> bool {
        self.theme() == Theme::Dark
    }
}

/// The colours that count there.
pub(crate) fn tones(lit: &impl Lit) -> &'static Tones {
    if lit.dark() { &DARK } else { &LIGHT }
}

#[cfg(test)]
mod tests {
    use super::super::{SURROUND, over};
    use super::*;

    /// Relative luminance as WCAG 2.2 defines it (from memory of the standard's glossary).
    fn luminance(c: Color32) -> f32 {
        let part = |v: u8| {
            let v = f32::from(v) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(c.r()) + 0.7152 * part(c.g()) + 0.0722 * part(c.b())
    }

    fn contrast(a: Color32, b: Color32) -> f32 {
        let (x, y) = (luminance(a) + 0.05, luminance(b) + 0.05);
        x.max(y) / x.min(y)
    }

    #[test]
    fn text_and_controls_contrast_as_wcag_asks_in_both_themes() {
        for (name, t) in [("dark", &DARK), ("light", &LIGHT)] {
            for ground in [t.panel, t.ground, t.well] {
                assert!(contrast(t.text, ground) >= 7.0, "{name}");
                assert!(contrast(t.quiet, ground) >= 4.5, "{name} {}", contrast(t.quiet, ground));
                assert!(contrast(t.here, ground) >= 7.0, "{name}");
            }
            assert!(contrast(t.text, t.chosen) >= 4.5, "{name}");
            assert!(contrast(t.quiet, t.raised) >= 4.5, "{name}");
            assert!(contrast(t.edge, t.panel) >= 3.0, "{name} {}", contrast(t.edge, t.panel));
            assert!(contrast(t.attention, t.panel) >= 4.5, "{name} {}", contrast(t.attention, t.panel));
            assert!(contrast(t.waiting, t.swept) >= 2.0, "{name}: what is left is told from what is done");
            for d in Decision::ALL {
                for ground in [t.panel, t.raised] {
                    assert!(contrast(t.decision(d), ground) >= 3.0, "{name} {d:?}");
                }
            }
        }
        assert!(contrast(over::TEXT, SURROUND) >= 4.5);
    }

    #[test]
    fn what_is_about_the_picture_has_no_hue() {
        for t in [&DARK, &LIGHT] {
            let neutral = [t.ground, t.panel, t.well, t.raised, t.rim, t.hover, t.chosen, t.waiting, t.swept, t.line];
            for c in neutral.into_iter().chain([t.edge, t.text, t.quiet, t.here, t.protected, SURROUND]) {
                assert!(c.r() == c.g() && c.g() == c.b());
            }
        }
    }

    #[test]
    fn the_surround_is_neither_dark_nor_bright() {
        let share = luminance(SURROUND);
        assert!((0.10..=0.15).contains(&share), "{share}");
    }
}
