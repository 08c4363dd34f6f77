//! The tables of `docs/formats.md`.
