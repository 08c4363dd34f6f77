//! Backstraight: app.
