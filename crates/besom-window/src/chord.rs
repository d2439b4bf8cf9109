//! Keys with the keys held with them: in words, in stored preferences, and as a person types them.

use egui::{Key, KeyboardShortcut, Modifiers};

/// In words, as shown on controls: "Shift+Right". No symbols beyond those that any font can show.
pub(crate) fn text(chord: KeyboardShortcut) -> String {
    let key = match chord.logical_key {
        Key::ArrowLeft => "Left",
        Key::ArrowRight => "Right",
        Key::ArrowUp => "Up",
        Key::ArrowDown => "Down",
        Key::PageUp => "Page up",
        Key::PageDown => "Page down",
        Key::Minus => "-",
        other => other.symbol_or_name(),
    };
    format!("{}{key}", held(chord.modifiers))
}

/// As stored: only names, so that it can be read back (see [`from_name`]).
pub(crate) fn name(chord: KeyboardShortcut) -> String {
    format!("{}{}", held(chord.modifiers), chord.logical_key.name())
}

fn held(m: Modifiers) -> String {
    let mut words = String::new();
    for (on, word) in [(m.command || m.ctrl, "Ctrl+"), (m.alt, "Alt+"), (m.shift, "Shift+")] {
        if on {
            words.push_str(word);
        }
    }
    words
}

/// Reads what [`name`] wrote; `None` for anything else.
pub(crate) fn from_name(name: &str) -> Option<KeyboardShortcut> {
    let (mut modifiers, mut rest) = (Modifiers::NONE, name);
    for (word, modifier) in [("Ctrl+", Modifiers::COMMAND), ("Alt+", Modifiers::ALT), ("Shift+", Modifiers::SHIFT)] {
        if let Some(after) = rest.strip_prefix(word) {
            (modifiers, rest) = (modifiers | modifier, after);
        }
    }
    Some(KeyboardShortcut::new(modifiers, Key::from_name(rest)?))
}

/// Why a key cannot be given to an action; `None` for one that can.
pub(crate) fn reserved(chord: KeyboardShortcut) -> Option<&'static str> {
    match (chord.modifiers.command, chord.logical_key) {
        (_, Key::Escape) => Some("Escape leaves whatever is open"),
        (_, Key::Tab) => Some("Tab goes from control to control"),
        (_, Key::Enter) => Some("Enter answers fields and buttons"),
        (_, Key::Copy | Key::Cut | Key::Paste) => Some("it moves text in and out of fields"),
        (true, Key::A | Key::C | Key::V | Key::X) => Some("it chooses, copies and pastes text in fields"),
        (true, Key::Q) => Some("it closes the window"),
        _ if is_held(chord.logical_key) => Some("it is only ever held with another key"),
        _ => None,
    }
}

/// Keys that come as presses of their own but are held with others.
pub(crate) fn is_held(key: Key) -> bool {
    let name = key.name();
    ["Shift", "Control", "Alt", "Super", "Meta"].iter().any(|held| name.starts_with(held))
}

/// True for F1 and its row.
pub(crate) fn is_function(key: Key) -> bool {
    let name = key.name();
    name.len() > 1 && name.strip_prefix('F').is_some_and(|number| number.bytes().all(|b| b.is_ascii_digit()))
}

/// True for what a text field does something with when it is pressed with Ctrl.
pub(crate) fn edits(chord: KeyboardShortcut) -> bool {
    use Key::{A, ArrowDown, ArrowLeft, ArrowRight, ArrowUp, Backspace, C, Delete, End, Home, V, X, Y, Z};
    let key = chord.logical_key;
    [A, ArrowDown, ArrowLeft, ArrowRight, ArrowUp, Backspace, C, Delete, End, Home, V, X, Y, Z].contains(&key)
}

/// A press as it came.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Typed {
    key: Key,
    modifiers: Modifiers,
}

impl Typed {
    /// A key with what was held.
    pub(crate) const fn new(key: Key, modifiers: Modifiers) -> Self {
        Self { key, modifiers }
    }

    /// The chord that a person means to give to an action by it.
    pub(crate) fn chord(self) -> KeyboardShortcut {
        let m = self.modifiers;
        // A sign that stands above another one cannot be typed without Shift on one keyboard and can on the next.
        let shift = m.shift && !is_sign(self.key);
        let modifiers = Modifiers { alt: m.alt, ctrl: false, shift, mac_cmd: false, command: m.command || m.ctrl };
        KeyboardShortcut::new(modifiers, self.key)
    }

    /// What it can mean, the likeliest first: on some keyboards figures need Shift.
    pub(crate) fn readings(self) -> Vec<KeyboardShortcut> {
        let chord = self.chord();
        let mut readings = vec![chord];
        if chord.modifiers.shift && is_figure(self.key) {
            let modifiers = Modifiers { shift: false, ..chord.modifiers };
            readings.push(KeyboardShortcut::new(modifiers, self.key));
        }
        readings
    }
}

fn is_figure(key: Key) -> bool {
    key.name().bytes().all(|b| b.is_ascii_digit())
}

fn is_sign(key: Key) -> bool {
    let text = key.symbol_or_name();
    let arrow = matches!(key, Key::ArrowLeft | Key::ArrowRight | Key::ArrowUp | Key::ArrowDown);
    !arrow && text.chars().count() == 1 && !text.chars().all(char::is_alphanumeric)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_read_back_under_its_name() {
        for key in Key::ALL {
            for modifiers in [Modifiers::NONE, Modifiers::SHIFT, Modifiers::COMMAND | Modifiers::ALT] {
                let chord = KeyboardShortcut::new(modifiers, *key);
                assert_eq!(from_name(&name(chord)), Some(chord), "{}", name(chord));
            }
        }
        for nonsense in ["", "Ctrl+", "Hyper+A", "Shift+Ctrl+A", "AA"] {
            assert_eq!(from_name(nonsense), None, "{nonsense}");
        }
    }

    #[test]
    fn a_press_means_the_same_on_different_keyboards() {
        let ctrl = Modifiers { ctrl: true, command: true, ..Modifiers::NONE };
        assert_eq!(Typed::new(Key::D, ctrl).chord(), KeyboardShortcut::new(Modifiers::COMMAND, Key::D));
        let plain = |key| KeyboardShortcut::new(Modifiers::NONE, key);
        for key in [Key::Plus, Key::Questionmark, Key::Minus, Key::Comma] {
            assert_eq!(Typed::new(key, Modifiers::SHIFT).readings(), [plain(key)], "{key:?}");
        }
        assert_eq!(Typed::new(Key::Num4, Modifiers::SHIFT).readings().last(), Some(&plain(Key::Num4)));
        assert_eq!(Typed::new(Key::A, Modifiers::SHIFT).readings().len(), 1, "Shift+A is never taken for A");
        assert!(is_function(Key::F1) && is_function(Key::F12) && !is_function(Key::F));
        assert!(is_held(Key::ShiftLeft) && !is_held(Key::S));
    }

    #[test]
    fn words_have_no_symbols_that_fonts_lack() {
        let of = |key| text(KeyboardShortcut::new(Modifiers::SHIFT, key));
        assert_eq!(
            (of(Key::ArrowRight), of(Key::Minus), of(Key::A)),
            ("Shift+Right".to_owned(), "Shift+-".to_owned(), "Shift+A".to_owned())
        );
        assert!(Key::ALL.iter().all(|key| of(*key).is_ascii()));
    }
}
