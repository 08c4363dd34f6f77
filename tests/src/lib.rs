//! Backstraight: tests.
