//! What panels ask for. Rooms read the desk and push commands; one place executes them (see [`crate::app`]).

use std::path::PathBuf;

use besom_reel::{By, CandidateId, Decision, FillChoice, RegionId};

use crate::action::Action;
use crate::background::Pick;
use crate::keymap::Keymap;
use crate::preferences::Preferences;

/// Something to be done after the panels are drawn.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Command {
    /// Run an action of the table.
    Do(Action),
    /// Open a reel folder, or start a reel on what is not one.
    Open(PathBuf),
    /// Make a reel folder for scans.
    StartReel { scans: PathBuf, reel: PathBuf },
    /// Make and open the demo reel.
    Demo,
    /// Open a system dialog.
    Pick(Pick),
    /// Go to a position of the reel.
    Go(usize),
    /// Go to a position and to the Bench.
    GoToBench(usize),
    /// Take a candidate in hand.
    Take(CandidateId),
    /// Show what a shot's sensitivity would show.
    TrySensitivity(usize, f32),
    /// Record a shot's sensitivity.
    SetSensitivity(usize, f32),
    /// Record where a fill comes from.
    SetFill(CandidateId, FillChoice),
    /// End a protection.
    Unprotect(RegionId),
    /// Rows of the Ledger.
    LedgerBy(By),
    /// Write repaired frames.
    RepairTo(PathBuf),
    /// Verify repaired frames.
    VerifyIn(PathBuf),
    /// Forget a path of the recent reels.
    Forget(PathBuf),
    /// Decide all that was counted.
    DecideBulk(Decision),
    /// Decide none of it.
    LeaveBulk,
    /// From now on this is preferred.
    Prefer(Box<Preferences>),
    /// From now on these keys count.
    SetKeys(Keymap),
    /// Close what lies over the room.
    CloseOver,
}
