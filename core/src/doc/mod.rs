//! Documents: the only place, with the exchange, that names the document library.

pub mod genesis;
