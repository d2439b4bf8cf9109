//! The protected regions at the foot of the left column: those of this frame, this shot or the reel, each with what it is
//! for, its range, and the ways to go there, change it and end it.

use besom_reel::Region;
use egui::{Align2, Button, Rect, RichText, ScrollArea, Ui, UiBuilder, vec2};

use super::model::Bench;
use crate::action::Action;
use crate::command::Command;
use crate::desk::Desk;
use crate::{glyph, tokens, widgets};

/// Height of a region's row.
const ROW: f32 = tokens::ROW + 26.0;
/// Size of the small buttons in it.
const SMALL: egui::Vec2 = vec2(52.0, 24.0);
/// Rows that are seen at once, and on a low screen, where the candidates above need the room.
const ROWS: f32 = 2.6;
const ROWS_LOW: f32 = 1.5;
const LOW: f32 = 840.0;

/// Which regions are listed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Listed {
    /// Those that cover the frame that is shown.
    Frame,
    /// Those that cover some of the shot.
    #[default]
    Shot,
    /// All.
    Reel,
}

impl Listed {
    const ALL: [Self; 3] = [Self::Frame, Self::Shot, Self::Reel];

    const fn word(self) -> &'static str {
        match self {
            Self::Frame => "Frame",
            Self::Shot => "Shot",
            Self::Reel => "Reel",
        }
    }

    /// The regions to list with their numbers in the order in which they were made, from 1.
    fn of(self, desk: &Desk) -> Vec<(usize, &Region)> {
        let frame = desk.frame();
        let shot = desk.shot().map_or((frame, frame), |s| (s.first, s.last));
        let listed = |region: &Region| match self {
            Self::Frame => region.covers(frame),
            Self::Shot => region.first <= shot.1 && shot.0 <= region.last,
            Self::Reel => true,
        };
        desk.reel().regions().iter().enumerate().map(|(i, r)| (i + 1, r)).filter(|(_, r)| listed(r)).collect()
    }
}

/// Draws the list.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    widgets::heading(ui, "Protected");
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        let each = (ui.available_width() - 4.0) / 3.0;
        for listed in Listed::ALL {
            let (on, count) = (bench.regions_listed == listed, listed.of(desk).len());
            let text = RichText::new(format!("{} {count}", listed.word())).font(tokens::small());
            let response = ui.add_sized(vec2(each, 26.0), Button::selectable(on, text));
            let name = format!("Regions of the {}, {count}", listed.word().to_lowercase());
            response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, on, &name));
            if response.on_hover_text(format!("List the regions of the {}", listed.word().to_lowercase())).clicked() {
                bench.regions_listed = listed;
            }
        }
    });
    let listed = bench.regions_listed.of(desk);
    if listed.is_empty() {
        widgets::caption(ui, "None here.");
    }
    // A panel grows with what is in it; a list that only took the room there is would keep it low.
    let most = if ui.ctx().content_rect().height() < LOW { ROWS_LOW } else { ROWS };
    let height = (listed.len() as f32).min(most) * (ROW + 2.0);
    ScrollArea::vertical().max_height(height).min_scrolled_height(height).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = 2.0;
        for (number, region) in listed {
            row(ui, bench, desk, number, region, commands);
        }
    });
}

fn row(ui: &mut Ui, bench: &mut Bench, desk: &Desk, number: usize, region: &Region, commands: &mut Vec<Command>) {
    let kind = if region.mask.is_some() { "shape" } else { "box" };
    let span = if region.first == region.last {
        region.first.to_string()
    } else {
        format!("{} to {}", region.first, region.last)
    };
    let title = if region.note.is_empty() { format!("Region {number}") } else { region.note.clone() };
    let here = region.covers(desk.frame());
    let changing = bench.form.as_ref().is_some_and(|form| form.changes(&region.id));
    let button = Button::new("").min_size(vec2(ui.available_width(), ROW)).frame_when_inactive(changing);
    let response = ui.add(button);
    let note = if region.note.is_empty() { String::new() } else { format!(", {}", region.note) };
    let name = format!("Protected region {number}{note}, {kind}, frames {span}");
    response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, here, &name));
    let rect = response.rect;
    let swatch = Rect::from_min_size(rect.left_top() + vec2(4.0, 5.0), vec2(10.0, ROW - 10.0));
    let colour = if here { tokens::tones(ui).protected } else { tokens::tones(ui).edge };
    glyph::hatch(ui.painter(), swatch, 5.0, egui::Stroke::new(1.2, colour));
    let (left, quiet) = (22.0, tokens::tones(ui).quiet);
    let used = widgets::cut_text(
        ui,
        rect.right_top() + vec2(-4.0, 5.0),
        Align2::RIGHT_TOP,
        kind,
        tokens::small(),
        quiet,
        60.0,
    );
    let room = rect.width() - left - used - 12.0;
    let top = rect.left_top() + vec2(left, 3.0);
    widgets::cut_text(ui, top, Align2::LEFT_TOP, &title, tokens::body(), tokens::tones(ui).text, room);
    let free = Rect::from_min_size(rect.right_bottom() - vec2(SMALL.x - 12.0, SMALL.y + 2.0), SMALL - vec2(12.0, 0.0));
    let change = Rect::from_min_size(free.min - vec2(SMALL.x + 2.0, 0.0), SMALL);
    let foot = vec2(rect.left() + left, change.center().y).to_pos2();
    let room = change.left() - foot.x - 4.0;
    widgets::cut_text(ui, foot, Align2::LEFT_CENTER, &span, tokens::small(), quiet, room);
    if response.on_hover_text(format!("{name}, by {}. Go to its first frame", region.artist)).clicked() {
        let frames = desk.reel().frames();
        commands.push(Command::Go(frames.partition_point(|f| f.number < region.first)));
    }
    let name = format!("Change region {number}");
    if small_button(ui, change, "Change", &name, "Change its shape, its frames or its note; one step to undo") {
        bench.change_region(desk, region);
    }
    let name = format!("Free region {number}");
    if small_button(
        ui,
        free,
        "Free",
        &name,
        &format!("End this protection; {} brings it back", Action::Undo.key_text(ui.ctx())),
    ) {
        commands.push(Command::Unprotect(region.id.clone()));
    }
}

/// A small button at a place on a row; true when it was clicked.
fn small_button(ui: &mut Ui, at: Rect, word: &str, name: &str, tooltip: &str) -> bool {
    ui.scope_builder(UiBuilder::new().max_rect(at), |ui| {
        ui.spacing_mut().button_padding = vec2(4.0, 3.0);
        let response = ui.put(at, Button::new(RichText::new(word).font(tokens::small())));
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, name));
        response.on_hover_text(tooltip).clicked()
    })
    .inner
}
