//! An invented athletics club: people, library, season plans and eight weeks of logs, the same for
//! the same seed and day. All names are made up.

pub mod ledger;
pub mod library;
pub mod logs;
pub mod people;
pub mod plans;
