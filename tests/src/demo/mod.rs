//! The whole loop on real documents, a real server and real files: an invented club trains for
//! eight weeks, two phones go offline, both coaches change the same session at home, the phones
//! come back, and everybody sees what was asked, shown and done.

pub mod care;
pub mod check;
pub mod evening;
pub mod evening_check;
pub mod machine;
pub mod rulings;
pub mod stage;
pub mod story;
pub mod test_day;
