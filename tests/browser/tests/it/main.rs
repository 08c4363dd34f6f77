//! Stories of phones and desks in a real browser: `cargo xtask browser` runs them, one after the other. They are
//! ignored in `cargo test`, which a machine without a browser runs too.

mod athlete;
mod coach;
mod own;
mod page;
mod parts;
mod screens;
mod seasons;
mod session;
mod trouble;
mod versions;
