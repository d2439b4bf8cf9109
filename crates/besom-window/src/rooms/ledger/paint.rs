//! The plot of decisions along the reel.

use besom_reel::Decision;
use egui::{Align2, Color32, CornerRadius, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use super::model::grouped;
use crate::command::Command;
use crate::desk::{Desk, Tally};
use crate::{tokens, widgets};

/// Narrowest column in points.
const COLUMN: f32 = 4.0;

/// Colours and words of the decisions, in the order in which the columns are stacked. What waits is grey: here colour is
/// progress.
pub(super) fn legend(ui: &mut Ui) {
    for decision in [Decision::Accepted, Decision::Rejected, Decision::Intended, Decision::Undecided] {
        ui.add_space(tokens::UNIT);
        let (rect, _) = ui.allocate_exact_size(vec2(12.0, 20.0), Sense::hover());
        let square = Rect::from_center_size(rect.center(), vec2(10.0, 10.0));
        ui.painter().rect_filled(square, CornerRadius::same(2), colour(ui.painter(), decision));
        widgets::caption(ui, decision.word());
    }
}

/// The colour of a decision in bars.
pub(super) fn colour(painter: &egui::Painter, decision: Decision) -> Color32 {
    let tones = tokens::tones(painter);
    match decision {
        Decision::Undecided => tones.waiting,
        _ => tones.decision(decision),
    }
}

/// One column for a stretch of frames, as high as the candidates shown there on average, stacked by decision.
pub(super) fn profile(ui: &mut Ui, height: f32, desk: &Desk, commands: &mut Vec<Command>) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::CLICK | Sense::HOVER);
    let frames = desk.tallies().frames().len();
    let total = desk.tallies().sum(0, frames);
    let name = format!("Candidates along the reel: {} shown, {} decided", total.shown, total.decided());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &name));
    let painter = ui.painter();
    painter.rect_filled(rect, CornerRadius::same(3), tokens::tones(ui).well);
    if frames == 0 {
        return;
    }
    let plot = Rect::from_min_max(rect.min + vec2(44.0, 10.0), rect.max - vec2(8.0, tokens::grown(ui, 20.0)));
    let columns = ((plot.width() / COLUMN) as usize).clamp(1, frames);
    let range = |c: usize| (c * frames / columns, ((c + 1) * frames / columns).max(c * frames / columns + 1));
    let mean = |t: &Tally, c: usize| t.shown as f32 / (range(c).1 - range(c).0) as f32;
    let tallies: Vec<Tally> = (0..columns).map(|c| desk.tallies().sum(range(c).0, range(c).1)).collect();
    let top = tallies.iter().enumerate().map(|(c, t)| mean(t, c)).fold(1.0, f32::max);
    axis(ui, plot, top, desk);
    let width = plot.width() / columns as f32;
    for (c, tally) in tallies.iter().enumerate() {
        let x = plot.left() + c as f32 * width;
        let column = Rect::from_min_max(pos2(x, plot.top()), pos2(x + (width - 1.0).max(width * 0.7), plot.bottom()));
        stack(painter, column, tally, mean(tally, c) / top);
    }
    if let Some(at) = response.interact_pointer_pos().or(response.hover_pos()).filter(|p| plot.contains(*p)) {
        let c = (((at.x - plot.left()) / width) as usize).min(columns - 1);
        let (from, t) = (range(c).0, tallies[c]);
        let text = format!("From frame {}: {} shown, {} undecided", desk.frame_at(from), t.shown, t.left());
        if response.on_hover_text_at_pointer(format!("{text}. Click to go there")).clicked() {
            commands.push(Command::GoToBench(from));
        }
    }
}

fn axis(ui: &Ui, plot: Rect, top: f32, desk: &Desk) {
    let painter = ui.painter();
    let text = |at, anchor, text: String| painter.text(at, anchor, text, tokens::small(), tokens::tones(ui).quiet);
    for part in [0.0, 0.5, 1.0] {
        let y = plot.bottom() - plot.height() * part;
        painter.hline(plot.x_range(), y, egui::Stroke::new(1.0, tokens::tones(ui).line));
        let value = top * part;
        let label = if value >= 10.0 || part == 0.0 { grouped(value.round() as u64) } else { format!("{value:.1}") };
        text(pos2(plot.left() - 8.0, y), Align2::RIGHT_CENTER, label);
    }
    let info = desk.reel().info();
    text(pos2(plot.left(), plot.bottom() + 3.0), Align2::LEFT_TOP, format!("frame {}", info.first));
    text(pos2(plot.center().x, plot.bottom() + 3.0), Align2::CENTER_TOP, "candidates a frame".to_owned());
    text(pos2(plot.right(), plot.bottom() + 3.0), Align2::RIGHT_TOP, format!("frame {}", info.last));
}

fn stack(painter: &egui::Painter, column: Rect, tally: &Tally, share: f32) {
    if tally.shown == 0 {
        return;
    }
    let height = column.height() * share;
    let mut bottom = column.bottom();
    let parts: [(u32, Color32); 4] = [
        (tally.accepted, colour(painter, Decision::Accepted)),
        (tally.rejected, colour(painter, Decision::Rejected)),
        (tally.intended, colour(painter, Decision::Intended)),
        (tally.left(), colour(painter, Decision::Undecided)),
    ];
    for (count, colour) in parts {
        let part = height * count as f32 / tally.shown as f32;
        let rect = Rect::from_min_max(pos2(column.left(), bottom - part), pos2(column.right(), bottom));
        painter.rect_filled(rect, CornerRadius::ZERO, colour);
        bottom -= part;
    }
}
