//! Groups on the desk: the cloud, line or gate mark that the candidate in hand belongs to, and taking it in hand whole.

use std::sync::Arc;

use besom_detect::GroupKind;
use besom_reel::{CandidateGroup, CandidateId};

use super::Desk;

impl Desk {
    /// The group of the candidate in hand.
    pub(crate) fn group(&self) -> Option<Arc<CandidateGroup>> {
        self.reel.group_of(self.hand?)
    }

    /// The group in hand as one: the next decision takes all of it.
    pub(crate) fn together(&self) -> Option<Arc<CandidateGroup>> {
        // Any step to another candidate lets go of the group, so that nobody decides what is no longer before them.
        if self.whole.is_some() && self.whole == self.hand { self.group() } else { None }
    }

    /// Takes the group of the candidate in hand whole, or lets go of it again; false when there is no group.
    pub(crate) fn toggle_together(&mut self) -> bool {
        let on = self.together().is_some();
        let found = self.group().is_some();
        self.whole = self.hand.filter(|_| found && !on);
        found
    }

    /// What a member's row says of its group: `in a cloud of 212`, `line over 18 frames`.
    pub(crate) fn belonging(&self, id: CandidateId) -> Option<String> {
        let group = self.reel.group_of(id)?;
        let words = self.reel.group_words(&group);
        Some(if group.id.kind == GroupKind::Cloud { format!("in a {words}") } else { words })
    }
}
