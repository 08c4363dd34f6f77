//! The pages for athlete and coach: core in the browser. All logic is plain Rust that is tested on the host; what
//! only a browser has is behind small doors. Must know no rule of training that core does not have.

pub mod athlete;
pub mod chart;
pub mod coach;
pub mod common;
pub mod deed;
pub mod desk;
pub mod device;
pub mod enrol;
pub mod error;
#[cfg(feature = "gallery")]
pub mod gallery;
pub mod hub;
pub mod kit;
pub mod parse;
pub mod part;
pub mod platform;
mod renewal;
pub mod root;
pub mod route;
pub mod saved;
pub mod screens;
pub mod settings;
mod start;
pub mod trend;
pub mod trial;
pub mod welcome;
pub mod words;

pub use start::{busy, start};
