//! The order of records, what stands of them, and what an artist can take back.

use std::collections::HashMap;

use crate::model::record::{Deed, Record};

/// Sorts records by (time, artist, sequence), drops those that are there twice, and says which contradict each other.
pub(super) fn in_order(mut records: Vec<Record>) -> (Vec<Record>, Vec<String>) {
    // Two different records with one name and one time can only come from a copied folder that went on under the same
    // name; their words then decide the order, so that it does not depend on which file was read first.
    records.sort_by(|a, b| key(a).cmp(&key(b)).then_with(|| format!("{:?}", a.deed).cmp(&format!("{:?}", b.deed))));
    records.dedup();
    let mut problems = Vec::new();
    let mut seen: HashMap<(&str, u64), usize> = HashMap::with_capacity(records.len());
    for record in &records {
        let times = seen.entry((&record.artist, record.sequence)).or_default();
        *times += 1;
        if *times == 2 {
            problems.push(format!(
                "the journals hold two different records number {} by {}; both count",
                record.sequence, record.artist
            ));
        }
    }
    (records, problems)
}

fn key(record: &Record) -> (jiff::Timestamp, &str, u64) {
    (record.time, &record.artist, record.sequence)
}

/// For each record, whether it stands. An undo that stands takes back the latest earlier record of its artist with the
/// number it names, be it an edit or an undo; time spent cannot be taken back.
pub(super) fn standing(records: &[Record]) -> Vec<bool> {
    let mut stands = vec![true; records.len()];
    if !records.iter().any(|r| matches!(r.deed, Deed::Undo { .. })) {
        return stands;
    }
    let targets = targets(records);
    // From the last to the first: whether an undo stands is known once all later records are.
    for index in (0..records.len()).rev() {
        if stands.get(index) == Some(&true)
            && let Some(target) = targets.get(index).copied().flatten()
            && let Some(stands) = stands.get_mut(target)
        {
            *stands = false;
        }
    }
    stands
}

/// For each record, the place of the record that it takes back.
fn targets(records: &[Record]) -> Vec<Option<usize>> {
    let mut places: HashMap<(&str, u64), usize> = HashMap::with_capacity(records.len());
    let mut targets = Vec::with_capacity(records.len());
    for (index, record) in records.iter().enumerate() {
        let target = match record.deed {
            Deed::Undo { of } => places.get(&(record.artist.as_str(), of)).copied(),
            _ => None,
        };
        let spent = |i: &usize| records.get(*i).is_some_and(|r| matches!(r.deed, Deed::TimeSpent { .. }));
        targets.push(target.filter(|i| !spent(i)));
        places.insert((&record.artist, record.sequence), index);
    }
    targets
}

/// What one artist can take back and bring back.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Stacks {
    /// Places of edits that stand, the last one last.
    done: Vec<usize>,
    /// Places of edits that were taken back, with the undo that did it, the last one last.
    undone: Vec<(usize, usize)>,
    highest: u64,
}

impl Stacks {
    /// The stacks after all records.
    pub(crate) fn of(records: &[Record], artist: &str) -> Self {
        let mut stacks = Self::default();
        let targets = targets(records);
        for (index, record) in records.iter().enumerate().filter(|(_, r)| r.artist == artist) {
            stacks.push(index, record, targets.get(index).copied().flatten(), records);
        }
        stacks
    }

    /// Takes in the record at the end, which is the artist's.
    pub(crate) fn push_last(&mut self, records: &[Record]) {
        let Some((record, index)) = records.last().zip(records.len().checked_sub(1)) else { return };
        let target = match record.deed {
            Deed::Undo { of } => {
                let earlier = records.get(..index).unwrap_or_default();
                earlier.iter().rposition(|r| r.sequence == of && r.artist == record.artist)
            }
            _ => None,
        };
        self.push(index, record, target, records);
    }

    fn push(&mut self, index: usize, record: &Record, target: Option<usize>, records: &[Record]) {
        self.highest = self.highest.max(record.sequence);
        if record.deed.undoable() {
            self.done.push(index);
            self.undone.clear();
        }
        let Some(target) = target else { return };
        if records.get(target).is_some_and(|r| r.deed.undoable()) {
            self.done.retain(|d| *d != target);
            self.undone.push((target, index));
        } else if let Some(place) = self.undone.iter().rposition(|(_, undo)| *undo == target) {
            let (edit, _) = self.undone.remove(place);
            self.done.push(edit);
        }
    }

    /// The highest number of the artist's records; 0 when there is none.
    pub(crate) const fn highest(&self) -> u64 {
        self.highest
    }

    /// The place of the edit that an undo would take back.
    pub(crate) fn to_undo(&self) -> Option<usize> {
        self.done.last().copied()
    }

    /// The places of the edit that a redo would bring back, and of the undo to take back for it.
    pub(crate) fn to_redo(&self) -> Option<(usize, usize)> {
        self.undone.last().copied()
    }
}
