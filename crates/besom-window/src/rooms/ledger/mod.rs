//! The Ledger: what was found, what was decided, what is left, and when it will be done.

mod model;
mod paint;
mod table;

use besom_reel::By;
use egui::{Button, CornerRadius, Frame, Margin, Role, Ui, WidgetInfo, vec2};

use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

pub(crate) use model::Ledger;

/// What rows can stand for, with the words on the buttons.
const CHOICES: [(By, &str, &str); 4] = [
    (By::Shot, "By shot", "One row a shot"),
    (By::Kind, "By kind", "One row a kind of candidate"),
    (By::Artist, "By artist", "One row for each person who decided"),
    (By::Day, "By day", "One row a day on which something was decided (UTC)"),
];

/// Draws the room.
pub(crate) fn ui(ui: &mut Ui, ledger: &mut Ledger, desk: &Desk, commands: &mut Vec<Command>) {
    ledger.refresh(desk);
    let Some(table) = ledger.table() else { return };
    let frame = Frame::new().fill(tokens::tones(ui).ground).inner_margin(Margin::symmetric(24, 20));
    egui::CentralPanel::default().frame(frame).show(ui, |ui| {
        figures(ui, ledger);
        ui.add_space(16.0);
        let card = Frame::new()
            .fill(tokens::tones(ui).panel)
            .corner_radius(CornerRadius::same(6))
            .inner_margin(Margin::same(16));
        card.show(ui, |ui| {
            ui.horizontal(|ui| {
                widgets::heading(ui, "Along the reel");
                paint::legend(ui);
            });
            let height = (ui.available_height() * 0.26).clamp(90.0, 260.0);
            paint::profile(ui, height, desk, commands);
        });
        ui.add_space(16.0);
        ui.horizontal(|ui| {
            widgets::heading(ui, "Counts");
            ui.add_space(tokens::UNIT);
            ui.spacing_mut().item_spacing.x = 2.0;
            for (by, label, tooltip) in CHOICES {
                let on = ledger.by() == by;
                let response = ui.add(Button::selectable(on, label).min_size(vec2(84.0, tokens::CONTROL)));
                response.widget_info(|| WidgetInfo::selected(Role::Button, true, on, label));
                if response.on_hover_text(tooltip).clicked() {
                    commands.push(Command::LedgerBy(by));
                }
            }
        });
        ui.add_space(4.0);
        table::ui(ui, table);
    });
}

fn figures(ui: &mut Ui, ledger: &Ledger) {
    let figures = ledger.figures();
    let width = (ui.available_width() / figures.len().max(1) as f32 - tokens::UNIT).min(260.0);
    ui.horizontal(|ui| {
        for (value, caption) in figures {
            widgets::figure(ui, width, &value, &caption);
        }
    });
}
