//! Tests that look at more than one crate, or at what the whole promises.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::string_slice,
    clippy::allow_attributes,
    reason = "helpers of tests fail by panicking"
)]

mod api;
mod aside;
mod carried_heard;
mod carry;
mod doors;
mod doors_folder;
mod erasure;
mod exchange_doc;
mod export;
mod formats;
mod fuzz;
mod golden;
mod kill;
mod layout;
mod merge_laws;
mod naming;
mod news;
mod phones;
mod phones_refused;
mod postgres;
mod projection;
mod restore;
mod traps;
mod unread;
mod wire_fixtures;
