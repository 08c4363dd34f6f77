//! The server from outside: real requests over 127.0.0.1, the real binary, a real disk.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::string_slice,
    reason = "helpers stop where a test would; codes and tokens are ASCII"
)]

mod access;
mod command_line;
mod exchange;
mod exchange_limits;
mod faults;
mod invitations;
mod postgres;
mod restored;
mod sessions;
mod support;
