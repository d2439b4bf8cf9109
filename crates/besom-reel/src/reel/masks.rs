//! What a repair may change and what it may not.

use besom_detect::Candidate;
use besom_scan::RunMask;

use super::Reel;
use crate::model::decision::{CandidateId, Decision, FillChoice};

impl Reel {
    /// The accepted candidates of a scan with the fill that was asked for. Their masks are as detected: subtract
    /// [`Reel::untouchable_mask`] after growing them.
    pub fn accepted(&self, frame: u64) -> Vec<(CandidateId, &Candidate, FillChoice)> {
        let Some(state) = self.fold.frame(frame) else { return Vec::new() };
        let all = (0u32..).zip(state.candidates.iter().zip(&state.verdicts));
        all.filter(|(_, (_, verdict))| verdict.decision == Decision::Accepted)
            .map(|(index, (candidate, verdict))| (CandidateId::new(frame, index), candidate, verdict.choice))
            .collect()
    }

    /// The pixels of a scan that protected regions cover.
    pub fn protected_mask(&self, frame: u64) -> RunMask {
        let here = self.regions().iter().filter(|r| r.covers(frame));
        RunMask::from_runs(here.flat_map(|r| r.pixels().runs().to_vec()).collect())
    }

    /// The pixels of a scan that no repair may change: protected regions, rejected and intended candidates.
    pub fn untouchable_mask(&self, frame: u64) -> RunMask {
        let mut runs = self.protected_mask(frame).runs().to_vec();
        if let Some(state) = self.fold.frame(frame) {
            let kept = |d: Decision| matches!(d, Decision::Rejected | Decision::Intended);
            for (candidate, _) in state.candidates.iter().zip(&state.verdicts).filter(|(_, v)| kept(v.decision)) {
                runs.extend_from_slice(candidate.mask.runs());
            }
        }
        RunMask::from_runs(runs)
    }
}
