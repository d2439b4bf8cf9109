//! Which frames something drawn counts for: the one that is shown, or a range.

use egui::{DragValue, Ui, vec2};

use crate::desk::Desk;
use crate::{tokens, widgets};

/// Frames of a mark or a region.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Span {
    /// The frame that is shown, whichever that is.
    Shown,
    /// From one scan to another; either may be the later one while they are typed.
    Scans(u64, u64),
}

impl Span {
    /// The shot that is shown.
    pub(super) fn shot(desk: &Desk) -> Self {
        desk.shot().map_or(Self::Shown, |shot| Self::Scans(shot.first, shot.last))
    }

    /// First and last scan.
    pub(super) fn scans(self, shown: u64) -> (u64, u64) {
        match self {
            Self::Shown => (shown, shown),
            Self::Scans(a, b) => (a.min(b), a.max(b)),
        }
    }

    /// In words: `frame 86`, `frames 86 to 92`.
    pub(super) fn words(self, shown: u64) -> String {
        match self.scans(shown) {
            (first, last) if first == last => format!("frame {first}"),
            (first, last) => format!("frames {first} to {last}"),
        }
    }
}

/// First frame, last frame, and the three usual answers.
pub(super) fn ui(ui: &mut Ui, span: &mut Span, desk: &Desk) {
    let info = desk.reel().info();
    let shown = desk.frame();
    let (mut first, mut last) = match *span {
        Span::Shown => (shown, shown),
        Span::Scans(first, last) => (first, last),
    };
    let before = (first, last);
    ui.horizontal(|ui| {
        for (value, name) in [(&mut first, "First frame"), (&mut last, "Last frame")] {
            ui.vertical(|ui| {
                let caption = widgets::caption(ui, name);
                let drag = DragValue::new(value).range(info.first..=info.last);
                ui.add_sized(vec2(70.0, tokens::CONTROL), drag).labelled_by(caption.id);
            });
        }
        if (first, last) != before {
            *span = Span::Scans(first, last);
        }
        ui.vertical(|ui| {
            widgets::caption(ui, "Or");
            ui.horizontal(|ui| {
                ui.spacing_mut().item_spacing.x = 2.0;
                ui.spacing_mut().button_padding.x = 6.0;
                for (label, tooltip, choice) in [
                    ("Frame", "The frame that is shown", Span::Shown),
                    ("Shot", "The whole shot", Span::shot(desk)),
                    ("Reel", "The whole reel", Span::Scans(info.first, info.last)),
                ] {
                    if widgets::plain_button(ui, label, tooltip, true) {
                        *span = choice;
                    }
                }
            });
        });
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shown_frame_goes_along_and_a_range_may_be_typed_backwards() {
        assert_eq!(Span::Shown.scans(86), (86, 86));
        assert_eq!(Span::Scans(92, 86).scans(1), (86, 92));
        assert_eq!(Span::Scans(86, 86).words(1), "frame 86");
        assert_eq!(Span::Scans(86, 92).words(1), "frames 86 to 92");
    }
}
