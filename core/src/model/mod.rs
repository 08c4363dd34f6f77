//! Plain values of the trade. Constructors keep the invariants; no document engine, no wire.
//!
//! Words: season, phase, week, session, group (exercises done together), prescription (one exercise
//! in a group), set, rep, contact, meet, library, squad, plan, log, notes, care.

pub mod any;
pub mod care;
pub mod log;
pub mod name;
pub mod number;
pub mod order;
pub mod packed;
pub mod plan;
pub mod rule;
pub mod spec;
pub mod told;
pub mod whole;
