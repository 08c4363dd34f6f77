//! Phones and desks in real browsers, against a server that is a process of its own: started, stopped and lost as
//! servers are. A test reads as a story: a [`Stage`] has a server, a [`Seat`] is one browser with its own memory on
//! disk. Waits are for a state, never for a time. Knows the page by what a person sees of it (role and name) or by
//! `data-test`, not by its insides.

mod built;
mod club;
mod find;
mod look;
mod must;
mod ports;
mod process;
mod seat;
mod stage;

pub use built::{Built, PART, brotli_total, workspace};
pub use look::{RULES, Tidiness};
pub use must::must;
pub use process::Server;
pub use seat::{Kind, Seat};
pub use stage::Stage;
pub use thirtyfour::Key;
