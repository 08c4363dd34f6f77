//! The one request that moves everything both ways, without I/O: what goes up, what comes down,
//! who may read and write what. Shells carry the bytes and store first, then tell core.

pub mod access;
pub mod device;
pub mod proof;
pub mod wire;
