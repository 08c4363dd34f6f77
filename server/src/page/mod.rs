//! The page: files that were built before and are handed out as they are, to anybody. Knows no person, no document
//! and no screen.

mod answer;
mod files;

pub(crate) use answer::answer;
pub use files::Page;
