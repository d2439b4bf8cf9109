//! The reel folder: shots, candidates, journal, decisions, counts, and the work that fills it.
