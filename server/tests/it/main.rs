//! The server from outside: real requests over 127.0.0.1, the real binary, a real disk.

mod access;
mod command_line;
mod exchange;
mod exchange_limits;
mod faults;
mod invitations;
mod restored;
mod sessions;
mod support;
