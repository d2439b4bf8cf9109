//! The proposed repair of one frame: the fills of what is accepted there and of the candidate in hand, computed as the
//! repair itself computes them, so that what is seen is what will be written.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use besom_detect::Prepared;
use besom_motion::{MotionField, estimate_field};
use besom_reel::{CandidateId, FillPlan};
use besom_scan::{FrameCache, SampleEdit};

use super::evidence::{CROPS, REACH};

/// Prepared frames kept: stepping through a frame's candidates, and on to the next frame, finds its neighbours ready.
const KEPT: usize = 6;

/// What a repair would change.
#[derive(Clone, Debug, Default)]
pub(crate) struct Proposal {
    /// Changed samples.
    pub(crate) edits: Vec<SampleEdit>,
    /// Candidates filled.
    pub(crate) filled: usize,
    /// For the candidate in hand: where its fill comes from, and how well it is expected to sit.
    pub(crate) hand: Option<HandFill>,
}

/// The fill of the candidate in hand.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct HandFill {
    /// In words.
    pub(crate) method: String,
    /// Predicted error inside, in codes; grain included.
    pub(crate) error: Option<f32>,
}

/// Computes proposals; keeps what neighbouring candidates share.
#[derive(Default)]
pub(crate) struct Proposer {
    prepared: VecDeque<(PathBuf, Arc<Prepared>)>,
    fields: VecDeque<((PathBuf, PathBuf), Arc<MotionField>)>,
}

impl Proposer {
    /// The proposal for the middle one of `paths`.
    ///
    /// # Errors
    /// A sentence that says why a file cannot be read.
    pub(crate) fn propose(
        &mut self,
        plan: &FillPlan,
        hand: Option<CandidateId>,
        paths: &[Option<PathBuf>; CROPS],
        cache: &FrameCache,
    ) -> Result<Proposal, String> {
        let Some(path) = &paths[REACH] else { return Ok(Proposal::default()) };
        if plan.is_empty() {
            return Ok(Proposal::default());
        }
        let scan = cache.get(path).map_err(|e| e.to_string())?;
        let current = self.prepared(path, cache)?;
        let mut window: [Option<Arc<Prepared>>; CROPS] = Default::default();
        for (slot, path) in window.iter_mut().zip(paths) {
            let Some(path) = path else { continue };
            *slot = self
                .prepared(path, cache)
                .ok()
                .filter(|p| (p.width(), p.height()) == (current.width(), current.height()));
        }
        let pictures: [Option<&Prepared>; CROPS] = std::array::from_fn(|k| window[k].as_deref());
        let mut field = |from: usize, to: usize| {
            let end = |k: usize| (paths[k].as_deref().unwrap_or(path), pictures[k].unwrap_or(&current));
            self.field(end(from), end(to))
        };
        let mut proposal = Proposal::default();
        for fill in plan.fill(scan.frame(), &pictures, &mut field) {
            proposal.edits.extend(fill.edits);
            proposal.filled += 1;
            if hand == Some(fill.id) {
                proposal.hand = Some(HandFill { method: fill.method.to_string(), error: fill.predicted_error });
            }
        }
        Ok(proposal)
    }

    fn prepared(&mut self, path: &Path, cache: &FrameCache) -> Result<Arc<Prepared>, String> {
        if let Some((_, found)) = self.prepared.iter().find(|(p, _)| p == path) {
            return Ok(Arc::clone(found));
        }
        let scan = cache.get(path).map_err(|e| e.to_string())?;
        let prepared = Prepared::new(scan.frame().analysis())
            .ok_or_else(|| format!("{}: it holds no picture.", path.display()))?;
        let prepared = Arc::new(prepared);
        self.prepared.push_front((path.to_owned(), Arc::clone(&prepared)));
        self.prepared.truncate(KEPT);
        Ok(prepared)
    }

    fn field(&mut self, from: (&Path, &Prepared), to: (&Path, &Prepared)) -> Arc<MotionField> {
        let key = (from.0.to_owned(), to.0.to_owned());
        if let Some((_, found)) = self.fields.iter().find(|(k, _)| *k == key) {
            return Arc::clone(found);
        }
        let field = Arc::new(estimate_field(&from.1.pyramid, &to.1.pyramid));
        self.fields.push_front((key, Arc::clone(&field)));
        self.fields.truncate(2 * KEPT);
        field
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use besom_reel::work::{self, RepairOptions};
    use besom_reel::{Decision, Edit, FillChoice, Reel};
    use besom_scan::{Scan, Silent};

    use crate::small_reel as small;

    /// The window must show what the repair will write, sample for sample.
    #[test]
    fn what_is_proposed_is_what_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = small::reel(folder.path());
        let mut reel = Reel::open(&path, "Ines").unwrap();
        let frame = small::FIRST + 3;
        let ids: Vec<CandidateId> = (0..reel.candidates(frame).len() as u32)
            .map(|i| CandidateId::new(frame, i))
            .filter(|id| reel.asks(*id))
            .collect();
        assert!(ids.len() >= 3, "the specks of this frame are found");
        reel.record(Edit::FillChoice { id: ids[0], choice: FillChoice::Previous }).unwrap();
        reel.record(Edit::Decide { ids: ids.clone(), decision: Decision::Accepted }).unwrap();

        let frames = [-2i64, -1, 0, 1, 2].map(|o| frame.checked_add_signed(o).filter(|f| reel.position(*f).is_some()));
        let paths = frames.map(|f| f.map(|f| reel.frames()[reel.position(f).unwrap()].path.clone()));
        let plan = FillPlan::new(&reel, &frames, Some(ids[0])).unwrap();
        let proposal = Proposer::default().propose(&plan, Some(ids[0]), &paths, &FrameCache::new(1 << 24)).unwrap();
        assert_eq!(proposal.filled, ids.len());
        assert!(proposal.hand.is_some());

        let to = folder.path().join("repaired");
        work::repair(&path, &to, &RepairOptions::default(), &Silent).unwrap();
        let source = Scan::read(paths[REACH].as_ref().unwrap()).unwrap();
        let written = Scan::read(&to.join(paths[REACH].as_ref().unwrap().file_name().unwrap())).unwrap();
        assert_eq!(source.patched(&proposal.edits).unwrap(), written.bytes());
        assert_ne!(source.bytes(), written.bytes());
    }
}
