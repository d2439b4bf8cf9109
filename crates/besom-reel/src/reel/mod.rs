//! One reel, opened by one artist.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use besom_detect::Candidate;
use besom_scan::RunMask;

use crate::error::ReelError;
use crate::ledger::{By, Counts, LedgerTable};
use crate::model::decision::{CandidateId, Decision, FillChoice};
use crate::model::edit::{Edit, Filter, Receipt, Region};
use crate::model::info::{FrameEntry, ReelInfo};
use crate::model::record::{Record, Spot};
use crate::model::shot::Shot;

/// A decision that no candidate of its frame overlaps any more. It is kept and listed, never dropped.
#[derive(Clone, Debug, PartialEq)]
pub struct Orphan {
    /// What it spoke of.
    pub spot: Spot,
    /// What was decided.
    pub decision: Decision,
    /// Who decided.
    pub artist: String,
    /// Which record of that artist.
    pub sequence: u64,
}

/// One reel as one artist sees it: facts, shots, candidates and the fold of all journals.
pub struct Reel {
    folder: PathBuf,
    info: ReelInfo,
    frames: Vec<FrameEntry>,
    shots: Vec<Shot>,
}

impl Reel {
    /// Makes a reel folder. `folder` must not exist, or be an empty folder; nothing is left behind on failure.
    pub fn create(folder: &Path, info: &ReelInfo, shots: &[Shot]) -> Result<(), ReelError> {
        let _ = (folder, info, shots);
        Ok(())
    }

    /// Opens a reel folder to work in it as `artist` (see [`crate::Artist`] for the names that can be). Candidates and journals
    /// that are there are loaded; a torn last line of a journal is left out and listed in [`Reel::problems`].
    ///
    /// Writes nothing: the artist's journal is made by the first [`Reel::record`].
    pub fn open(folder: &Path, artist: &str) -> Result<Self, ReelError> {
        let _ = (folder, artist);
        Err(ReelError::request("not built yet"))
    }

    /// Opens a reel folder to look at it; every edit is refused.
    pub fn open_to_read(folder: &Path) -> Result<Self, ReelError> {
        Self::open(folder, "nobody")
    }

    /// Reads what changed on disk since: new candidates, other artists' records, new shots.
    pub fn refresh(&mut self) -> Result<(), ReelError> {
        Ok(())
    }

    /// The reel folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Who works; `None` when the reel was opened to read.
    pub fn artist(&self) -> Option<&str> {
        None
    }

    /// The facts.
    pub fn info(&self) -> &ReelInfo {
        &self.info
    }

    /// Every scan, in order.
    pub fn frames(&self) -> &[FrameEntry] {
        &self.frames
    }

    /// Place of a scan in [`Reel::frames`].
    pub fn position(&self, frame: u64) -> Option<usize> {
        self.frames.binary_search_by_key(&frame, |f| f.number).ok()
    }

    /// Every shot, in order; together they cover all scans.
    pub fn shots(&self) -> &[Shot] {
        &self.shots
    }

    /// The shot that a scan belongs to.
    pub fn shot_of(&self, frame: u64) -> Option<&Shot> {
        self.shots.iter().find(|s| s.contains(frame))
    }

    /// What is amiss with the folder's files: torn lines, lines or chunks that cannot be read. One sentence each.
    pub fn problems(&self) -> &[String] {
        &[]
    }

    /// All candidates of a scan: the detector's, above its floor, then hand marks. Empty for a scan not yet detected.
    pub fn candidates(&self, frame: u64) -> &[Candidate] {
        let _ = frame;
        &[]
    }

    /// One candidate.
    pub fn candidate(&self, id: CandidateId) -> Option<&Candidate> {
        self.candidates(id.frame).get(id.index as usize)
    }

    /// True once the detector has seen the scan.
    pub fn detected(&self, frame: u64) -> bool {
        let _ = frame;
        false
    }

    /// The scans that the detector has seen, as ranges of numbers without a scan missing inside.
    pub fn detected_ranges(&self) -> Vec<RangeInclusive<u64>> {
        Vec::new()
    }

    /// What stands decided about a candidate.
    pub fn decision(&self, id: CandidateId) -> Decision {
        let _ = id;
        Decision::Undecided
    }

    /// The record that the standing decision comes from: who, when, by hand or by rule.
    pub fn verdict(&self, id: CandidateId) -> Option<&Record> {
        let _ = id;
        None
    }

    /// Where the fill of a candidate shall come from.
    pub fn fill_choice(&self, id: CandidateId) -> FillChoice {
        let _ = id;
        FillChoice::Automatic
    }

    /// True when a candidate is at or above its shot's sensitivity, or decided: what lists and counts of work show.
    pub fn asks(&self, id: CandidateId) -> bool {
        let _ = id;
        false
    }

    /// The protected regions that stand, in the order in which they were made.
    pub fn regions(&self) -> &[Region] {
        &[]
    }

    /// The lowest confidence that asks for a decision in a shot, 0 to 1.
    pub fn sensitivity(&self, shot: usize) -> f32 {
        let _ = shot;
        self.info.default_sensitivity
    }

    /// Records one edit: exactly one record of this artist's journal, on disk before this returns. Nothing is changed
    /// on an error.
    pub fn record(&mut self, edit: Edit) -> Result<Receipt, ReelError> {
        let _ = edit;
        Err(ReelError::request("not built yet"))
    }

    /// How many candidates an edit would change, without recording it.
    pub fn preview(&self, edit: &Edit) -> usize {
        let _ = edit;
        0
    }

    /// The candidates that a rule with this filter would speak of now.
    pub fn matching(&self, filter: &Filter) -> Vec<CandidateId> {
        let _ = filter;
        Vec::new()
    }

    /// Takes back this artist's last standing edit (one record). Says what was taken back; `None` when nothing is left.
    pub fn undo(&mut self) -> Result<Option<String>, ReelError> {
        Ok(None)
    }

    /// Takes back the last undo, unless an edit was made since. Says what stands again.
    pub fn redo(&mut self) -> Result<Option<String>, ReelError> {
        Ok(None)
    }

    /// What [`Reel::undo`] would take back.
    pub fn undo_words(&self) -> Option<String> {
        None
    }

    /// What [`Reel::redo`] would bring back.
    pub fn redo_words(&self) -> Option<String> {
        None
    }

    /// The accepted candidates of a scan with the fill that was asked for.
    pub fn accepted(&self, frame: u64) -> Vec<(CandidateId, &Candidate, FillChoice)> {
        let _ = frame;
        Vec::new()
    }

    /// The pixels of a scan that protected regions cover.
    pub fn protected_mask(&self, frame: u64) -> RunMask {
        let _ = frame;
        RunMask::default()
    }

    /// The pixels of a scan that no repair may change: protected regions, rejected and intended candidates.
    pub fn untouchable_mask(&self, frame: u64) -> RunMask {
        let _ = frame;
        RunMask::default()
    }

    /// Decisions that no candidate overlaps any more.
    pub fn orphans(&self) -> Vec<Orphan> {
        Vec::new()
    }

    /// Every record of every journal, in the order of the fold.
    pub fn records(&self) -> &[Record] {
        &[]
    }

    /// Counts of the whole reel.
    pub fn total(&self) -> Counts {
        Counts::default()
    }

    /// Counts of one shot.
    pub fn shot_counts(&self, shot: usize) -> Counts {
        let _ = shot;
        Counts::default()
    }

    /// Counts of one scan.
    pub fn frame_counts(&self, frame: u64) -> Counts {
        let _ = frame;
        Counts::default()
    }

    /// The ledger: counts in rows, film time, pace and forecast.
    pub fn counts(&self, by: By) -> LedgerTable {
        LedgerTable {
            reel: self.info.name.clone(),
            by,
            rate: self.info.rate,
            gauge: self.info.gauge,
            rows: Vec::new(),
            total: crate::ledger::Row { label: String::new(), counts: self.total(), pace_per_minute: None },
            minutes_left: None,
        }
    }

    /// Where a scan stands on the film, counted from the reel's first scan, such as `12+07` (feet and frames).
    pub fn footage(&self, frame: u64) -> String {
        let position = frame.saturating_sub(self.info.first);
        crate::footage::Footage::of(self.info.gauge, position).to_string()
    }

    /// Where a scan stands in time, counted from the reel's first scan at 00:00:00:00.
    pub fn timecode(&self, frame: u64) -> String {
        let position = frame.saturating_sub(self.info.first);
        crate::timecode::Timecode::of(self.info.rate, position, true).to_string()
    }
}
