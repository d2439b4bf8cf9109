//! The frame parted by a line: as scanned on its left, repaired on its right.

use egui::{Align2, EventFilter, Id, Key, Modifiers, Painter, Pos2, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use super::model::Bench;
use crate::picture::Placed;
use crate::tokens;

/// Where the line stands in the room for the picture, as a share of its width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Split {
    share: f32,
    /// The keyboard is the line's.
    focused: bool,
}

impl Default for Split {
    fn default() -> Self {
        Self { share: 0.5, focused: false }
    }
}

/// The line goes no nearer to the border than this, a share of the width.
const BORDER: f32 = 0.02;
/// How far an arrow moves it.
const STEP: f32 = 0.02;
/// Room for the pointer around the line, points.
const GRIP: f32 = 12.0;

impl Split {
    /// True while the arrows move the line.
    pub(super) const fn has_focus(self) -> bool {
        self.focused
    }

    fn move_to(&mut self, share: f32) {
        self.share = share.clamp(BORDER, 1.0 - BORDER);
    }

    fn x(self, rect: Rect) -> f32 {
        // On a whole point: a line between two would be grey.
        (rect.left() + self.share * rect.width()).round()
    }
}

/// Paints both pictures, each on its side of the line.
pub(super) fn pictures(painter: &Painter, rect: Rect, bench: &Bench, placed: &Placed, split: Split) {
    let x = split.x(rect);
    let left = Rect::from_min_max(rect.min, pos2(x, rect.bottom()));
    let right = Rect::from_min_max(pos2(x, rect.top()), rect.max);
    bench.before.paint(&painter.with_clip_rect(left), placed);
    bench.after.paint(&painter.with_clip_rect(right), placed);
}

/// Draws the line with a word on each side, and takes what pointer and arrows do to it.
pub(super) fn line(ui: &Ui, painter: &Painter, rect: Rect, split: &mut Split) {
    let id = Id::unique("split");
    let x = split.x(rect);
    let grip = Rect::from_center_size(pos2(x, rect.center().y), vec2(GRIP, rect.height()));
    let response = ui.interact(grip, id, Sense::DRAG | Sense::FOCUSABLE);
    response.widget_info(|| WidgetInfo::labeled(Role::Slider, true, "Line between before and after"));
    if let Some(at) = response.interact_pointer_pos().filter(|_| response.dragged() || response.drag_stopped()) {
        split.move_to((at.x - rect.left()) / rect.width().max(1.0));
    }
    split.focused = response.has_focus();
    if split.focused {
        ui.memory_mut(|m| {
            m.set_focus_lock_filter(id, EventFilter { horizontal_arrows: true, ..EventFilter::default() });
        });
        let pressed = |key| ui.input_mut(|i| i.consume_key(Modifiers::NONE, key));
        let step = f32::from(i8::from(pressed(Key::ArrowRight)) - i8::from(pressed(Key::ArrowLeft)));
        split.move_to(split.share + STEP * step);
    }
    let lit = split.focused || response.hovered() || response.dragged();
    response
        .on_hover_cursor(egui::CursorIcon::ResizeHorizontal)
        .on_hover_text("As scanned on the left, repaired on the right. Drag the line, or move it with the arrows");
    let x = split.x(rect);
    let ends = [pos2(x, rect.top()), pos2(x, rect.bottom())];
    painter.line_segment(ends, (3.0, tokens::over::CASING));
    painter.line_segment(ends, (if lit { 2.0 } else { 1.0 }, tokens::over::LIGHT));
    let foot = rect.bottom() - 16.0;
    word(painter, pos2(x - 10.0, foot), Align2::RIGHT_CENTER, "as scanned");
    word(painter, pos2(x + 10.0, foot), Align2::LEFT_CENTER, "repaired");
}

fn word(painter: &Painter, at: Pos2, align: Align2, text: &str) {
    let galley = painter.layout_no_wrap(text.to_owned(), tokens::small(), tokens::over::TEXT);
    let place = align.anchor_size(at, galley.size());
    painter.rect_filled(place.expand2(vec2(6.0, 3.0)), tokens::RADIUS, tokens::over::CASING);
    painter.galley(place.min, galley, tokens::over::TEXT);
}
