//! Documents: the only place, with the exchange, that names the document library.

pub mod chunk;
pub mod gate;
pub mod genesis;
pub mod thin;
