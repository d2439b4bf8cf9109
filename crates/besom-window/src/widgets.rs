//! The few controls the window is made of. Each has an accessible name and, when it runs an action, that action's tooltip
//! with its key.

use besom_reel::Decision;
use egui::{
    Align2, Button, Color32, CornerRadius, FontId, Pos2, Rect, Response, RichText, Role, Sense, Stroke, StrokeKind, Ui,
    Vec2, WidgetInfo, vec2,
};

use crate::action::Action;
use crate::command::Command;
use crate::glyph::{self, Icon};
use crate::tokens;

/// A button that runs an action: its label, and its key in quiet letters.
pub(crate) fn action_button(ui: &mut Ui, action: Action, enabled: bool, commands: &mut Vec<Command>) -> Response {
    let key = RichText::new(action.key_text(ui.ctx())).font(tokens::small()).color(tokens::tones(ui).quiet);
    let response = ui.add_enabled(enabled, Button::new(action.label()).shortcut_text(key));
    finish(ui, response, action, enabled, commands)
}

/// A button that runs an action and stays down while `on` holds; `key` shows its key beside the label.
pub(crate) fn toggle_button(ui: &mut Ui, action: Action, on: bool, key: bool, commands: &mut Vec<Command>) {
    toggle(ui, Button::selectable(on, action.label()), action, on, key, commands);
}

/// The same for a button that stands alone: it keeps its frame while it is up, so that it looks like one.
pub(crate) fn lone_toggle(ui: &mut Ui, action: Action, on: bool, key: bool, commands: &mut Vec<Command>) {
    let button = Button::selectable(on, action.label()).frame_when_inactive(true);
    toggle(ui, button, action, on, key, commands);
}

/// The same with a shorter word on it, where room is short; its name stays.
pub(crate) fn short_toggle(ui: &mut Ui, action: Action, word: &str, on: bool, key: bool, commands: &mut Vec<Command>) {
    toggle(ui, Button::selectable(on, word), action, on, key, commands);
}

/// A button that runs an action, with a shorter word on it than the action's name.
pub(crate) fn short_button(ui: &mut Ui, action: Action, word: &str, commands: &mut Vec<Command>) {
    let response = ui.add(Button::new(word));
    finish(ui, response, action, true, commands);
}

/// The same in small letters, of a given size.
pub(crate) fn small_button(ui: &mut Ui, action: Action, word: &str, size: Vec2, commands: &mut Vec<Command>) {
    let response = ui.add_sized(size, Button::new(RichText::new(word).font(tokens::small())));
    finish(ui, response, action, true, commands);
}

fn toggle(ui: &mut Ui, mut button: Button<'_>, action: Action, on: bool, key: bool, commands: &mut Vec<Command>) {
    if key {
        button = button.shortcut_text(
            RichText::new(action.key_text(ui.ctx())).font(tokens::small()).color(tokens::tones(ui).quiet),
        );
    }
    let response = ui.add(button);
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, on, action.label()));
    if response.on_hover_text(action.tooltip(ui.ctx())).clicked() {
        commands.push(Command::Do(action));
    }
}

/// A square button with an icon that runs an action.
pub(crate) fn icon_button(ui: &mut Ui, action: Action, icon: Icon, enabled: bool, commands: &mut Vec<Command>) {
    let response = ui.add_enabled(enabled, Button::new("").min_size(vec2(32.0, tokens::CONTROL)));
    let colour = if enabled { tokens::tones(ui).text } else { tokens::tones(ui).edge };
    glyph::icon(ui.painter(), response.rect.center(), icon, colour);
    finish(ui, response, action, enabled, commands);
}

fn finish(ui: &Ui, response: Response, action: Action, enabled: bool, commands: &mut Vec<Command>) -> Response {
    response.widget_info(|| WidgetInfo::labeled(Role::Button, enabled, action.label()));
    let tooltip = action.tooltip(ui.ctx());
    let response = response.on_hover_text(&tooltip).on_disabled_hover_text(&tooltip);
    if response.clicked() {
        commands.push(Command::Do(action));
    }
    response
}

/// A button for one of the four decisions: mark, word, key; down when it is the decision that stands.
pub(crate) fn decision_button(
    ui: &mut Ui,
    size: Vec2,
    decision: Decision,
    stands: bool,
    enabled: bool,
    commands: &mut Vec<Command>,
) {
    let action = action_of(decision);
    let response = ui.add_enabled(enabled, Button::selectable(stands, "").min_size(size).frame_when_inactive(true));
    let rect = response.rect;
    let (text, hue) = if enabled {
        (tokens::tones(ui).text, tokens::tones(ui).decision(decision))
    } else {
        (tokens::tones(ui).edge, tokens::tones(ui).edge)
    };
    let painter = ui.painter();
    glyph::mark(painter, rect.left_center() + vec2(19.0, 0.0), decision, hue);
    let label_at = rect.left_center() + vec2(36.0, 0.0);
    painter.text(label_at, Align2::LEFT_CENTER, action.label(), tokens::body(), text);
    let key_at = rect.right_center() - vec2(10.0, 0.0);
    painter.text(key_at, Align2::RIGHT_CENTER, action.key_text(ui.ctx()), tokens::small(), tokens::tones(ui).quiet);
    if stands {
        painter.rect_stroke(rect, tokens::RADIUS, Stroke::new(1.5, hue), StrokeKind::Inside);
    }
    response.widget_info(|| WidgetInfo::selected(Role::Button, enabled, stands, action.label()));
    if response.on_hover_text(action.tooltip(ui.ctx())).clicked() {
        commands.push(Command::Do(action));
    }
}

/// The action that takes a decision.
pub(crate) const fn action_of(decision: Decision) -> Action {
    match decision {
        Decision::Undecided => Action::Unset,
        Decision::Accepted => Action::Accept,
        Decision::Rejected => Action::Reject,
        Decision::Intended => Action::Intend,
    }
}

/// A button with words of its own and a tooltip.
pub(crate) fn plain_button(ui: &mut Ui, label: &str, tooltip: &str, enabled: bool) -> bool {
    let response = ui.add_enabled(enabled, Button::new(label));
    response.on_hover_text(tooltip).on_disabled_hover_text(tooltip).clicked()
}

/// The one button of a screen that leads on: light ground, dark letters.
pub(crate) fn main_button(ui: &mut Ui, label: &str, tooltip: &str, enabled: bool) -> bool {
    let ink = if enabled { tokens::tones(ui).well } else { tokens::tones(ui).quiet };
    let text = RichText::new(label).font(tokens::strong()).color(ink);
    let mut button = Button::new(text).min_size(vec2(96.0, tokens::CONTROL));
    if enabled {
        button = button.fill(tokens::tones(ui).text);
    }
    let response = ui.add_enabled(enabled, button);
    response.on_hover_text(tooltip).on_disabled_hover_text(tooltip).clicked()
}

/// A box to tick, with an edge that is seen on any ground.
pub(crate) fn check(ui: &mut Ui, on: &mut bool, words: &str) -> Response {
    ui.scope(|ui| {
        let tones = tokens::tones(ui);
        let box_of = &mut ui.visuals_mut().widgets.inactive;
        (box_of.bg_fill, box_of.bg_stroke) = (tones.well, Stroke::new(1.0, tones.edge));
        ui.checkbox(on, words)
    })
    .inner
}

/// A caption in quiet letters.
pub(crate) fn caption(ui: &mut Ui, text: &str) -> Response {
    ui.label(RichText::new(text).font(tokens::small()).color(tokens::tones(ui).quiet))
}

/// A heading of a panel.
pub(crate) fn heading(ui: &mut Ui, text: &str) -> Response {
    ui.label(RichText::new(text).font(tokens::heading()).color(tokens::tones(ui).text))
}

/// A large figure over its caption, as wide as `width`.
pub(crate) fn figure(ui: &mut Ui, width: f32, value: &str, caption_text: &str) {
    ui.allocate_ui_with_layout(vec2(width, tokens::grown(ui, 58.0)), egui::Layout::top_down(egui::Align::Min), |ui| {
        ui.set_width(width);
        ui.spacing_mut().item_spacing.y = 0.0;
        ui.label(RichText::new(value).font(tokens::display()).color(tokens::tones(ui).text));
        caption(ui, caption_text);
    });
}

/// One horizontal bar of shares: each part its width and colour. The ground shows where the parts do not reach.
pub(crate) fn share_bar(painter: &egui::Painter, rect: Rect, parts: &[(f32, Color32)]) {
    painter.rect_filled(rect, CornerRadius::same(2), tokens::tones(painter).well);
    let mut x = rect.left();
    for (share, colour) in parts {
        let width = rect.width() * share.clamp(0.0, 1.0);
        if width > 0.0 {
            let part = Rect::from_min_size(Pos2::new(x, rect.top()), vec2(width.max(1.0), rect.height()));
            painter.rect_filled(part.intersect(rect), CornerRadius::ZERO, *colour);
            x += width;
        }
    }
}

/// Text cut to a width, painted at a place; answers with the width used.
pub(crate) fn cut_text(
    ui: &Ui,
    at: Pos2,
    anchor: Align2,
    text: &str,
    font: FontId,
    colour: Color32,
    width: f32,
) -> f32 {
    let mut job = egui::text::LayoutJob::simple_singleline(text.to_owned(), font, colour);
    job.wrap = egui::text::TextWrapping::truncate_at_width(width.max(1.0));
    let galley = ui.fonts_mut(|f| f.layout_job(job));
    let rect = anchor.anchor_size(at, galley.size());
    let used = galley.size().x;
    ui.painter().galley(rect.min, galley, colour);
    used
}

/// A clickable row that is not in the Tab order (the arrows walk it), with a name.
pub(crate) fn row(ui: &mut Ui, height: f32, chosen: bool, name: &str) -> (Response, Rect) {
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::hover());
    let response = ui.interact(rect, ui.scope_id().with(("row", name)), Sense::CLICK | Sense::HOVER);
    response.widget_info(|| WidgetInfo::selected(Role::Row, true, chosen, name));
    let fill = match (chosen, response.hovered()) {
        (true, _) => Some(tokens::tones(ui).chosen),
        (false, true) => Some(tokens::tones(ui).raised),
        _ => None,
    };
    if let Some(fill) = fill {
        ui.painter().rect_filled(rect, CornerRadius::same(3), fill);
    }
    (response, rect)
}
