//! The counts as a table.

use besom_reel::ledger::Row;
use besom_reel::{By, Decision, LedgerTable};
use egui::{Align, Layout, Rect, RichText, Sense, Ui, pos2, vec2};
use egui_extras::{Column, TableBuilder, TableRow};

use super::model::grouped;
use crate::app::capital;
use crate::rooms::survey::clock;
use crate::{tokens, widgets};

/// Headings, tooltips, widths.
const COLUMNS: [(&str, &str, f32); 8] = [
    ("Frames", "Frames in this row", 70.0),
    ("Done", "Film time that asks for nothing more", 70.0),
    ("Undecided", "Shown and without a decision", 84.0),
    ("Accepted", "To be repaired", 84.0),
    ("Rejected", "Left: no damage", 84.0),
    ("Intended", "Left: part of the film", 84.0),
    ("At risk", "Could be part of the picture", 70.0),
    ("A minute", "Candidates decided one by one in a minute of work", 76.0),
];

/// Draws the table with the whole reel as its last row.
pub(super) fn ui(ui: &mut Ui, table: &LedgerTable) {
    let layout = Layout::right_to_left(Align::Center);
    let letters = tokens::grown(ui, 100.0) / 100.0;
    let grown = |measure: f32| (measure * letters).round();
    let mut builder = TableBuilder::new(ui).id_salt("ledger").striped(false).sense(Sense::hover()).cell_layout(layout);
    builder = builder.column(Column::exact(grown(150.0)).clip(true));
    for (_, _, width) in COLUMNS {
        builder = builder.column(Column::exact(grown(width)).clip(true));
    }
    let builder = builder.column(Column::remainder().at_least(80.0).clip(true)).header(grown(24.0), |mut row| {
        row.col(|ui| left(ui, |ui| _ = widgets::caption(ui, "")));
        for (heading, tooltip, _) in COLUMNS {
            row.col(|ui| _ = widgets::caption(ui, heading).on_hover_text(tooltip));
        }
        row.col(|_| {});
    });
    builder.body(|body| {
        body.rows(grown(tokens::ROW), table.rows.len() + 1, |mut row| {
            let total = row.index() == table.rows.len();
            if let Some(content) = table.rows.get(row.index()).or(total.then_some(&table.total)) {
                let label = label(table, row.index(), content, total);
                ledger_row(&mut row, table, content, &label, total);
            }
        });
    });
}

fn left(ui: &mut Ui, contents: impl FnOnce(&mut Ui)) {
    ui.with_layout(Layout::left_to_right(Align::Center), contents);
}

/// What a row is called: shots count from 1 here as everywhere on the screen.
fn label(table: &LedgerTable, index: usize, content: &Row, total: bool) -> String {
    match table.by {
        _ if total => "Whole reel".to_owned(),
        By::Shot => format!("Shot {}", index + 1),
        _ => capital(&content.label),
    }
}

fn ledger_row(row: &mut TableRow<'_, '_>, table: &LedgerTable, content: &Row, label: &str, total: bool) {
    let font = if total { tokens::strong() } else { tokens::body() };
    let counts = &content.counts;
    let pace = content.pace.per_minute().map(|p| format!("{p:.1}")).unwrap_or_default();
    let cells = [
        grouped(counts.frames),
        clock(table.rate.duration_secs(counts.frames_decided)),
        grouped(counts.undecided),
        grouped(counts.accepted),
        grouped(counts.rejected),
        grouped(counts.intended),
        grouped(counts.at_risk),
        pace,
    ];
    row.col(|ui| left(ui, |ui| _ = ui.label(RichText::new(label).font(font.clone()))));
    for text in cells {
        row.col(|ui| _ = ui.label(RichText::new(text).font(font.clone())));
    }
    row.col(|ui| {
        left(ui, |ui| {
            ui.add_space(20.0);
            let width = ui.available_width().clamp(20.0, 420.0);
            let (rect, _) = ui.allocate_exact_size(vec2(width, 16.0), Sense::hover());
            let middle = rect.center().y;
            let bar = Rect::from_min_max(pos2(rect.left(), middle - 4.0), pos2(rect.right(), middle + 4.0));
            let shown = (counts.undecided + counts.decided()).max(1) as f32;
            let parts = [
                (counts.accepted as f32 / shown, super::paint::colour(ui.painter(), Decision::Accepted)),
                (counts.rejected as f32 / shown, super::paint::colour(ui.painter(), Decision::Rejected)),
                (counts.intended as f32 / shown, super::paint::colour(ui.painter(), Decision::Intended)),
                (counts.undecided as f32 / shown, super::paint::colour(ui.painter(), Decision::Undecided)),
            ];
            widgets::share_bar(ui.painter(), bar, &parts);
        });
    });
    let name = format!("{label}: {} undecided, {} accepted", counts.undecided, counts.accepted);
    row.response().widget_info(|| egui::WidgetInfo::labeled(egui::Role::Row, true, &name));
}
