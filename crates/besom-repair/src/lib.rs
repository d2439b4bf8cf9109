//! Repair of accepted defects from adjacent frames, grain kept.
