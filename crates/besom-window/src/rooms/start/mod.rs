//! The first screen: open scans, open a reel, go on with a recent one, or try the demo.

mod model;

use std::path::PathBuf;

use egui::{Align2, CornerRadius, Frame, Margin, RichText, ScrollArea, TextEdit, Ui, UiBuilder, pos2, vec2};

use crate::app::Recent;
use crate::background::Pick;
use crate::command::Command;
use crate::{glyph, tokens, widgets};

pub(crate) use model::Start;

/// What the first screen needs to know.
pub(crate) struct Context<'a> {
    /// Reels that were open, newest first.
    pub(crate) recent: &'a [Recent],
    /// The program can make a demo reel.
    pub(crate) demo: bool,
    /// A task is under way.
    pub(crate) busy: bool,
}

/// Width of the two columns with the gap between them.
const WIDTH: f32 = 1000.0;
const GAP: f32 = 40.0;
/// Height of title and cards.
const LEAST_HEIGHT: f32 = 610.0;

/// Draws the first screen.
pub(crate) fn ui(ui: &mut Ui, start: &mut Start, context: &Context<'_>, commands: &mut Vec<Command>) {
    egui::CentralPanel::default().frame(Frame::new().fill(tokens::tones(ui).ground)).show(ui, |ui| {
        let room = ui.available_rect_before_wrap();
        let width = tokens::grown(ui, WIDTH).min(room.width() - 48.0);
        // All cards are seen at once in the lowest window.
        let top = ((room.height() - tokens::grown(ui, LEAST_HEIGHT)) / 2.0).clamp(14.0, 160.0);
        let left = room.center().x - width / 2.0;
        title(ui, pos2(left, room.top() + top));
        let body = egui::Rect::from_min_max(
            pos2(left, room.top() + top + tokens::grown(ui, 88.0)),
            pos2(left + width, room.bottom() - 12.0),
        );
        let column = (width - GAP) / 2.0;
        let first = body.with_max_x(body.left() + column);
        let second = body.with_min_x(body.right() - column);
        ui.scope_builder(UiBuilder::new().max_rect(first), |ui| open_ui(ui, start, context, commands));
        ui.scope_builder(UiBuilder::new().max_rect(second), |ui| recent_ui(ui, start, context, commands));
    });
}

fn title(ui: &Ui, at: egui::Pos2) {
    let painter = ui.painter();
    let grown = |x: f32, y: f32| vec2(tokens::grown(ui, x), tokens::grown(ui, y));
    glyph::broom(painter, at + grown(22.0, 34.0), tokens::grown(ui, 68.0), tokens::tones(ui).text);
    painter.text(at + grown(56.0, 2.0), Align2::LEFT_TOP, "Besom", tokens::display(), tokens::tones(ui).text);
    let line = "Sweeps a scanned reel clean of what time added, and leaves what the film-makers put there.";
    painter.text(at + grown(56.0, 40.0), Align2::LEFT_TOP, line, tokens::body(), tokens::tones(ui).quiet);
}

fn card(ui: &mut Ui, contents: impl FnOnce(&mut Ui)) {
    let frame =
        Frame::new().fill(tokens::tones(ui).panel).corner_radius(CornerRadius::same(6)).inner_margin(Margin::same(20));
    frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        contents(ui);
    });
}

fn open_ui(ui: &mut Ui, start: &mut Start, context: &Context<'_>, commands: &mut Vec<Command>) {
    card(ui, |ui| {
        widgets::heading(ui, "New scans");
        ui.label(
            RichText::new("A folder of scans, one scan of it, or a pattern like skerry.####.dpx. Dropping one on the window does it too.")
                .color(tokens::tones(ui).quiet),
        );
        ui.add_space(4.0);
        let changed = path_field(ui, "Scans", &mut start.scans, Pick::Scans, commands);
        if changed {
            start.suggest();
        }
        path_field(ui, "New reel folder", &mut start.new_reel, Pick::Reel, commands);
        widgets::caption(ui, "Decisions and candidates live there. The scans' folder is only ever read.");
        ui.add_space(8.0);
        let ready = !context.busy && start.ready();
        if widgets::main_button(ui, "Survey the scans", "Read every scan once: gaps, sizes, shots and grain", ready) {
            commands.push(Command::StartReel { scans: start.scans_path(), reel: start.reel_path() });
        }
    });
    if context.demo {
        ui.add_space(12.0);
        card(ui, |ui| demo_ui(ui, context, commands));
    }
}

fn demo_ui(ui: &mut Ui, context: &Context<'_>, commands: &mut Vec<Command>) {
    widgets::heading(ui, "Lamps of Skerry Point");
    let text = "An invented lighthouse documentary of 1961, aged by the program itself: a reel to learn on.";
    ui.label(RichText::new(text).color(tokens::tones(ui).quiet));
    ui.add_space(8.0);
    let tooltip = "Copy the demo's scans into a working folder, survey them and find candidates";
    if widgets::main_button(ui, "Open the demo reel", tooltip, !context.busy) {
        commands.push(Command::Demo);
    }
}

fn path_field(ui: &mut Ui, label: &str, text: &mut String, pick: Pick, commands: &mut Vec<Command>) -> bool {
    let caption = widgets::caption(ui, label);
    ui.horizontal(|ui| {
        let width = ui.available_width() - tokens::grown(ui, 94.0);
        let field = TextEdit::singleline(text).desired_width(width).margin(vec2(8.0, 5.0));
        let changed = ui.add(field).labelled_by(caption.id).changed();
        let button = ui.add(egui::Button::new("Choose…").min_size(vec2(tokens::grown(ui, 86.0), 30.0)));
        let name = format!("Choose {}", label.to_lowercase());
        button.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, &name));
        if button.on_hover_text("Choose the folder in a dialog of the system").clicked() {
            commands.push(Command::Pick(pick));
        }
        changed
    })
    .inner
}

fn recent_ui(ui: &mut Ui, start: &mut Start, context: &Context<'_>, commands: &mut Vec<Command>) {
    card(ui, |ui| {
        widgets::heading(ui, "A reel begun before");
        path_field(ui, "Reel folder", &mut start.reel, Pick::Reel, commands);
        ui.add_space(8.0);
        let ready = !context.busy && !start.reel.trim().is_empty();
        if widgets::main_button(ui, "Open the reel", "Open this reel folder", ready) {
            commands.push(Command::Open(PathBuf::from(start.reel.trim())));
        }
    });
    ui.add_space(12.0);
    card(ui, |ui| {
        widgets::heading(ui, "Recent reels");
        if context.recent.is_empty() {
            ui.label(RichText::new("The reels you open will be listed here.").color(tokens::tones(ui).quiet));
        }
        ScrollArea::vertical().max_height(ui.available_height() - 24.0).show(ui, |ui| {
            ui.spacing_mut().item_spacing.y = 2.0;
            for recent in context.recent {
                recent_row(ui, recent, context.busy, commands);
            }
        });
    });
}

fn recent_row(ui: &mut Ui, recent: &Recent, busy: bool, commands: &mut Vec<Command>) {
    let name = recent.folder.file_stem().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let folder = recent.folder.parent().map(|p| p.display().to_string()).unwrap_or_default();
    ui.horizontal(|ui| {
        let width = ui.available_width() - tokens::grown(ui, 76.0);
        let button = egui::Button::new("").min_size(vec2(width, tokens::grown(ui, 44.0))).frame_when_inactive(false);
        let response = ui.add_enabled(!busy, button);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, !busy, format!("Open {name}")));
        let at = response.rect.left_top() + vec2(10.0, 4.0);
        widgets::cut_text(ui, at, Align2::LEFT_TOP, &name, tokens::strong(), tokens::tones(ui).text, width - 20.0);
        let line = format!("{folder}, frame {}", recent.frame);
        let at = at + vec2(0.0, tokens::grown(ui, 19.0));
        widgets::cut_text(ui, at, Align2::LEFT_TOP, &line, tokens::small(), tokens::tones(ui).quiet, width - 20.0);
        if response.on_hover_text("Go on where you were").clicked() {
            commands.push(Command::Open(recent.folder.clone()));
        }
        let forget =
            ui.add(egui::Button::new(RichText::new("Forget").font(tokens::small())).frame_when_inactive(false));
        forget.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, format!("Forget {name}")));
        if forget.on_hover_text("Take it off this list; the reel folder stays").clicked() {
            commands.push(Command::Forget(recent.folder.clone()));
        }
    });
}
