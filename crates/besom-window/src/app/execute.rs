//! Where every command is executed, and nowhere else.

use besom_reel::{CandidateId, Decision, Edit, FillChoice, GroupId, ReelError};

use super::{App, Over, Room};
use crate::action::Action;
use crate::background::tasks::{Task, plural};
use crate::command::Command;
use crate::desk::bulk::Scope;
use crate::desk::shape::Change;
use crate::desk::steps::Way;

impl App {
    /// Executes what panels and keys have asked for since.
    pub(super) fn execute(&mut self) {
        for command in std::mem::take(&mut self.commands) {
            match command {
                Command::Do(action) => self.act(action),
                other => self.execute_one(other),
            }
        }
    }

    fn execute_one(&mut self, command: Command) {
        let artist = self.artist().to_owned();
        match command {
            Command::Do(action) => self.act(action),
            Command::Open(path) => self.open_path(&path),
            Command::StartReel { scans, reel } => self.begin(Task::Start { scans, reel, artist }),
            Command::Demo => {
                if let Some(maker) = self.demo {
                    self.begin(Task::Demo { maker, artist });
                }
            }
            Command::Pick(pick) => self.workers.pick(pick),
            Command::Go(place) => self.with_desk(|desk| desk.go(place)),
            Command::GoToBench(place) => {
                self.with_desk(|desk| desk.go(place));
                self.room = Room::Bench;
            }
            Command::Take(id) => self.with_desk(|desk| desk.take(id)),
            Command::TrySensitivity(shot, value) => self.with_desk(|desk| desk.try_sensitivity(shot, value)),
            Command::SetSensitivity(shot, value) => self.set_sensitivity(shot, value),
            Command::SetFill(id, choice) => self.record(Edit::FillChoice { id, choice }),
            Command::Unprotect(id) => self.record(Edit::Unprotect { id }),
            Command::LedgerBy(by) => self.ledger.set_by(by),
            Command::RepairTo(to) => {
                self.over = Over::None;
                self.on_folder(|folder| Task::Repair { folder, to });
            }
            Command::VerifyIn(repaired) => {
                self.over = Over::None;
                self.on_folder(|folder| Task::Verify { folder, repaired });
            }
            Command::Forget(folder) => self.settings.forget(&folder),
            Command::DecideBulk(decision) => self.decide_bulk(decision),
            Command::LeaveBulk => self.bench.bulk = None,
            Command::Prefer(preferences) => self.prefer(*preferences),
            Command::SetKeys(keys) => {
                self.prefer(crate::preferences::Preferences { keys, ..self.settings.preferences.clone() });
            }
            Command::CloseOver => self.close_over(),
        }
    }

    fn with_desk(&mut self, f: impl FnOnce(&mut crate::desk::Desk)) {
        if let Some(desk) = &mut self.desk {
            f(desk);
        }
    }

    fn on_folder(&mut self, task: impl FnOnce(std::path::PathBuf) -> Task) {
        if let Some(desk) = &self.desk {
            let task = task(desk.reel().folder().to_owned());
            self.begin(task);
        }
    }

    /// Records an edit and says what it did.
    fn record(&mut self, edit: Edit) {
        let Some(desk) = &mut self.desk else { return };
        let result = desk.record(edit);
        self.tell(result.map(|receipt| Some(receipt.words)));
    }

    pub(super) fn tell(&mut self, result: Result<Option<String>, ReelError>) {
        match result {
            Ok(Some(words)) => self.say(format!("{}.", capital(&words))),
            Ok(None) => self.say("There is nothing more to undo or redo."),
            Err(error) => self.complain(format!("Not recorded: {error}.")),
        }
    }

    fn set_sensitivity(&mut self, shot: usize, value: f32) {
        self.with_desk(|desk| {
            desk.end_trying();
        });
        let value = (value * 100.0).round() / 100.0;
        let standing = self.desk.as_ref().map(|d| d.reel().sensitivity(shot));
        if standing != Some(value) {
            self.record(Edit::Sensitivity { shot: Some(shot), value });
        }
    }

    fn act(&mut self, action: Action) {
        if action.needs_bench() && (self.room != Room::Bench || self.desk.is_none()) {
            return;
        }
        match action {
            Action::Help => {
                let open = self.over == Over::Help;
                self.close_over();
                self.key_sheet = super::KeySheet::default();
                self.over = if open { Over::None } else { Over::Help };
            }
            Action::Preferences => self.toggle_preferences(),
            Action::LargerWindow => self.step_scale(true),
            Action::SmallerWindow => self.step_scale(false),
            Action::Start => self.room = Room::Start,
            Action::Survey | Action::Bench | Action::Ledger => self.enter(action),
            Action::Detect => self.on_folder(|folder| Task::Detect { folder }),
            Action::Repair => self.ask_repair(),
            Action::Verify => self.ask_verify(),
            Action::Stop => {
                if let Some(running) = &self.running {
                    running.meter.stop();
                }
            }
            Action::Undo if self.take_stroke_back() => {}
            Action::Undo => {
                let result = self.desk.as_mut().map(crate::desk::Desk::undo);
                self.tell_history(result, "Undone: ");
            }
            Action::Redo => {
                let result = self.desk.as_mut().map(crate::desk::Desk::redo);
                self.tell_history(result, "Done again: ");
            }
            _ => self.act_on_bench(action),
        }
    }

    fn enter(&mut self, action: Action) {
        if self.desk.is_none() {
            return;
        }
        self.room = match action {
            Action::Survey => Room::Survey,
            Action::Ledger => Room::Ledger,
            _ => Room::Bench,
        };
    }

    fn tell_history(&mut self, result: Option<Result<Option<String>, ReelError>>, prefix: &str) {
        if let Some(result) = result {
            self.tell(result.map(|words| words.map(|w| format!("{prefix}{w}"))));
        }
    }

    fn act_on_bench(&mut self, action: Action) {
        let Some(desk) = &mut self.desk else { return };
        match action {
            Action::NextFrame => desk.step(Way::On),
            Action::PreviousFrame => desk.step(Way::Back),
            Action::NextShot => desk.step_shot(Way::On),
            Action::PreviousShot => desk.step_shot(Way::Back),
            Action::FirstFrame => desk.go(0),
            Action::LastFrame => desk.go(usize::MAX),
            Action::WorstFirst => desk.toggle_order(),
            Action::NextFlagged | Action::PreviousFlagged => {
                let way = if action == Action::NextFlagged { Way::On } else { Way::Back };
                if !desk.step_flagged(way) {
                    self.say("No frame that way shows an undecided candidate.");
                }
            }
            Action::NextCandidate | Action::PreviousCandidate => {
                let way = if action == Action::NextCandidate { Way::On } else { Way::Back };
                if !desk.step_candidate(way) {
                    self.say("No frame that way shows a candidate.");
                }
            }
            Action::NextUndecided => {
                if !desk.step_undecided() {
                    self.say("Everything shown in this reel is decided.");
                }
            }
            Action::Accept => self.decide(Decision::Accepted),
            Action::Reject => self.decide(Decision::Rejected),
            Action::Intend => self.decide(Decision::Intended),
            Action::Unset => self.decide(Decision::Undecided),
            Action::SameAgain => self.decide_again(),
            Action::AllAlike => self.ask_bulk(Scope::Alike),
            Action::AllAbove => self.ask_bulk(Scope::Above),
            Action::AcceptFrame => self.decide_frame(Decision::Accepted),
            Action::RejectFrame => self.decide_frame(Decision::Rejected),
            Action::WholeGroup => {
                if !desk.toggle_together() {
                    self.say("The candidate in hand belongs to no cloud, line or gate mark.");
                }
            }
            Action::Finish => self.finish_drawing(),
            Action::Grow => self.reshape(Change::Grow),
            Action::Shrink => self.reshape(Change::Shrink),
            Action::Part => self.reshape(Change::Part),
            Action::Join => self.reshape(Change::Join),
            Action::TakeProposals => self.take_proposals(),
            Action::Learn => self.switch_learning(),
            Action::NextSource => {
                if let Some((id, choice)) = desk.next_choice() {
                    self.set_choice(id, choice);
                }
            }
            Action::ShowMore => self.nudge_sensitivity(-0.01),
            Action::ShowFewer => self.nudge_sensitivity(0.01),
            _ => self.bench.act(action, desk),
        }
    }

    fn set_choice(&mut self, id: besom_reel::CandidateId, choice: FillChoice) {
        self.record(Edit::FillChoice { id, choice });
    }

    /// Decides the candidate in hand and goes straight on to the next; taking a decision back stays.
    pub(super) fn decide(&mut self, decision: Decision) {
        if self.bench.bulk.is_some() && decision != Decision::Undecided {
            self.decide_bulk(decision);
            return;
        }
        let Some(desk) = &mut self.desk else { return };
        let Some(id) = desk.hand() else {
            self.say("There is no candidate in hand. Down takes the next one.");
            return;
        };
        if decision != Decision::Undecided {
            self.last = Some(decision);
        }
        if let Some(group) = desk.together() {
            self.decide_group(group.id, decision);
            return;
        }
        let result = desk.record(Edit::Decide { ids: vec![id], decision });
        if result.is_ok() && decision != Decision::Undecided && !desk.step_undecided() {
            self.say("Everything shown in this reel is decided.");
            return;
        }
        self.tell(result.map(|receipt| Some(receipt.words)));
    }

    /// Decides the group in hand as one and goes on to the next candidate.
    fn decide_group(&mut self, id: GroupId, decision: Decision) {
        let Some(desk) = &mut self.desk else { return };
        match desk.record(Edit::DecideGroup { id, decision }) {
            Ok(receipt) => {
                desk.toggle_together();
                if decision != Decision::Undecided {
                    desk.step_undecided();
                }
                let undo = self.undo_key();
                self.say(format!("{}. {undo} takes it back.", capital(&receipt.words)));
            }
            Err(error) => self.complain(format!("Not recorded: {error}.")),
        }
    }

    fn decide_frame(&mut self, decision: Decision) {
        let Some(desk) = &mut self.desk else { return };
        let open = desk.open_in_frame();
        // What could be part of the picture is never swept along into a repair: it is decided one by one.
        let at_risk = |id: &CandidateId| desk.reel().candidate(*id).is_some_and(|c| c.risk.any());
        let (left, ids): (Vec<_>, Vec<_>) =
            open.into_iter().partition(|id| decision == Decision::Accepted && at_risk(id));
        let count = ids.len();
        if count == 0 {
            self.say(match left.len() {
                0 => "This frame shows no undecided candidate.".to_owned(),
                n => format!("All {n} undecided candidates shown here are at risk: decide them one by one."),
            });
            return;
        }
        let rest = match left.len() {
            0 => String::new(),
            n => format!(" {n} at risk left to be decided one by one."),
        };
        match desk.record(Edit::Decide { ids, decision }) {
            Ok(_) => {
                desk.step_undecided();
                let noun = plural(count, "candidate", "candidates");
                let undo = self.undo_key();
                self.say(format!(
                    "{} {count} {noun} of one frame.{rest} {undo} takes it back.",
                    capital(decision.word())
                ));
            }
            Err(error) => self.complain(format!("Not recorded: {error}.")),
        }
    }

    /// Decides all that the shot proposes, in one step.
    fn take_proposals(&mut self) {
        let Some(desk) = &mut self.desk else { return };
        let Some(shot) = desk.shot().map(|s| s.index) else { return };
        if desk.learning().is_some_and(|l| l.due) {
            self.say("This shot is still learning from the marks you decided last. Take its proposals in a moment.");
            return;
        }
        let found = desk.learning().filter(|l| !l.proposals.is_empty());
        let Some((count, decision)) = found.map(|l| (l.proposals.len(), l.proposes)) else {
            self.say("Nothing is proposed in this shot. Mark three or more specks as intended or rejected first.");
            return;
        };
        match desk.record(Edit::TakeProposals { shot, decision }) {
            Ok(_) => {
                let noun = plural(count, "candidate", "candidates");
                let word = capital(decision.word());
                let undo = self.undo_key();
                self.say(format!("{word}: {count} {noun} of this shot. {undo} takes it back."));
            }
            Err(error) => self.complain(format!("Not recorded: {error}.")),
        }
    }

    pub(super) fn undo_key(&self) -> String {
        self.settings.preferences.keys.key_text(Action::Undo)
    }

    fn switch_learning(&mut self) {
        let Some(desk) = &self.desk else { return };
        let Some(shot) = desk.shot().map(|s| s.index) else { return };
        let on = desk.reel().learning(shot).on;
        self.record(Edit::Learning { shot, on: !on });
    }

    fn nudge_sensitivity(&mut self, by: f32) {
        let Some(shot) = self.desk.as_ref().and_then(|d| d.shot().map(|s| s.index)) else { return };
        let now = self.desk.as_ref().map_or(0.5, |d| d.sensitivity(shot));
        self.set_sensitivity(shot, (now + by).clamp(0.0, 1.0));
    }
}

/// The text with a capital and a full stop.
pub(crate) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    first + chars.as_str()
}
