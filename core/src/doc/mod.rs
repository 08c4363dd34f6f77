//! Documents: the only place, with the exchange, that names the document library.
//!
//! Every change that a person makes is a [`command::Command`]; it is validated to a list of
//! problems, applied as one change, and stored by the shell before anybody says "saved".

pub mod admit;
pub mod apart;
pub mod chunk;
pub mod command;
pub mod gate;
pub mod genesis;
pub mod history;
pub mod open;
pub mod place;
pub mod problem;
pub mod read;
pub mod thin;
pub mod touched;
