//! Which keys run which actions: those of the table in [`crate::action`], and what a person changed of them.
//!
//! Only the changes are kept. A changed action has the keys it was given and no others; every other action has those of the
//! table that no change has claimed. So a key can never mean two things, whatever is stored, and a key that a later Besom
//! comes with never takes one away from somebody who uses it.

use std::collections::BTreeMap;
use std::sync::Arc;

use egui::{Context, Event, Id, Key, KeyboardShortcut};

use crate::action::{Action, TABLE};
use crate::chord::{self, Typed};

/// What has the keyboard: some keys are left to it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Focus {
    /// A text field has: only function keys, and keys with Ctrl that do not edit, run actions.
    pub(crate) typing: bool,
    /// Any control has: Space and Enter are its.
    pub(crate) focused: bool,
    /// A slider has: the arrows are its.
    pub(crate) slider: bool,
}

/// Keys and actions as they count for one person.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Keymap {
    /// Never empty lists, and no key in two of them.
    own: BTreeMap<Action, Vec<KeyboardShortcut>>,
}

impl Keymap {
    /// The keys of an action, the one that controls show first; none when they were given away.
    pub(crate) fn keys(&self, action: Action) -> Vec<KeyboardShortcut> {
        match self.own.get(&action) {
            Some(own) => own.clone(),
            None => action.entry().keys.iter().filter(|key| self.claims(**key).is_none()).copied().collect(),
        }
    }

    /// The changed action that was given a key.
    fn claims(&self, key: KeyboardShortcut) -> Option<Action> {
        self.own.iter().find(|(_, own)| own.contains(&key)).map(|(action, _)| *action)
    }

    /// The action that a key runs.
    pub(crate) fn owner(&self, key: KeyboardShortcut) -> Option<Action> {
        TABLE.iter().map(|entry| entry.action).find(|action| self.keys(*action).contains(&key))
    }

    /// All keys of an action in words.
    pub(crate) fn all_keys_text(&self, action: Action) -> String {
        let keys: Vec<String> = self.keys(action).into_iter().map(chord::text).collect();
        keys.join(", ")
    }

    /// The first key in words, as shown on controls.
    pub(crate) fn key_text(&self, action: Action) -> String {
        self.keys(action).first().copied().map(chord::text).unwrap_or_default()
    }

    /// What it does and its key.
    pub(crate) fn tooltip(&self, action: Action) -> String {
        let (hint, key) = (action.entry().hint, self.key_text(action));
        if key.is_empty() { format!("{hint}. It has no key") } else { format!("{hint}. Key: {key}") }
    }

    /// True when an action has other keys than those it comes with.
    pub(crate) fn is_changed(&self, action: Action) -> bool {
        self.keys(action) != action.entry().keys
    }

    /// True when anything was changed.
    pub(crate) fn any_changed(&self) -> bool {
        !self.own.is_empty()
    }

    /// Gives an action this key instead of those it had; whoever had it loses it. Nothing is changed by a key that is
    /// reserved (see [`chord::reserved`]).
    pub(crate) fn give(&mut self, action: Action, key: KeyboardShortcut) {
        if chord::reserved(key).is_some() {
            return;
        }
        self.release(key);
        self.own.insert(action, vec![key]);
        if action.entry().keys == [key] {
            self.own.remove(&action);
        }
    }

    /// Takes a key away from the change that claims it. An action that is left with none has its first keys again, as far
    /// as they are free.
    fn release(&mut self, key: KeyboardShortcut) {
        self.own.retain(|_, own| {
            own.retain(|other| *other != key);
            !own.is_empty()
        });
    }

    /// The first keys of an action that other actions were given, and by which.
    pub(crate) fn given_away(&self, action: Action) -> Vec<(KeyboardShortcut, Action)> {
        let claimed = action.entry().keys.iter().filter_map(|key| Some((*key, self.claims(*key)?)));
        claimed.filter(|(_, owner)| *owner != action).collect()
    }

    /// Gives an action the keys it came with, also those that other actions were given since.
    pub(crate) fn take_back(&mut self, action: Action) {
        for (key, _) in self.given_away(action) {
            self.release(key);
        }
        self.own.remove(&action);
    }

    /// What is kept in the preferences: names of changed actions and of their keys.
    pub(crate) fn stored(&self) -> BTreeMap<String, Vec<String>> {
        let names = |keys: &[KeyboardShortcut]| keys.iter().copied().map(chord::name).collect();
        self.own.iter().map(|(action, keys)| (action.entry().name.to_owned(), names(keys))).collect()
    }

    /// What was stored. Actions and keys that are not known, reserved keys, and keys that stand there twice (the first
    /// action of the table keeps one) are left out.
    pub(crate) fn from_stored(stored: &BTreeMap<String, Vec<String>>) -> Self {
        let mut map = Self::default();
        for entry in TABLE {
            let mut keys: Vec<KeyboardShortcut> = Vec::new();
            for key in stored.get(entry.name).into_iter().flatten().filter_map(|name| chord::from_name(name)) {
                if chord::reserved(key).is_none() && map.claims(key).is_none() && !keys.contains(&key) {
                    keys.push(key);
                }
            }
            if !keys.is_empty() && keys != entry.keys {
                map.own.insert(entry.action, keys);
            }
        }
        map
    }

    /// Lets everything drawn in this window read the keys, as it reads the style.
    pub(crate) fn share(&self, ctx: &Context) {
        let shared = Arc::new(self.clone());
        ctx.data_mut(|data| data.insert_temp(Id::NULL, shared));
    }

    /// The keys that count in this window.
    pub(crate) fn of(ctx: &Context) -> Arc<Self> {
        ctx.data(|data| data.get_temp(Id::NULL)).unwrap_or_default()
    }

    /// The actions whose keys were pressed since the last frame, in the order of the presses, so that nothing typed during
    /// a slow frame is lost or swapped. Presses for actions that are not `wanted` now are left to the controls.
    pub(crate) fn pressed(&self, ctx: &Context, focus: Focus, wanted: impl Fn(Action) -> bool) -> Vec<Action> {
        let Focus { typing, focused, slider } = focus;
        let open = |key: &KeyboardShortcut| {
            let free = !typing || chord::is_function(key.logical_key) || (key.modifiers.command && !chord::edits(*key));
            let arrow = matches!(key.logical_key, Key::ArrowLeft | Key::ArrowRight | Key::ArrowUp | Key::ArrowDown);
            let works = matches!(key.logical_key, Key::Space | Key::Enter);
            free && !(focused && works) && !(slider && arrow && key.modifiers.is_none())
        };
        let mut found = Vec::new();
        ctx.input_mut(|input| {
            input.events.retain(|event| {
                let Event::Key { key, modifiers, pressed: true, .. } = event else { return true };
                let readings = Typed::new(*key, *modifiers).readings();
                let hit = readings.iter().filter(|key| open(key)).find_map(|key| self.owner(*key));
                let hit = hit.filter(|action| wanted(*action));
                found.extend(hit);
                hit.is_none()
            });
        });
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::Modifiers;

    fn shift_a() -> KeyboardShortcut {
        KeyboardShortcut::new(Modifiers::SHIFT, Key::A)
    }

    fn plain(key: Key) -> KeyboardShortcut {
        KeyboardShortcut::new(Modifiers::NONE, key)
    }

    /// Every key of every action, each once.
    fn all(map: &Keymap) -> Vec<String> {
        let mut keys: Vec<String> =
            TABLE.iter().flat_map(|e| map.keys(e.action)).map(|key| chord::name(key).clone()).collect();
        keys.sort_unstable();
        let before = keys.len();
        keys.dedup();
        assert_eq!(keys.len(), before, "a key means two things");
        keys
    }

    #[test]
    fn the_keys_besom_comes_with_are_none_twice_and_none_reserved() {
        let map = Keymap::default();
        all(&map);
        for (action, key) in TABLE.iter().flat_map(|e| e.keys.iter().map(|key| (e.action, key))) {
            // Enter finishes what is drawn as it answers a field, and cannot be given to anything else.
            assert!(chord::reserved(*key).is_none() || action == Action::Finish, "{key:?}");
            assert_eq!(chord::from_name(&chord::name(*key)), Some(*key));
        }
        assert_eq!(map.tooltip(Action::Accept), "It is damage: repair it, and on to the next. Key: A");
        assert_eq!(map.key_text(Action::Redo), "Ctrl+Shift+Z");
    }

    #[test]
    fn a_key_that_is_taken_leaves_its_action_and_comes_back_with_it() {
        let mut map = Keymap::default();
        assert_eq!(map.owner(shift_a()), Some(Action::AcceptFrame));
        map.give(Action::Fit, shift_a());
        assert_eq!(map.owner(shift_a()), Some(Action::Fit));
        assert_eq!(map.owner(plain(Key::F)), None);
        assert!(map.tooltip(Action::Fit).ends_with("Key: Shift+A"));
        assert!(map.tooltip(Action::AcceptFrame).ends_with("It has no key"));
        assert!(map.is_changed(Action::AcceptFrame) && map.is_changed(Action::Fit) && !map.is_changed(Action::Accept));
        assert_eq!(map.given_away(Action::AcceptFrame), [(shift_a(), Action::Fit)]);
        map.take_back(Action::AcceptFrame);
        assert_eq!(map.owner(shift_a()), Some(Action::AcceptFrame));
        assert_eq!(map, Keymap::default(), "with nothing left to it, Fit has its first key again");
        map.give(Action::Fit, plain(Key::F));
        assert!(!map.any_changed(), "its own key is no change");
    }

    #[test]
    fn what_is_stored_is_read_back() {
        let mut map = Keymap::default();
        map.give(Action::Accept, plain(Key::J));
        map.give(Action::Detect, KeyboardShortcut::new(Modifiers::COMMAND | Modifiers::ALT, Key::F9));
        map.give(Action::ZoomIn, plain(Key::OpenBracket));
        assert_eq!(Keymap::from_stored(&map.stored()), map);
    }

    #[test]
    fn nonsense_in_what_is_stored_is_left_out() {
        let stored = [
            ("Accept", vec!["J", "Escape", "no such key"]),
            ("Reject", vec!["J"]),
            ("FlyToTheMoon", vec!["K"]),
            ("Intend", vec!["A"]),
            ("Undo", vec![]),
            ("Fit", vec!["Enter"]),
        ];
        let owned = |keys: Vec<&str>| keys.into_iter().map(str::to_owned).collect();
        let stored = stored.into_iter().map(|(name, keys)| (name.to_owned(), owned(keys))).collect();
        let map = Keymap::from_stored(&stored);
        all(&map);
        assert_eq!(map.keys(Action::Accept), [plain(Key::J)]);
        assert_eq!(map.keys(Action::Reject), [plain(Key::R)], "J was taken; R is free and stays");
        assert_eq!(map.keys(Action::Intend), [plain(Key::A)]);
        assert_eq!(map.key_text(Action::Undo), "Ctrl+Z");
        assert_eq!(map.key_text(Action::Fit), "F");
    }

    #[test]
    fn no_walk_of_changes_leads_to_a_conflict() {
        let keys = [Key::A, Key::R, Key::I, Key::J, Key::Q, Key::F1, Key::ArrowLeft, Key::Z, Key::Tab];
        let modifiers = [Modifiers::NONE, Modifiers::SHIFT, Modifiers::COMMAND];
        let (mut map, mut seed) = (Keymap::default(), 7u64);
        let mut next = |below: usize| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) as usize % below
        };
        for step in 0..2000 {
            let action = TABLE[next(TABLE.len())].action;
            if next(4) == 0 {
                map.take_back(action);
                assert!(!map.is_changed(action), "step {step}: {action:?}");
            } else {
                let key = KeyboardShortcut::new(modifiers[next(3)], keys[next(keys.len())]);
                map.give(action, key);
                assert_eq!(chord::reserved(key).is_some(), map.owner(key).is_none(), "step {step}: {key:?}");
            }
            all(&map);
            assert_eq!(Keymap::from_stored(&map.stored()), map, "step {step}");
        }
    }
}
