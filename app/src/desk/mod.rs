//! The coach's desk: plans week by week, the library, test days. Screens show what documents hold and turn what is
//! typed into commands, so all of it works without a signal; no rule of training is here.

pub mod around;
pub mod begin;
pub mod bench;
pub mod cell;
pub mod days;
pub mod deeds;
pub mod editor;
pub mod fields;
pub mod form;
pub mod give;
pub mod item;
pub mod library;
pub mod link;
pub mod many;
pub mod scene;
pub mod season;
pub mod strip;
pub mod tables;
pub mod testday;
pub mod undo;
pub mod week;
pub mod written;
