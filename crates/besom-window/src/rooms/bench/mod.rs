//! The Bench: the frame large, the candidate in hand with its evidence, the list, and the whole reel as a strip beneath.

mod bulk;
mod canvas;
mod hand;
mod layout;
mod list;
mod mark;
mod mask_paint;
mod model;
mod paint;
mod place;
mod protect;
mod regions;
mod sketch;
mod span;
mod split;
mod strip;
mod strokes;
mod tools;

use egui::{Frame, Margin, Panel, Ui};

use crate::command::Command;
use crate::desk::Desk;
use crate::tokens;

pub(crate) use model::Bench;

/// Draws the room.
pub(crate) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let plain = Frame::new().fill(tokens::tones(ui).panel);
    let strip = plain.inner_margin(Margin { left: 12, right: 12, top: 2, bottom: 4 });
    Panel::bottom("strip").exact_size(tokens::grown(ui, tokens::STRIP)).resizable(false).frame(strip).show(ui, |ui| {
        strip::ui(ui, desk, commands);
    });
    let bar = plain.inner_margin(Margin::symmetric(12, 0));
    Panel::bottom("place").exact_size(tokens::grown(ui, tokens::TOOL_BAR)).resizable(false).frame(bar).show(ui, |ui| {
        ui.horizontal_centered(|ui| place::ui(ui, bench, desk, commands));
    });
    Panel::left("list").exact_size(tokens::grown(ui, tokens::LIST_WIDTH)).resizable(false).frame(plain).show(
        ui,
        |ui| {
            list::ui(ui, bench, desk, commands);
        },
    );
    // Tools stand in the column of the candidate in hand, so that nothing ever covers the picture.
    Panel::right("hand").exact_size(tokens::grown(ui, tokens::HAND_WIDTH)).resizable(false).frame(plain).show(
        ui,
        |ui| {
            if bench.form.is_some() {
                protect::ui(ui, bench, desk, commands);
            } else if bench.mark.is_some() {
                mark::ui(ui, bench, desk, commands);
            } else if bench.bulk.is_some() {
                bulk::ui(ui, bench, desk, commands);
            } else if bench.viewing_open {
                tools::viewing_ui(ui, bench);
            }
            hand::ui(ui, bench, desk, commands);
        },
    );
    Panel::top("tools").exact_size(tokens::grown(ui, tokens::TOOL_BAR)).resizable(false).frame(bar).show(ui, |ui| {
        ui.horizontal_centered(|ui| tools::ui(ui, bench, desk, commands));
    });
    egui::CentralPanel::default().frame(Frame::new().fill(tokens::SURROUND)).show(ui, |ui| {
        canvas::ui(ui, bench, desk, commands);
    });
}
