//! Frames damaged whole and splice marks, found while the survey reads the reel.

use std::collections::BTreeMap;

use besom_detect::whole::{Sketch, all};
use besom_scan::Sequence;
use rayon::prelude::*;

use super::frames::planes;
use crate::model::shot::OddFrame;

/// Surer than this, or it is not told.
const TOLD: f32 = 0.2;

/// What passes by: a few sketches at a time, and what was found so far by place.
#[derive(Default)]
pub(super) struct Oddities {
    /// Place, scan number and sketch, by rising place.
    held: Vec<(usize, u64, Option<Sketch>)>,
    next: usize,
    found: BTreeMap<usize, Vec<OddFrame>>,
}

impl Oddities {
    /// Takes the next frames and judges those whose neighbours are all known.
    pub(super) fn add(&mut self, frames: Vec<(usize, u64, Option<Sketch>)>) {
        self.held.extend(frames);
        let end = self.held.last().map_or(0, |(place, _, _)| place.saturating_sub(1));
        self.judge(end);
    }

    /// Judges every frame before place `end`.
    fn judge(&mut self, end: usize) {
        let judged: Vec<(usize, Vec<OddFrame>)> =
            (self.next..end).into_par_iter().map(|place| (place, odd_at(&self.held, place))).collect();
        self.found.extend(judged.into_iter().filter(|(_, odd)| !odd.is_empty()));
        self.next = self.next.max(end);
        let keep = self.next.saturating_sub(2);
        self.held.retain(|(place, _, _)| *place >= keep);
    }

    /// What was found, by place, once the shots are known: `bounds` are the first places of all shots and the number of
    /// scans. The frames beside a cut are read and judged again, each without the other shot's, as the detection sees them.
    pub(super) fn finish(
        mut self,
        sequence: &Sequence,
        size: (usize, usize, usize),
        bounds: &[usize],
    ) -> BTreeMap<usize, Vec<OddFrame>> {
        self.judge(self.held.last().map_or(0, |(place, _, _)| place + 1));
        let sketch = |place: usize| {
            let frame = sequence.frames.get(place)?;
            let seen = planes(&frame.path, size).ok();
            Some((place, frame.number, seen.and_then(|planes| Sketch::new(&planes))))
        };
        for shot in bounds.windows(2) {
            let (first, end) = (shot[0], shot[1]);
            // The reel's own ends were judged rightly.
            let again =
                (first..end).filter(|p| (first > 0 && p - first < 2) || (end < sequence.frames.len() && end - p < 3));
            for place in again {
                let near: Vec<_> = (place.saturating_sub(2).max(first)..(place + 3).min(end))
                    .into_par_iter()
                    .filter_map(sketch)
                    .collect();
                self.found.remove(&place);
                let odd = odd_at(&near, place);
                if !odd.is_empty() {
                    self.found.insert(place, odd);
                }
            }
        }
        self.found
    }
}

/// What is odd about the frame at a place, seen with those of consecutive numbers around it.
fn odd_at(held: &[(usize, u64, Option<Sketch>)], place: usize) -> Vec<OddFrame> {
    let Ok(here) = held.binary_search_by_key(&place, |(place, _, _)| *place) else { return Vec::new() };
    let number = held[here].1;
    let at = |offset: i64| {
        let wanted = number.checked_add_signed(offset)?;
        held.iter().find(|(_, n, _)| *n == wanted).and_then(|(_, _, sketch)| sketch.as_ref())
    };
    let five = [at(-2), at(-1), at(0), at(1), at(2)];
    let told = all(&five).into_iter().filter(|odd| odd.confidence >= TOLD);
    told.map(|odd| OddFrame { frame: number, what: odd.what, confidence: odd.confidence }).collect()
}
