//! The phone side: what an app needs to work alone for weeks. A folder holds one install's store;
//! "saved" is said only when the bytes are on disk. No rule of training lives here.
//!
//! [`phone::Phone`] is for Rust programs. `doors` are for apps in other languages: the same device and
//! store, with secrets in the key store of the platform and bytes carried by the app.

#[cfg(feature = "doors")]
pub mod doors;
pub mod error;
mod files;
pub mod identity;
pub mod news;
pub mod phone;
#[cfg(any(feature = "http", feature = "doors"))]
pub mod request;
pub mod store;
pub mod transport;

pub use backstraight_core as core;

#[cfg(feature = "doors")]
uniffi::setup_scaffolding!("backstraight");
