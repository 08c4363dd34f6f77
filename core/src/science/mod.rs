//! Pure functions on SI units. Knows nothing of documents.
//!
//! Every function answers with a [`Computed`] value that carries its provenance (formula id,
//! version, inputs, notes, caution) or with a [`NotComputable`] that carries a typed [`Reason`].
//! Nothing here ever answers with NaN or infinity.
//!
//! # How one formula is made
//! A [`Formula`] is a `static` that declares the inputs with their units and hard limits.
//! The typed function beside it hands its inputs to [`Formula::compute`], which checks them
//! against that declaration before the arithmetic and checks the result after it. So limits live
//! in one place, and `docs/formulas.md`, the text-driven [`registry`] and the code cannot drift.
//!
//! ```
//! use backstraight_core::science::{one_rep_max, registry};
//!
//! // Typed: a range with its provenance, never a bare number.
//! let best = one_rep_max::range(100.0, 5.0, "strength").expect("inside the limits");
//! assert_eq!(best.id(), "e1rm.range");
//! assert!(best.value.low < best.value.high);
//!
//! // From text, as a command line asks: a value, or a reason in words.
//! let answer = registry::run("plates.per_side", &[("per_side", "30"), ("stock", "25:1,15:2")])?;
//! assert!(answer.to_json().contains(r#""value":[15,15]"#));
//! let refused = registry::run("e1rm.epley", &[("w", "100"), ("r", "37")])?;
//! assert!(refused.to_json().contains(r#""reason":"r is outside 1 to 12""#));
//! # Ok::<(), registry::AskError>(())
//! ```
//!
//! # Units
//! Plain `f64` in kg, m, s, N, W, m/s unless an input says otherwise. Newtypes were left out on
//! purpose: the declared unit of each input is data (shown in the docs and in `describe`), and a
//! newtype per quantity would only hide the arithmetic that a reader wants to compare with a paper.
//!
//! # Words
//! Descriptive only: no diagnosis, no forecast of injury, no colours, no ranking of children.

pub mod agreement;
pub mod answer;
pub mod args;
pub mod asymmetry;
pub mod cautions;
pub mod certified;
pub mod checkin;
pub mod computed;
pub mod effort;
pub mod fitness;
pub mod formula;
pub mod growth;
pub mod hurdle_data;
pub mod hurdles;
pub mod jump;
pub mod load;
pub mod one_rep_max;
pub mod plates;
pub mod reactive;
pub mod registry;
pub mod relative;
pub mod reliability;
pub mod rep_tables;
pub mod sprint;
pub mod sprint_force;
pub mod stats;
pub mod stiffness;
pub mod trend;
pub mod velocity;
pub mod volume;

pub use cautions::Caution;
pub use computed::{Computation, Computed, Given, NotComputable, Outputs, Reason, Value};
pub use formula::{Formula, Input, Kind, Standing};

/// Standard gravity, m/s². The customary 9.81 differs by 0.034 %; every jump and sprint formula
/// takes `g` as an input so that an answer says which one it used.
pub const STANDARD_GRAVITY: f64 = 9.80665;
