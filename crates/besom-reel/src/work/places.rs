//! Where scans stand: ranges that people ask for, neighbours of one shot, chunks of a fixed grid.

use std::ops::RangeInclusive;

use crate::error::{ReelError, ReelErrorKind};
use crate::model::info::FrameEntry;
use crate::model::shot::Shot;
use crate::reel::Reel;

/// Scan numbers in one chunk of candidates: two seconds of film. A stopped detection loses at most this much work.
const CHUNK: u64 = 48;

/// The scans of a reel with their shots, for looking up neighbours.
pub(super) struct Places<'a> {
    entries: &'a [FrameEntry],
    /// For each entry, the shot it is in.
    shots: Vec<Option<&'a Shot>>,
}

impl<'a> Places<'a> {
    pub(super) fn new(entries: &'a [FrameEntry], shots: &'a [Shot]) -> Self {
        let shot_of = |entry: &FrameEntry| {
            let at = shots.partition_point(|shot| shot.last < entry.number);
            shots.get(at).filter(|shot| shot.contains(entry.number))
        };
        Self { entries, shots: entries.iter().map(shot_of).collect() }
    }

    pub(super) fn entry(&self, place: usize) -> Option<&'a FrameEntry> {
        self.entries.get(place)
    }

    pub(super) fn shot(&self, place: usize) -> Option<&'a Shot> {
        self.shots.get(place).copied().flatten()
    }

    /// The place of the scan `offset` frames away in the same shot; `None` when the number has no usable scan.
    pub(super) fn neighbour(&self, place: usize, offset: i64) -> Option<usize> {
        let number = self.entries.get(place)?.number.checked_add_signed(offset)?;
        let there = self.entries.binary_search_by_key(&number, |e| e.number).ok()?;
        let usable = self.entries.get(there).is_some_and(|e| e.problem.is_none());
        let together = self.shot(place).is_some_and(|shot| shot.contains(number));
        (usable && together).then_some(there)
    }

    /// A place and its usable neighbours up to two frames away.
    pub(super) fn around(&self, place: usize) -> Vec<usize> {
        (-2..=2).filter_map(|offset| if offset == 0 { Some(place) } else { self.neighbour(place, offset) }).collect()
    }
}

/// The places of the scans in a range; all scans without one.
///
/// # Errors
/// When the range holds no scan of the reel.
pub(super) fn places_in(reel: &Reel, range: Option<&RangeInclusive<u64>>) -> Result<Vec<usize>, ReelError> {
    let entries = reel.frames();
    let Some(range) = range else { return Ok((0..entries.len()).collect()) };
    let inside: Vec<usize> =
        (0..entries.len()).filter(|p| entries.get(*p).is_some_and(|e| range.contains(&e.number))).collect();
    if inside.is_empty() {
        let (folder, info) = (reel.folder().display(), reel.info());
        let (start, end) = (range.start(), range.end());
        let sentence =
            format!("{folder}: there are no frames {start}-{end}, the reel has {} to {}", info.first, info.last);
        return Err(ReelError::new(ReelErrorKind::Request, sentence));
    }
    Ok(inside)
}

/// The chunk of the reel's fixed grid that a scan falls into, as first and last number. The grid starts at the reel's
/// first scan, so that any split of the work yields the same chunks once it is assembled.
pub(super) fn cell_of(number: u64, reel_first: u64, reel_last: u64) -> (u64, u64) {
    let first = reel_first + (number.saturating_sub(reel_first) / CHUNK) * CHUNK;
    (first, (first + (CHUNK - 1)).min(reel_last))
}

/// Sorted numbers as ranges: `12, 40-52`.
pub(super) fn in_words(numbers: &[u64]) -> String {
    let mut ranges: Vec<(u64, u64)> = Vec::new();
    for number in numbers {
        match ranges.last_mut() {
            Some((_, last)) if *last + 1 == *number => *last = *number,
            _ => ranges.push((*number, *number)),
        }
    }
    let word = |(a, b): (u64, u64)| if a == b { a.to_string() } else { format!("{a}-{b}") };
    ranges.into_iter().map(word).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;

    use besom_detect::Grain;

    use super::*;
    use crate::model::shot::Dirt;

    fn shot(index: usize, first: u64, last: u64) -> Shot {
        Shot { index, first, last, grain: Grain::flat(3, 7.0), dirt: Dirt::default(), odd: Vec::new() }
    }

    #[test]
    fn neighbours_stay_in_the_shot_and_do_without_damaged_or_missing_scans() {
        let entry = |number: u64| FrameEntry {
            number,
            path: PathBuf::new(),
            problem: (number == 14).then(|| "it is cut short".to_owned()),
        };
        let entries: Vec<FrameEntry> = (10..20).filter(|n| *n != 17).map(entry).collect();
        let shots = [shot(0, 10, 12), shot(1, 13, 19)];
        let places = Places::new(&entries, &shots);
        let around = |number: u64| {
            let place = entries.iter().position(|e| e.number == number).unwrap_or_default();
            places.around(place).into_iter().map(|p| entries[p].number).collect::<Vec<_>>()
        };
        assert_eq!(around(10), [10, 11, 12]);
        assert_eq!(around(12), [10, 11, 12]);
        assert_eq!(around(13), [13, 15]);
        assert_eq!(around(16), [15, 16, 18]);
        assert_eq!(around(19), [18, 19]);
    }

    #[test]
    fn the_grid_starts_at_the_reel() {
        assert_eq!(cell_of(100, 100, 240), (100, 147));
        assert_eq!(cell_of(147, 100, 240), (100, 147));
        assert_eq!(cell_of(148, 100, 240), (148, 195));
        assert_eq!(cell_of(240, 100, 240), (196, 240));
        assert_eq!(in_words(&[1, 2, 3, 7, 9, 10]), "1-3, 7, 9-10");
    }
}
