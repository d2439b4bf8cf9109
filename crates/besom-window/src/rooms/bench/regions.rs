//! The protected regions at the foot of the left column: those of this frame, this shot or the reel, each with what it is
//! for, its range, and the ways to go there, change it and end it.

use besom_reel::Region;
use egui::{Align, Align2, Button, Layout, RichText, ScrollArea, Sense, Ui, vec2};

use super::model::Bench;
use crate::command::Command;
use crate::desk::Desk;
use crate::{glyph, tokens, widgets};

/// Height of a region's row.
const ROW: f32 = tokens::ROW + 14.0;

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
            let response = ui.add_sized(vec2(each, 24.0), Button::selectable(on, text));
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
    ScrollArea::vertical().max_height(3.4 * ROW).show(ui, |ui| {
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
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        let width = ui.available_width() - 92.0;
        let response = ui.add(Button::new("").min_size(vec2(width, ROW)).frame_when_inactive(changing));
        let note = if region.note.is_empty() { String::new() } else { format!(", {}", region.note) };
        let name = format!("Protected region {number}{note}, {kind}, frames {span}");
        response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, here, &name));
        let rect = response.rect;
        let swatch = egui::Rect::from_center_size(rect.left_center() + vec2(9.0, 0.0), vec2(10.0, 22.0));
        let colour = if here { tokens::PROTECTED } else { tokens::EDGE };
        glyph::hatch(ui.painter(), swatch, 5.0, egui::Stroke::new(1.2, colour));
        let (left, room) = (24.0, width - 28.0);
        let top = rect.left_top() + vec2(left, 3.0);
        widgets::cut_text(ui, top, Align2::LEFT_TOP, &title, tokens::body(), tokens::TEXT, room);
        let foot = rect.left_bottom() + vec2(left, -3.0);
        let below = format!("{kind}, {span}");
        widgets::cut_text(ui, foot, Align2::LEFT_BOTTOM, &below, tokens::small(), tokens::QUIET, room);
        if response.on_hover_text(format!("{name}, by {}. Go to its first frame", region.artist)).clicked() {
            let frames = desk.reel().frames();
            commands.push(Command::Go(frames.partition_point(|f| f.number < region.first)));
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let small = |text: &str| Button::new(RichText::new(text).font(tokens::small())).sense(Sense::click());
            ui.spacing_mut().button_padding.x = 6.0;
            let free = ui.add(small("Free"));
            let name = format!("Free region {number}");
            free.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, &name));
            if free.on_hover_text("End this protection; Ctrl+Z brings it back").clicked() {
                commands.push(Command::Unprotect(region.id.clone()));
            }
            let change = ui.add(small("Change"));
            let name = format!("Change region {number}");
            change.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, &name));
            let tooltip = "Change its shape, its frames or its note; one step to undo";
            if change.on_hover_text(tooltip).clicked() {
                bench.change_region(desk, region);
            }
        });
    });
}
