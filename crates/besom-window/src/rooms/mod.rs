//! The rooms. Each reads the desk and pushes commands; what it remembers is only how one looks at things.

pub(crate) mod bench;
pub(crate) mod ledger;
pub(crate) mod start;
pub(crate) mod survey;
