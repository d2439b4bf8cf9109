//! Decisions about many at once, and the last decision again.

use besom_reel::{Alike, Decision};

use super::{App, execute::capital};
use crate::background::tasks::plural;
use crate::desk::bulk::{Bulk, Scope};

impl App {
    /// Asks whether many shall be decided; the same question again is taken back.
    pub(super) fn ask_bulk(&mut self, scope: Scope) {
        let Some(desk) = &self.desk else { return };
        if self.bench.bulk.take().is_some_and(|bulk| bulk.scope == scope && bulk.stands(desk)) {
            return;
        }
        match Bulk::begin(desk, scope) {
            Some((bulk, due)) => {
                self.bench.ask_bulk(bulk);
                if let Some(due) = due {
                    self.workers.alike(due);
                }
            }
            None if desk.hand().is_none() => self.say("There is no candidate in hand. Down takes the next one."),
            None => self.say("What was marked by hand is like nothing: decide it by itself."),
        }
    }

    pub(super) fn take_alike(&mut self, found: Option<Box<Alike>>) {
        match (found, &mut self.bench.bulk) {
            (Some(found), Some(bulk)) => bulk.take_alike(*found),
            (None, Some(_)) => {
                self.bench.bulk = None;
                self.complain(format!("Its like were not found. {}.", crate::background::FAULT));
            }
            _ => {}
        }
    }

    /// Leaves the question once it is about something else than what is before the person.
    pub(super) fn tend_bulk(&mut self) {
        let stands = |bulk: &Bulk| self.desk.as_ref().is_some_and(|desk| bulk.stands(desk));
        if self.bench.bulk.as_ref().is_some_and(|bulk| !stands(bulk)) {
            self.bench.bulk = None;
        }
    }

    /// Decides all that was counted, in one step.
    pub(super) fn decide_bulk(&mut self, decision: Decision) {
        let (Some(desk), Some(bulk)) = (&mut self.desk, &mut self.bench.bulk) else { return };
        if bulk.count(desk).is_none() {
            self.say("They are still being counted. Decide in a moment.");
            return;
        }
        let with_risk = bulk.with_risk;
        let left = bulk.count(desk).map_or(0, |count| if with_risk { 0 } else { count.at_risk });
        let Some(edit) = bulk.edit(desk, decision) else {
            self.say("There is nothing here to decide.");
            return;
        };
        match desk.record(edit) {
            Ok(receipt) => {
                self.bench.bulk = None;
                self.last = Some(decision);
                desk.step_undecided();
                let (count, word) = (receipt.changed, capital(decision.word()));
                let noun = plural(count, "candidate", "candidates");
                let rest =
                    if left > 0 { format!(" {left} at risk left to be decided one by one.") } else { String::new() };
                let undo = self.undo_key();
                self.say(format!("{word} {count} {noun} of this shot.{rest} {undo} takes it back."));
            }
            Err(error) => self.complain(format!("Not recorded: {error}.")),
        }
    }

    /// Gives the candidate in hand the decision that was taken last.
    pub(super) fn decide_again(&mut self) {
        match self.last {
            Some(decision) => self.decide(decision),
            None => self.say(
                "Nothing was decided yet since the window was opened: accept, reject or call something intended first.",
            ),
        }
    }
}
