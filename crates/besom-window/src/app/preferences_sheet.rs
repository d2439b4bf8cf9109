//! The sheet of preferences, and what follows from a change.

use besom_reel::Artist;
use egui::{Align, Button, Context, DragValue, Layout, Modal, RichText, Role, Slider, TextEdit, Ui, WidgetInfo, vec2};

use super::{App, Over};
use crate::action::Action;
use crate::command::Command;
use crate::preferences::{FLASH_CAUTION, FLIP_RATES, LETTERS, MEMORY_MB, Preferences, SCALE_STEP, SCALES};
use crate::run::SMALLEST;
use crate::{tokens, widgets};

/// Width of the sheet, and of the names in it.
const WIDTH: f32 = 580.0;
const NAMES: f32 = 170.0;
/// Megabytes that a scan of 2048 x 1556 at 10 bits takes with its source.
const SCAN_2K_MB: u32 = 32;

/// What is being set. Nothing counts before it is let go: a window that grows under the pointer cannot be aimed at.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct PreferencesSheet {
    draft: Preferences,
    name: String,
    /// Why the name cannot be used.
    problem: Option<String>,
}

impl App {
    /// Opens the sheet, or closes it.
    pub(super) fn toggle_preferences(&mut self) {
        if self.over == Over::Preferences {
            self.close_over();
            return;
        }
        self.settings.preferences.flip_rate = self.bench.rate;
        self.preferences_sheet = PreferencesSheet {
            draft: self.settings.preferences.clone(),
            name: self.artist().to_owned(),
            problem: None,
        };
        self.over = Over::Preferences;
    }

    pub(super) fn preferences_ui(&mut self, ctx: &Context) {
        let (sheet, commands) = (&mut self.preferences_sheet, &mut self.commands);
        let (room, before) = (fitting_percent(ctx), sheet.draft.clone());
        let usual = &self.started_as;
        let mut settled = false;
        let modal = Modal::new(egui::Id::unique("preferences")).show(ctx, |ui| {
            ui.set_width(tokens::grown(ui, WIDTH));
            widgets::heading(ui, "Preferences");
            widgets::caption(ui, "They count for every reel, and never change what is found or repaired.");
            ui.add_space(tokens::UNIT);
            ui.spacing_mut().item_spacing.y = 10.0;
            settled |= name_ui(ui, sheet, usual);
            settled |= look_ui(ui, &mut sheet.draft, room);
            settled |= use_ui(ui, &mut sheet.draft);
            ui.add_space(2.0);
            ui.horizontal(|ui| {
                if widgets::main_button(ui, "Done", "Close the preferences. Key: Esc", true) {
                    commands.push(Command::CloseOver);
                }
                if widgets::plain_button(ui, "Change keys…", "Open the sheet of keys, where each can be changed", true)
                {
                    commands.push(Command::CloseOver);
                    commands.push(Command::Do(Action::Help));
                }
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                    let usual = Preferences {
                        artist: before.artist.clone(),
                        keys: before.keys.clone(),
                        ..Preferences::default()
                    };
                    let tooltip = "Everything on this sheet but the name as Besom came; keys have a sheet of their own";
                    if widgets::plain_button(ui, "As Besom came", tooltip, before != usual) {
                        (sheet.draft, settled) = (usual, true);
                    }
                });
            });
        });
        if modal.should_close() {
            commands.push(Command::CloseOver);
        }
        if settled {
            commands.push(Command::Prefer(Box::new(sheet.draft.clone())));
        }
    }

    /// Closes what lies over the room; a name that is being typed counts first.
    pub(super) fn close_over(&mut self) {
        if self.over == Over::Preferences {
            self.preferences_sheet.settle_name(&self.started_as);
            let mut draft = self.preferences_sheet.draft.clone();
            // The other values count when they are let go, which a closed sheet no longer sees.
            draft.keys = self.settings.preferences.keys.clone();
            self.prefer(draft);
        }
        self.over = Over::None;
    }

    /// From now on this is preferred.
    pub(super) fn prefer(&mut self, new: Preferences) {
        let old = std::mem::replace(&mut self.settings.preferences, new);
        let new = &self.settings.preferences;
        if new.keys != old.keys {
            new.keys.share(&self.ctx);
        }
        if new.memory_mb != old.memory_mb {
            self.workers.set_memory(new.memory_bytes());
        }
        self.bench.rate = new.flip_rate;
        if new.artist != old.artist {
            self.take_over(&old.artist);
        }
    }

    /// Lets the new name's journal have what is recorded from now on; without one that can be had the old name stays.
    fn take_over(&mut self, old: &str) {
        let artist = self.artist().to_owned();
        match self.desk.as_mut().map(|desk| desk.work_as(&artist)) {
            Some(Err(error)) => {
                old.clone_into(&mut self.settings.preferences.artist);
                self.complain(super::tasks::sentence(&error.to_string()));
            }
            _ => self.say(format!("What is recorded from now on is by {artist}.")),
        }
    }

    /// Whom records are by.
    pub(crate) fn artist(&self) -> &str {
        let preferred = self.settings.preferences.artist.as_str();
        if preferred.is_empty() { &self.started_as } else { preferred }
    }

    /// Keeps the theme whatever the system's is, and makes the whole window as large as is preferred, as far as every room
    /// still fits into it.
    pub(super) fn keep_look(&mut self, ctx: &Context) {
        let preferences = &self.settings.preferences;
        tokens::light(ctx, preferences.light);
        let room = fitting_percent(ctx);
        let scale = preferences.scale.min(room);
        ctx.set_zoom_factor(scale as f32 / 100.0);
        let letters = preferences.letters.min(fitting_letters(room, scale));
        if self.letters != letters {
            self.letters = letters;
            tokens::letters(ctx, letters as f32 / 100.0);
        }
    }

    /// One step larger or smaller.
    pub(super) fn step_scale(&mut self, larger: bool) {
        let room = fitting_percent(&self.ctx);
        let now = self.settings.preferences.scale.min(room);
        let next = if larger { now + SCALE_STEP } else { now.saturating_sub(SCALE_STEP) };
        let scale = next.clamp(*SCALES.start(), (*SCALES.end()).min(room.max(now)));
        let preferences = Preferences { scale, flip_rate: self.bench.rate, ..self.settings.preferences.clone() };
        self.prefer(preferences);
        self.say(if larger && scale < next {
            format!("Everything at {scale} %: this window has no room for more.")
        } else {
            format!("Everything at {scale} %.")
        });
    }
}

/// The largest scale in percent at which every room fits into the window.
fn fitting_percent(ctx: &Context) -> u32 {
    let whole = ctx.content_rect().size() * ctx.zoom_factor();
    percent_of(whole.x, whole.y)
}

/// The largest letters in percent at which every room fits, once everything is at this scale; columns grow with them. In steps,
/// so that a window that is being dragged larger does not load the face at every point.
fn fitting_letters(room: u32, scale: u32) -> u32 {
    let most = room * 100 / scale.max(1);
    (most / 5 * 5).clamp(*LETTERS.start(), *LETTERS.end())
}

fn percent_of(width: f32, height: f32) -> u32 {
    let [least_width, least_height] = SMALLEST;
    let most = (width / least_width).min(height / least_height) * 100.0;
    (most as u32).max(*SCALES.start())
}

impl PreferencesSheet {
    /// Takes the name that was typed; false when it is no other, or cannot be used.
    fn settle_name(&mut self, usual: &str) -> bool {
        let name = self.name.trim();
        let name = if name == usual { "" } else { name };
        if !name.is_empty()
            && let Err(error) = Artist::new(name)
        {
            self.problem = Some(super::tasks::sentence(&error.to_string()));
            return false;
        }
        self.problem = None;
        let other = self.draft.artist != name;
        name.clone_into(&mut self.draft.artist);
        other
    }
}

/// A line: what it is on the left, the control on the right.
fn line<R>(ui: &mut Ui, name: &str, control: impl FnOnce(&mut Ui, egui::Id) -> R) -> R {
    ui.horizontal(|ui| {
        let label = ui.allocate_ui_with_layout(
            vec2(tokens::grown(ui, NAMES), tokens::CONTROL),
            Layout::left_to_right(Align::Center),
            |ui| {
                ui.set_width(tokens::grown(ui, NAMES));
                ui.label(name).id
            },
        );
        control(ui, label.inner)
    })
    .inner
}

/// What explains, under a control.
fn note(ui: &mut Ui, words: &str, wrong: bool) {
    ui.scope(|ui| {
        // Nearer to what it explains than a line of controls would be.
        ui.spacing_mut().interact_size.y = 16.0;
        ui.horizontal(|ui| {
            ui.add_space(tokens::grown(ui, NAMES) + tokens::UNIT);
            let tones = tokens::tones(ui);
            let ink = if wrong { tones.attention } else { tones.quiet };
            ui.add(egui::Label::new(RichText::new(words).font(tokens::small()).color(ink)).wrap());
        });
    });
}

fn name_ui(ui: &mut Ui, sheet: &mut PreferencesSheet, usual: &str) -> bool {
    let lost = line(ui, "Your name", |ui, label| {
        let width = ui.available_width() - 20.0;
        let field = TextEdit::singleline(&mut sheet.name).hint_text(usual).desired_width(width).margin(vec2(8.0, 5.0));
        let tooltip =
            "Decisions are recorded under this name, in a journal of its own; empty for the name the system gives";
        ui.add(field).labelled_by(label).on_hover_text(tooltip).lost_focus()
    });
    let settled = lost && sheet.settle_name(usual);
    match &sheet.problem {
        Some(problem) => note(ui, problem, true),
        None => note(ui, "For what is recorded from now on. What others and you recorded before stays theirs.", false),
    }
    settled
}

fn look_ui(ui: &mut Ui, draft: &mut Preferences, room: u32) -> bool {
    let mut settled = false;
    line(ui, "Look", |ui, _| {
        ui.spacing_mut().item_spacing.x = 2.0;
        for (light, label, tooltip) in
            [(false, "Dark", "Dark panels, for a dim room"), (true, "Light", "Light panels, for a bright room")]
        {
            let on = draft.light == light;
            let response =
                ui.add(Button::selectable(on, label).min_size(vec2(84.0, tokens::CONTROL)).frame_when_inactive(true));
            response.widget_info(|| WidgetInfo::selected(Role::Button, true, on, label));
            if response.on_hover_text(tooltip).clicked() {
                settled |= !on;
                draft.light = light;
            }
        }
    });
    note(ui, "The picture lies on the same neutral mid grey in both.", false);
    settled |= line(ui, "Size of everything", |ui, label| {
        percent(ui, label, &mut draft.scale, SCALES, "Letters and controls alike")
    });
    if draft.scale > room {
        note(ui, &format!("This window has room for {room} %; a larger one shows more of it."), false);
    }
    settled |= line(ui, "Size of letters", |ui, label| {
        percent(ui, label, &mut draft.letters, LETTERS, "Letters, and the columns that hold them")
    });
    let letters = fitting_letters(room, draft.scale.min(room));
    if draft.letters > letters {
        note(ui, &format!("At that size of everything this window has room for letters of {letters} %."), false);
    }
    settled
}

/// A slider in steps of five percent; true once it is let go at another value.
fn percent(ui: &mut Ui, label: egui::Id, value: &mut u32, range: std::ops::RangeInclusive<u32>, tooltip: &str) -> bool {
    ui.spacing_mut().slider_width = ui.available_width() - tokens::grown(ui, 80.0);
    let slider = Slider::new(value, range).step_by(5.0).suffix(" %");
    let response = ui.add(slider).labelled_by(label).on_hover_text(tooltip);
    response.drag_stopped() || (response.changed() && !response.dragged())
}

fn use_ui(ui: &mut Ui, draft: &mut Preferences) -> bool {
    let mut settled = line(ui, "Memory for frames", |ui, label| {
        let drag = DragValue::new(&mut draft.memory_mb).range(MEMORY_MB).speed(16.0).suffix(" MB");
        let response = ui.add_sized(vec2(110.0, tokens::CONTROL), drag).labelled_by(label);
        let response = response
            .on_hover_text("Frames that were read are kept up to this much, so that going back to them is instant");
        widgets::caption(ui, &format!("about {} scans of 2K", draft.memory_mb / SCAN_2K_MB));
        response.drag_stopped() || (response.changed() && !response.dragged())
    });
    settled |= line(ui, "Automatic flip", |ui, label| {
        ui.spacing_mut().slider_width = ui.available_width() - tokens::grown(ui, 112.0);
        let slider = Slider::new(&mut draft.flip_rate, FLIP_RATES).step_by(0.05).fixed_decimals(2).suffix(" a second");
        let response =
            ui.add(slider).labelled_by(label).on_hover_text("How often before and after alternate by themselves");
        response.drag_stopped() || (response.changed() && !response.dragged())
    });
    note(ui, FLASH_CAUTION, false);
    settled
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_window_says_how_large_everything_can_be() {
        assert_eq!(percent_of(1280.0, 720.0), 105);
        assert_eq!(percent_of(3840.0, 2160.0), 317);
        assert_eq!(percent_of(1024.0, 600.0), 86, "a small screen shows every room a little smaller");
        assert_eq!(percent_of(320.0, 200.0), *SCALES.start());
        assert_eq!(fitting_letters(105, 100), 105);
        assert_eq!(fitting_letters(162, 150), 105, "what everything takes is not there for the letters");
        assert_eq!((fitting_letters(300, 100), fitting_letters(75, 75)), (*LETTERS.end(), 100));
    }

    #[test]
    fn a_name_that_names_no_journal_is_refused_and_the_systems_own_is_none() {
        let mut sheet = PreferencesSheet { name: " Mara ".to_owned(), ..PreferencesSheet::default() };
        assert!(sheet.settle_name("Ines") && sheet.draft.artist == "Mara");
        assert!(!sheet.settle_name("Ines"), "it is no other");
        sheet.name = "a/b".to_owned();
        assert!(!sheet.settle_name("Ines") && sheet.problem.is_some() && sheet.draft.artist == "Mara");
        sheet.name = "Ines".to_owned();
        assert!(sheet.settle_name("Ines") && sheet.draft.artist.is_empty() && sheet.problem.is_none());
    }
}
