//! The shots as a table.

use besom_reel::{Counts, Reel, Shot};
use egui::{Align, Layout, Rect, RichText, Sense, Ui, pos2, vec2};
use egui_extras::{Column, TableBuilder, TableRow};

use super::facts::clock;
use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

/// Columns: heading, tooltip, smallest width, right-aligned.
const COLUMNS: [(&str, &str, f32, bool); 8] = [
    ("Shot", "Place in the reel", 44.0, true),
    ("Frames", "First and last scan", 120.0, true),
    ("Time", "Running time", 56.0, true),
    ("Grain", "Standard deviation of the grain at mid density, in code values of a 10-bit scan", 56.0, true),
    ("Dirt", "Marks a frame: plain ones that the survey saw, or candidates once every frame is searched", 56.0, true),
    ("Flicker", "Mean change of brightness from frame to frame, in percent", 64.0, true),
    ("Weave", "Mean unsteadiness from frame to frame, in pixels", 60.0, true),
    ("Undecided", "Candidates shown and not yet decided", 84.0, true),
];

/// Draws the table; a click leads to the shot on the Bench.
pub(super) fn ui(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    let reel = desk.reel();
    let letters = tokens::grown(ui, 100.0) / 100.0;
    let grown = |measure: f32| (measure * letters).round();
    let mut table = TableBuilder::new(ui).id_salt("shots").sense(Sense::click()).striped(false).cell_layout(cell());
    for (_, _, width, _) in COLUMNS {
        table = table.column(Column::exact(grown(width)).clip(true));
    }
    table = table.column(Column::remainder().at_least(120.0).clip(true));
    let table = table.header(grown(24.0), |mut row| {
        for (heading, tooltip, _, _) in COLUMNS {
            row.col(|ui| {
                widgets::caption(ui, heading).on_hover_text(tooltip);
            });
        }
        row.col(|ui| {
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
                ui.add_space(16.0);
                widgets::caption(ui, "Frames that ask for nothing more");
            });
        });
    });
    table.body(|body| {
        body.rows(grown(tokens::ROW + 4.0), reel.shots().len(), |mut row| {
            if let Some(shot) = reel.shots().get(row.index()) {
                shot_row(&mut row, reel, shot, desk.shot().is_some_and(|s| s.index == shot.index), commands);
            }
        });
    });
}

fn cell() -> Layout {
    Layout::right_to_left(Align::Center)
}

fn shot_row(row: &mut TableRow<'_, '_>, reel: &Reel, shot: &Shot, here: bool, commands: &mut Vec<Command>) {
    row.set_selected(here);
    let counts = reel.shot_counts(shot.index);
    for text in cells(reel, shot, &counts) {
        row.col(|ui| {
            ui.label(RichText::new(text).color(tokens::tones(ui).text));
        });
    }
    row.col(|ui| share_cell(ui, &counts));
    let response = row.response();
    let name = format!("Shot {}, frames {} to {}", shot.index + 1, shot.first, shot.last);
    response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Row, true, here, &name));
    if response.on_hover_text("Go to this shot on the Bench").clicked() {
        let place = reel.frames().partition_point(|f| f.number < shot.first);
        commands.push(Command::GoToBench(place));
    }
}

fn cells(reel: &Reel, shot: &Shot, counts: &Counts) -> [String; 8] {
    let from = reel.frames().partition_point(|f| f.number < shot.first);
    let to = reel.frames().partition_point(|f| f.number <= shot.last);
    let frames = to.saturating_sub(from) as u64;
    let dirt = if counts.frames_detected > 0 {
        (counts.undecided + counts.decided()) as f32 / counts.frames_detected as f32
    } else {
        shot.dirt.marks_per_frame
    };
    [
        (shot.index + 1).to_string(),
        format!("{} to {}", shot.first, shot.last),
        clock(reel.info().rate.duration_secs(frames)),
        format!("{:.1}", shot.grain.luma_at(445.0)),
        format!("{dirt:.1}"),
        format!("{:.1} %", shot.dirt.flicker_percent),
        format!("{:.2}", shot.dirt.weave_px),
        if counts.frames_detected > 0 { counts.undecided.to_string() } else { "not searched".to_owned() },
    ]
}

fn share_cell(ui: &mut Ui, counts: &Counts) {
    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
        ui.add_space(16.0);
        let text = format!("{:.0} %", (counts.share_decided() * 100.0).floor());
        let width = (ui.available_width() - 60.0).clamp(40.0, 320.0);
        let (rect, _) = ui.allocate_exact_size(vec2(width, 16.0), Sense::hover());
        let bar =
            Rect::from_min_max(pos2(rect.left(), rect.center().y - 3.0), pos2(rect.right(), rect.center().y + 3.0));
        widgets::share_bar(ui.painter(), bar, &[(counts.share_decided() as f32, tokens::tones(ui).edge)]);
        widgets::caption(ui, &text);
    });
}
