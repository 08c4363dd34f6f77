//! `cargo xtask bench`: every budget beside its figure, whichever program measures it, and the race against
//! general-purpose servers. A budget that does not hold is said, never a failure: a busy machine must not break a
//! build. A part whose tool is missing says so.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use crate::parts::program;
use crate::peers;
use crate::run::{Outcome, cargo, run};

/// Parts that are commands of their own: the page and the doors.
const BESIDE: [(&str, &str); 2] = [("app", "bench-app"), ("doors", "bench-ffi")];

/// Measures; with `--json` one JSON object a line on the output, with names of parts only those, with `--peers` the
/// race.
pub(crate) fn part(args: &[String]) -> Outcome {
    if let Some((_, rest)) = args.split_first().filter(|(first, _)| *first == "--peers") {
        let asks = rest.iter().any(|word| word == "--help" || word == "-h");
        let brought = if asks { Vec::new() } else { peers::words(rest) };
        return run(budgets(&[&["race".to_owned()], rest, &brought].concat()));
    }
    let is_beside = |word: &String| BESIDE.iter().any(|(name, _)| name == word);
    let json = args.iter().any(|word| word == "--json");
    let of_budgets: Vec<String> = args.iter().filter(|word| !is_beside(word)).cloned().collect();
    let all = args.iter().all(|word| word == "--json");
    let mut outcome = Outcome::Passed;
    if all || of_budgets.iter().any(|word| word != "--json") {
        outcome = run(budgets(&of_budgets));
    }
    for (name, command) in BESIDE {
        if all || args.iter().any(|word| word == name) {
            // One that cannot be measured takes nothing from the others; it has said why.
            let beside = beside(command, json);
            outcome = outcome.and(|| beside);
        }
    }
    outcome
}

/// The program that measures.
fn budgets(args: &[String]) -> Command {
    let mut command =
        cargo(&["bench", "--locked", "--package", "backstraight-tests", "--bench", "budgets", "--"]);
    command.args(args);
    command
}

/// Another command of this program. With `--json` only its figures go to the output, and what it and its tools tell
/// of their work to where problems go.
fn beside(command: &str, json: bool) -> Outcome {
    let itself = match std::env::current_exe() {
        Ok(itself) => itself,
        Err(e) => return Outcome::Failed(e.to_string()),
    };
    let mut again = program(&itself.display().to_string());
    again.arg(command);
    if !json {
        println!("\n{command}:");
        return run(again);
    }
    again.arg("--json").stdout(Stdio::piped());
    let mut child = match again.spawn() {
        Ok(child) => child,
        Err(e) => return Outcome::Failed(format!("{command}: {e}")),
    };
    for line in
        child.stdout.take().map(BufReader::new).into_iter().flat_map(BufRead::lines).map_while(Result::ok)
    {
        if line.starts_with('{') {
            println!("{line}");
        } else {
            eprintln!("{line}");
        }
    }
    match child.wait() {
        Ok(status) if status.success() => Outcome::Passed,
        Ok(status) => Outcome::Failed(format!("cargo xtask {command}: {status}")),
        Err(e) => Outcome::Failed(format!("{command}: {e}")),
    }
}
