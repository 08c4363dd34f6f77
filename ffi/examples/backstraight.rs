//! The library that apps in other languages load: nothing but the doors. It stands among the examples so that
//! it is built with the workspace as a whole, and for Rust programs `backstraight-ffi` stays a plain library.

pub use backstraight_ffi::doors;
