//! What lies over a room for a moment: the sheets of keys and of preferences, and the question where repaired frames go or
//! are.

use std::path::PathBuf;

use egui::{Modal, RichText, TextEdit, Ui, vec2};

use super::App;
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
    /// The sheet of preferences.
    Preferences,
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
            Over::Help => self.key_sheet_ui(&ctx),
            Over::Preferences => self.preferences_ui(&ctx),
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
        ui.label(RichText::new(question.explain).color(tokens::tones(ui).quiet));
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
