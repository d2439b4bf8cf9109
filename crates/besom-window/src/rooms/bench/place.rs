//! The line under the picture: where one is, and the steps from there.

use egui::{RichText, TextEdit, Ui, vec2};

use super::model::Bench;
use crate::action::Action;
use crate::command::Command;
use crate::desk::Desk;
use crate::glyph::Icon;
use crate::{tokens, widgets};

/// Draws the line.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let (first, last) = (desk.place() == 0, desk.place() + 1 >= desk.reel().frames().len());
    ui.spacing_mut().item_spacing.x = 4.0;
    widgets::icon_button(ui, Action::PreviousFlagged, Icon::BackFlag, !first, commands);
    widgets::icon_button(ui, Action::PreviousFrame, Icon::Back, !first, commands);
    frame_field(ui, bench, desk, commands);
    widgets::icon_button(ui, Action::NextFrame, Icon::On, !last, commands);
    widgets::icon_button(ui, Action::NextFlagged, Icon::OnFlag, !last, commands);
    ui.spacing_mut().item_spacing.x = 20.0;
    ui.add_space(4.0);
    let frame = desk.frame();
    let reel = desk.reel();
    pair(ui, &reel.footage(frame), "feet");
    pair(ui, &reel.timecode(frame), "time");
    if let Some(shot) = desk.shot() {
        let place = frame.saturating_sub(shot.first) + 1;
        let length = shot.last.saturating_sub(shot.first) + 1;
        pair(ui, &format!("{} of {}", shot.index + 1, reel.shots().len()), "shot");
        pair(ui, &format!("{place} of {length}"), "in the shot");
    }
    ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
        ui.spacing_mut().item_spacing.x = 20.0;
        let tally = desk.tallies().at(desk.place());
        if tally.detected {
            pair(ui, &format!("{} of {}", tally.left(), tally.shown), "undecided here");
        } else {
            widgets::caption(ui, "This frame has not been searched for candidates");
        }
    });
}

fn pair(ui: &mut Ui, value: &str, name: &str) {
    ui.scope(|ui| {
        ui.spacing_mut().item_spacing.x = 5.0;
        // In a row that runs from the right the first added stands rightmost.
        if ui.layout().prefer_right_to_left() {
            widgets::caption(ui, name);
            ui.label(RichText::new(value).color(tokens::tones(ui).text));
        } else {
            ui.label(RichText::new(value).color(tokens::tones(ui).text));
            widgets::caption(ui, name);
        }
    });
}

/// The frame number: shows where one is; a number, a footage or a timecode typed and entered goes there.
fn frame_field(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let mut text = bench.frame_text.clone().unwrap_or_else(|| desk.frame().to_string());
    let field = TextEdit::singleline(&mut text)
        .desired_width(80.0)
        .align(egui::Align2::CENTER_CENTER)
        .margin(vec2(6.0, 4.0))
        .font(tokens::strong());
    let response = ui.add(field);
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::TextInput, true, "Frame number"));
    let response = response.on_hover_text(Action::GoTo.tooltip(ui.ctx()));
    if std::mem::take(&mut bench.go_to) {
        response.request_focus();
        select_all(ui, response.id, text.chars().count());
    }
    if response.lost_focus()
        && ui.input(|i| i.key_pressed(egui::Key::Enter))
        && let Some(number) = desk.reel().frame_named(&text)
    {
        let place = desk.reel().frames().partition_point(|f| f.number < number);
        commands.push(Command::Go(place));
    }
    bench.frame_text = response.has_focus().then_some(text);
}

fn select_all(ui: &Ui, id: egui::Id, length: usize) {
    let mut state = egui::text_edit::TextEditState::load(ui.ctx(), id).unwrap_or_default();
    let all = egui::text::CCursorRange::two(egui::text::CCursor::new(0), egui::text::CCursor::new(length));
    state.cursor.set_char_range(Some(all));
    state.store(ui.ctx(), id);
}
