//! Nudges: open streams are told that a document has news. What the news is, the exchange says.

mod hub;
mod stream;

pub use hub::{Full, Hub, Listening, Missed, Place};
pub use stream::Stream;
