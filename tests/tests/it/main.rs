//! Tests that look at more than one crate, or at what the whole promises.

mod layout;
mod merge_laws;
mod traps;
