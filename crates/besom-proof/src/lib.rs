//! Ageing of clean pictures, reference detectors, scores, training, and the demo reel's renderer.
#![forbid(unsafe_code)]

pub mod ageing;
pub mod demo;
pub mod figures;
pub mod peers;
pub mod score;
pub mod study;
pub mod train;
