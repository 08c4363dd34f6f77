//! The one request that moves everything both ways, without I/O: what goes up, what comes down,
//! who may read and write what. Shells carry the bytes and store first, then tell core.

pub mod access;
pub mod carry;
pub mod device;
pub mod frames;
pub mod nudge;
pub mod proof;
pub mod signed;
pub mod wire;
