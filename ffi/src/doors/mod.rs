//! Doors for apps in Kotlin, Swift and Python: one object on a folder ([`Install`]), records out, requests
//! in, few errors that an app can act on. Knows no rule of training and no screen.
//!
//! - Every call blocks for a short time, from any thread. Only an exchange, a copy and a look at the whole
//!   store take longer; they heed a [`StopFlag`].
//! - No lock is held while code of the app runs ([`outside`]), so an app may call back.
//! - A call that changes something returns when it is on disk.
//! - Days are texts such as `2026-11-25`, identities are texts that an app hands back as they are, numbers
//!   are whole with their unit in the name.

pub mod attention;
pub mod board;
pub mod check_in;
mod clock;
pub mod data;
pub mod error;
pub mod exchange;
mod hold;
pub mod install;
pub mod log;
pub mod outside;
pub mod plan;
pub mod sheet;
pub mod today;
pub mod trials;
mod vault;
mod work;

pub use clock::Now;
pub use error::DoorError;
pub use install::Install;
pub use outside::{Courier, KeyStore, Progress, StopFlag, Watcher};
pub use work::Receipt;

/// The surface of these doors as text; bindings are generated from the same.
const INTERFACE: &[u8] = include_bytes!("../../interface.txt");

/// What tells one surface from another: bindings hand in the mark of the surface that they were made for
/// when a folder is opened.
#[uniffi::export]
#[must_use]
pub fn interface_mark() -> String {
    const MARK: u64 = mark(INTERFACE);
    format!("{MARK:016x}")
}

/// The version of this library.
#[uniffi::export]
#[must_use]
pub fn library_version() -> String {
    env!("CARGO_PKG_VERSION").to_owned()
}

/// FNV-1a of 64 bits: tells versions apart, guards against nobody.
const fn mark(mut bytes: &[u8]) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325;
    while let [first, rest @ ..] = bytes {
        hash = (hash ^ *first as u64).wrapping_mul(0x0100_0000_01b3);
        bytes = rest;
    }
    hash
}
