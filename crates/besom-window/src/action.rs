//! Everything a person can ask of the window, once: label, key, tooltip and help sheet all read this table, and buttons
//! and key handling run the same actions. The keys here are those that Besom comes with; which ones count is said by the
//! [`crate::keymap::Keymap`].
//!
//! Keys come from the words (A accepts, R rejects, I marks as intended, U is undecided, P protects, H marks by
//! hand, F fits) and from the
//! hand's rest position (arrows move: left and right through frames, up and down through candidates).

use egui::{Context, Key, KeyboardShortcut, Modifiers};

use crate::keymap::Keymap;

/// A heading of the help sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Group {
    /// Moving through the reel.
    Move,
    /// Deciding about candidates.
    Decide,
    /// Drawing marks and protected regions.
    Draw,
    /// Looking at the picture.
    Look,
    /// Long work and the reel as a whole.
    Work,
}

impl Group {
    pub(crate) const ALL: [Self; 5] = [Self::Move, Self::Decide, Self::Look, Self::Draw, Self::Work];

    pub(crate) const fn label(self) -> &'static str {
        match self {
            Self::Move => "Move",
            Self::Decide => "Decide",
            Self::Draw => "Draw",
            Self::Look => "Look",
            Self::Work => "Reel and rooms",
        }
    }
}

/// An action of the user.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Action {
    /// The next frame.
    NextFrame,
    /// The frame before.
    PreviousFrame,
    /// The next frame that shows undecided candidates.
    NextFlagged,
    /// The frame before that shows undecided candidates.
    PreviousFlagged,
    /// The next candidate in the list's order.
    NextCandidate,
    /// The candidate before.
    PreviousCandidate,
    /// The next candidate without a decision.
    NextUndecided,
    /// The first frame of the next shot.
    NextShot,
    /// The first frame of this shot, then of the one before.
    PreviousShot,
    /// The reel's first frame.
    FirstFrame,
    /// The reel's last frame.
    LastFrame,
    /// Puts the cursor into the frame number.
    GoTo,
    /// The list by risk, or in the frame's order.
    WorstFirst,
    /// Accept the candidate in hand.
    Accept,
    /// Reject the candidate in hand.
    Reject,
    /// Mark the candidate in hand as intended.
    Intend,
    /// Take the decision back.
    Unset,
    /// Decide as the last time.
    SameAgain,
    /// Accept every undecided candidate shown in this frame.
    AcceptFrame,
    /// Reject every undecided candidate shown in this frame.
    RejectFrame,
    /// Take the group of the candidate in hand whole.
    WholeGroup,
    /// Decide all of this shot that are like the candidate in hand.
    AllAlike,
    /// Decide everything of this shot above the slider.
    AllAbove,
    /// Decide all that the shot's examples propose.
    TakeProposals,
    /// Switch the shot's learning on or off.
    Learn,
    /// One pixel more all around.
    Grow,
    /// One pixel less all around.
    Shrink,
    /// Each connected part for itself.
    Part,
    /// One with the nearest other candidate.
    Join,
    /// Paint the shape of the candidate in hand.
    PaintShape,
    /// Repair from another source.
    NextSource,
    /// Show more candidates in this shot.
    ShowMore,
    /// Show fewer candidates in this shot.
    ShowFewer,
    /// Draw a protected region.
    Protect,
    /// Mark by hand what was not found.
    Mark,
    /// Draw with the next tool.
    NextTool,
    /// A narrower brush.
    Narrower,
    /// A broader brush.
    Broader,
    /// Paint where the ring is, set a corner or an end there.
    PutDown,
    /// The same, taking away.
    TakeAway,
    /// Move the ring left.
    RingLeft,
    /// Move the ring right.
    RingRight,
    /// Move the ring up.
    RingUp,
    /// Move the ring down.
    RingDown,
    /// Close the outline, or record what is drawn.
    Finish,
    /// Undo.
    Undo,
    /// Redo.
    Redo,
    /// Before or after.
    Flip,
    /// Before and after parted by a line.
    Split,
    /// Flip by itself.
    AutoFlip,
    /// Outlines on or off.
    Outlines,
    /// The viewing controls.
    Viewing,
    /// The whole frame.
    Fit,
    /// One screen pixel a picture pixel.
    OneToOne,
    /// Two to one.
    TwoToOne,
    /// Four to one.
    FourToOne,
    /// Larger.
    ZoomIn,
    /// Smaller.
    ZoomOut,
    /// The candidate in hand into the middle.
    Centre,
    /// Move the picture's window left.
    PanLeft,
    /// Move the picture's window right.
    PanRight,
    /// Move the picture's window up.
    PanUp,
    /// Move the picture's window down.
    PanDown,
    /// The whole window larger.
    LargerWindow,
    /// The whole window smaller.
    SmallerWindow,
    /// The preferences.
    Preferences,
    /// The help sheet.
    Help,
    /// The Survey.
    Survey,
    /// The Bench.
    Bench,
    /// The Ledger.
    Ledger,
    /// The first screen.
    Start,
    /// Find candidates in the whole reel.
    Detect,
    /// Repair what is accepted.
    Repair,
    /// Verify repaired frames.
    Verify,
    /// Stop the work under way.
    Stop,
}

/// What the table says of an action.
pub(crate) struct Entry {
    pub(crate) action: Action,
    /// Its name in stored preferences: never changed once it was released.
    pub(crate) name: &'static str,
    pub(crate) group: Group,
    /// On buttons and in the help sheet. Sentence case.
    pub(crate) label: &'static str,
    /// What it does, in one sentence, for the tooltip.
    pub(crate) hint: &'static str,
    /// The keys Besom comes with. The first is shown on controls.
    pub(crate) keys: &'static [KeyboardShortcut],
}

const fn plain(key: Key) -> KeyboardShortcut {
    KeyboardShortcut::new(Modifiers::NONE, key)
}
const fn shift(key: Key) -> KeyboardShortcut {
    KeyboardShortcut::new(Modifiers::SHIFT, key)
}
const fn alt(key: Key) -> KeyboardShortcut {
    KeyboardShortcut::new(Modifiers::ALT, key)
}
const fn ctrl(key: Key) -> KeyboardShortcut {
    KeyboardShortcut::new(Modifiers::COMMAND, key)
}
const fn ctrl_shift(key: Key) -> KeyboardShortcut {
    KeyboardShortcut::new(Modifiers { alt: false, ctrl: false, shift: true, mac_cmd: false, command: true }, key)
}

macro_rules! table {
    ($($group:ident { $($action:ident [$($key:expr),*] $label:literal, $hint:literal;)* })*) => {
        /// The table, in the order of the help sheet.
        pub(crate) const TABLE: &[Entry] = &[$($(Entry {
            action: Action::$action, name: stringify!($action), group: Group::$group, label: $label, hint: $hint, keys: &[$($key),*],
        },)*)*];
    };
}

table! {
    Move {
        NextFrame [plain(Key::ArrowRight)] "Next frame", "One frame on";
        PreviousFrame [plain(Key::ArrowLeft)] "Previous frame", "One frame back";
        NextFlagged [shift(Key::ArrowRight)] "Next flagged frame", "The next frame that shows an undecided candidate";
        PreviousFlagged [shift(Key::ArrowLeft)] "Previous flagged frame", "The last frame before this that shows an undecided candidate";
        NextCandidate [plain(Key::ArrowDown)] "Next candidate", "The next candidate in the order of the list, over frame ends too";
        PreviousCandidate [plain(Key::ArrowUp)] "Previous candidate", "The candidate before in the order of the list";
        NextUndecided [plain(Key::N)] "Next undecided", "The next candidate without a decision";
        NextShot [plain(Key::PageDown)] "Next shot", "The first frame of the next shot";
        PreviousShot [plain(Key::PageUp)] "Previous shot", "The first frame of this shot, then of the one before";
        FirstFrame [plain(Key::Home)] "First frame", "The first frame of the reel";
        LastFrame [plain(Key::End)] "Last frame", "The last frame of the reel";
        GoTo [ctrl(Key::G)] "Go to frame", "Type where to go: a frame number, feet+frames such as 12+07, or a timecode such as 00:01:10:00";
        WorstFirst [plain(Key::W)] "Worst first", "List this frame's candidates by risk and size, or from top to bottom";
    }
    Decide {
        Accept [plain(Key::A)] "Accept", "It is damage: repair it, and on to the next";
        Reject [plain(Key::R)] "Reject", "It is no damage: leave it, and on to the next";
        Intend [plain(Key::I)] "Intended", "The film-makers put it there: never touch it, and on to the next";
        Unset [plain(Key::U)] "Undecided", "Take the decision on the candidate in hand back";
        SameAgain [plain(Key::S)] "Same again", "Give the candidate in hand the decision that you took last, and on to the next";
        AcceptFrame [shift(Key::A)] "Accept the rest of the frame", "Accept every undecided candidate shown in this frame that is not at risk of being part of the picture; one step to undo";
        RejectFrame [shift(Key::R)] "Reject the rest of the frame", "Reject every undecided candidate shown in this frame; one step to undo";
        WholeGroup [plain(Key::T)] "Whole group", "Take all of the cloud, line or gate mark that the candidate belongs to in hand: the next decision takes it as one, on every frame, and is one step to undo";
        AllAlike [plain(Key::K)] "All its kin", "Count the undecided candidates of this shot that are like the one in hand, then decide them in one step";
        AllAbove [shift(Key::E)] "All above the slider", "Count the undecided candidates of this shot from its sensitivity on, then decide them in one step";
        TakeProposals [shift(Key::I)] "Take proposals", "Decide everything in this shot that is proposed, as the marks it is like were decided; one step to undo";
        Learn [shift(Key::L)] "Learn", "Let this shot's undecided candidates that are like marks you called intended or rejected lose confidence and be proposed; off, every candidate has the detector's confidence again";
        NextSource [plain(Key::G)] "Get the fill elsewhere", "Fill from the automatic choice, the frame before, the frame after, or this frame's surroundings";
        ShowMore [plain(Key::M)] "Show more", "Raise the sensitivity of this shot by one hundredth";
        ShowFewer [plain(Key::L)] "Show less", "Lower the sensitivity of this shot by one hundredth";
        Undo [ctrl(Key::Z)] "Undo", "Take back your last step";
        Redo [ctrl_shift(Key::Z), ctrl(Key::Y)] "Redo", "Do again what was undone";
    }
    Draw {
        Mark [plain(Key::H)] "Mark by hand", "Paint over damage that was not found, in the frame that is shown or a range of frames; it is accepted at once";
        Protect [plain(Key::P)] "Protect a region", "Draw what no repair may touch, as a box, an outline or with the brush, and say for which frames";
        NextTool [shift(Key::H)] "Next way to draw", "Draw with the next tool: brush, outline, line or box";
        PaintShape [plain(Key::E)] "Edit the shape", "Paint over the shape of the candidate in hand, or take away from it";
        Grow [shift(Key::G)] "Grow", "One pixel more all around the candidate in hand; one step to undo";
        Shrink [shift(Key::S)] "Shrink", "One pixel less all around the candidate in hand; one step to undo";
        Part [shift(Key::J)] "Part", "Make each connected part of the candidate in hand a candidate of its own; one step to undo";
        Join [plain(Key::J)] "Join", "Make the candidate in hand one with the nearest other one that is shown; one step to undo";
        Narrower [plain(Key::Comma)] "Narrower", "A brush a fifth narrower, by a pixel at least";
        Broader [plain(Key::Period)] "Broader", "A brush a fifth broader, by a pixel at least";
        PutDown [plain(Key::D)] "Draw at the ring", "Paint where the ring is; with an outline or a line, set a corner or an end there";
        TakeAway [shift(Key::D)] "Take away at the ring", "Take away where the ring is; with an outline or a line, begin one that takes away";
        RingLeft [alt(Key::ArrowLeft)] "Ring left", "Move the ring left by a quarter of the brush";
        RingRight [alt(Key::ArrowRight)] "Ring right", "Move the ring right by a quarter of the brush";
        RingUp [alt(Key::ArrowUp)] "Ring up", "Move the ring up by a quarter of the brush";
        RingDown [alt(Key::ArrowDown)] "Ring down", "Move the ring down by a quarter of the brush";
        Finish [plain(Key::Enter)] "Close or record", "Close the outline that is begun; when none is, record what is drawn as one step";
    }
    Look {
        Flip [plain(Key::Space)] "Before / after", "Show the frame with the repair of what is accepted and of the candidate in hand, or as scanned";
        Split [plain(Key::B)] "Split", "Before on the left of a line, after on its right; drag the line, or move it with the arrows";
        AutoFlip [shift(Key::Space)] "Flip by itself", "Alternate before and after slowly. Caution: alternating pictures can affect people with photosensitive epilepsy; the rate stays under three flashes a second";
        Outlines [plain(Key::O)] "Outlines", "Show or hide the outlines of candidates and protected regions";
        Viewing [plain(Key::V)] "Viewing", "Exposure, contrast, channel and balance of the view; the scans stay as they are";
        Fit [plain(Key::F)] "Fit", "The whole frame";
        OneToOne [plain(Key::Num1)] "1:1", "One screen pixel for each pixel of the scan";
        TwoToOne [plain(Key::Num2)] "2:1", "Two screen pixels for each pixel of the scan";
        FourToOne [plain(Key::Num4)] "4:1", "Four screen pixels for each pixel of the scan";
        ZoomIn [plain(Key::Plus), plain(Key::Equals)] "Larger", "Enlarge about the middle; the wheel enlarges about the pointer";
        ZoomOut [plain(Key::Minus)] "Smaller", "Reduce about the middle";
        Centre [plain(Key::C)] "Centre", "Bring the candidate in hand into the middle";
        PanLeft [ctrl(Key::ArrowLeft)] "Pan left", "Move the view left";
        PanRight [ctrl(Key::ArrowRight)] "Pan right", "Move the view right";
        PanUp [ctrl(Key::ArrowUp)] "Pan up", "Move the view up";
        PanDown [ctrl(Key::ArrowDown)] "Pan down", "Move the view down";
    }
    Work {
        Survey [plain(Key::F2)] "Survey", "What arrived: frames, shots, dirt, problems";
        Bench [plain(Key::F3)] "Bench", "Review candidates and decide";
        Ledger [plain(Key::F4)] "Ledger", "Counts and progress";
        Detect [ctrl(Key::D)] "Find candidates", "Look for dust, hairs, lines and splices in every frame; runs in the background and keeps every decision";
        Repair [ctrl(Key::R)] "Repair accepted", "Write repaired frames into another folder; runs in the background, the scans stay as they are";
        Verify [ctrl(Key::E)] "Verify", "Prove that nothing outside accepted candidates has changed in the repaired frames";
        Stop [ctrl(Key::Period)] "Stop", "Stop the work under way";
        Start [ctrl(Key::O)] "Open", "Open other scans or another reel";
        LargerWindow [ctrl(Key::Plus), ctrl(Key::Equals)] "Larger window", "Everything in the window larger, letters and controls alike";
        SmallerWindow [ctrl(Key::Minus)] "Smaller window", "Everything in the window smaller, letters and controls alike";
        Preferences [ctrl(Key::Comma)] "Preferences", "Your name, how the window looks, and what it may use";
        Help [plain(Key::F1), plain(Key::Questionmark)] "Keys", "All keys on one sheet";
    }
}

impl Action {
    /// The table's entry.
    pub(crate) fn entry(self) -> &'static Entry {
        // Every variant stands in the table (a test holds it to that); the first entry is a harmless answer if not.
        TABLE.iter().find(|e| e.action == self).unwrap_or(&TABLE[0])
    }

    /// The label on buttons.
    pub(crate) fn label(self) -> &'static str {
        self.entry().label
    }

    /// The first key in words, as shown on controls: "Shift+Right"; nothing for an action whose keys were given away.
    pub(crate) fn key_text(self, ctx: &Context) -> String {
        Keymap::of(ctx).key_text(self)
    }

    /// The tooltip: what it does and its key.
    pub(crate) fn tooltip(self, ctx: &Context) -> String {
        Keymap::of(ctx).tooltip(self)
    }

    /// True for what concerns the window and no reel: sheets, and the size of everything.
    pub(crate) const fn is_about_window(self) -> bool {
        matches!(self, Self::Help | Self::Preferences | Self::LargerWindow | Self::SmallerWindow)
    }

    /// True for actions that do something to what is being drawn.
    pub(crate) const fn draws(self) -> bool {
        matches!(
            self,
            Self::NextTool
                | Self::Narrower
                | Self::Broader
                | Self::PutDown
                | Self::TakeAway
                | Self::RingLeft
                | Self::RingRight
                | Self::RingUp
                | Self::RingDown
        )
    }

    /// True for actions that make sense only on the Bench.
    pub(crate) fn needs_bench(self) -> bool {
        !matches!(self.entry().group, Group::Work) && !matches!(self, Self::Undo | Self::Redo)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_action_has_a_key_a_label_and_a_sentence() {
        let (mut labels, mut names) = (BTreeSet::new(), BTreeSet::new());
        for entry in TABLE {
            assert!(!entry.keys.is_empty(), "{:?}", entry.action);
            assert!(names.insert(entry.name), "{:?} stands twice", entry.action);
            assert!(labels.insert(entry.label), "two actions are labelled {}", entry.label);
            assert!(entry.hint.len() > 10);
            assert_eq!(entry.action.entry().label, entry.label);
        }
    }
}
