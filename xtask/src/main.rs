//! Every command that a contributor or CI runs.
fn main() {}
