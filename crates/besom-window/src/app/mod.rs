//! The window as a whole: its state, and what happens each frame. First `logic` (answers of workers, keys), then `ui`
//! (panels draw and push commands), then the commands are executed, all in one place.

mod bars;
mod bulk;
mod drawing;
mod execute;
mod key_sheet;
mod over;
mod preferences_sheet;
mod settings;
mod tasks;

pub(crate) use tasks::reel_folder;

use std::path::PathBuf;
use std::sync::Arc;

use besom_reel::{Decision, LessonSolved};

use crate::action::Action;
use crate::background::meter::Meter;
use crate::background::tasks::{DemoMaker, What};
use crate::background::{Answer, FAULT, Workers};
use crate::command::Command;
use crate::desk::Desk;
use crate::keymap::Focus;
use crate::rooms::bench::Bench;
use crate::rooms::ledger::Ledger;
use crate::rooms::start::Start;
use crate::rooms::{bench, ledger, start, survey};
use crate::tokens;

pub(crate) use execute::capital;
use key_sheet::KeySheet;
pub(crate) use over::Over;
use preferences_sheet::PreferencesSheet;
pub(crate) use settings::{Recent, Settings};

/// Where one is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Room {
    /// The first screen.
    Start,
    /// What arrived.
    Survey,
    /// Review.
    Bench,
    /// Counts.
    Ledger,
}

impl Room {
    /// As it is remembered.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Survey => "survey",
            Self::Bench => "bench",
            Self::Ledger => "ledger",
        }
    }

    /// The room of a reel with this word.
    pub(crate) fn from_word(word: &str) -> Option<Self> {
        [Self::Survey, Self::Bench, Self::Ledger].into_iter().find(|room| room.word() == word)
    }
}

/// Something to tell, at the foot of the window.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Notice {
    /// One sentence.
    pub(crate) text: String,
    /// True when something did not work.
    pub(crate) wrong: bool,
}

/// A task under way.
pub(crate) struct Running {
    /// Which.
    pub(crate) what: What,
    /// Where it is.
    pub(crate) meter: Arc<Meter>,
}

/// The window.
pub struct App {
    ctx: egui::Context,
    /// The name that the system gives.
    started_as: String,
    demo: Option<DemoMaker>,
    desk: Option<Desk>,
    room: Room,
    start: Start,
    bench: Bench,
    ledger: Ledger,
    workers: Workers,
    running: Option<Running>,
    notice: Option<Notice>,
    over: Over,
    key_sheet: KeySheet,
    preferences_sheet: PreferencesSheet,
    /// Size of the letters that are loaded, in percent.
    letters: u32,
    /// The decision that was taken last.
    last: Option<Decision>,
    settings: Settings,
    commands: Vec<Command>,
    /// A control had the keyboard at the end of the frame before.
    had_focus: bool,
}

impl App {
    /// A window for this artist; `direct` answers every question at once, without threads.
    pub(crate) fn new(
        ctx: &egui::Context,
        settings: Settings,
        artist: String,
        demo: Option<DemoMaker>,
        direct: bool,
    ) -> std::io::Result<Self> {
        tokens::apply(ctx);
        let preferences = &settings.preferences;
        preferences.keys.share(ctx);
        // There must be a face in the first frame; how large it can be is known then.
        tokens::letters(ctx, 1.0);
        Ok(Self {
            ctx: ctx.clone(),
            started_as: artist,
            demo,
            desk: None,
            room: Room::Start,
            start: Start::default(),
            bench: Bench::new(preferences.flip_rate),
            ledger: Ledger::default(),
            workers: Workers::new(ctx, preferences.memory_bytes(), direct)?,
            running: None,
            notice: None,
            over: Over::None,
            key_sheet: KeySheet::default(),
            preferences_sheet: PreferencesSheet::default(),
            letters: 100,
            last: None,
            settings,
            commands: Vec::new(),
            had_focus: false,
        })
    }

    /// Opens a reel folder or starts one for scans, as if its path had been typed.
    pub fn open(&mut self, path: PathBuf) {
        self.commands.push(Command::Open(path));
    }

    /// The number of the frame one is at, for tests.
    pub fn frame(&self) -> Option<u64> {
        self.desk.as_ref().map(Desk::frame)
    }

    /// The reel on the desk, for tests.
    pub fn reel(&self) -> Option<&besom_reel::Reel> {
        self.desk.as_ref().map(Desk::reel)
    }

    /// The candidate in hand, for tests.
    pub fn hand(&self) -> Option<besom_reel::CandidateId> {
        self.desk.as_ref().and_then(Desk::hand)
    }

    /// What the window says at its foot, for tests.
    pub fn said(&self) -> Option<&str> {
        self.notice.as_ref().map(|n| n.text.as_str())
    }

    /// True while the repaired picture is shown, for tests.
    pub fn shows_after(&self) -> bool {
        self.bench.shows_after()
    }

    fn say(&mut self, text: impl Into<String>) {
        self.notice = Some(Notice { text: text.into(), wrong: false });
    }

    fn complain(&mut self, text: impl Into<String>) {
        self.notice = Some(Notice { text: text.into(), wrong: true });
    }

    fn take_answers(&mut self, ctx: &egui::Context) {
        for answer in self.workers.take() {
            match answer {
                Answer::Picture(picture) => self.bench.take_picture(ctx, picture),
                Answer::Evidence(evidence) => self.bench.take_evidence(ctx, *evidence),
                Answer::After(after) => self.bench.take_after(ctx, *after),
                Answer::Lesson(solved) => self.take_lesson(solved),
                Answer::Alike(found) => self.take_alike(found),
                Answer::Task(end) => self.end_task(end),
                Answer::Picked(pick, path) => self.picked(pick, path),
            }
        }
    }

    fn take_keys(&mut self, ctx: &egui::Context) {
        let typing = ctx.text_edit_focused();
        let focused = ctx.memory(|m| m.focused().is_some());
        if self.over == Over::Help && self.key_sheet.waits() {
            let changed = self.key_sheet.take_key(ctx, &self.settings.preferences.keys);
            self.commands.extend(changed.map(Command::SetKeys));
        } else if matches!(self.over, Over::Help | Over::Preferences | Over::None) {
            let focus = Focus { typing, focused, slider: self.bench.slider_has_focus() };
            // Under a sheet nothing is decided and nothing moves.
            let bare = self.over == Over::None;
            let wanted = |action: Action| bare || action.is_about_window();
            let pressed = self.settings.preferences.keys.pressed(ctx, focus, wanted);
            if !pressed.is_empty() {
                // A plain arrow would also walk the keyboard focus from control to control.
                ctx.memory_mut(|m| m.move_focus(egui::FocusDirection::None));
            }
            self.commands.extend(pressed.into_iter().map(Command::Do));
        }
        if ctx.input_mut(|i| i.consume_key(egui::Modifiers::NONE, egui::Key::Escape)) {
            self.escape(ctx);
        }
        let dropped = ctx.input(|i| i.raw.dropped_files.first().map(|f| f.path().to_path_buf()));
        if let Some(path) = dropped {
            self.commands.push(Command::Open(path));
        }
    }

    /// Escape leaves the innermost thing first: what lies over the room, a field, a tool.
    fn escape(&mut self, ctx: &egui::Context) {
        if self.over == Over::Help && self.key_sheet.leave() {
            return;
        }
        if self.over != Over::None {
            self.close_over();
        } else if let Some(focused) = ctx.memory(egui::Memory::focused) {
            ctx.memory_mut(|m| m.surrender_focus(focused));
        } else if self.had_focus {
            // egui took the focus away before anybody was asked: whoever leaves a field does not leave its form.
        } else if !self.bench.leave_tool() {
            self.notice = None;
        }
    }

    fn room_ui(&mut self, ui: &mut egui::Ui) {
        let commands = &mut self.commands;
        match (self.room, &mut self.desk) {
            (Room::Survey, Some(desk)) => survey::ui(ui, desk, self.running.is_some(), commands),
            (Room::Bench, Some(desk)) => bench::ui(ui, &mut self.bench, desk, commands),
            (Room::Ledger, Some(desk)) => ledger::ui(ui, &mut self.ledger, desk, commands),
            _ => {
                let context = start::Context {
                    recent: &self.settings.recent,
                    demo: self.demo.is_some(),
                    busy: self.running.is_some(),
                };
                start::ui(ui, &mut self.start, &context, commands);
            }
        }
    }

    fn take_lesson(&mut self, solved: Option<Box<LessonSolved>>) {
        match (solved, &mut self.desk) {
            (Some(solved), Some(desk)) => desk.take_lesson(*solved),
            (None, _) => self.complain(format!("Nothing was learned. {FAULT}.")),
            _ => {}
        }
    }

    fn ask_workers(&mut self, ctx: &egui::Context) {
        let Some(desk) = &mut self.desk else { return };
        if let Some(due) = desk.wanted_lesson() {
            self.workers.lesson(due);
            if self.workers.is_direct() {
                ctx.request_repaint();
            }
        }
        if self.room != Room::Bench {
            return;
        }
        let picture = self.bench.wanted_picture(desk);
        let evidence = self.bench.wanted_evidence(desk);
        // Without threads the answers are there already and only the next frame can take them.
        if self.workers.is_direct() && (picture.is_some() || evidence.is_some()) {
            ctx.request_repaint();
        }
        if let Some(request) = picture {
            self.workers.picture(request);
        }
        if let Some(request) = evidence {
            self.workers.evidence(request);
        }
    }
}

impl eframe::App for App {
    fn logic(&mut self, ctx: &egui::Context, _frame: &mut eframe::Frame) {
        self.keep_look(ctx);
        self.take_answers(ctx);
        self.take_keys(ctx);
        self.execute();
        self.tend_bulk();
    }

    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        self.top_bar(ui);
        self.foot(ui);
        self.room_ui(ui);
        self.over_ui(ui);
        let ctx = ui.ctx().clone();
        if !self.commands.is_empty() {
            self.execute();
            ctx.request_repaint();
        }
        self.ask_workers(&ctx);
        self.had_focus = ctx.memory(|m| m.focused().is_some());
    }

    fn save(&mut self, storage: &mut dyn eframe::Storage) {
        self.remember_place();
        self.settings.preferences.flip_rate = self.bench.rate;
        self.settings.save(storage);
    }

    fn persist_egui_memory(&self) -> bool {
        false
    }
}
