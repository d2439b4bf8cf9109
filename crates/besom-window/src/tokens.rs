//! Design tokens: every colour, size and type style of the window, and nothing else.
//!
//! One idea carries the look: *colour means a decision and nothing else*. Whatever surrounds the picture is a true neutral
//! grey (equal red, green and blue), so that no tint sways the judgement of a print; the four decision hues come from the
//! Okabe-Ito set (Okabe and Ito, "Color Universal Design", 2008), which stays apart for common colour-vision deficiencies.
//! Shapes repeat what the hues say (see [`crate::glyph`]).

use std::sync::Arc;

use besom_reel::Decision;
use egui::epaint::text::{FontTweak, VariationCoords};
use egui::{Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Margin, Stroke, TextStyle, Vec2};

const fn grey(level: u8) -> Color32 {
    Color32::from_gray(level)
}

/// Around the picture. About 3 % of white: dark enough for log scans, light enough that black is still seen as an edge.
pub(crate) const SURROUND: Color32 = grey(40);
/// Panels and bars.
pub(crate) const PANEL: Color32 = grey(30);
/// Wells: text fields, tracks, the strip's ground.
pub(crate) const WELL: Color32 = grey(20);
/// Raised things: buttons, cards.
pub(crate) const RAISED: Color32 = grey(48);
/// Raised things under the pointer.
pub(crate) const HOVER: Color32 = grey(62);
/// Raised things held down, and the chosen one of several.
pub(crate) const CHOSEN: Color32 = grey(76);
/// Candidates that wait for a decision, where many are counted together: bright enough to be seen, not to dazzle.
pub(crate) const WAITING: Color32 = grey(186);
/// What is done, where many are counted together.
pub(crate) const SWEPT: Color32 = grey(92);
/// Hairlines between areas.
pub(crate) const LINE: Color32 = grey(58);
/// Edges of controls: 3:1 on [`PANEL`].
pub(crate) const EDGE: Color32 = grey(108);
/// What is read: 13:1 on [`PANEL`].
pub(crate) const TEXT: Color32 = grey(230);
/// What explains: 6.9:1 on [`PANEL`].
pub(crate) const QUIET: Color32 = grey(168);
/// Keyboard focus, the place on the reel, the candidate in hand.
pub(crate) const LIGHT: Color32 = grey(255);
/// Casing under every coloured line on the picture: with it the pair contrasts with itself on any picture.
pub(crate) const CASING: Color32 = Color32::from_black_alpha(200);
/// Something that needs a look. Orange of the same set.
pub(crate) const ATTENTION: Color32 = Color32::from_rgb(0xE6, 0x9F, 0x00);
/// Protected regions: neutral, told by hatching.
pub(crate) const PROTECTED: Color32 = grey(235);

/// The hue of a decision.
pub(crate) const fn decision(decision: Decision) -> Color32 {
    match decision {
        Decision::Undecided => Color32::from_rgb(0xF0, 0xE4, 0x42),
        Decision::Accepted => Color32::from_rgb(0x56, 0xB4, 0xE9),
        Decision::Rejected => Color32::from_rgb(0xD5, 0x5E, 0x00),
        Decision::Intended => Color32::from_rgb(0xCC, 0x79, 0xA7),
    }
}

/// The grid: gaps and margins are multiples of this many points.
pub(crate) const UNIT: f32 = 8.0;
/// Height of controls; above the 24 points that WCAG 2.5.8 asks for.
pub(crate) const CONTROL: f32 = 28.0;
/// Height of a table row or list row.
pub(crate) const ROW: f32 = 26.0;
/// Height of the window's top bar.
pub(crate) const TOP_BAR: f32 = 44.0;
/// Height of the bar under the top bar of the Bench and the line under the picture.
pub(crate) const TOOL_BAR: f32 = 40.0;
/// Height of the reel strip with its scale.
pub(crate) const STRIP: f32 = 104.0;
/// Width of the Bench's list.
pub(crate) const LIST_WIDTH: f32 = 236.0;
/// Width of the Bench's panel for the candidate in hand.
pub(crate) const HAND_WIDTH: f32 = 332.0;
/// Corner radius of controls.
pub(crate) const RADIUS: CornerRadius = CornerRadius::same(4);

/// The strong face, for headings and what matters in a line.
pub(crate) fn strong_family() -> FontFamily {
    FontFamily::Name("strong".into())
}

/// Body text.
pub(crate) fn body() -> FontId {
    FontId::proportional(15.0)
}

/// Body text, strong.
pub(crate) fn strong() -> FontId {
    FontId::new(15.0, strong_family())
}

/// Captions and units.
pub(crate) fn small() -> FontId {
    FontId::proportional(13.0)
}

/// Headings of panels.
pub(crate) fn heading() -> FontId {
    FontId::new(17.0, strong_family())
}

/// Large figures and the first screen's title.
pub(crate) fn display() -> FontId {
    FontId::new(28.0, strong_family())
}

/// Gives the window its fonts and its style. Called once, before the first frame.
pub(crate) fn apply(ctx: &egui::Context) {
    ctx.set_fonts(fonts());
    ctx.set_theme(egui::Theme::Dark);
    ctx.all_styles_mut(|style| {
        style.text_styles = [
            (TextStyle::Small, small()),
            (TextStyle::Body, body()),
            (TextStyle::Button, body()),
            (TextStyle::Heading, heading()),
            (TextStyle::Monospace, FontId::monospace(13.0)),
        ]
        .into();
        spacing(&mut style.spacing);
        style.visuals = visuals();
        style.interaction.tooltip_delay = 0.4;
        style.interaction.selectable_labels = false;
        style.animation_time = 0.1;
        style.explanation_tooltips = false;
    });
}

fn spacing(spacing: &mut egui::style::Spacing) {
    spacing.item_spacing = Vec2::new(UNIT, UNIT);
    spacing.button_padding = Vec2::new(10.0, 4.0);
    spacing.interact_size = Vec2::new(CONTROL, CONTROL);
    spacing.slider_rail_height = 4.0;
    spacing.text_edit_width = 320.0;
    spacing.window_margin = Margin::same(16);
    spacing.menu_margin = Margin::same(14);
    spacing.tooltip_width = 340.0;
    spacing.scroll = egui::style::ScrollStyle { bar_width: 6.0, ..egui::style::ScrollStyle::solid() };
}

/// The face: Source Sans 3, a humanist sans with figures of one width, so that counts stand in columns.
fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::default();
    for (name, weight) in [("text", 400.0), ("strong", 600.0)] {
        let tweak = FontTweak { coords: VariationCoords::new([(b"wght", weight)]), ..FontTweak::default() };
        let data = FontData::from_static(include_bytes!("../../../assets/fonts/SourceSans3-wght.ttf")).tweak(tweak);
        fonts.font_data.insert(name.to_owned(), Arc::new(data));
    }
    let fallback = fonts.families.get(&FontFamily::Proportional).cloned().unwrap_or_default();
    for (family, face) in [(FontFamily::Proportional, "text"), (strong_family(), "strong")] {
        let mut faces = vec![face.to_owned()];
        faces.extend(fallback.iter().cloned());
        fonts.families.insert(family, faces);
    }
    fonts
}

fn visuals() -> egui::Visuals {
    let mut v = egui::Visuals::dark();
    v.panel_fill = PANEL;
    v.window_fill = PANEL;
    v.window_stroke = Stroke::new(1.0, EDGE);
    v.window_corner_radius = CornerRadius::same(6);
    v.menu_corner_radius = CornerRadius::same(6);
    v.extreme_bg_color = WELL;
    v.text_edit_bg_color = Some(WELL);
    v.faint_bg_color = grey(34);
    v.code_bg_color = WELL;
    v.hyperlink_color = TEXT;
    v.warn_fg_color = ATTENTION;
    v.error_fg_color = ATTENTION;
    v.selection.bg_fill = CHOSEN;
    v.selection.stroke = Stroke::new(1.0, LIGHT);
    v.weak_text_color = Some(QUIET);
    v.override_text_color = None;
    v.slider_trailing_fill = true;
    v.handle_shape = egui::style::HandleShape::Rect { aspect_ratio: 0.5 };
    v.interact_cursor = None;
    let w = &mut v.widgets;
    set(&mut w.noninteractive, PANEL, LINE, TEXT);
    set(&mut w.inactive, RAISED, grey(66), TEXT);
    set(&mut w.hovered, HOVER, EDGE, LIGHT);
    set(&mut w.active, CHOSEN, LIGHT, LIGHT);
    set(&mut w.open, HOVER, EDGE, LIGHT);
    v
}

fn set(w: &mut egui::style::WidgetVisuals, fill: Color32, edge: Color32, text: Color32) {
    w.bg_fill = fill;
    w.weak_bg_fill = fill;
    w.bg_stroke = Stroke::new(1.0, edge);
    w.fg_stroke = Stroke::new(1.0, text);
    w.corner_radius = RADIUS;
    w.expansion = 0.0;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast as WCAG 2.2 defines them (from memory of the standard's glossary).
    fn contrast(a: Color32, b: Color32) -> f32 {
        let luminance = |c: Color32| {
            let part = |v: u8| {
                let v = f32::from(v) / 255.0;
                if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
            };
            0.2126 * part(c.r()) + 0.7152 * part(c.g()) + 0.0722 * part(c.b())
        };
        let (x, y) = (luminance(a) + 0.05, luminance(b) + 0.05);
        x.max(y) / x.min(y)
    }

    #[test]
    fn text_and_controls_contrast_as_wcag_asks() {
        for ground in [PANEL, SURROUND, WELL] {
            assert!(contrast(TEXT, ground) >= 7.0);
            assert!(contrast(QUIET, ground) >= 4.5, "{}", contrast(QUIET, ground));
        }
        assert!(contrast(TEXT, CHOSEN) >= 4.5);
        assert!(contrast(QUIET, RAISED) >= 4.5);
        assert!(contrast(EDGE, PANEL) >= 3.0, "{}", contrast(EDGE, PANEL));
        for d in [Decision::Undecided, Decision::Accepted, Decision::Rejected, Decision::Intended] {
            assert!(contrast(decision(d), PANEL) >= 3.0);
        }
    }

    #[test]
    fn what_surrounds_the_picture_has_no_hue() {
        for c in [SURROUND, PANEL, WELL, RAISED, HOVER, CHOSEN, LINE, EDGE, TEXT, QUIET, PROTECTED] {
            assert!(c.r() == c.g() && c.g() == c.b());
        }
    }
}
