//! Words without a domain: identities, days, moments, keys. Knows nothing of training.

pub mod csv;
pub mod day;
pub mod hex;
pub mod id;
pub mod key;
pub(crate) mod leb128;
pub mod moment;
