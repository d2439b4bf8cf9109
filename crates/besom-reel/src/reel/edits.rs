//! Edits: checked, turned into a record that stands alone, written, applied.

use jiff::{SignedDuration, Timestamp, Unit};

use super::{Reel, read_only};
use crate::error::ReelError;
use crate::file::journal::Writer;
use crate::fold::Effect;
use crate::model::decision::{CandidateId, Decision};
use crate::model::edit::{Edit, Filter, Receipt};
use crate::model::record::{Deed, Record, Spot};

impl Reel {
    /// Records one edit: exactly one record of this artist's journal, on disk before this returns. Nothing is changed
    /// on an error.
    ///
    /// # Errors
    /// An edit that makes no sense for this reel (no such candidate, frame, shot or region; a value out of range), a
    /// reel opened to read, another Besom writing as the same artist, or a journal that cannot be written.
    pub fn record(&mut self, edit: Edit) -> Result<Receipt, ReelError> {
        if self.artist.is_none() {
            return Err(read_only());
        }
        if matches!(edit, Edit::Rule { .. } | Edit::TakeProposals { .. }) {
            // Both speak of more than anybody looked at: only the newest examples will do.
            self.fold.learn_all_due();
        }
        let deed = self.resolve(edit)?;
        self.commit(deed)
    }

    /// How many candidates an edit would change, without recording it; 0 for one that makes no sense.
    pub fn preview(&self, edit: &Edit) -> usize {
        match edit {
            Edit::Decide { ids, decision } | Edit::DecideAlike { ids, decision } => {
                let mut ids: Vec<&CandidateId> = ids.iter().collect();
                ids.sort_unstable();
                ids.dedup();
                ids.into_iter().filter(|id| self.candidate(**id).is_some() && self.decision(**id) != *decision).count()
            }
            Edit::DecideGroup { id, decision } => self.group(*id).map_or(0, |group| {
                self.group_members(&group).into_iter().filter(|member| self.decision(*member) != *decision).count()
            }),
            Edit::Rule { decision, filter } => self.fold.preview_rule(*decision, filter).changed,
            Edit::TakeProposals { shot, .. } => self.learning(*shot).proposals.len(),
            Edit::FillChoice { id, choice } => {
                usize::from(self.candidate(*id).is_some() && self.fill_choice(*id) != *choice)
            }
            Edit::HandMark(mark) => usize::from(self.position(mark.frame).is_some()),
            Edit::HandMarks { first, last, mask } => self.marks_to_make(*first, *last, mask).count(),
            Edit::Reshape { ids, .. } => ids.iter().filter(|id| self.candidate(**id).is_some()).count(),
            _ => 0,
        }
    }

    /// The candidates that a rule with this filter would speak of now.
    pub fn matching(&self, filter: &Filter) -> Vec<CandidateId> {
        self.fold.matching(filter)
    }

    /// Takes back this artist's last standing edit (one record). Says what was taken back; `None` when nothing is left.
    pub fn undo(&mut self) -> Result<Option<String>, ReelError> {
        // Opening the journal may bring in records of this artist that another Besom wrote.
        self.open_writer()?;
        let Some(edit) = self.stacks.to_undo().and_then(|i| self.fold.records.get(i)) else { return Ok(None) };
        let words = edit.deed.words();
        let of = edit.sequence;
        self.commit(Deed::Undo { of })?;
        Ok(Some(words))
    }

    /// Takes back the last undo, unless an edit was made since. Says what stands again.
    pub fn redo(&mut self) -> Result<Option<String>, ReelError> {
        self.open_writer()?;
        let Some((edit, undo)) = self.stacks.to_redo() else { return Ok(None) };
        let Some((edit, undo)) = self.fold.records.get(edit).zip(self.fold.records.get(undo)) else { return Ok(None) };
        let words = edit.deed.words();
        let of = undo.sequence;
        self.commit(Deed::Undo { of })?;
        Ok(Some(words))
    }

    /// What [`Reel::undo`] would take back.
    pub fn undo_words(&self) -> Option<String> {
        self.fold.records.get(self.stacks.to_undo()?).map(|r| r.deed.words())
    }

    /// What [`Reel::redo`] would bring back.
    pub fn redo_words(&self) -> Option<String> {
        self.fold.records.get(self.stacks.to_redo()?.0).map(|r| r.deed.words())
    }

    /// Opens this artist's journal, unless it is open; reads it again if another Besom added to it.
    fn open_writer(&mut self) -> Result<(), ReelError> {
        let Some(artist) = &self.artist else { return Err(read_only()) };
        if self.writer.is_none() {
            let (writer, journal) = Writer::open(&self.folder, artist)?;
            let grown = journal.all_bytes != self.own_bytes;
            let cut = journal.good_bytes != journal.all_bytes || journal.unended;
            self.writer = Some(writer);
            if grown || cut {
                self.refresh()?;
            }
        }
        Ok(())
    }

    fn commit(&mut self, deed: Deed) -> Result<Receipt, ReelError> {
        self.open_writer()?;
        let Some(artist) = self.artist.as_ref().map(|a| a.as_str().to_owned()) else { return Err(read_only()) };
        let sequence = self.stacks.highest() + 1;
        let record = Record { time: self.next_time(), artist, sequence, deed };
        let Some(writer) = self.writer.as_mut() else { return Err(read_only()) };
        if let Err(error) = writer.append(&record) {
            // What the file holds now is not certain: the next record opens and reads it again.
            self.writer = None;
            return Err(error);
        }
        let words = record.deed.words();
        let Effect { matched, changed } = self.fold.append(record);
        self.stacks.push_last(&self.fold.records);
        Ok(Receipt { sequence, matched, changed, words })
    }

    /// Now, to the microsecond, but later than every record that is known.
    fn next_time(&self) -> Timestamp {
        let now = Timestamp::now();
        let now = now.round(Unit::Microsecond).unwrap_or(now);
        let after = self.fold.records.last().and_then(|r| r.time.checked_add(SignedDuration::from_micros(1)).ok());
        after.map_or(now, |after| after.max(now))
    }

    /// Checks an edit and turns it into what the journal keeps.
    fn resolve(&self, edit: Edit) -> Result<Deed, ReelError> {
        Ok(match edit {
            Edit::Decide { ids, decision } => {
                Deed::Decide { decision, spots: self.spots(ids)?, group: None, examples: 0 }
            }
            Edit::DecideAlike { ids, decision } => {
                Deed::Decide { decision, spots: self.spots(ids)?, group: None, examples: 1 }
            }
            Edit::DecideGroup { id, decision } => {
                let group = self.group(id).ok_or_else(|| ReelError::request(format!("there is no group {id}")))?;
                let members = self.group_members(&group);
                if members.is_empty() {
                    return Err(ReelError::request(format!("no member of {id} is shown at this sensitivity")));
                }
                let spots = members.into_iter().map(|id| self.spot(id)).collect::<Result<_, _>>()?;
                Deed::Decide { decision, spots, group: Some(id.kind), examples: 0 }
            }
            Edit::Rule { decision, filter } => {
                self.check_filter(&filter)?;
                let stretches = self.fold.stretches(&filter);
                let learned = self.fold.learned_for(&filter, &stretches);
                Deed::Rule { decision, stretches, filter, learned }
            }
            Edit::Protect { rect, first, last, note } => self.protect(&rect, first, last, note)?,
            Edit::ProtectShape { mask, first, last, note } => self.protect_shape(&mask, first, last, note)?,
            Edit::ChangeRegion { id, mask, first, last, note } => self.change_region(id, &mask, (first, last), note)?,
            Edit::Unprotect { id } => self.unprotect(id)?,
            Edit::Sensitivity { shot, value } => {
                check_confidence(value)?;
                let scans = shot.map(|shot| self.scans_of(shot)).transpose()?;
                Deed::Sensitivity { scans, value }
            }
            Edit::Learning { shot, on } => Deed::Learning { scans: self.scans_of(shot)?, on },
            Edit::TakeProposals { shot, decision } => self.take_proposals(shot, decision)?,
            Edit::FillChoice { id, choice } => Deed::FillChoice { spot: self.spot(id)?, choice },
            Edit::HandMark(mark) => self.hand_mark(mark)?,
            Edit::HandMarks { first, last, mask } => self.hand_marks(first, last, &mask)?,
            Edit::Reshape { ids, masks } => self.reshape(&ids, masks)?,
            Edit::Note { frame, text } => {
                if text.trim().is_empty() {
                    return Err(ReelError::request("a note needs words"));
                }
                if let Some(frame) = frame {
                    self.check_scan(frame)?;
                }
                Deed::Note { frame, text }
            }
            Edit::TimeSpent { seconds } => Deed::TimeSpent { seconds },
        })
    }

    fn take_proposals(&self, shot: usize, decision: Decision) -> Result<Deed, ReelError> {
        self.scans_of(shot)?;
        let learning = self.learning(shot);
        if learning.proposals.is_empty() {
            return Err(ReelError::request(format!(
                "shot {} proposes nothing: {}",
                shot + 1,
                learning
                    .words()
                    .unwrap_or_else(|| "nothing in it was called intended or rejected one by one".to_owned())
            )));
        }
        let spots = learning.proposals.iter().map(|id| self.spot(*id)).collect::<Result<_, _>>()?;
        Ok(Deed::Decide { decision, spots, group: None, examples: learning.belonging as u32 })
    }

    /// Of each candidate once, in order.
    fn spots(&self, mut ids: Vec<CandidateId>) -> Result<Vec<Spot>, ReelError> {
        ids.sort_unstable();
        ids.dedup();
        if ids.is_empty() {
            return Err(ReelError::request("no candidate was named"));
        }
        ids.into_iter().map(|id| self.spot(id)).collect()
    }

    pub(super) fn spot(&self, id: CandidateId) -> Result<Spot, ReelError> {
        let candidate = self
            .candidate(id)
            .ok_or_else(|| ReelError::request(format!("frame {} has no candidate {}", id.frame, id.index)))?;
        Ok(Spot {
            frame: id.frame,
            mask: candidate.mask.clone(),
            kind: candidate.kind,
            confidence: candidate.confidence,
        })
    }

    fn check_filter(&self, filter: &Filter) -> Result<(), ReelError> {
        if let Some(frames) = &filter.frames {
            self.check_scans(*frames.start(), *frames.end())?;
        }
        if let Some(shot) = filter.shot {
            self.scans_of(shot)?;
        }
        for bound in [filter.min_confidence, filter.max_confidence].into_iter().flatten() {
            check_confidence(bound)?;
        }
        match (filter.min_confidence, filter.max_confidence) {
            (Some(least), Some(most)) if least > most => {
                Err(ReelError::request(format!("no confidence is both at least {least} and at most {most}")))
            }
            _ => Ok(()),
        }
    }

    pub(super) fn check_scan(&self, frame: u64) -> Result<(), ReelError> {
        match self.position(frame) {
            Some(_) => Ok(()),
            None => Err(ReelError::request(format!("the reel has no frame {frame}"))),
        }
    }

    pub(super) fn check_scans(&self, first: u64, last: u64) -> Result<(), ReelError> {
        if first > last {
            return Err(ReelError::request(format!("frames {first} to {last} run backwards")));
        }
        if self.fold.places_of_scans(first, last).is_empty() {
            let (start, end) = (self.info.first, self.info.last);
            return Err(ReelError::request(format!(
                "frames {first} to {last} are not in the reel, which runs from {start} to {end}"
            )));
        }
        Ok(())
    }

    fn scans_of(&self, shot: usize) -> Result<(u64, u64), ReelError> {
        self.shots().get(shot).map(|s| (s.first, s.last)).ok_or_else(|| {
            ReelError::request(format!("there is no shot {shot}: the reel has {}, counted from 0", self.shots().len()))
        })
    }
}

fn check_confidence(value: f32) -> Result<(), ReelError> {
    if (0.0..=1.0).contains(&value) {
        Ok(())
    } else {
        Err(ReelError::request(format!("a confidence is between 0 and 1, which {value} is not")))
    }
}
