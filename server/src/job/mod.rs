//! Work on the data folder that no request waits for: each can be broken off and run again.

pub mod access;
pub mod apart;
pub mod backups;
pub mod check;
pub mod compact;
pub mod repair;
pub mod scrub;
