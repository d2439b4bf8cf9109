//! `besom-proof`: see DEVELOPERS.md.
fn main() {}
