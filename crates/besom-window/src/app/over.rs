//! What lies over a room for a moment: the sheet of keys, and the question where repaired frames go or are.

use std::path::PathBuf;

use egui::{Modal, RichText, TextEdit, Ui, vec2};

use super::App;
use crate::action::{Group, TABLE, shortcut_text};
use crate::background::Pick;
use crate::command::Command;
use crate::{tokens, widgets};

/// What lies over the room.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) enum Over {
    /// Nothing.
    #[default]
    None,
    /// The sheet of keys.
    Help,
    /// Where to write repaired frames.
    Repair(String),
    /// Where repaired frames are.
    Verify(String),
}

impl App {
    /// Asks where repaired frames shall go; suggests a folder beside the reel.
    pub(super) fn ask_repair(&mut self) {
        if let Some(suggestion) = self.suggested_target() {
            self.over = Over::Repair(suggestion);
        }
    }

    /// Asks which repaired frames to verify.
    pub(super) fn ask_verify(&mut self) {
        if let Some(suggestion) = self.suggested_target() {
            self.over = Over::Verify(suggestion);
        }
    }

    fn suggested_target(&self) -> Option<String> {
        let folder = self.desk.as_ref()?.reel().folder();
        let name = folder.file_stem()?.to_string_lossy().into_owned();
        Some(folder.with_file_name(format!("{name} repaired")).display().to_string())
    }

    pub(super) fn over_ui(&mut self, ui: &mut Ui) {
        let ctx = ui.ctx().clone();
        let commands = &mut self.commands;
        match &mut self.over {
            Over::None => {}
            Over::Help => {
                let modal = Modal::new(egui::Id::unique("keys")).show(&ctx, keys_sheet);
                if modal.should_close() {
                    commands.push(Command::CloseOver);
                }
            }
            Over::Repair(text) => {
                let question = Question {
                    title: "Repair what is accepted",
                    explain: "Repaired frames are written into this folder under the names of the scans. The scans stay \
                              as they are; nothing outside accepted candidates is changed, and protected regions are kept.",
                    label: "Folder for repaired frames",
                    go: "Repair",
                };
                if ask(&ctx, &question, text, commands) {
                    commands.push(Command::RepairTo(PathBuf::from(text.trim())));
                }
            }
            Over::Verify(text) => {
                let question = Question {
                    title: "Verify repaired frames",
                    explain: "Each repaired frame is read anew and compared with its scan, header and all. Only accepted \
                              candidates may differ.",
                    label: "Folder of repaired frames",
                    go: "Verify",
                };
                if ask(&ctx, &question, text, commands) {
                    commands.push(Command::VerifyIn(PathBuf::from(text.trim())));
                }
            }
        }
    }
}

struct Question {
    title: &'static str,
    explain: &'static str,
    label: &'static str,
    go: &'static str,
}

/// Shows the question; true once it is answered with yes.
fn ask(ctx: &egui::Context, question: &Question, text: &mut String, commands: &mut Vec<Command>) -> bool {
    let mut go = false;
    let modal = Modal::new(egui::Id::unique(("question", question.title))).show(ctx, |ui| {
        ui.set_width(560.0);
        widgets::heading(ui, question.title);
        ui.label(RichText::new(question.explain).color(tokens::QUIET));
        ui.add_space(tokens::UNIT);
        let label = widgets::caption(ui, question.label);
        ui.horizontal(|ui| {
            let field = TextEdit::singleline(text).desired_width(560.0 - 110.0).margin(vec2(8.0, 5.0));
            let field = ui.add(field).labelled_by(label.id);
            let entered = field.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
            go |= entered && !text.trim().is_empty();
            if widgets::plain_button(ui, "Choose…", "Choose the folder in a dialog of the system", true) {
                commands.push(Command::Pick(Pick::Target));
            }
        });
        ui.add_space(tokens::UNIT);
        ui.horizontal(|ui| {
            go |= widgets::main_button(ui, question.go, question.title, !text.trim().is_empty());
            if widgets::plain_button(ui, "Not now", "Close this question", true) {
                commands.push(Command::CloseOver);
            }
        });
    });
    if modal.should_close() {
        commands.push(Command::CloseOver);
    }
    go
}

/// All keys, a column a group.
fn keys_sheet(ui: &mut Ui) {
    let columns: [(&[Group], f32); 4] = [
        (&[Group::Move, Group::Work], 230.0),
        (&[Group::Decide], 300.0),
        (&[Group::Look], 230.0),
        (&[Group::Draw], 250.0),
    ];
    ui.set_width(columns.iter().map(|(_, width)| width).sum::<f32>() + 3.0 * 24.0);
    ui.horizontal(|ui| {
        widgets::heading(ui, "Keys");
        ui.add_space(tokens::UNIT);
        widgets::caption(
            ui,
            "The wheel enlarges about the pointer, dragging moves the picture. Esc closes this sheet.",
        );
    });
    ui.add_space(tokens::UNIT);
    let room = ui.ctx().content_rect().height() - 120.0;
    egui::ScrollArea::vertical().max_height(room).min_scrolled_height(room).show(ui, |ui| {
        ui.horizontal_top(|ui| {
            ui.spacing_mut().item_spacing.x = 24.0;
            for (groups, width) in columns {
                ui.vertical(|ui| {
                    ui.set_width(width);
                    for group in groups {
                        group_ui(ui, *group);
                        ui.add_space(tokens::UNIT);
                    }
                });
            }
        });
    });
}

fn group_ui(ui: &mut Ui, group: Group) {
    ui.label(RichText::new(group.label()).font(tokens::strong()));
    egui::Grid::new(group.label()).num_columns(2).spacing(vec2(14.0, 2.0)).min_row_height(21.0).show(ui, |ui| {
        for entry in TABLE.iter().filter(|e| e.group == group) {
            let keys: Vec<String> = entry.keys.iter().copied().map(shortcut_text).collect();
            ui.label(RichText::new(keys.join(", ")).font(tokens::small()).color(tokens::QUIET));
            ui.label(RichText::new(entry.label).font(tokens::small())).on_hover_text(entry.hint);
            ui.end_row();
        }
    });
}
