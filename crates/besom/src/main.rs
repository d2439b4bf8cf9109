//! `besom`: see the README.
fn main() {}
