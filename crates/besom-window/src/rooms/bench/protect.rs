//! Protecting part of the picture over a range of frames: a box, an outline or a painted shape, recorded as one step; and
//! changing a region that is there.

use besom_reel::{Edit, Region, RegionId};
use besom_scan::{Rect, RunMask};
use egui::{DragValue, Frame, Margin, Panel, TextEdit, Ui, vec2};

use super::model::Bench;
use super::sketch::{Sketch, Tool};
use super::span::{self, Span};
use super::strokes;
use crate::action::Action;
use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

/// How a region can be drawn.
const TOOLS: &[Tool] = &[Tool::Box, Tool::Outline, Tool::Brush];

/// A region that is being described.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Form {
    /// The region to change; `None` for a new one.
    region: Option<RegionId>,
    /// Left, top, width, height of the box in picture pixels.
    place: [i32; 4],
    /// What is drawn with the other tools.
    pub(super) sketch: Sketch,
    span: Span,
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
        let mut sketch = Sketch::new((info.width as u32, info.height as u32), TOOLS);
        sketch.set_breadth(sketch.breadth() * 3.0);
        let mut form = Self { region: None, place: [0; 4], sketch, span: Span::shot(desk), note: String::new(), size };
        form.set_rect(&rect);
        form
    }

    /// A region as it stands, to be changed.
    pub(super) fn of(desk: &Desk, region: &Region) -> Self {
        let mut form = Self::new(desk);
        form.set_rect(&region.rect);
        form.sketch.set_mask(region.pixels().into_owned());
        if region.mask.is_some() {
            form.sketch.set_tool(Tool::Brush);
        }
        let span = Span::Scans(region.first, region.last);
        Self { region: Some(region.id.clone()), span, note: region.note.clone(), ..form }
    }

    /// The box, inside the frame.
    pub(super) fn rect(&self) -> Rect {
        let [x, y, width, height] = self.place;
        let whole = Rect::new(0, 0, self.size.0, self.size.1);
        Rect::new(x, y, x.saturating_add(width), y.saturating_add(height)).intersect(&whole)
    }

    fn set_rect(&mut self, r: &Rect) {
        self.place = [r.x0, r.y0, r.width() as i32, r.height() as i32];
    }

    /// True while a box is what will be protected.
    pub(super) fn is_box(&self) -> bool {
        self.sketch.tool() == Tool::Box
    }

    /// True for the region that it will change.
    pub(super) fn changes(&self, id: &RegionId) -> bool {
        self.region.as_ref() == Some(id)
    }

    /// Takes the box between two corners that were dragged.
    pub(super) fn draw(&mut self, from: (f32, f32), to: (f32, f32)) {
        let (x0, x1) = (from.0.min(to.0).floor() as i32, from.0.max(to.0).ceil() as i32);
        let (y0, y1) = (from.1.min(to.1).floor() as i32, from.1.max(to.1).ceil() as i32);
        self.set_rect(&Rect::new(x0, y0, x1, y1).intersect(&Rect::new(0, 0, self.size.0, self.size.1)));
    }

    /// The pixels to protect; empty while there are none.
    fn pixels(&self) -> RunMask {
        if self.is_box() { RunMask::from_rect(&self.rect()) } else { self.sketch.mask().clone() }
    }

    /// What is to be recorded; `None` while there is nothing to protect.
    pub(super) fn edit(&self, shown: u64) -> Option<Edit> {
        let (first, last) = self.span.scans(shown);
        let (mask, note) = (self.pixels(), self.note.trim().to_owned());
        if mask.is_empty() {
            return None;
        }
        Some(match &self.region {
            Some(id) => Edit::ChangeRegion { id: id.clone(), mask, first, last, note },
            None if self.is_box() => Edit::Protect { rect: self.rect(), first, last, note },
            None => Edit::ProtectShape { mask, first, last, note },
        })
    }
}

/// The form, over the evidence of the candidate in hand.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let Some(mut form) = bench.form.take() else { return };
    let mut keep = true;
    let (title, go, tooltip) = match form.region {
        None => ("Protect a region", "Protect", "Record this region"),
        Some(_) => ("Change a region", "Change", "Record the region as it is now"),
    };
    let frame = Frame::new().fill(tokens::tones(ui).raised).inner_margin(Margin::same(12));
    Panel::top("protect").resizable(false).frame(frame).show(ui, |ui| {
        widgets::heading(ui, title);
        strokes::tools(ui, &mut form.sketch);
        if form.is_box() {
            numbers(ui, &mut form);
        } else {
            bench.slider_focus |= strokes::place(ui, &mut form.sketch, commands);
        }
        span::ui(ui, &mut form.span, desk);
        let caption = widgets::caption(ui, "Why (may stay empty)");
        let field = TextEdit::singleline(&mut form.note).desired_width(ui.available_width()).margin(vec2(8.0, 5.0));
        let note = ui.add(field).labelled_by(caption.id);
        let entered = note.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
        ui.add_space(4.0);
        ui.horizontal(|ui| {
            let drawn = !form.pixels().is_empty();
            let (undo, finish) = (Action::Undo.key_text(ui.ctx()), Action::Finish.key_text(ui.ctx()));
            let tooltip = format!("{tooltip}; {undo} takes it back. Key: {finish}");
            let clicked = widgets::main_button(ui, go, &tooltip, drawn);
            if (clicked || entered) && drawn {
                commands.push(Command::Do(Action::Finish));
            }
            keep = !widgets::plain_button(ui, "Not now", "Leave everything as it is. Key: Esc", true);
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

#[cfg(test)]
mod tests {
    use super::*;

    fn form() -> Form {
        let sketch = Sketch::new((64, 48), TOOLS);
        let span = Span::Scans(1, 1);
        Form { region: None, place: [0; 4], sketch, span, note: String::new(), size: (64, 48) }
    }

    #[test]
    fn a_dragged_rectangle_stays_inside_and_may_be_drawn_backwards() {
        let mut form = form();
        form.draw((70.0, 40.2), (10.6, -5.0));
        assert_eq!(form.rect(), Rect::new(10, 0, 64, 41));
        form.place = [60, 40, 100, 100];
        assert_eq!(form.rect(), Rect::new(60, 40, 64, 48));
    }

    #[test]
    fn the_tool_in_hand_says_what_is_protected() {
        let mut form = form();
        assert_eq!(form.edit(1), None, "nothing is drawn");
        form.draw((4.0, 4.0), (8.0, 8.0));
        assert!(matches!(form.edit(1), Some(Edit::Protect { rect, .. }) if rect == Rect::new(4, 4, 8, 8)));
        form.sketch.set_tool(Tool::Brush);
        assert_eq!(form.edit(1), None, "nothing is painted");
        form.sketch.put_down(false);
        let painted = form.sketch.mask().clone();
        assert!(matches!(form.edit(1), Some(Edit::ProtectShape { mask, .. }) if mask == painted));
        form.region = Some(RegionId { artist: "Ines".into(), sequence: 3 });
        assert!(matches!(form.edit(1), Some(Edit::ChangeRegion { mask, first: 1, last: 1, .. }) if mask == painted));
    }
}
