//! The coach's evening: the squad at a glance, whom to look at first, one athlete in full, what the rules propose,
//! people, best marks, reports. Reading screens ask the server and keep its last answer; what they change are
//! commands on documents. No rule of training is here.

pub mod answers;
pub mod asked;
pub mod athlete;
pub mod attention;
pub mod board;
pub mod board_rows;
pub mod care;
pub mod dose;
pub mod parts;
pub mod people;
pub mod proposals;
pub mod records;
pub mod reports;
pub mod wards;
