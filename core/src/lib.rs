//! The whole domain of Backstraight: documents, rules, formulas and the exchange.
//!
//! The crate does nothing on its own: no clock, no random, no disk, no network, no threads.
//! Time and chance are handed in; bytes are handed out. Inside, left never knows right:
//! [`base`] → [`science`] → [`model`] → [`doc`] → [`view`] → [`exchange`] → [`device`].
#![deny(clippy::expect_used, clippy::panic, clippy::indexing_slicing)]

pub mod base;
pub mod device;
pub mod doc;
pub mod exchange;
pub mod model;
pub mod science;
pub mod view;
