//! Backstraight: ffi.
