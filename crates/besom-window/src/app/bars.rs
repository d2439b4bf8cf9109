//! The top bar (rooms, reel, work under way) and the foot (what just happened).

use egui::{Align, Align2, Button, Frame, Layout, Margin, Panel, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use super::{App, Room};
use crate::action::Action;
use crate::command::Command;
use crate::glyph::{self, Icon};
use crate::{tokens, widgets};

impl App {
    pub(super) fn top_bar(&mut self, ui: &mut Ui) {
        let frame = Frame::new().fill(tokens::tones(ui).panel).inner_margin(Margin::symmetric(12, 0));
        Panel::top("top").exact_size(tokens::grown(ui, tokens::TOP_BAR)).resizable(false).frame(frame).show(ui, |ui| {
            ui.horizontal_centered(|ui| {
                self.sign(ui);
                self.rooms(ui);
                ui.add_space(2.0 * tokens::UNIT);
                self.reel_name(ui);
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| self.right_side(ui));
            });
        });
    }

    fn sign(&mut self, ui: &mut Ui) {
        let (rect, response) = ui.allocate_exact_size(vec2(tokens::grown(ui, 92.0), tokens::CONTROL), Sense::click());
        response.widget_info(|| WidgetInfo::labeled(Role::Button, true, "Besom, first screen"));
        glyph::broom(ui.painter(), pos2(rect.left() + 12.0, rect.center().y), 24.0, tokens::tones(ui).text);
        let at = pos2(rect.left() + 28.0, rect.center().y);
        ui.painter().text(at, Align2::LEFT_CENTER, "Besom", tokens::heading(), tokens::tones(ui).text);
        if response.on_hover_text(Action::Start.tooltip(ui.ctx())).clicked() {
            self.commands.push(Command::Do(Action::Start));
        }
    }

    fn rooms(&mut self, ui: &mut Ui) {
        let open = self.desk.is_some();
        ui.spacing_mut().item_spacing.x = 2.0;
        for (room, action) in
            [(Room::Survey, Action::Survey), (Room::Bench, Action::Bench), (Room::Ledger, Action::Ledger)]
        {
            let here = self.room == room;
            let button = Button::selectable(here, action.label()).min_size(vec2(76.0, tokens::CONTROL));
            let response = ui.add_enabled(open, button);
            response.widget_info(|| WidgetInfo::selected(Role::Tab, open, here, action.label()));
            if response.on_hover_text(action.tooltip(ui.ctx())).clicked() {
                self.commands.push(Command::Do(action));
            }
        }
        ui.spacing_mut().item_spacing.x = tokens::UNIT;
    }

    fn reel_name(&self, ui: &mut Ui) {
        let Some(desk) = &self.desk else { return };
        let (name, frames) = (&desk.reel().info().name, desk.reel().frames().len());
        let width = (ui.available_width() - 480.0).clamp(80.0, 460.0);
        let (rect, _) = ui.allocate_exact_size(vec2(width, tokens::CONTROL), Sense::hover());
        let used = widgets::cut_text(
            ui,
            rect.left_center(),
            Align2::LEFT_CENTER,
            name,
            tokens::strong(),
            tokens::tones(ui).text,
            width - tokens::grown(ui, 90.0),
        );
        let at = rect.left_center() + vec2(used + 10.0, 0.5);
        ui.painter().text(
            at,
            Align2::LEFT_CENTER,
            format!("{frames} frames"),
            tokens::small(),
            tokens::tones(ui).quiet,
        );
    }

    fn right_side(&mut self, ui: &mut Ui) {
        widgets::action_button(ui, Action::Help, true, &mut self.commands);
        widgets::icon_button(ui, Action::Preferences, Icon::Settings, true, &mut self.commands);
        let reel = self.desk.as_ref().map(crate::desk::Desk::reel);
        let (redo, undo) =
            (reel.is_some_and(|r| r.redo_words().is_some()), reel.is_some_and(|r| r.undo_words().is_some()));
        widgets::icon_button(ui, Action::Redo, Icon::Redo, redo, &mut self.commands);
        widgets::icon_button(ui, Action::Undo, Icon::Undo, undo, &mut self.commands);
        self.work(ui);
    }

    /// The task under way: words, a bar, the button that stops it.
    fn work(&mut self, ui: &mut Ui) {
        let Some(running) = &self.running else { return };
        ui.add_space(tokens::UNIT);
        let stop = Button::new("Stop");
        let response = ui.add_enabled(!running.meter.stopping(), stop).on_hover_text(Action::Stop.tooltip(ui.ctx()));
        if response.clicked() {
            self.commands.push(Command::Do(Action::Stop));
        }
        let (done, steps) = running.meter.steps();
        let said = running.meter.what();
        let words = if said.is_empty() { running.what.words().to_owned() } else { super::execute::capital(&said) };
        let width = ui.available_width().clamp(60.0, 220.0);
        let (rect, response) = ui.allocate_exact_size(vec2(width, tokens::CONTROL), Sense::hover());
        let text = if steps > 0 { format!("{words}  {} of {steps}", done.min(steps)) } else { words };
        response.widget_info(|| WidgetInfo::labeled(Role::ProgressIndicator, true, &text));
        let at = rect.left_top() + vec2(0.0, 2.0);
        widgets::cut_text(ui, at, Align2::LEFT_TOP, &text, tokens::small(), tokens::tones(ui).text, width);
        let bar =
            egui::Rect::from_min_max(pos2(rect.left(), rect.bottom() - 6.0), pos2(rect.right(), rect.bottom() - 2.0));
        let share = if steps > 0 { done as f32 / steps as f32 } else { 0.0 };
        widgets::share_bar(ui.painter(), bar, &[(share, tokens::tones(ui).text)]);
    }

    pub(super) fn foot(&mut self, ui: &mut Ui) {
        let frame = Frame::new().fill(tokens::tones(ui).panel).inner_margin(Margin::symmetric(12, 0));
        Panel::bottom("foot").exact_size(tokens::grown(ui, 26.0)).resizable(false).frame(frame).show(ui, |ui| {
            ui.horizontal_centered(|ui| {
                let (text, colour) = match &self.notice {
                    Some(n) if n.wrong => (n.text.as_str(), tokens::tones(ui).attention),
                    Some(n) => (n.text.as_str(), tokens::tones(ui).text),
                    None => ("", tokens::tones(ui).text),
                };
                let artist = format!("Working as {}", self.artist());
                let width = ui.available_width();
                let (rect, response) = ui.allocate_exact_size(vec2(width, 20.0), Sense::hover());
                response.widget_info(|| WidgetInfo::labeled(Role::Status, true, text));
                let response = if text.is_empty() { response } else { response.on_hover_text(text) };
                let (left, right) = (response.rect.left_center(), rect.right_center());
                let room = width - tokens::grown(ui, 220.0);
                widgets::cut_text(ui, left, Align2::LEFT_CENTER, text, tokens::small(), colour, room);
                ui.painter().text(right, Align2::RIGHT_CENTER, artist, tokens::small(), tokens::tones(ui).quiet);
            });
        });
    }
}
