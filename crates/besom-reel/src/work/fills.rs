//! The fills of one frame of a reel, and the record of each.

use std::sync::Arc;

use besom_detect::Prepared;
use besom_motion::estimate_field;
use besom_scan::SampleEdit;

use crate::filling::{FillPlan, MIDDLE, WINDOW};
use crate::reel::Reel;

use super::places::Places;
use super::record::RepairEntry;
use super::repair::Loaded;
use super::walk::Held;

/// The repaired samples of a frame, and the record of each fill.
pub(super) struct FilledFrame {
    pub(super) edits: Vec<SampleEdit>,
    pub(super) entries: Vec<RepairEntry>,
}

/// Fills every accepted candidate of the frame at `place`.
///
/// # Errors
/// A clause that says why the frame cannot be read.
pub(super) fn fill_frame(
    reel: &Reel,
    places: &Places,
    place: usize,
    held: &Held<Loaded>,
) -> Result<FilledFrame, String> {
    let loaded = held.get(place).ok_or_else(|| "it was not read".to_owned())?.as_ref().map_err(Clone::clone)?;
    let at: [Option<usize>; WINDOW] = std::array::from_fn(|k| k as i64 - MIDDLE as i64)
        .map(|offset| if offset == 0 { Some(place) } else { places.neighbour(place, offset) })
        .map(|there| there.filter(|there| held.get(*there).is_some_and(Result::is_ok)));
    let numbers = at.map(|there| there.and_then(|there| places.entry(there)).map(|entry| entry.number));
    let Some(plan) = FillPlan::new(reel, &numbers, None) else {
        return Err("it belongs to no shot".to_owned());
    };
    let window: [Option<&Prepared>; WINDOW] =
        at.map(|there| there.and_then(|there| held.get(there)).and_then(|l| l.as_ref().ok()).map(|l| &l.prepared));
    let mut field = |from: usize, to: usize| {
        // The plan asks for frames that it was given.
        let (from, to) = (window[from].unwrap_or(&loaded.prepared), window[to].unwrap_or(&loaded.prepared));
        Arc::new(estimate_field(&from.pyramid, &to.pyramid))
    };
    let mut filled = FilledFrame { edits: Vec::new(), entries: Vec::new() };
    for fill in plan.fill(loaded.scan.frame(), &window, &mut field) {
        let Some(candidate) = reel.candidate(fill.id) else { continue };
        let number =
            |offset: &i32| usize::try_from(offset + MIDDLE as i32).ok().and_then(|k| numbers.get(k).copied().flatten());
        filled.edits.extend(fill.edits);
        filled.entries.push(RepairEntry {
            index: fill.id.index,
            bounds: candidate.bounds(),
            kind: candidate.kind.word().to_owned(),
            method: fill.method.to_string(),
            sources: fill.sources.iter().filter_map(number).collect(),
            rim_error: fill.rim_error,
            predicted_error: fill.predicted_error,
            mask: fill.mask,
        });
    }
    Ok(filled)
}
