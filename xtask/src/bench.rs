//! `cargo xtask bench`: the one program that measures every budget and prints it beside its figure.
//! A budget that does not hold is said, never a failure: a busy machine must not break a build.

use crate::run::{self, Outcome, cargo};

/// Measures; with `--json` one JSON object a line on the output, with names of parts only those.
pub(crate) fn part(args: &[String]) -> Outcome {
    let mut command =
        cargo(&["bench", "--locked", "--package", "backstraight-tests", "--bench", "budgets", "--"]);
    command.args(args);
    run::run(command)
}
