//! Marking by hand what was not found: drawn on the picture, for the frame shown or a range, recorded as one step.

use besom_reel::{CandidateId, Edit, HandMark};
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
    /// The candidate whose shape it is; `None` for a new mark.
    candidate: Option<CandidateId>,
}

impl Mark {
    /// An empty mark for the frame that is shown.
    pub(super) fn new(desk: &Desk) -> Self {
        let info = desk.reel().info();
        let sketch = Sketch::new((info.width as u32, info.height as u32), TOOLS);
        Self { sketch, span: Span::Shown, candidate: None }
    }

    /// The shape of the candidate in hand, to be changed; `None` when it has none.
    pub(super) fn of_candidate(desk: &Desk) -> Option<Self> {
        let (id, candidate) = desk.shaped()?;
        let mut mark = Self { candidate: Some(id), ..Self::new(desk) };
        mark.sketch.set_mask(candidate.mask.clone());
        let bounds = candidate.bounds();
        mark.sketch.go((f64::from(bounds.x0 + bounds.x1) / 2.0, f64::from(bounds.y0 + bounds.y1) / 2.0));
        Some(mark)
    }

    /// True while it is the shape of a candidate.
    pub(super) const fn is_of_candidate(&self) -> bool {
        self.candidate.is_some()
    }

    /// What is to be recorded; `None` while nothing is marked.
    pub(super) fn edit(&self, shown: u64) -> Option<Edit> {
        let mask = self.sketch.mask();
        let (first, last) = self.span.scans(shown);
        (!mask.is_empty()).then(|| {
            let mask = mask.clone();
            if let Some(id) = self.candidate {
                Edit::Reshape { ids: vec![id], masks: vec![mask] }
            } else if first == last {
                Edit::HandMark(HandMark { frame: first, mask })
            } else {
                Edit::HandMarks { first, last, mask }
            }
        })
    }

    /// After it was recorded: a mark makes room for the next one, drawn with the same tool; a candidate's shape is done.
    pub(super) fn after_record(mut self) -> Option<Self> {
        self.sketch.set_mask(besom_scan::RunMask::default());
        self.span = Span::Shown;
        self.candidate.is_none().then_some(self)
    }

    fn words(&self, shown: u64) -> String {
        let area = self.sketch.mask().area();
        let noun = plural(area, "pixel", "pixels");
        match area {
            0 => "Nothing is marked yet".to_owned(),
            area if self.is_of_candidate() => format!("{area} {noun}"),
            area => format!("{area} {noun} marked, for {}", self.span.words(shown)),
        }
    }
}

/// The form, over the evidence of the candidate in hand.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let Some(mut mark) = bench.mark.take() else { return };
    let mut keep = true;
    // A candidate is of its own frame; its shape is not painted from another one.
    if mark.candidate.is_some_and(|id| id.frame != desk.frame() || desk.reel().candidate(id).is_none()) {
        return;
    }
    let shape = mark.is_of_candidate();
    let (title, go) = if shape { ("Edit the shape", "Change") } else { ("Mark by hand", "Mark") };
    let frame = Frame::new().fill(tokens::tones(ui).raised).inner_margin(Margin::same(12));
    Panel::top("mark").resizable(false).frame(frame).show(ui, |ui| {
        widgets::heading(ui, title);
        strokes::tools(ui, &mut mark.sketch);
        bench.slider_focus |= strokes::place(ui, &mut mark.sketch, commands);
        if !shape {
            span::ui(ui, &mut mark.span, desk);
        }
        widgets::caption(ui, &mark.words(desk.frame()));
        ui.horizontal(|ui| {
            let drawn = !mark.sketch.mask().is_empty();
            let tooltip =
                format!("{}. {} takes it back", Action::Finish.tooltip(ui.ctx()), Action::Undo.key_text(ui.ctx()));
            if widgets::main_button(ui, go, &tooltip, drawn) {
                commands.push(Command::Do(Action::Finish));
            }
            keep = !widgets::plain_button(ui, "Not now", "Leave everything as it is. Key: Esc", true);
        });
    });
    bench.mark = keep.then_some(mark);
}
