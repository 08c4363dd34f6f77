//! The phone side: what an app needs to work alone for weeks. A folder holds one install's store;
//! "saved" is said only when the bytes are on disk. No rule of training lives here.
//!
//! The doors for other languages are built on [`phone::Phone`].

pub mod error;
pub mod identity;
pub mod news;
pub mod phone;
pub mod store;
pub mod transport;

pub use backstraight_core as core;

#[cfg(feature = "doors")]
uniffi::setup_scaffolding!("backstraight");
