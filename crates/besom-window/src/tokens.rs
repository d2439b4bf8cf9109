//! Design tokens: every colour, size and type style of the window, and nothing else.
//!
//! One idea carries the look: *colour means a decision and nothing else*. Whatever surrounds the picture is a true neutral
//! grey (equal red, green and blue), so that no tint sways the judgement of a print; the four decision hues come from the
//! Okabe-Ito set (Okabe and Ito, "Color Universal Design", 2008), which stays apart for common colour-vision deficiencies.
//! Shapes repeat what the hues say (see [`crate::glyph`]).

mod tones;

use std::sync::Arc;

use egui::epaint::text::{FontTweak, VariationCoords};
use egui::{
    Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Id, Margin, Stroke, TextStyle, Theme, Ui,
    Vec2,
};

pub(crate) use tones::{Tones, tones};

const fn grey(level: u8) -> Color32 {
    Color32::from_gray(level)
}

/// Around the picture, in both themes: 12 % of white, between the tenth and the 15 % of the brightest white that ITU-R BT.2035
/// and BT.500 have behind a picture that is judged (from memory).
pub(crate) const SURROUND: Color32 = grey(96);

/// What lies over the picture is the same in both themes: the picture does not change with them either.
pub(crate) mod over {
    use besom_reel::Decision;
    use egui::Color32;

    use super::grey;

    /// Words, on [`CASING`].
    pub(crate) const TEXT: Color32 = grey(230);
    /// The candidate in hand, and words that matter.
    pub(crate) const LIGHT: Color32 = grey(255);
    /// Casing under every coloured line: with it the pair contrasts with itself on any picture.
    pub(crate) const CASING: Color32 = Color32::from_black_alpha(200);
    /// Something that needs a look. Orange of the set of the decisions' hues.
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

/// Captions that matter.
pub(crate) fn small_strong() -> FontId {
    FontId::new(13.0, strong_family())
}

/// Headings of panels.
pub(crate) fn heading() -> FontId {
    FontId::new(17.0, strong_family())
}

/// Large figures and the first screen's title.
pub(crate) fn display() -> FontId {
    FontId::new(28.0, strong_family())
}

/// Gives the window its style in both themes. Called once, before the first frame; [`light`] says which theme counts.
pub(crate) fn apply(ctx: &egui::Context) {
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
        style.interaction.tooltip_delay = 0.4;
        style.interaction.selectable_labels = false;
        style.animation_time = 0.1;
        style.explanation_tooltips = false;
    });
    // The window's own preferences say how large it is.
    ctx.options_mut(|options| options.zoom_with_keyboard = false);
    ctx.set_visuals_of(Theme::Dark, visuals(egui::Visuals::dark(), &tones::DARK));
    ctx.set_visuals_of(Theme::Light, visuals(egui::Visuals::light(), &tones::LIGHT));
}

/// Sets the light theme or the dark one.
pub(crate) fn light(ctx: &egui::Context, light: bool) {
    ctx.set_theme(if light { Theme::Light } else { Theme::Dark });
}

/// Loads the face, with all letters this many times their usual size.
pub(crate) fn letters(ctx: &egui::Context, size: f32) {
    ctx.set_fonts(fonts(size));
    ctx.data_mut(|data| data.insert_temp(Id::NULL, Letters(size)));
}

/// How many times their usual size letters are.
#[derive(Clone, Copy)]
struct Letters(f32);

/// A measure that letters have to fit into, grown as they are.
pub(crate) fn grown(ui: &Ui, measure: f32) -> f32 {
    let letters: Option<Letters> = ui.data(|data| data.get_temp(Id::NULL));
    (measure * letters.map_or(1.0, |letters| letters.0)).round()
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
    // A list that is sent to a row by key in the frame in which its room shrinks would be taken for pulled past its end, and
    // glide away from the row.
    spacing.scroll.kinetic.rubber_band = false;
}

/// The face: Source Sans 3, a humanist sans with figures of one width, so that counts stand in columns.
fn fonts(size: f32) -> FontDefinitions {
    let mut fonts = FontDefinitions::default();
    for (name, weight) in [("text", 400.0), ("strong", 600.0)] {
        let tweak = FontTweak { coords: VariationCoords::new([(b"wght", weight)]), ..FontTweak::default() };
        let data = FontData::from_static(include_bytes!("../../../assets/fonts/SourceSans3-wght.ttf")).tweak(tweak);
        fonts.font_data.insert(name.to_owned(), Arc::new(data));
    }
    for data in fonts.font_data.values_mut() {
        Arc::make_mut(data).tweak.scale *= size;
    }
    let fallback = fonts.families.get(&FontFamily::Proportional).cloned().unwrap_or_default();
    for (family, face) in [(FontFamily::Proportional, "text"), (strong_family(), "strong")] {
        let mut faces = vec![face.to_owned()];
        faces.extend(fallback.iter().cloned());
        fonts.families.insert(family, faces);
    }
    fonts
}

fn visuals(mut v: egui::Visuals, t: &Tones) -> egui::Visuals {
    v.panel_fill = t.panel;
    v.window_fill = t.panel;
    v.window_stroke = Stroke::new(1.0, t.edge);
    v.window_corner_radius = CornerRadius::same(6);
    v.menu_corner_radius = CornerRadius::same(6);
    v.extreme_bg_color = t.well;
    v.text_edit_bg_color = Some(t.well);
    v.faint_bg_color = t.raised;
    v.code_bg_color = t.well;
    v.hyperlink_color = t.text;
    v.warn_fg_color = t.attention;
    v.error_fg_color = t.attention;
    v.selection.bg_fill = t.chosen;
    v.selection.stroke = Stroke::new(1.0, t.here);
    v.weak_text_color = Some(t.quiet);
    v.override_text_color = None;
    v.slider_trailing_fill = true;
    v.handle_shape = egui::style::HandleShape::Rect { aspect_ratio: 0.5 };
    v.interact_cursor = None;
    let w = &mut v.widgets;
    set(&mut w.noninteractive, t.panel, t.line, t.text);
    set(&mut w.inactive, t.raised, t.rim, t.text);
    set(&mut w.hovered, t.hover, t.edge, t.here);
    set(&mut w.active, t.chosen, t.here, t.here);
    set(&mut w.open, t.hover, t.edge, t.here);
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
