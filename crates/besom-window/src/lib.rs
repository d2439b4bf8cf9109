//! The window: Survey, Bench and Ledger.
