//! The real `besom` in private folders: what it refuses, what it leaves behind, what it answers.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stderr)]

mod answers;
mod bad_scans;
mod bench;
mod damaged_reel;
mod demo;
mod groups;
mod infrared;
mod mark;
mod proposals;
mod same_bytes;
mod stopping;
mod targets;
