//! The pages for athlete and coach: core in the browser. All logic is plain Rust that is tested on the host; what
//! only a browser has is behind small doors. Must know no rule of training that core does not have.

pub mod device;
pub mod enrol;
pub mod error;
pub mod hub;
pub mod platform;
mod start;

pub use start::{busy, start};
