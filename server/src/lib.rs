//! Backstraight: server.
