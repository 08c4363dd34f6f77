//! What people read: board, athlete, session, as data for machines and as plain text of at most
//! 100 columns. Converts read models of core; holds no rule of training.

pub mod athlete;
pub mod attention;
pub mod board;
pub mod loads;
pub mod session;
pub mod tests;
mod text;
pub mod week;
pub mod weeks;
pub mod why;
