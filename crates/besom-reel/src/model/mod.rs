//! What a reel is made of, as plain values that know of no file: facts, shots, decisions, regions, edits, records.

pub mod artist;
pub mod decision;
pub mod edit;
pub mod gauge;
pub mod group;
pub mod info;
pub mod infrared;
pub mod learned;
pub mod rate;
pub mod record;
pub mod shot;
