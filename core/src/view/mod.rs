//! Read models for screens, tables and reports: the same on phone, page and server. Writes nothing.

pub mod attention;
pub mod availability;
pub mod board;
pub mod caution;
pub mod check_in;
pub mod club;
pub mod done;
pub mod forecast;
pub mod judge;
pub mod library;
pub mod load;
pub mod marks;
pub mod maxima;
pub mod met;
pub mod planned;
pub mod plans;
mod progress;
pub mod proposal;
pub mod records;
pub mod resolve;
pub mod screen;
pub mod show;
pub mod speed;
pub mod state;
pub mod today;
pub mod volume;
pub mod why;
