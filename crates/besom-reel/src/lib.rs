//! The reel folder: shots, candidates, journal, decisions, counts, and the work that fills it.
//!
//! [`Reel`] is one reel opened by one artist. Its state is the fold of every artist's journal over the candidates that
//! the detector wrote: nothing is ever changed in place, so any number of people can work in one shared folder and any
//! two copies of a folder can be joined. The model ([`model`]) knows of no file; the files have types of their own
//! ([`mod@file`]); sums and tables are in [`ledger`]; long jobs are in [`work`].
#![forbid(unsafe_code)]

mod digits;
pub mod drawn;
pub mod error;
pub mod file;
pub mod filling;
mod fold;
pub mod footage;
pub mod ledger;
pub mod model;
pub mod reel;
pub mod timecode;
pub mod work;

pub use besom_detect::DEFAULT_SENSITIVITY;
pub use error::{ReelError, ReelErrorKind};
pub use filling::{FillPlan, Filled};
pub use fold::{Alike, AlikeDue, LessonDue, LessonSolved};
pub use ledger::{By, Counts, LedgerTable};
pub use model::artist::Artist;
pub use model::decision::{CandidateId, Decision, FillChoice};
pub use model::edit::{Edit, Filter, HandMark, Receipt, Region, RegionId};
pub use model::gauge::Gauge;
pub use model::group::{CandidateGroup, GroupId};
pub use model::info::{FrameEntry, Pattern, Problem, ReelInfo};
pub use model::infrared::{InfraredInfo, InfraredSource};
pub use model::learned::Learning;
pub use model::rate::Rate;
pub use model::record::{Deed, Record, Spot, Stretch};
pub use model::shot::{Dirt, Shot};
pub use reel::{Orphan, Reel, ShotGroups};
