//! Helpers for the whole-road tests.
