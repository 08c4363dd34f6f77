//! `cargo xtask coverage`: how many lines of each part of core its own tests reach, as a table for `docs/mutation.md`.
//! Counts lines; whether a test would notice a mistake in them is what `mutants` asks.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::run::{self, Outcome, cargo, has, target};

const MISSING: Outcome = Outcome::Missing {
    tool: "cargo-llvm-cov",
    bring: "cargo install --locked cargo-llvm-cov@^0.9 && rustup component add llvm-tools",
};

/// Runs core's tests, watched, and prints the table. Words are cargo-llvm-cov's own.
pub(crate) fn part(args: &[String]) -> Outcome {
    if !has("cargo-llvm-cov") {
        return MISSING;
    }
    let out = target().join("coverage.lcov");
    let mut watched = cargo(&["llvm-cov", "--locked", "--package", "backstraight-core", "--lib", "--tests"]);
    watched.args(["--lcov", "--output-path"]).arg(&out).args(args);
    run::run(watched).and(|| match std::fs::read_to_string(&out) {
        Ok(text) => {
            print!("{}", table(&modules(&text)));
            Outcome::Passed
        }
        Err(e) => Outcome::Failed(format!("{}: {e}", out.display())),
    })
}

/// Lines that there are and lines that were reached.
type Lines = (u64, u64);

/// Lines by module, from the tool's list of files: `SF:` names one, `LF:` and `LH:` count.
fn modules(lcov: &str) -> BTreeMap<String, Lines> {
    let mut found: BTreeMap<String, Lines> = BTreeMap::new();
    let mut of = None;
    for line in lcov.lines() {
        let (what, rest) = line.split_once(':').unwrap_or((line, ""));
        match what {
            "SF" => of = module(rest),
            "LF" | "LH" => {
                if let Some(name) = &of {
                    let (all, reached) = found.entry(name.clone()).or_default();
                    *(if what == "LF" { all } else { reached }) += rest.parse().unwrap_or(0);
                }
            }
            _ => {}
        }
    }
    found
}

/// The module of a file: the folders below `core/src`, with the gate's own file among the gate's.
fn module(file: &str) -> Option<String> {
    let file = file.replace('\\', "/");
    let (_, inside) = file.split_once("core/src/")?;
    let folder = inside.rsplit_once('/').map_or("", |(folder, _)| folder);
    Some(if inside == "doc/gate.rs" { "doc/gate".to_owned() } else { folder.to_owned() })
}

fn table(modules: &BTreeMap<String, Lines>) -> String {
    let mut text = String::from("| where | lines | reached |\n|---|---|---|\n");
    let mut sum = (0, 0);
    for (name, (all, reached)) in modules {
        sum = (sum.0 + all, sum.1 + reached);
        row(&mut text, &format!("`core/src/{name}`"), (*all, *reached));
    }
    row(&mut text, "all of core", sum);
    text
}

fn row(text: &mut String, name: &str, (all, reached): Lines) {
    // In tenths of a percent, rounded down: nothing that was missed rounds to all.
    let tenths = (reached * 1000).checked_div(all).unwrap_or(1000);
    let _ = writeln!(text, "| {name} | {all} | {}.{} % |", tenths / 10, tenths % 10);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_counted_by_module_and_never_rounded_up() {
        let lcov = "SF:/a/core/src/doc/gate.rs\nDA:1,1\nLF:10\nLH:10\nend_of_record\n\
                    SF:/a/core/src/doc/gate/check.rs\nLF:1990\nLH:1989\nend_of_record\n\
                    SF:/a/core/src/lib.rs\nLF:1\nLH:0\nend_of_record\n\
                    SF:/a/core/tests/odd.rs\nLF:9\nLH:9\nend_of_record\n";
        let found = modules(lcov);
        assert_eq!(found.len(), 2, "tests are not counted");
        assert_eq!((found["doc/gate"], found[""]), ((2000, 1999), (1, 0)));
        assert!(table(&found).contains("| `core/src/doc/gate` | 2000 | 99.9 % |"));
        assert!(table(&found).contains("| all of core | 2001 | 99.9 % |"));
    }
}
