//! The review on whole documents: load, attention, records, proposals, forecast, and what is done
//! with plans and logs that are not as one would wish. Each worked example stands in
//! `docs/meanings.md`. Common practice, no source, but where a formula names one.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod attention;
mod forecast;
mod laws;
mod load;
mod odd;
mod proposals;
mod records;
mod seasons;
mod world;
