//! Long tasks as the window sees them: starting one, its end, and paths that dialogs bring.

use std::path::{Path, PathBuf};

use super::{App, Over, Room, Running};
use crate::action::Action;
use crate::background::Pick;
use crate::background::tasks::{Done, Task, TaskEnd, What};
use crate::desk::Desk;

impl App {
    /// Starts a task unless one is under way.
    pub(super) fn begin(&mut self, task: Task) {
        if let Some(running) = &self.running {
            let what = running.what.words().to_lowercase();
            let stop = self.settings.preferences.keys.key_text(Action::Stop);
            self.complain(format!("Besom is still {what}; stop that first ({stop}) or wait for its end."));
            return;
        }
        let what = task.what();
        self.notice = None;
        let meter = self.workers.task(task);
        self.running = Some(Running { what, meter });
    }

    pub(super) fn end_task(&mut self, end: TaskEnd) {
        self.running = None;
        match end.outcome {
            Err(reason) => self.complain(sentence(&reason)),
            Ok(Done::Stopped) => self.say("Stopped. What was done so far is kept."),
            Ok(Done::Said(words)) => {
                self.say(words);
                if end.what == What::Detect {
                    self.reopen();
                }
            }
            Ok(Done::Opened { reel, again, words }) => {
                if !words.is_empty() {
                    self.say(words);
                }
                self.put_on_desk(*reel, again);
            }
        }
    }

    /// Reads the reel anew after a task changed its files.
    fn reopen(&mut self) {
        if let Some(desk) = &self.desk {
            let folder = desk.reel().folder().to_owned();
            let said = self.notice.take();
            self.begin(Task::Open { folder, artist: self.artist().to_owned(), again: true });
            self.notice = said;
        }
    }

    fn put_on_desk(&mut self, reel: besom_reel::Reel, again: bool) {
        let folder = reel.folder().to_owned();
        let here = self.desk.as_ref().filter(|_| again).map(Desk::frame);
        self.remember_place();
        let known = self.settings.of(&folder).cloned();
        let mut desk = Desk::new(reel, here.or(known.as_ref().map(|recent| recent.frame)));
        let left = known.filter(|_| !again).map(|recent| recent.left);
        if let Some(left) = &left {
            desk.resume(left.hand, !left.top_to_bottom);
        }
        self.settings.remember(&folder, desk.frame());
        let ready = desk.tallies().frames().iter().any(|t| t.detected);
        self.desk = Some(desk);
        self.bench.forget_pictures(again);
        self.ledger.forget();
        if !again {
            let usual = if ready { Room::Bench } else { Room::Survey };
            self.room = left.as_ref().and_then(|left| Room::from_word(&left.room)).unwrap_or(usual);
            if let Some(left) = left {
                self.bench.set_framing(left.framing);
            }
        }
    }

    /// Writes the current place into the settings.
    pub(super) fn remember_place(&mut self) {
        self.settings.open = None;
        let Some(desk) = &self.desk else { return };
        let folder = desk.reel().folder();
        if self.room != Room::Start {
            self.settings.open = Some(folder.to_owned());
        }
        if let Some(recent) = self.settings.recent.iter_mut().find(|r| r.folder == folder) {
            recent.frame = desk.frame();
            if self.room != Room::Start {
                self.room.word().clone_into(&mut recent.left.room);
            }
            recent.left.hand = desk.hand().map(|hand| hand.index);
            recent.left.top_to_bottom = !desk.worst_first();
            recent.left.framing = self.bench.framing();
        }
    }

    /// A path that may be scans or a reel folder.
    pub(super) fn open_path(&mut self, path: &Path) {
        if let Some(folder) = reel_folder(path) {
            self.begin(Task::Open { folder, artist: self.artist().to_owned(), again: false });
        } else {
            self.room = Room::Start;
            self.start.set_scans(path);
        }
    }

    pub(super) fn picked(&mut self, pick: Pick, path: Option<PathBuf>) {
        let Some(path) = path else {
            self.say("No folder was chosen. If no dialog appeared, type or paste the path.");
            return;
        };
        match pick {
            Pick::Scans => self.start.set_scans(&path),
            Pick::Reel => self.start.set_reel(&path),
            Pick::Target => {
                if let Over::Repair(text) | Over::Verify(text) = &mut self.over {
                    *text = path.display().to_string();
                }
            }
        }
    }
}

/// The reel folder that a path names, judged by the name alone: the folder itself, or a file in it.
pub(crate) fn reel_folder(path: &Path) -> Option<PathBuf> {
    let is_reel = |p: &Path| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("besom"));
    if is_reel(path) {
        return Some(path.to_owned());
    }
    path.parent().filter(|p| is_reel(p)).map(Path::to_owned)
}

/// Reasons are sentences with or without a capital and a full stop; on the screen they all have both. One that begins with
/// a file's name keeps it as it is.
pub(super) fn sentence(reason: &str) -> String {
    let named = reason.split_whitespace().next().is_some_and(|word| word.contains(['/', '\\', '.', ':']));
    let text = if named { reason.to_owned() } else { super::capital(reason) };
    if text.ends_with('.') { text } else { format!("{text}.") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_are_dressed_and_names_are_not() {
        assert_eq!(sentence("the reel is empty"), "The reel is empty.");
        assert_eq!(sentence("scans/a.dpx: it is cut short."), "scans/a.dpx: it is cut short.");
    }

    #[test]
    fn reel_folders_are_known_by_their_ending() {
        let folder = Path::new("jobs/Skerry 2.besom");
        assert_eq!(reel_folder(folder).as_deref(), Some(folder));
        assert_eq!(reel_folder(&folder.join("reel.ron")).as_deref(), Some(folder));
        assert_eq!(reel_folder(Path::new("jobs/scans")), None);
        assert_eq!(reel_folder(Path::new("jobs/skerry.####.dpx")), None);
    }
}
