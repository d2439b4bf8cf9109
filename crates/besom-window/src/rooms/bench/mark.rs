//! Marking by hand what was not found: drawn on the picture, for the frame shown or a range, recorded as one step.

use besom_reel::Edit;
use besom_reel::HandMark;
use egui::{Frame, Margin, Panel, Ui};

use super::model::Bench;
use super::sketch::{Sketch, Tool};
use super::span::{self, Span};
use super::strokes;
use crate::action::Action;
use crate::background::tasks::plural;
use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

/// How a mark can be drawn.
const TOOLS: &[Tool] = &[Tool::Brush, Tool::Outline, Tool::Line];

/// A mark in the making.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mark {
    pub(super) sketch: Sketch,
    span: Span,
}

impl Mark {
    /// An empty mark for the frame that is shown.
    pub(super) fn new(desk: &Desk) -> Self {
        let info = desk.reel().info();
        Self { sketch: Sketch::new((info.width as u32, info.height as u32), TOOLS), span: Span::Shown }
    }

    /// What is to be recorded; `None` while nothing is marked.
    pub(super) fn edit(&self, shown: u64) -> Option<Edit> {
        let mask = self.sketch.mask();
        let (first, last) = self.span.scans(shown);
        (!mask.is_empty()).then(|| {
            let mask = mask.clone();
            if first == last {
                Edit::HandMark(HandMark { frame: first, mask })
            } else {
                Edit::HandMarks { first, last, mask }
            }
        })
    }

    /// After it was recorded: ready for the next one, with the same tool.
    pub(super) fn begin_anew(&mut self) {
        self.sketch.set_mask(besom_scan::RunMask::default());
        self.span = Span::Shown;
    }

    fn words(&self, shown: u64) -> String {
        let area = self.sketch.mask().area();
        let noun = plural(area, "pixel", "pixels");
        match area {
            0 => "Nothing is marked yet".to_owned(),
            area => format!("{area} {noun} marked, for {}", self.span.words(shown)),
        }
    }
}

/// The form, over the evidence of the candidate in hand.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let Some(mut mark) = bench.mark.take() else { return };
    let mut keep = true;
    let frame = Frame::new().fill(tokens::RAISED).inner_margin(Margin::same(12));
    Panel::top("mark").resizable(false).frame(frame).show(ui, |ui| {
        widgets::heading(ui, "Mark by hand");
        strokes::tools(ui, &mut mark.sketch);
        bench.slider_focus |= strokes::place(ui, &mut mark.sketch, commands);
        span::ui(ui, &mut mark.span, desk);
        widgets::caption(ui, &mark.words(desk.frame()));
        ui.horizontal(|ui| {
            let drawn = !mark.sketch.mask().is_empty();
            let tooltip = format!("{}. Ctrl+Z takes it back", Action::Finish.tooltip());
            if widgets::main_button(ui, "Mark", &tooltip, drawn) {
                commands.push(Command::Do(Action::Finish));
            }
            keep = !widgets::plain_button(ui, "Not now", "Leave without marking anything. Key: Esc", true);
        });
    });
    bench.mark = keep.then_some(mark);
}
