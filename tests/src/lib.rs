//! What the cross-crate tests share: replicas on invented installs, deeds made from random numbers,
//! documents as comparable content, an invented club at work. Test code: it may panic, and nothing of the product uses it.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::allow_attributes,
    reason = "a helper of tests fails by panicking"
)]

pub mod clock;
pub mod club;
pub mod content;
pub mod deed;
pub mod demo;
pub mod drill;
pub mod formats;
pub mod frozen;
pub mod fuzz;
pub mod keys;
pub mod replica;
pub mod rng;
pub mod sim;
pub mod stand;
pub mod table;
