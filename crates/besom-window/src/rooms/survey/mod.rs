//! The Survey: what arrived, before anything is decided.

pub(crate) mod facts;
mod shots;

use egui::{Frame, Margin, Panel, Ui};

use crate::action::Action;
use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

pub(crate) use facts::clock;

/// Draws the room.
pub(crate) fn ui(ui: &mut Ui, desk: &Desk, busy: bool, commands: &mut Vec<Command>) {
    let frame = Frame::new().fill(tokens::tones(ui).panel).inner_margin(Margin::symmetric(16, 16));
    Panel::left("facts").exact_size(tokens::grown(ui, 380.0)).resizable(false).frame(frame).show(ui, |ui| {
        egui::ScrollArea::vertical().auto_shrink(false).show(ui, |ui| facts::ui(ui, desk, commands));
    });
    let frame = Frame::new().fill(tokens::tones(ui).ground).inner_margin(Margin::symmetric(20, 16));
    egui::CentralPanel::default().frame(frame).show(ui, |ui| {
        ui.horizontal(|ui| {
            widgets::heading(ui, "Shots");
            ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| next_step(ui, desk, busy, commands));
        });
        ui.add_space(4.0);
        shots::ui(ui, desk, commands);
    });
}

/// What to do next with this reel, as buttons.
fn next_step(ui: &mut Ui, desk: &Desk, busy: bool, commands: &mut Vec<Command>) {
    let seen = desk.tallies().frames().iter().filter(|t| t.detected).count();
    widgets::action_button(ui, Action::Verify, !busy && seen > 0, commands);
    widgets::action_button(ui, Action::Repair, !busy && seen > 0, commands);
    if seen == 0 {
        if widgets::main_button(ui, Action::Detect.label(), &Action::Detect.tooltip(ui.ctx()), !busy) {
            commands.push(Command::Do(Action::Detect));
        }
    } else {
        widgets::action_button(ui, Action::Detect, !busy, commands);
    }
    let total = desk.reel().frames().len();
    let text = match seen {
        0 => "No frame has been searched for candidates yet".to_owned(),
        n if n < total => format!("{n} of {total} frames searched"),
        _ => "Every frame searched".to_owned(),
    };
    widgets::caption(ui, &text);
}
