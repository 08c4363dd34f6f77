//! The server from outside: real requests over 127.0.0.1, the real binary, a real disk.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::string_slice,
    reason = "helpers stop where a test would; codes and tokens are ASCII"
)]

mod access;
mod authenticator;
mod backups;
mod bad_input;
mod calendars;
mod carry;
mod command_line;
mod damaged;
mod exchange;
mod exchange_limits;
mod faults;
mod headers;
mod invitations;
mod keeping_doc;
mod leaving;
mod limits;
mod nudge;
mod operating_doc;
#[cfg(feature = "otlp")]
mod otlp;
mod over;
mod page;
mod people;
mod postgres;
mod postgres_doc;
mod raw;
mod restored;
mod sessions;
mod sign_in;
mod squads;
mod support;
mod table;
mod tls;
mod watching;
