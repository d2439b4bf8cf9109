//! Protecting a rectangle over a range of frames: drawn with the pointer or typed, then recorded as one step.

use besom_scan::Rect;
use egui::{DragValue, Frame, Margin, Panel, TextEdit, Ui, vec2};

use super::model::Bench;
use crate::action::Action;
use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

/// A region that is being described.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Form {
    /// Left, top, width, height in picture pixels.
    place: [i32; 4],
    first: u64,
    last: u64,
    note: String,
    /// Size of the frame, the limit of everything.
    size: (i32, i32),
}

impl Form {
    /// Around the candidate in hand (the middle of the frame without one), for the current shot.
    pub(super) fn new(desk: &Desk) -> Self {
        let info = desk.reel().info();
        let size = (info.width as i32, info.height as i32);
        let whole = Rect::of_size(info.width, info.height);
        let middle = whole.grown(-(size.0.min(size.1) * 3 / 8));
        let rect = desk.candidate().map_or(middle, |c| c.bounds().grown(16)).intersect(&whole);
        let frame = desk.frame();
        let (first, last) = desk.shot().map_or((frame, frame), |s| (s.first, s.last));
        let place = [rect.x0, rect.y0, rect.width() as i32, rect.height() as i32];
        Self { place, first, last, note: String::new(), size }
    }

    /// The rectangle, inside the frame.
    pub(super) fn rect(&self) -> Rect {
        let [x, y, width, height] = self.place;
        let whole = Rect::new(0, 0, self.size.0, self.size.1);
        Rect::new(x, y, x.saturating_add(width), y.saturating_add(height)).intersect(&whole)
    }

    /// Takes the rectangle between two corners that were dragged.
    pub(super) fn draw(&mut self, from: (f32, f32), to: (f32, f32)) {
        let (x0, x1) = (from.0.min(to.0).floor() as i32, from.0.max(to.0).ceil() as i32);
        let (y0, y1) = (from.1.min(to.1).floor() as i32, from.1.max(to.1).ceil() as i32);
        let r = Rect::new(x0, y0, x1, y1).intersect(&Rect::new(0, 0, self.size.0, self.size.1));
        self.place = [r.x0, r.y0, r.width() as i32, r.height() as i32];
    }
}

/// The form, over the evidence of the candidate in hand.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let Some(mut form) = bench.form.take() else { return };
    let mut keep = true;
    let frame = Frame::new().fill(tokens::tones(ui).raised).inner_margin(Margin::same(12));
    Panel::top("protect").resizable(false).frame(frame).show(ui, |ui| {
        widgets::heading(ui, "Protect a region");
        widgets::caption(ui, "Drag a rectangle on the picture, or type it. No repair will touch it.");
        ui.add_space(4.0);
        numbers(ui, &mut form);
        range(ui, &mut form, desk);
        let caption = widgets::caption(ui, "Why (may stay empty)");
        let field = TextEdit::singleline(&mut form.note).desired_width(ui.available_width()).margin(vec2(8.0, 5.0));
        let note = ui.add(field).labelled_by(caption.id);
        let entered = note.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
        ui.add_space(4.0);
        ui.horizontal(|ui| {
            let rect = form.rect();
            let undo = Action::Undo.key_text(ui.ctx());
            let tooltip = format!("Record this region; {undo} takes it back");
            let go = widgets::main_button(ui, "Protect", &tooltip, !rect.is_empty());
            if go || (entered && !rect.is_empty()) {
                let (first, last) = (form.first.min(form.last), form.first.max(form.last));
                commands.push(Command::Protect { rect, first, last, note: form.note.trim().to_owned() });
                keep = false;
            }
            keep &= !widgets::plain_button(ui, "Not now", "Leave without protecting anything. Key: Esc", true);
        });
    });
    bench.form = keep.then_some(form);
}

fn numbers(ui: &mut Ui, form: &mut Form) {
    let (width, height) = form.size;
    let limits = [width, height, width, height];
    ui.horizontal(|ui| {
        for ((value, name), limit) in form.place.iter_mut().zip(["Left", "Top", "Width", "Height"]).zip(limits) {
            ui.vertical(|ui| {
                let caption = widgets::caption(ui, name);
                let drag = DragValue::new(value).range(0..=limit);
                ui.add_sized(vec2(70.0, tokens::CONTROL), drag).labelled_by(caption.id);
            });
        }
    });
}

fn range(ui: &mut Ui, form: &mut Form, desk: &Desk) {
    let info = desk.reel().info();
    ui.horizontal(|ui| {
        for (value, name) in [(&mut form.first, "First frame"), (&mut form.last, "Last frame")] {
            ui.vertical(|ui| {
                let caption = widgets::caption(ui, name);
                let drag = DragValue::new(value).range(info.first..=info.last);
                ui.add_sized(vec2(70.0, tokens::CONTROL), drag).labelled_by(caption.id);
            });
        }
        ui.vertical(|ui| {
            widgets::caption(ui, "Or");
            ui.horizontal(|ui| {
                ui.spacing_mut().item_spacing.x = 2.0;
                ui.spacing_mut().button_padding.x = 6.0;
                let frame = desk.frame();
                let shot = desk.shot().map_or((frame, frame), |s| (s.first, s.last));
                for (label, tooltip, span) in [
                    ("Frame", "This frame only", (frame, frame)),
                    ("Shot", "The whole shot", shot),
                    ("Reel", "The whole reel", (info.first, info.last)),
                ] {
                    if widgets::plain_button(ui, label, tooltip, true) {
                        (form.first, form.last) = span;
                    }
                }
            });
        });
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dragged_rectangle_stays_inside_and_may_be_drawn_backwards() {
        let mut form = Form { place: [0; 4], first: 1, last: 1, note: String::new(), size: (64, 48) };
        form.draw((70.0, 40.2), (10.6, -5.0));
        assert_eq!(form.rect(), Rect::new(10, 0, 64, 41));
        form.place = [60, 40, 100, 100];
        assert_eq!(form.rect(), Rect::new(60, 40, 64, 48));
    }
}
