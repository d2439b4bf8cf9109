//! One reel, opened by one artist.

mod by_hand;
mod edits;
mod groups;
mod load;
mod masks;
#[cfg(test)]
mod tests;

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use besom_detect::Candidate;
use besom_detect::likeness::Judged;

use crate::digits;
use crate::error::ReelError;
use crate::file::journal::Writer;
use crate::fold::{AlikeDue, Fold, LessonDue, LessonSolved, Stacks, Verdict, is_gone};
use crate::footage::Footage;
use crate::ledger::{By, Counts, LedgerTable};
use crate::model::artist::Artist;
use crate::model::decision::{CandidateId, Decision, FillChoice};
use crate::model::edit::Region;
use crate::model::info::{FrameEntry, ReelInfo};
use crate::model::learned::Learning;
use crate::model::record::{Deed, Record, Spot};
use crate::model::shot::Shot;
use crate::timecode::Timecode;

pub use groups::ShotGroups;

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
///
/// Everything is held in memory; what others write meanwhile is seen after [`Reel::refresh`].
#[derive(Debug)]
pub struct Reel {
    folder: PathBuf,
    artist: Option<Artist>,
    info: ReelInfo,
    frames: Vec<FrameEntry>,
    fold: Fold,
    stacks: Stacks,
    problems: Vec<String>,
    /// What the candidate files were when they were read.
    chunks: load::ChunkStamp,
    /// Length of this artist's journal when it was read.
    own_bytes: u64,
    writer: Option<Writer>,
    groups: groups::Cache,
}

impl Reel {
    /// The reel folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Who works; `None` when the reel was opened to read.
    pub fn artist(&self) -> Option<&str> {
        self.artist.as_ref().map(Artist::as_str)
    }

    /// The facts.
    pub const fn info(&self) -> &ReelInfo {
        &self.info
    }

    /// Every scan, in order.
    pub fn frames(&self) -> &[FrameEntry] {
        &self.frames
    }

    /// Place of a scan in [`Reel::frames`].
    pub fn position(&self, frame: u64) -> Option<usize> {
        self.fold.position(frame)
    }

    /// Every shot, in order; together they cover all scans.
    pub fn shots(&self) -> &[Shot] {
        &self.fold.shots
    }

    /// The shot that a scan belongs to.
    pub fn shot_of(&self, frame: u64) -> Option<&Shot> {
        self.shots().get(self.fold.shot_at(self.position(frame)?))
    }

    /// What is amiss with the folder's files: torn lines, lines or chunks that cannot be read. One sentence each.
    pub fn problems(&self) -> &[String] {
        &self.problems
    }

    /// All candidates of a scan: the detector's, above its floor, in the shapes that people gave them, then what they parted
    /// or marked. Empty for a scan not yet detected. One that was joined to another keeps its place and has no pixels.
    pub fn candidates(&self, frame: u64) -> &[Candidate] {
        self.fold.frame(frame).map_or(&[], |f| &f.candidates)
    }

    /// One candidate.
    pub fn candidate(&self, id: CandidateId) -> Option<&Candidate> {
        self.candidates(id.frame).get(id.index as usize)
    }

    /// True once the detector has seen the scan.
    pub fn detected(&self, frame: u64) -> bool {
        self.fold.frame(frame).is_some_and(|f| f.seen)
    }

    /// The scans that the detector has seen, as ranges of numbers. Every scan of a range has been seen; numbers
    /// inside that have no scan do not end it.
    pub fn detected_ranges(&self) -> Vec<RangeInclusive<u64>> {
        let mut ranges: Vec<RangeInclusive<u64>> = Vec::new();
        let mut before = false;
        for (number, frame) in self.fold.numbers().iter().zip(&self.fold.frames) {
            match ranges.last_mut() {
                Some(range) if before && frame.seen => *range = *range.start()..=*number,
                _ if frame.seen => ranges.push(*number..=*number),
                _ => {}
            }
            before = frame.seen;
        }
        ranges
    }

    fn verdict_of(&self, id: CandidateId) -> Verdict {
        self.fold.frame(id.frame).and_then(|f| f.verdicts.get(id.index as usize)).copied().unwrap_or_default()
    }

    /// What stands decided about a candidate; undecided for one that does not exist.
    pub fn decision(&self, id: CandidateId) -> Decision {
        self.verdict_of(id).decision
    }

    /// The record that the standing decision comes from: who, when, by hand or by rule.
    pub fn verdict(&self, id: CandidateId) -> Option<&Record> {
        self.fold.records.get(self.verdict_of(id).by? as usize)
    }

    /// Where the fill of a candidate shall come from.
    pub fn fill_choice(&self, id: CandidateId) -> FillChoice {
        self.verdict_of(id).choice
    }

    /// True when a candidate is at or above its shot's sensitivity, or decided: what lists and counts of work show.
    pub fn asks(&self, id: CandidateId) -> bool {
        let here = self.candidate(id).filter(|c| !is_gone(c));
        let Some((_, place)) = here.zip(self.position(id.frame)) else { return false };
        self.decision(id) != Decision::Undecided
            || self.confidence(id) >= self.fold.sensitivity(self.fold.shot_at(place))
    }

    /// The confidence that counts for a candidate: the detector's, or the lower one that its shot's examples leave.
    pub fn confidence(&self, id: CandidateId) -> f32 {
        self.fold.frame(id.frame).map_or(0.0, |f| f.confidence(id.index as usize))
    }

    /// The confidence that counts and the standing decision of each candidate of a scan, in their order.
    pub fn confidences(&self, frame: u64) -> impl Iterator<Item = (f32, Decision)> {
        self.fold.frame(frame).into_iter().flat_map(|state| {
            state.verdicts.iter().enumerate().map(|(index, verdict)| (state.confidence(index), verdict.decision))
        })
    }

    /// What the decisions of its shot say about a candidate; `None` while they say nothing.
    pub fn learned(&self, id: CandidateId) -> Option<Judged> {
        self.fold.frame(id.frame)?.learned.get(id.index as usize).copied()
    }

    /// True when a candidate is undecided, asks for a decision at this sensitivity by the detector's confidence but not by
    /// the one that was learned, and is proposed to be left.
    pub fn proposed(&self, id: CandidateId, sensitivity: f32) -> bool {
        self.fold.frame(id.frame).is_some_and(|f| f.proposes(id.index as usize, sensitivity))
    }

    /// True when a shot has learned something: there are examples enough, and its learning is on.
    pub fn has_learned(&self, shot: usize) -> bool {
        self.fold.has_learned(shot)
    }

    /// From now on a shot whose examples changed is not judged anew before the change returns; it is due (see
    /// [`Reel::lesson_due`]). For those who must not wait: until a lesson is taken, what was learned before stands, save
    /// that nothing is learned from fewer examples than it takes. Rules and the taking of proposals never wait: what is
    /// due then is worked out first.
    pub fn defer_lessons(&mut self) {
        self.fold.defer_lessons();
    }

    /// What a shot is to learn from the examples that stand now; it holds all it needs to be solved on any thread. `None`
    /// when nothing is due, as always unless lessons are deferred.
    pub fn lesson_due(&self) -> Option<LessonDue> {
        self.fold.lesson_due()
    }

    /// Takes a solved lesson. False when the shot's examples or candidates are others by now: nothing is changed then, and
    /// what is to be learned from them is due.
    pub fn take_lesson(&mut self, solved: LessonSolved) -> bool {
        self.fold.take_lesson(solved)
    }

    /// The question which candidates of its shot are like one of the detector's; it holds all it needs to be solved on any
    /// thread. `None` for a mark made by hand, and for a candidate that does not exist.
    pub fn alike_due(&self, of: CandidateId) -> Option<AlikeDue> {
        self.fold.alike_due(of)
    }

    /// What a shot has learned from its decisions, and what it proposes.
    pub fn learning(&self, shot: usize) -> Learning {
        self.fold.learning(shot)
    }

    /// The protected regions that stand, in the order in which they were made.
    pub fn regions(&self) -> &[Region] {
        &self.fold.regions
    }

    /// The lowest confidence that asks for a decision in a shot, 0 to 1.
    pub fn sensitivity(&self, shot: usize) -> f32 {
        self.fold.sensitivity(shot)
    }

    /// Decisions that no candidate overlaps any more, in frame order; of several about the same pixels the last one.
    pub fn orphans(&self) -> Vec<Orphan> {
        let mut orphans = Vec::new();
        for frame in &self.fold.frames {
            let mut here: Vec<Orphan> = Vec::new();
            for touch in &frame.strays {
                let Some(record) = self.fold.records.get(touch.record as usize) else { continue };
                let Deed::Decide { decision, spots, .. } = &record.deed else { continue };
                let Some(spot) = spots.get(touch.spot as usize) else { continue };
                here.retain(|o| o.spot.mask != spot.mask);
                here.push(Orphan {
                    spot: spot.clone(),
                    decision: *decision,
                    artist: record.artist.clone(),
                    sequence: record.sequence,
                });
            }
            orphans.extend(here.into_iter().filter(|o| o.decision != Decision::Undecided));
        }
        orphans
    }

    /// Every record of every journal, in the order of the fold.
    pub fn records(&self) -> &[Record] {
        &self.fold.records
    }

    /// Every record that stands (is not taken back), in the order of the fold.
    pub fn standing(&self) -> impl Iterator<Item = &Record> {
        self.fold.records.iter().zip(&self.fold.active).filter(|(_, stands)| **stands).map(|(record, _)| record)
    }

    /// Counts of the whole reel.
    pub const fn total(&self) -> Counts {
        self.fold.total()
    }

    /// Counts of one shot.
    pub fn shot_counts(&self, shot: usize) -> Counts {
        self.fold.shot_counts(shot)
    }

    /// Counts of one scan.
    pub fn frame_counts(&self, frame: u64) -> Counts {
        self.fold.frame(frame).map(|f| f.counts).unwrap_or_default()
    }

    /// The ledger: counts in rows, film time, pace and forecast.
    pub fn counts(&self, by: By) -> LedgerTable {
        crate::ledger::build(&self.fold, &self.info, by)
    }

    /// Where a scan stands on the film, counted from the reel's first scan, such as `12+07` (feet and frames).
    pub fn footage(&self, frame: u64) -> String {
        Footage::of(self.info.gauge, frame.saturating_sub(self.info.first)).to_string()
    }

    /// The scan that a person means by a number, by footage such as `12+07`, or by timecode such as `00:01:10:00`, the latter
    /// two as [`Reel::footage`] and [`Reel::timecode`] give them; `None` for anything else. It may lie outside the reel.
    pub fn frame_named(&self, text: &str) -> Option<u64> {
        let from_start = |position: u64| self.info.first.checked_add(position);
        let text = text.trim();
        if let Some(number) = digits::number(text) {
            Some(number)
        } else if let Ok(footage) = text.parse::<Footage>() {
            from_start(footage.position(self.info.gauge))
        } else {
            text.parse::<Timecode>().ok()?.position(self.info.rate).and_then(from_start)
        }
    }

    /// Where a scan stands in time, counted from the reel's first scan at 00:00:00:00. Labels are not dropped: at
    /// 29.97 the label falls behind the clock.
    pub fn timecode(&self, frame: u64) -> String {
        Timecode::of(self.info.rate, frame.saturating_sub(self.info.first), false).to_string()
    }
}

/// The sentence for an edit in a reel that was opened to read.
fn read_only() -> ReelError {
    ReelError::request("the reel was opened to read only: name an artist to work in it")
}
