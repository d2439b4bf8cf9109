//! Work beside the window: pictures, evidence, lessons, long tasks and file dialogs. The window asks, never waits, and takes the
//! answers at the start of a frame. In synchronous mode (tests) a question is answered before the asking call returns.

pub(crate) mod evidence;
mod lane;
pub(crate) mod meter;
pub(crate) mod pictures;
pub(crate) mod proposal;
pub(crate) mod tasks;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use besom_reel::{Alike, AlikeDue, LessonDue, LessonSolved};
use besom_scan::FrameCache;

use evidence::{After, Evidence, EvidenceRequest, Examiner};
use lane::Lane;
use meter::Meter;
use pictures::{Picture, PictureRequest};
use tasks::{Task, TaskEnd};

/// Answers waiting at most; workers pause when the window takes none.
const ANSWERS: usize = 64;

/// What a dialog was opened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pick {
    /// A folder of scans or one scan.
    Scans,
    /// A reel folder.
    Reel,
    /// Where repaired frames go.
    Target,
}

/// What comes back.
pub(crate) enum Answer {
    /// A frame for the canvas.
    Picture(Picture),
    /// Crops about the candidate in hand.
    Evidence(Box<Evidence>),
    /// The proposed repair.
    After(Box<After>),
    /// What a shot has learned; `None` when the worker met a fault.
    Lesson(Option<Box<LessonSolved>>),
    /// What is like a candidate; `None` when the worker met a fault.
    Alike(Option<Box<Alike>>),
    /// A long task ended.
    Task(TaskEnd),
    /// A dialog closed; `None` when it was cancelled or could not be shown.
    Picked(Pick, Option<PathBuf>),
}

enum Lanes {
    Threads {
        pictures: Lane<PictureRequest>,
        evidence: Lane<EvidenceRequest>,
        lessons: Lane<LessonDue>,
        alike: Lane<AlikeDue>,
    },
    /// Everything on the caller's thread.
    Direct(Box<Examiner>),
}

/// All workers of a window.
pub(crate) struct Workers {
    lanes: Lanes,
    cache: Arc<FrameCache>,
    sender: SyncSender<Answer>,
    receiver: Receiver<Answer>,
    waiting: Vec<Answer>,
    ctx: egui::Context,
}

impl Workers {
    /// Starts the workers, which keep `memory_bytes` of decoded frames; with `direct` there are no threads and every answer is ready when the question returns.
    ///
    /// # Errors
    /// When the system gives no threads.
    pub(crate) fn new(ctx: &egui::Context, memory_bytes: usize, direct: bool) -> std::io::Result<Self> {
        let (sender, receiver) = sync_channel(ANSWERS);
        let cache = Arc::new(FrameCache::new(memory_bytes));
        let examiner = Examiner::new(Arc::clone(&cache));
        let lanes = if direct { Lanes::Direct(Box::new(examiner)) } else { threads(ctx, &cache, examiner, &sender)? };
        Ok(Self { lanes, cache, sender, receiver, waiting: Vec::new(), ctx: ctx.clone() })
    }

    /// True when questions are answered before the asking call returns.
    pub(crate) fn is_direct(&self) -> bool {
        matches!(self.lanes, Lanes::Direct(_))
    }

    /// From now on so many bytes of decoded frames are kept.
    pub(crate) fn set_memory(&self, bytes: usize) {
        self.cache.set_budget(bytes);
    }

    /// The answers that have come since.
    pub(crate) fn take(&mut self) -> Vec<Answer> {
        let mut answers = std::mem::take(&mut self.waiting);
        answers.extend(self.receiver.try_iter());
        answers
    }

    /// Asks for a frame.
    pub(crate) fn picture(&mut self, request: PictureRequest) {
        match &self.lanes {
            Lanes::Threads { pictures, .. } => pictures.ask(request),
            Lanes::Direct(_) => self.waiting.push(Answer::Picture(pictures::answer(&request, &self.cache))),
        }
    }

    /// Asks for crops and the proposed repair.
    pub(crate) fn evidence(&mut self, request: EvidenceRequest) {
        match &mut self.lanes {
            Lanes::Threads { evidence, .. } => evidence.ask(request),
            Lanes::Direct(examiner) => {
                self.waiting.push(Answer::Evidence(Box::new(examiner.crops(&request))));
                self.waiting.push(Answer::After(Box::new(examiner.after(&request))));
            }
        }
    }

    /// Has a lesson worked out.
    pub(crate) fn lesson(&mut self, due: LessonDue) {
        match &self.lanes {
            Lanes::Threads { lessons, .. } => lessons.ask(due),
            Lanes::Direct(_) => self.waiting.push(Answer::Lesson(Some(Box::new(due.solve())))),
        }
    }

    /// Has the like of a candidate looked for.
    pub(crate) fn alike(&mut self, due: AlikeDue) {
        match &self.lanes {
            Lanes::Threads { alike, .. } => alike.ask(due),
            Lanes::Direct(_) => {
                self.waiting.push(Answer::Alike(Some(Box::new(due.solve()))));
                self.ctx.request_repaint();
            }
        }
    }

    /// Starts a long task on a thread of its own; its end comes as an answer.
    pub(crate) fn task(&mut self, task: Task) -> Arc<Meter> {
        let direct = self.is_direct();
        let meter = Arc::new(Meter::new((!direct).then(|| self.ctx.clone())));
        if direct {
            self.waiting.push(Answer::Task(tasks::run(task, meter.as_ref())));
            return meter;
        }
        let (theirs, sender, ctx) = (Arc::clone(&meter), self.sender.clone(), self.ctx.clone());
        let what = task.what();
        let run = move || {
            // A fault in a task must neither leave the window waiting for ever nor take decisions down with it.
            let ended = guarded(|| tasks::run(task, theirs.as_ref()));
            let end = ended.unwrap_or_else(|| TaskEnd::failed(what, FAULT));
            send(&sender, &ctx, Answer::Task(end));
        };
        if let Err(error) = std::thread::Builder::new().name("besom task".to_owned()).spawn(run) {
            self.waiting.push(Answer::Task(TaskEnd::failed(what, &format!("no thread could be started ({error})"))));
        }
        meter
    }

    /// Opens a system dialog on a thread of its own: some desktops never answer, and the window must go on.
    pub(crate) fn pick(&mut self, pick: Pick) {
        if self.is_direct() {
            self.waiting.push(Answer::Picked(pick, None));
            return;
        }
        let (sender, ctx) = (self.sender.clone(), self.ctx.clone());
        let run = move || send(&sender, &ctx, Answer::Picked(pick, dialog(pick)));
        if std::thread::Builder::new().name("besom dialog".to_owned()).spawn(run).is_err() {
            self.waiting.push(Answer::Picked(pick, None));
        }
    }
}

fn dialog(pick: Pick) -> Option<PathBuf> {
    let title = match pick {
        Pick::Scans => "The folder of scans",
        Pick::Reel => "The reel folder (name.besom)",
        Pick::Target => "The folder for repaired frames",
    };
    rfd::FileDialog::new().set_title(title).pick_folder()
}

fn threads(
    ctx: &egui::Context,
    cache: &Arc<FrameCache>,
    mut examiner: Examiner,
    sender: &SyncSender<Answer>,
) -> std::io::Result<Lanes> {
    let (their_cache, their_ctx, their_sender) = (Arc::clone(cache), ctx.clone(), sender.clone());
    let pictures = Lane::start("besom pictures", move |request: PictureRequest, newer| {
        let answer = guarded(|| pictures::answer(&request, &their_cache));
        let answer = answer.unwrap_or_else(|| Picture::failed(&request, FAULT));
        send(&their_sender, &their_ctx, Answer::Picture(answer));
        guarded(|| pictures::read_ahead(&request, &their_cache, || newer.waits()));
    })?;
    let (their_ctx, their_sender) = (ctx.clone(), sender.clone());
    let evidence = Lane::start("besom evidence", move |request: EvidenceRequest, newer| {
        if let Some(crops) = guarded(|| examiner.crops(&request)) {
            send(&their_sender, &their_ctx, Answer::Evidence(Box::new(crops)));
        }
        // Whoever walks on quickly gets crops; the repair is computed where the hand rests.
        if !newer.waits() {
            let after = guarded(|| examiner.after(&request)).unwrap_or_else(|| After::failed(&request, FAULT));
            send(&their_sender, &their_ctx, Answer::After(Box::new(after)));
        }
    })?;
    let (their_ctx, their_sender) = (ctx.clone(), sender.clone());
    let lessons = Lane::start("besom lessons", move |due: LessonDue, _| {
        let solved = guarded(|| Box::new(due.solve()));
        send(&their_sender, &their_ctx, Answer::Lesson(solved));
    })?;
    let (their_ctx, their_sender) = (ctx.clone(), sender.clone());
    let alike = Lane::start("besom alike", move |due: AlikeDue, _| {
        let found = guarded(|| Box::new(due.solve()));
        send(&their_sender, &their_ctx, Answer::Alike(found));
    })?;
    Ok(Lanes::Threads { pictures, evidence, lessons, alike })
}

/// What is said when a worker met a fault of the program itself.
pub(crate) const FAULT: &str = "Besom met a fault of its own here; everything decided is kept";

/// Runs `work`; `None` when it panicked. Workers keep caches only, which hold whole entries or none, so going on is sound.
fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)).ok()
}

fn send(sender: &SyncSender<Answer>, ctx: &egui::Context, answer: Answer) {
    // The window is gone when this fails; then nobody waits for the answer.
    if sender.send(answer).is_ok() {
        ctx.request_repaint();
    }
}
