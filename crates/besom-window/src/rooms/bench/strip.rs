//! The whole reel as a strip: height is what is shown, tone is what is left. Swept stretches go quiet.

use egui::{Align2, CornerRadius, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::layout::Columns;
use crate::command::Command;
use crate::desk::Desk;
use crate::{glyph, tokens};

/// Narrowest column in points.
const COLUMN: f32 = 3.0;
/// Rows of the strip, from the top: shots, columns, protected regions, scale.
const SHOTS: f32 = 18.0;
const PROTECTED: f32 = 7.0;
const SCALE: f32 = 18.0;

/// Draws the strip and goes where it is clicked or dragged.
pub(super) fn ui(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    let (rect, response) = ui.allocate_exact_size(ui.available_size(), Sense::CLICK | Sense::DRAG);
    let frames = desk.tallies().frames().len();
    let total = desk.tallies().sum(0, frames);
    let name = format!("Reel strip, frame {} of {frames}, {} undecided", desk.place() + 1, total.left());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &name));
    let columns = Columns::new(frames, rect.left(), rect.width(), COLUMN);
    let bars = Rect::from_min_max(
        pos2(rect.left(), rect.top() + tokens::grown(ui, SHOTS)),
        pos2(rect.right(), rect.bottom() - tokens::grown(ui, SCALE) - PROTECTED),
    );
    shots(ui, desk, &columns, rect.top(), bars);
    bars_ui(ui, desk, &columns, bars);
    protected(ui, desk, &columns, bars.bottom());
    problems(ui, desk, &columns, bars);
    cursor(ui, desk, &columns, bars);
    scale(ui, desk, rect);
    if frames == 0 {
        return;
    }
    if let Some(at) = response.interact_pointer_pos().filter(|_| response.clicked() || response.dragged()) {
        commands.push(Command::Go(columns.place_at(at.x)));
    }
    if let Some(at) = response.hover_pos() {
        let place = columns.place_at(at.x);
        let tally = desk.tallies().at(place);
        let found = if tally.detected {
            format!("{} shown, {} undecided", tally.shown, tally.left())
        } else {
            "not searched yet".to_owned()
        };
        let frame = desk.frame_at(place);
        let text = format!("Frame {frame}, {}: {found}", desk.reel().footage(frame));
        response.on_hover_text_at_pointer(text);
    }
}

fn shots(ui: &Ui, desk: &Desk, columns: &Columns, top: f32, bars: Rect) {
    let frames = desk.reel().frames();
    let painter = ui.painter();
    let mut free = f32::NEG_INFINITY;
    for shot in desk.reel().shots() {
        let from = frames.partition_point(|f| f.number < shot.first);
        let to = frames.partition_point(|f| f.number <= shot.last);
        let (left, right) = (columns.x_of(from), columns.x_of(to));
        let ground = Rect::from_min_max(pos2(left, bars.top()), pos2((right - 1.0).max(left + 0.5), bars.bottom()));
        painter.rect_filled(ground, CornerRadius::ZERO, tokens::tones(ui).well);
        let label = format!("Shot {}", shot.index + 1);
        let short = if right - left > 52.0 { label } else { (shot.index + 1).to_string() };
        if left > free && right - left > 16.0 {
            let here = shot.contains(desk.frame());
            let colour = if here { tokens::tones(ui).text } else { tokens::tones(ui).quiet };
            let used = painter.text(pos2(left, top), Align2::LEFT_TOP, short, tokens::small(), colour);
            free = used.right() + 4.0;
        }
    }
}

fn bars_ui(ui: &Ui, desk: &Desk, columns: &Columns, bars: Rect) {
    let painter = ui.painter();
    let sums: Vec<_> = (0..columns.len())
        .map(|c| {
            let range = columns.range(c);
            let count = range.len() as f32;
            (desk.tallies().sum(range.start, range.end), count)
        })
        .collect();
    let most = sums.iter().map(|(t, n)| t.shown as f32 / n).fold(1.0, f32::max);
    for (column, (tally, count)) in sums.iter().enumerate() {
        let (left, right) = columns.span(column);
        let slot = Rect::from_min_max(pos2(left, bars.top()), pos2((right - 1.0).max(left + 1.0), bars.bottom()));
        if !tally.detected {
            glyph::hatch(painter, slot.with_min_y(bars.bottom() - 10.0), 6.0, Stroke::new(1.0, tokens::tones(ui).edge));
            continue;
        }
        if tally.shown == 0 {
            continue;
        }
        // The square root keeps a single candidate visible beside a dense cloud.
        let height = (bars.height() - 4.0) * (tally.shown as f32 / count / most).sqrt();
        let decided = height * tally.decided() as f32 / tally.shown as f32;
        let base = bars.bottom();
        let done = Rect::from_min_max(pos2(slot.left(), base - decided), pos2(slot.right(), base));
        let open = Rect::from_min_max(pos2(slot.left(), base - height.max(2.0)), pos2(slot.right(), base - decided));
        painter.rect_filled(open, CornerRadius::ZERO, tokens::tones(ui).waiting);
        painter.rect_filled(done, CornerRadius::ZERO, tokens::tones(ui).swept);
    }
}

fn protected(ui: &Ui, desk: &Desk, columns: &Columns, top: f32) {
    let frames = desk.reel().frames();
    for region in desk.reel().regions() {
        let from = columns.x_of(frames.partition_point(|f| f.number < region.first));
        let to = columns.x_of(frames.partition_point(|f| f.number <= region.last));
        let band = Rect::from_min_max(pos2(from, top + 2.0), pos2(to.max(from + 3.0), top + PROTECTED - 1.0));
        glyph::hatch(ui.painter(), band, 4.0, Stroke::new(1.2, tokens::tones(ui).protected));
    }
}

fn problems(ui: &Ui, desk: &Desk, columns: &Columns, bars: Rect) {
    for (place, _) in desk.reel().frames().iter().enumerate().filter(|(_, f)| f.problem.is_some()) {
        let x = columns.x_of(place).round() + 1.0;
        let points = vec![pos2(x - 4.0, bars.top() - 1.0), pos2(x + 4.0, bars.top() - 1.0), pos2(x, bars.top() + 6.0)];
        ui.painter().add(Shape::convex_polygon(points, tokens::tones(ui).attention, Stroke::NONE));
    }
}

fn cursor(ui: &Ui, desk: &Desk, columns: &Columns, bars: Rect) {
    if columns.len() == 0 {
        return;
    }
    let (left, right) = (columns.x_of(desk.place()), columns.x_of(desk.place() + 1));
    let x = f32::midpoint(left, right).round();
    let painter = ui.painter();
    let line = [pos2(x, bars.top() - 3.0), pos2(x, bars.bottom() + 3.0)];
    painter.line_segment(line, Stroke::new(4.0, tokens::tones(ui).casing));
    painter.line_segment(line, Stroke::new(2.0, tokens::tones(ui).here));
    let knob =
        vec![pos2(x - 5.0, bars.bottom() + 9.0), pos2(x + 5.0, bars.bottom() + 9.0), pos2(x, bars.bottom() + 2.0)];
    painter.add(Shape::convex_polygon(knob, tokens::tones(ui).here, Stroke::NONE));
}

fn scale(ui: &Ui, desk: &Desk, rect: Rect) {
    let info = desk.reel().info();
    let painter = ui.painter();
    let y = rect.bottom() - 1.0;
    let text = |x: f32, anchor, text: String| {
        painter.text(pos2(x, y), anchor, text, tokens::small(), tokens::tones(ui).quiet);
    };
    text(rect.left(), Align2::LEFT_BOTTOM, info.first.to_string());
    text(rect.right(), Align2::RIGHT_BOTTOM, info.last.to_string());
    let middle = rect.center().x;
    let swatch = |x: f32, colour| {
        let square = Rect::from_center_size(pos2(x, y - 8.0), vec2(8.0, 8.0));
        painter.rect_filled(square, CornerRadius::ZERO, colour);
    };
    swatch(middle - 92.0, tokens::tones(ui).waiting);
    text(middle - 82.0, Align2::LEFT_BOTTOM, "undecided".to_owned());
    swatch(middle + 4.0, tokens::tones(ui).swept);
    text(middle + 14.0, Align2::LEFT_BOTTOM, "decided".to_owned());
}
