//! thin
