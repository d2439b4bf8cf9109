//! Recording what was drawn on the picture.

use besom_detect::Kind;
use besom_reel::{CandidateId, Edit};

use super::App;
use crate::desk::shape::Change;

impl App {
    /// Closes what was begun, or records what is drawn.
    pub(super) fn finish_drawing(&mut self) {
        let Some(desk) = &self.desk else { return };
        if let Some(edit) = self.bench.finish(desk) {
            self.record_drawing(edit);
        }
    }

    /// Records a region or a mark. The drawing stays when that fails.
    fn record_drawing(&mut self, edit: Edit) {
        let Some(desk) = &mut self.desk else { return };
        let marked = match &edit {
            Edit::HandMark(mark) => Some(mark.mask.clone()),
            Edit::HandMarks { mask, .. } => Some(mask.clone()),
            _ => None,
        };
        let result = desk.record(edit);
        if result.is_ok() {
            let desk = &mut *desk;
            // The new mark comes to hand where it can be seen, so that its repair is shown at once.
            let frame = desk.frame();
            let here = desk.reel().candidates(frame);
            let new = here.iter().rposition(|c| c.kind == Kind::Hand && Some(&c.mask) == marked.as_ref());
            if let Some(index) = new {
                desk.take(CandidateId::new(frame, index as u32));
            }
            self.bench.recorded();
        }
        self.tell(result.map(|receipt| Some(receipt.words)));
    }

    /// Gives the candidate in hand another shape.
    pub(super) fn reshape(&mut self, change: Change) {
        let Some(desk) = &mut self.desk else { return };
        match desk.reshaped(change) {
            Ok(edit) => {
                let result = desk.record(edit);
                self.tell(result.map(|receipt| Some(receipt.words)));
            }
            Err(why) => self.say(why),
        }
    }

    /// Takes the last stroke back while something is being drawn; false when nothing is.
    pub(super) fn take_stroke_back(&mut self) -> bool {
        let taken = self.room == super::Room::Bench && self.bench.take_stroke_back();
        if taken {
            self.say("The last stroke is taken back.");
        }
        taken
    }
}
