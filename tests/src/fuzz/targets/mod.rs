//! The targets' bodies.

pub(super) mod commands;
pub(super) mod device;
pub(super) mod formulas;
pub(super) mod gate;
pub(super) mod mend;
pub(super) mod readers;
pub(super) mod records;
pub(super) mod text;
pub(super) mod tokens;
pub(super) mod wire;
