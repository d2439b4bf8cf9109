//! Candidates in the shapes that people give them: grown, shrunk, painted over, parted, joined.

use std::sync::Arc;

use besom_detect::Candidate;
use besom_scan::RunMask;

use super::Effect;
use super::attach::Finder;
use super::frame::{FrameState, Touch, Verdict};
use crate::model::record::Spot;

impl FrameState {
    /// Gives the candidates that `spots` speak of the shapes `masks`. The first one found takes the first mask; further masks
    /// become candidates of their own with its facts and its verdict; further candidates go up in it and have no pixels any
    /// more. All keep their numbers, so that nothing else that was said of this frame is about another one now.
    pub(super) fn reshape(
        &mut self,
        touch: Touch,
        spots: &[Spot],
        masks: &[RunMask],
        artist: &str,
        finder: &mut Finder,
    ) -> Effect {
        finder.keep_up(&self.candidates);
        let mut places: Vec<usize> = Vec::new();
        for place in spots.iter().filter_map(|spot| finder.find(&self.candidates, &spot.mask, spot.kind)) {
            if !places.contains(&place) {
                places.push(place);
            }
        }
        let (Some((first, others)), Some((mask, parts))) = (places.split_first(), masks.split_first()) else {
            self.strays.push(touch);
            return Effect::default();
        };
        let candidates = Arc::make_mut(&mut self.candidates);
        for place in others {
            if let (Some(candidate), Some(verdict)) = (candidates.get_mut(*place), self.verdicts.get_mut(*place)) {
                (candidate.mask, *verdict) = (RunMask::default(), Verdict::default());
            }
        }
        let verdict = self.verdicts.get(*first).copied().unwrap_or_default();
        if let Some(candidate) = candidates.get_mut(*first) {
            candidate.mask.clone_from(mask);
            candidate.reasons.push(format!("its shape was changed by {artist}"));
            let part = |mask: &RunMask| Candidate { mask: mask.clone(), ..candidate.clone() };
            let parts: Vec<Candidate> = parts.iter().map(part).collect();
            self.verdicts.extend(parts.iter().map(|_| verdict));
            candidates.extend(parts);
        }
        // It knows candidates by their pixels.
        *finder = Finder::default();
        Effect { matched: places.len(), changed: places.len() }
    }
}
