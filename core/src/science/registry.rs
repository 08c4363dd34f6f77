//! The list of every formula: find, describe, run from text, write the documentation.
//! Knows the formulas' declarations, not their arithmetic.

use std::fmt::Write as _;

pub use super::answer::Answer;
pub use super::args::{Args, AskError};
use super::formula::{Formula, Input, Kind};

/// What a question as text leads to.
pub type Outcome = Result<Answer, AskError>;

/// Formulas that belong together in the documentation.
#[derive(Debug, Clone, Copy)]
pub struct Group {
    /// Heading.
    pub title: &'static str,
    /// The formulas, in reading order.
    pub formulas: &'static [&'static [&'static Formula]],
}

/// Every group, in reading order.
pub static GROUPS: &[Group] = &[
    Group {
        title: "Maximal strength from repetitions",
        formulas: &[super::one_rep_max::ALL, super::rep_tables::ALL, super::effort::ALL],
    },
    Group { title: "Bar speed", formulas: &[super::velocity::ALL] },
    Group {
        title: "Jumps, hops and stiffness",
        formulas: &[super::jump::ALL, super::reactive::ALL, super::stiffness::ALL],
    },
    Group { title: "Training load", formulas: &[super::load::ALL, super::fitness::ALL] },
    Group {
        title: "Reliability, change and trend",
        formulas: &[super::reliability::ALL, super::agreement::ALL, super::trend::ALL, super::certified::ALL],
    },
    Group {
        title: "Sprint and hurdles",
        formulas: &[super::sprint::ALL, super::sprint_force::ALL, super::hurdles::ALL],
    },
    Group { title: "Volume and plates", formulas: &[super::volume::ALL, super::plates::ALL] },
    Group {
        title: "Relative strength and side differences",
        formulas: &[super::relative::ALL, super::asymmetry::ALL],
    },
    Group { title: "Growth and check-ins", formulas: &[super::growth::ALL, super::checkin::ALL] },
];

/// Every formula, in reading order.
pub fn list() -> impl Iterator<Item = &'static Formula> {
    GROUPS.iter().flat_map(|group| group.formulas.iter()).flat_map(|part| part.iter().copied())
}

/// The formula with this id or alias.
#[must_use]
pub fn find(id: &str) -> Option<&'static Formula> {
    list().find(|formula| formula.id == id || formula.aliases.contains(&id))
}

/// Runs a formula on inputs given as text.
///
/// Numbers are decimal or a simple fraction (`2/3`), lists are `1,2,3` (with runs: `21x300+7x600`),
/// tables `1,2;3,4`, stocks `25:1,15:2`, gaps in a list `-`.
///
/// # Errors
/// Unknown id; unknown, missing or repeated input; text that does not have the input's shape.
/// A question that is well put but has no number as its answer is not an error: the [`Answer`]
/// carries the reason.
pub fn run(id: &str, pairs: &[(&str, &str)]) -> Outcome {
    let Some(formula) = find(id) else {
        return Err(AskError::UnknownFormula { id: id.chars().take(60).collect() });
    };
    let args = Args::new(formula, pairs)?;
    (formula.run)(&args)
}

/// How an input is written, with its limits.
fn input_text(input: &Input) -> String {
    let shape = match input.kind {
        Kind::Number => "number".to_owned(),
        Kind::Whole => "whole number".to_owned(),
        Kind::List => "list".to_owned(),
        Kind::Gaps => "list, `-` for missing".to_owned(),
        Kind::Table => "table, rows by `;`".to_owned(),
        Kind::Stock => "stock, mass:pairs".to_owned(),
        Kind::Word(words) => format!("one of {}", words.join(", ")),
        Kind::Flag => "yes or no".to_owned(),
        Kind::Text => "text".to_owned(),
    };
    let mut out = format!("{shape}; {}", input.unit);
    if let Some((lowest, highest)) = input.range {
        let _ = write!(out, "; {lowest} to {highest}");
    }
    if let Some((fewest, most)) = input.count {
        let _ = write!(out, "; {fewest} to {most} items");
    }
    match (input.default, input.optional) {
        (Some(default), _) => {
            let _ = write!(out, "; default {default}");
        }
        (None, true) => out.push_str("; may be left out"),
        (None, false) => {}
    }
    out
}

fn units_text(formula: &Formula) -> String {
    let units = formula.units.iter().map(|(name, unit)| match unit.is_empty() {
        true => (*name).to_owned(),
        false => format!("{name} ({unit})"),
    });
    units.collect::<Vec<_>>().join(", ")
}

fn example_text(formula: &Formula) -> String {
    let pairs = formula.example.iter().map(|(key, text)| format!("{key}={text}"));
    pairs.collect::<Vec<_>>().join(" ")
}

/// The outcome of the worked example in one line.
fn example_outcome(formula: &Formula) -> String {
    match run(formula.id, formula.example) {
        Ok(answer) => answer.summary(),
        Err(error) => error.to_string(),
    }
}

/// One formula as plain text, for a terminal.
#[must_use]
pub fn describe(formula: &Formula) -> String {
    let mut out = format!("{}\n  {} (version {})\n", formula.id, formula.name, formula.version);
    let _ = writeln!(out, "  rule:    {}", formula.rule);
    let _ = writeln!(out, "  source:  {} ({})", formula.source, formula.standing.text());
    if !formula.domain.is_empty() {
        let _ = writeln!(out, "  domain:  {}", formula.domain);
    }
    for input in formula.inputs {
        let _ = writeln!(out, "  input:   {}: {}", input.name, input_text(input));
    }
    let _ = writeln!(out, "  output:  {}", units_text(formula));
    let _ = writeln!(out, "  trap:    {}", formula.trap);
    if formula.consent {
        let _ = writeln!(out, "  consent: off until the input consent is yes");
    }
    if let Some(caution) = formula.caution {
        let _ = writeln!(out, "  caution: {}", caution.text());
    }
    let _ = writeln!(out, "  example: {}", example_text(formula));
    let _ = writeln!(out, "           {}", example_outcome(formula));
    out
}

/// The whole of `docs/formulas.md`.
#[must_use]
pub fn to_markdown() -> String {
    let mut out = String::from(
        "# Formulas\n\n\
         Every number that Backstraight computes, with its source, its limits and what breaks \
         careless use. This page is made from the code: `cargo run -p backstraight-core --example \
         formulas > docs/formulas.md`; a test fails when the two differ.\n\n\
         Each answer carries the formula's id and version and its inputs. Outside its limits a \
         formula answers with a reason, never with a made-up number. Examples are rounded to six \
         digits.\n",
    );
    for group in GROUPS {
        let _ = write!(out, "\n## {}\n", group.title);
        for formula in group.formulas.iter().flat_map(|part| part.iter()) {
            markdown_of(&mut out, formula);
        }
    }
    out
}

fn markdown_of(out: &mut String, formula: &Formula) {
    let _ = write!(out, "\n### {}\n\n`{}`, version {}", formula.name, formula.id, formula.version);
    if !formula.aliases.is_empty() {
        let _ = write!(out, ", also found as `{}`", formula.aliases.join("`, `"));
    }
    let _ = write!(out, "\n\n* Rule: {}\n", formula.rule);
    let _ = writeln!(out, "* Source: {} ({})", formula.source, formula.standing.text());
    if !formula.domain.is_empty() {
        let _ = writeln!(out, "* Domain: {}", formula.domain);
    }
    out.push_str("* Inputs:\n");
    for input in formula.inputs {
        let _ = writeln!(out, "  * `{}`: {}", input.name, input_text(input));
    }
    let _ = writeln!(out, "* Output: {}", units_text(formula));
    let _ = writeln!(out, "* Trap: {}", formula.trap);
    if formula.consent {
        out.push_str("* Consent: off until the input `consent` is yes\n");
    }
    if let Some(caution) = formula.caution {
        let _ = writeln!(out, "* Caution: {}", caution.text());
    }
    let _ = writeln!(out, "* Example: `{}` gives {}", example_text(formula), example_outcome(formula));
}
