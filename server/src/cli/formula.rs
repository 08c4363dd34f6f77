//! `backstraight formula`: every computation with its source, and a way to try it.

use std::io::Write;

use backstraight_core::science::registry;
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Output, table};

/// The formulas.
#[derive(Debug, Subcommand)]
pub(super) enum Formula {
    /// List all formulas
    List {
        #[command(flatten)]
        output: Output,
    },
    /// Show one: rule, source, domain, units, trap, inputs
    Show {
        /// Its id
        id: String,
    },
    /// Compute one: key=value …, lists as 1,2,3, nested lists as 1,2;3,4, maps as 25:1,15:2
    Run {
        /// Its id
        id: String,
        /// Inputs
        #[arg(value_name = "KEY=VALUE")]
        inputs: Vec<String>,
        #[command(flatten)]
        output: Output,
    },
}

#[derive(Debug, Serialize)]
struct Line {
    id: &'static str,
    name: &'static str,
    source: &'static str,
}

impl Formula {
    pub(super) fn run(self) -> Result<(), CliError> {
        let mut out = std::io::stdout().lock();
        match self {
            Formula::List { output } => {
                drop(out);
                let rows: Vec<Line> =
                    registry::list().map(|f| Line { id: f.id, name: f.name, source: f.source }).collect();
                table::print(output, &["FORMULA", "NAME"], &rows, |r| {
                    vec![r.id.to_owned(), r.name.to_owned()]
                })
            }
            Formula::Show { id } => {
                let formula = registry::find(&id).ok_or_else(|| unknown(&id))?;
                writeln!(out, "{}", registry::describe(formula))?;
                Ok(())
            }
            Formula::Run { id, inputs, output } => {
                let pairs: Vec<(&str, &str)> = inputs
                    .iter()
                    .map(|pair| {
                        pair.split_once('=').ok_or_else(|| {
                            CliError::Argument(format!("an input is written key=value, not {pair:?}"))
                        })
                    })
                    .collect::<Result<_, _>>()?;
                let answer = registry::run(&id, &pairs).map_err(|e| CliError::Argument(e.to_string()))?;
                let text = if output.json { answer.to_json() } else { answer.to_text() };
                writeln!(out, "{text}")?;
                Ok(())
            }
        }
    }
}

fn unknown(id: &str) -> CliError {
    CliError::Argument(format!("there is no formula {id:?}; `backstraight formula list` names them all"))
}
