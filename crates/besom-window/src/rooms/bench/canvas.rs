//! The frame itself: zoom about the pointer, pan, candidates to click, what a hand draws.

use besom_scan::Samples;
use egui::{Align2, CursorIcon, Id, PointerButton, Pos2, Rect, Role, Sense, Ui, Vec2, WidgetInfo, vec2};

use super::model::Bench;
use super::paint::{self, Outline};
use super::protect::Form;
use super::{mask_paint, split, strokes};
use crate::command::Command;
use crate::desk::Desk;
use crate::picture::Placed;
use crate::picture::view::Canvas;
use crate::tokens;

/// Wheel points for one doubling.
const WHEEL_DOUBLING: f32 = 240.0;
/// Markers that get a node of their own for assistive technology; more could not be told apart anyway.
const MOST_NODES: usize = 200;
/// Longest step of an animation, so that a glide begun after an idle hour does not end at once.
const LONGEST_STEP: f32 = 1.0 / 30.0;

/// Draws the canvas and takes what the pointer does there.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let rect = ui.available_rect_before_wrap();
    let id = Id::unique("canvas");
    let response = ui.interact(rect, id, Sense::CLICK | Sense::DRAG);
    let name = format!("Frame {}, {} candidates shown", desk.frame(), desk.list().len());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, &name));
    let info = desk.reel().info();
    let size = if bench.before.is_empty() { vec2(info.width as f32, info.height as f32) } else { bench.before.size() };
    let canvas = Canvas { rect, density: ui.ctx().pixels_per_point(), picture: size };
    bench.canvas = Some(canvas);
    pointer(ui, bench, &canvas, &response);
    let step = ui.input(|i| i.stable_dt).min(LONGEST_STEP);
    if bench.view.settle(&canvas, step) {
        ui.ctx().request_repaint();
    }
    let placed = bench.view.place(&canvas);
    let painter = ui.painter_at(rect);
    let after = shows_after_now(ui, bench, desk);
    let parted = bench.split.filter(|_| repaired_is_there(bench, desk));
    match parted {
        Some(split) => split::pictures(&painter, rect, bench, &placed, split),
        None => if after { &bench.after } else { &bench.before }.paint(&painter, &placed),
    }
    let outlines = outlines(desk, &placed, rect);
    if bench.outlines {
        paint::regions(&painter, desk, &placed, bench.form.as_ref());
        paint::group(&painter, desk, &placed);
        paint::candidates(&painter, &outlines);
    }
    nodes(ui, id, desk, &outlines);
    if bench.draws() {
        draw(ui, bench, &painter, &placed, &response);
    } else if response.clicked()
        && let Some(at) = response.interact_pointer_pos()
        && let Some(hit) = outlines.iter().rev().find(|o| o.hit.contains(at))
    {
        commands.push(Command::Take(hit.id));
    }
    if let (Some(split), Some(_)) = (&mut bench.split, parted) {
        split::line(ui, &painter, rect, split);
    }
    labels(ui, rect, bench, desk, after || parted.is_some());
    read_out(ui, rect, bench, &placed, &response);
}

fn pointer(ui: &Ui, bench: &mut Bench, canvas: &Canvas, response: &egui::Response) {
    if let Some(at) = response.hover_pos() {
        let (wheel, pinch) = ui.input(|i| (i.smooth_scroll_delta().y, i.zoom_delta()));
        let factor = 2f32.powf(wheel / WHEEL_DOUBLING) * pinch;
        if (factor - 1.0).abs() > 1e-4 {
            bench.view.zoom_by(canvas, factor, at);
        }
    }
    let panning =
        response.dragged_by(PointerButton::Middle) || (!bench.draws() && response.dragged_by(PointerButton::Primary));
    if panning && response.drag_delta() != Vec2::ZERO {
        bench.view.pan(canvas, response.drag_delta());
        ui.ctx().set_cursor_icon(CursorIcon::Grabbing);
    } else if bench.draws() && response.hovered() {
        ui.ctx().set_cursor_icon(CursorIcon::Crosshair);
    }
}

/// What is being drawn: taken from the pointer, then shown.
fn draw(ui: &Ui, bench: &mut Bench, painter: &egui::Painter, placed: &Placed, response: &egui::Response) {
    let boxed = bench.form.as_ref().is_some_and(Form::is_box);
    if boxed {
        drag_region(ui, bench, placed, response);
    } else if let Some(sketch) = bench.sketch() {
        strokes::pointer(ui, sketch, placed, response);
    }
    let takes = ui.input(|i| i.modifiers.shift);
    let hatched: fn(&egui::Painter, &Placed, &besom_scan::RunMask, egui::Color32) =
        |painter, placed, mask, _| mask_paint::hatched(painter, placed, mask);
    match (&bench.form, &bench.mark) {
        (Some(form), _) if boxed => paint::new_region(painter, placed.rect(&form.rect())),
        (Some(form), _) => strokes::show(painter, &form.sketch, placed, takes, tokens::over::PROTECTED, hatched),
        (None, Some(mark)) => {
            // A mark is accepted from the start, and looks it.
            let hue = tokens::over::decision(besom_reel::Decision::Accepted);
            strokes::show(painter, &mark.sketch, placed, takes, hue, mask_paint::tinted);
        }
        (None, None) => {}
    }
}

fn drag_region(ui: &Ui, bench: &mut Bench, placed: &Placed, response: &egui::Response) {
    let at = response.interact_pointer_pos();
    let press = ui.input(|i| i.pointer.press_origin());
    if response.dragged_by(PointerButton::Primary)
        && let (Some(from), Some(to), Some(form)) = (press, at, bench.form.as_mut())
    {
        form.draw(placed.picture(from), placed.picture(to));
    }
}

/// True when this frame shows the repair: flipped, or the automatic flip's half of the cycle; and there is one to show.
fn shows_after_now(ui: &Ui, bench: &mut Bench, desk: &Desk) -> bool {
    let rate = bench.rate;
    let wanted = match &mut bench.auto {
        None => bench.flipped,
        Some(auto) => {
            let now = ui.input(|i| i.time);
            if auto.since.is_nan() {
                auto.since = now;
            }
            let (after, next) = super::layout::flip_phase(now - auto.since, rate);
            ui.ctx().request_repaint_after_secs(next);
            after
        }
    };
    wanted && repaired_is_there(bench, desk)
}

/// True when there is a repaired picture of this frame to show, if of earlier decisions.
fn repaired_is_there(bench: &Bench, desk: &Desk) -> bool {
    bench.after_of.is_some_and(|(place, _, _)| place == desk.place()) && !bench.after.is_empty()
}

/// Where each shown candidate's outline lies; small ones get a rectangle that can be seen and hit.
fn outlines(desk: &Desk, placed: &Placed, rect: Rect) -> Vec<Outline> {
    let mut found: Vec<Outline> = desk
        .list()
        .iter()
        .filter_map(|id| {
            let candidate = desk.reel().candidate(*id)?;
            let bounds = placed.rect(&candidate.bounds()).expand(3.0);
            let least = |r: Rect, side: f32| Rect::from_center_size(r.center(), r.size().max(Vec2::splat(side)));
            let shown = least(bounds, 12.0);
            let decision = desk.reel().decision(*id);
            let in_hand = desk.hand() == Some(*id);
            let proposed = desk.learning().filter(|_| desk.proposed(*id)).map(|learning| learning.proposes);
            Some(Outline { id: *id, rect: shown, hit: least(shown, 24.0), decision, in_hand, proposed })
        })
        .filter(|o| o.rect.intersects(rect))
        .collect();
    // Large ones first, so that a speck inside a hair's rectangle lies on top; the one in hand last.
    found.sort_by(|a, b| {
        (a.in_hand, -a.rect.area()).partial_cmp(&(b.in_hand, -b.rect.area())).unwrap_or(std::cmp::Ordering::Equal)
    });
    found
}

fn nodes(ui: &Ui, id: Id, desk: &Desk, outlines: &[Outline]) {
    for outline in outlines.iter().take(MOST_NODES) {
        let response = ui.interact(outline.rect, id.with(outline.id), Sense::HOVER);
        let Some(candidate) = desk.reel().candidate(outline.id) else { continue };
        let name = format!("Outline {}, {}, {}", outline.id.index + 1, candidate.kind.word(), outline.decision.word());
        response.widget_info(|| WidgetInfo::labeled(Role::Mark, true, &name));
    }
}

/// What the picture is, when that is not obvious: after a repair, stale, or unreadable.
fn labels(ui: &Ui, rect: Rect, bench: &Bench, desk: &Desk, after: bool) {
    let painter = ui.painter_at(rect);
    let at = rect.left_top() + vec2(12.0, 10.0);
    if let Some((_, reason)) = bench.problem.as_ref().filter(|(place, _)| *place == desk.place()) {
        paint::tag(&painter, at, reason, tokens::over::ATTENTION, rect.width() - 24.0);
    } else if bench.shown.as_ref().is_some_and(|s| s.place != desk.place()) {
        let stale = bench.shown.as_ref().map_or(0, |s| desk.frame_at(s.place));
        let text = format!("Frame {}, still showing {stale}", desk.frame());
        paint::tag(&painter, at, &text, tokens::over::TEXT, rect.width() - 24.0);
    } else if after {
        let stale = bench.after_of != Some((desk.place(), desk.revision(), desk.hand()));
        // Beside the scan the repair stands on the right alone.
        let what = if bench.split.is_some() { "On the right" } else { "After repair" };
        let text = match (stale, bench.filled) {
            (true, _) => format!("{what}, being computed again"),
            (false, 0) => format!("{what}: nothing here is accepted or in hand"),
            (false, n) => format!("{what}, {n} filled"),
        };
        paint::tag(&painter, at, &text, tokens::over::LIGHT, rect.width() - 24.0);
    } else if bench.wants_after() {
        paint::tag(&painter, at, "Before repair", tokens::over::LIGHT, rect.width() - 24.0);
    }
}

/// Stored values of the pixel under the pointer.
fn read_out(ui: &Ui, rect: Rect, bench: &Bench, placed: &Placed, response: &egui::Response) {
    let (Some(at), Some(shown)) = (response.hover_pos(), &bench.shown) else { return };
    let Some(text) = values(shown.scan.frame(), placed, at) else { return };
    let painter = ui.painter_at(rect);
    let font = tokens::small();
    let galley = painter.layout_no_wrap(text, font, tokens::over::TEXT);
    let place = Align2::RIGHT_BOTTOM.anchor_size(rect.right_bottom() - vec2(12.0, 10.0), galley.size());
    painter.rect_filled(place.expand2(vec2(8.0, 4.0)), tokens::RADIUS, tokens::over::CASING);
    painter.galley(place.min, galley, tokens::over::TEXT);
}

fn values(frame: &besom_scan::Frame, placed: &Placed, at: Pos2) -> Option<String> {
    let (x, y) = placed.picture(at);
    if x < 0.0 || y < 0.0 || x >= frame.width as f32 || y >= frame.height as f32 {
        return None;
    }
    let (x, y) = (x as usize, y as usize);
    let names: &[&str] = match frame.channels {
        1 | 2 => &["grey", "alpha"],
        _ => &["R", "G", "B", "4th"],
    };
    let mut text = format!("x {x}  y {y}");
    for (channel, name) in names.iter().enumerate().take(frame.channels) {
        let bits = frame.native_bits(x, y, channel);
        let value = match &frame.samples {
            Samples::F16(_) => format!("{:.4}", half::f16::from_bits(bits as u16).to_f32()),
            Samples::F32(_) => format!("{:.4}", f32::from_bits(bits)),
            _ => bits.to_string(),
        };
        text = format!("{text}   {name} {value}");
    }
    Some(text)
}
