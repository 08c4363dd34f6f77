//! Screens that every home has: settings of this browser, help. They know no role beyond what they show.

pub mod clock;
pub mod help;
pub mod settings;
pub mod storage;
