//! The fold: journals over candidates.
