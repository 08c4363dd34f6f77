//! `cargo xtask mutants`: our code with one thing changed, again and again, and whether a test notices. Knows which tests
//! can notice what; the changes are made by cargo-mutants.

use std::process::Command;

use crate::run::{self, Outcome, cargo, has, target};

/// Code that is changed, and the tests that must notice.
struct Ground {
    /// The word that asks for it, without dashes.
    part: &'static str,
    /// The folder for what came of it.
    out: &'static str,
    package: &'static str,
    files: &'static [&'static str],
    /// For cargo test: as few as can notice, since they are built and run for every change.
    tests: &'static [&'static str],
}

const GROUNDS: [Ground; 5] = [
    Ground {
        part: "gate",
        out: "gate",
        package: "backstraight-core",
        files: &["core/src/doc/gate.rs", "core/src/doc/gate/*.rs"],
        // Not `gate_fuzz`: it takes longer than all others, and what it finds by chance is to have a test.
        tests: &[
            "--lib",
            "--test=gate_attacks",
            "--test=gate_history",
            "--test=gate_honest",
            "--test=gate_hostile",
            "--test=gate_limits",
        ],
    },
    Ground {
        part: "exchange",
        out: "exchange",
        package: "backstraight-core",
        files: &["core/src/exchange/*.rs"],
        tests: &["--lib", "--test=carried"],
    },
    Ground {
        part: "exchange",
        out: "exchange-server",
        package: "backstraight-server",
        files: &["server/src/exchange/*.rs"],
        tests: &["--lib", "--test=it"],
    },
    Ground {
        part: "compliance",
        out: "compliance",
        package: "backstraight-core",
        files: &["core/src/view/judge.rs", "core/src/view/state.rs"],
        tests: &["--lib", "--test=meanings", "--test=review", "--test=review_it", "--test=screen"],
    },
    Ground {
        part: "formulas",
        out: "formulas",
        package: "backstraight-core",
        files: &["core/src/science/*.rs"],
        tests: &["--lib", "--test=science_it"],
    },
];

const MISSING: Outcome =
    Outcome::Missing { tool: "cargo-mutants", bring: "cargo install --locked cargo-mutants@^27" };

/// The parts that are asked for (`--gate` and so on), all of them without such a word. Other words are cargo-mutants'
/// own: `--shard 1/10`, `--list`.
pub(crate) fn part(args: &[String]) -> Outcome {
    if !has("cargo-mutants") {
        return MISSING;
    }
    let (parts, rest): (Vec<&String>, Vec<&String>) = args.iter().partition(|word| part_of(word).is_some());
    let asked = |ground: &&Ground| parts.is_empty() || parts.iter().any(|p| part_of(p) == Some(ground.part));
    let mut outcome = Outcome::Passed;
    for ground in GROUNDS.iter().filter(asked) {
        println!("\n{}:", ground.out);
        // One part's survivors take nothing from the others.
        let came = run::run(command(ground, &rest));
        outcome = outcome.and(|| came);
    }
    outcome
}

/// The part that a word asks for.
fn part_of(word: &str) -> Option<&'static str> {
    let name = word.strip_prefix("--")?;
    GROUNDS.iter().map(|ground| ground.part).find(|part| *part == name)
}

fn command(ground: &Ground, rest: &[&String]) -> Command {
    let mut command = cargo(&["mutants", "--package", ground.package]);
    command.args(ground.files.iter().flat_map(|file| ["--file", file]));
    command.arg("--output").arg(target().join("mutants-out").join(ground.out));
    command.args(rest).args(["--", "--locked"]).args(ground.tests);
    // The tree is copied anew for each run; libraries, which stay the same, are not compiled again.
    command.env("CARGO_TARGET_DIR", target().join("mutants"));
    command
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_ask_for_parts_or_are_left_to_the_tool() {
        assert_eq!(part_of("--gate"), Some("gate"));
        assert_eq!([part_of("gate"), part_of("--shard"), part_of("--list")], [None; 3]);
    }

    /// A file that moved would leave its part without changes, and so without survivors.
    #[test]
    fn what_is_to_be_changed_is_there() {
        for file in GROUNDS.iter().flat_map(|ground| ground.files) {
            let there = run::root().join(file.trim_end_matches("/*.rs"));
            assert!(there.exists(), "{file}");
        }
    }
}
