//! The sheet of keys: all of them at a glance, and changing them.

use egui::{Align2, Button, Context, Event, Key, KeyboardShortcut, Modal, RichText, Role, Ui, WidgetInfo, vec2};

use super::App;
use crate::action::{Action, Group, TABLE};
use crate::chord::{self, Typed};
use crate::command::Command;
use crate::keymap::Keymap;
use crate::{tokens, widgets};

/// The columns: what stands under each other, and its width.
const COLUMNS: [(&[Group], f32); 4] =
    [(&[Group::Move, Group::Work], 232.0), (&[Group::Decide], 292.0), (&[Group::Look], 236.0), (&[Group::Draw], 236.0)];
const GAP: f32 = 20.0;
/// Height of one key's line; at least what a pointer hits without care.
const LINE: f32 = 24.0;
/// Where a line's words begin: right of the longest keys.
const KEYS: f32 = 86.0;

/// What is being changed.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct KeySheet {
    picked: Option<Action>,
    step: Step,
}

#[derive(Clone, Debug, Default, PartialEq)]
enum Step {
    /// Nothing is asked.
    #[default]
    Rest,
    /// The next key pressed is the new one.
    Waiting,
    /// The key is another action's: take it from there?
    Taken(KeyboardShortcut, Action),
    /// Keys that the action came with are others' by now: take them back too?
    GivenAway(Vec<(KeyboardShortcut, Action)>),
    /// Everything is to be as it came: sure?
    All,
    /// Something to say.
    Said(String),
}

impl KeySheet {
    /// True while keys belong to the sheet.
    pub(super) fn waits(&self) -> bool {
        self.step == Step::Waiting
    }

    /// Leaves what is being asked; false when nothing is.
    pub(super) fn leave(&mut self) -> bool {
        let had = !matches!(self.step, Step::Rest | Step::Said(_));
        self.step = Step::Rest;
        had
    }

    /// Takes the key that was pressed, if one was. A free key is given at once, another only after a question.
    pub(super) fn take_key(&mut self, ctx: &Context, keys: &Keymap) -> Option<Keymap> {
        let action = self.picked?;
        let typed = ctx.input_mut(|input| {
            let pressed = |event: &Event| match event {
                Event::Key { key, modifiers, pressed: true, .. } if !chord::is_held(*key) && *key != Key::Escape => {
                    Some(Typed::new(*key, *modifiers))
                }
                _ => None,
            };
            let found = input.events.iter().find_map(pressed);
            if found.is_some() {
                // Neither the key nor the letter it types is for anyone else.
                input.events.retain(|event| !matches!(event, Event::Key { .. } | Event::Text(_)));
            }
            found
        })?;
        self.offer(action, typed.chord(), keys)
    }

    fn offer(&mut self, action: Action, key: KeyboardShortcut, keys: &Keymap) -> Option<Keymap> {
        if let Some(reason) = chord::reserved(key) {
            self.step = Step::Said(format!("{} cannot be given away: {reason}.", chord::text(key)));
            return None;
        }
        match keys.owner(key) {
            Some(owner) if owner != action => {
                self.step = Step::Taken(key, owner);
                None
            }
            _ => Some(self.give(action, key, keys)),
        }
    }

    fn give(&mut self, action: Action, key: KeyboardShortcut, keys: &Keymap) -> Keymap {
        let mut changed = keys.clone();
        changed.give(action, key);
        self.step = Step::Said(format!("{} is now the key of “{}”.", chord::text(key), action.label()));
        changed
    }

    fn take_back(&mut self, action: Action, keys: &Keymap) -> Keymap {
        let mut changed = keys.clone();
        changed.take_back(action);
        self.step =
            Step::Said(format!("“{}” has the key it came with: {}.", action.label(), changed.all_keys_text(action)));
        changed
    }
}

impl App {
    pub(super) fn key_sheet_ui(&mut self, ctx: &Context) {
        let (sheet, commands) = (&mut self.key_sheet, &mut self.commands);
        let keys = &self.settings.preferences.keys;
        let mut changed = None;
        let modal = Modal::new(egui::Id::unique("keys")).show(ctx, |ui| {
            ui.set_width(COLUMNS.iter().map(|(_, width)| tokens::grown(ui, *width)).sum::<f32>() + 3.0 * GAP);
            ui.horizontal(|ui| {
                widgets::heading(ui, "Keys");
                ui.add_space(tokens::UNIT);
                widgets::caption(ui, "The wheel enlarges about the pointer, dragging moves the picture.");
                ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                    if widgets::plain_button(ui, "Close", "Close this sheet. Key: Esc", true) {
                        commands.push(Command::CloseOver);
                    }
                });
            });
            let room = (ctx.content_rect().height() - tokens::grown(ui, 150.0)).max(120.0);
            egui::ScrollArea::vertical()
                .max_height(room)
                .min_scrolled_height(room)
                .show(ui, |ui| columns(ui, sheet, keys));
            ui.separator();
            changed = foot(ui, sheet, keys);
        });
        if let Some(keys) = changed {
            self.commands.push(Command::SetKeys(keys));
        }
        if modal.should_close() {
            self.commands.push(Command::CloseOver);
        }
    }
}

fn columns(ui: &mut Ui, sheet: &mut KeySheet, keys: &Keymap) {
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing = vec2(GAP, 0.0);
        ui.spacing_mut().interact_size.y = LINE;
        ui.spacing_mut().button_padding.y = 1.0;
        for (groups, width) in COLUMNS {
            let width = tokens::grown(ui, width);
            ui.vertical(|ui| {
                ui.set_width(width);
                for group in groups {
                    ui.label(RichText::new(group.label()).font(tokens::strong()));
                    ui.add_space(2.0);
                    for entry in TABLE.iter().filter(|e| e.group == *group) {
                        line(ui, width, sheet, keys, entry.action);
                    }
                    ui.add_space(tokens::UNIT);
                }
            });
        }
    });
}

fn line(ui: &mut Ui, width: f32, sheet: &mut KeySheet, keys: &Keymap, action: Action) {
    let picked = sheet.picked == Some(action);
    let (height, keys_width) = (tokens::grown(ui, LINE), tokens::grown(ui, KEYS));
    let button = Button::selectable(picked, "").min_size(vec2(width, height));
    let response = ui.add(button);
    let text = keys.all_keys_text(action);
    let said = if text.is_empty() { "none" } else { &text };
    let tones = tokens::tones(ui);
    let at = response.rect.left_center() + vec2(6.0, 0.0);
    // What a person changed stands out from what Besom came with.
    let (font, ink) =
        if keys.is_changed(action) { (tokens::small_strong(), tones.text) } else { (tokens::small(), tones.quiet) };
    widgets::cut_text(ui, at, Align2::LEFT_CENTER, said, font, ink, keys_width - 4.0);
    let at = at + vec2(keys_width, 0.0);
    widgets::cut_text(
        ui,
        at,
        Align2::LEFT_CENTER,
        action.label(),
        tokens::small(),
        tones.text,
        width - keys_width - 10.0,
    );
    let name = format!("{}: {said}", action.label());
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, picked, &name));
    if response.on_hover_text(action.entry().hint).clicked() {
        // Chosen twice it asks for the key, so that nobody has to walk to the foot of the sheet by Tab.
        let step = if picked { Step::Waiting } else { Step::Rest };
        *sheet = KeySheet { picked: Some(action), step };
    }
}

/// What can be done about the picked action, and what is being asked.
fn foot(ui: &mut Ui, sheet: &mut KeySheet, keys: &Keymap) -> Option<Keymap> {
    let mut changed = None;
    ui.horizontal(|ui| {
        ui.set_min_height(tokens::CONTROL);
        match (sheet.step.clone(), sheet.picked) {
            (Step::All, _) => {
                ask(ui, "Give every action the key that Besom came with?");
                if widgets::plain_button(ui, "All of them", "Take back every change of keys", true) {
                    sheet.step = Step::Said("Every key is as Besom came.".to_owned());
                    changed = Some(Keymap::default());
                }
                not_now(ui, sheet);
            }
            (Step::Waiting, Some(action)) => {
                ask(ui, &format!("Press the new key for “{}”. Esc leaves it as it is.", action.label()));
            }
            (Step::Taken(key, owner), Some(action)) => {
                let key_text = chord::text(key);
                ask(ui, &format!("{key_text} already stands for “{}”: take it from there?", owner.label()));
                let tooltip = format!("{key_text} will stand for “{}”", action.label());
                if widgets::plain_button(ui, "Take it", &tooltip, true) {
                    changed = Some(sheet.give(action, key, keys));
                }
                not_now(ui, sheet);
            }
            (Step::GivenAway(list), Some(action)) => {
                let each: Vec<String> =
                    list.iter().map(|(key, to)| format!("{} stands for “{}”", chord::text(*key), to.label())).collect();
                ask(ui, &format!("{} now: take it from there?", each.join(" and ")));
                if widgets::plain_button(ui, "Take it", "Give the action the keys it came with", true) {
                    changed = Some(sheet.take_back(action, keys));
                }
                not_now(ui, sheet);
            }
            (step, picked) => changed = at_rest(ui, sheet, keys, &step, picked),
        }
    });
    changed
}

fn at_rest(ui: &mut Ui, sheet: &mut KeySheet, keys: &Keymap, step: &Step, picked: Option<Action>) -> Option<Keymap> {
    let mut changed = None;
    if let Some(action) = picked {
        let label = action.label();
        if widgets::plain_button(ui, "Change its key", &format!("Then press the new key for “{label}”"), true) {
            sheet.step = Step::Waiting;
        }
        let other = keys.is_changed(action);
        if widgets::plain_button(ui, "Take back", &format!("Give “{label}” the key it came with"), other) {
            let given_away = keys.given_away(action);
            if given_away.is_empty() {
                changed = Some(sheet.take_back(action, keys));
            } else {
                sheet.step = Step::GivenAway(given_away);
            }
        }
    }
    let tooltip = "Give every action the key that Besom came with";
    if widgets::plain_button(ui, "Take all back", tooltip, keys.any_changed()) {
        sheet.step = Step::All;
    }
    match (step, picked) {
        (Step::Said(words), _) => ask(ui, words),
        (_, Some(action)) => {
            let hint = RichText::new(format!("{}.", action.entry().hint)).font(tokens::small());
            ui.add(egui::Label::new(hint).truncate());
        }
        _ => _ = widgets::caption(ui, "Choose a line to change its key; chosen twice, it waits for the new one."),
    }
    changed
}

fn not_now(ui: &mut Ui, sheet: &mut KeySheet) {
    if widgets::plain_button(ui, "Not now", "Leave it as it is. Key: Esc", true) {
        sheet.step = Step::Rest;
    }
}

fn ask(ui: &mut Ui, words: &str) {
    ui.label(RichText::new(words).font(tokens::small()));
}
