//! Every command that a contributor or CI runs, so that both run the same. Knows nothing of
//! training: it calls cargo and other tools and says aloud what it could not run.

mod bench;
mod bindings;
mod browser;
mod coverage;
mod doors;
mod figure;
mod files;
mod fuzz;
mod licences;
mod mutants;
mod page;
mod page_compiler;
mod parts;
mod peers;
mod run;
mod spdx;
mod tidy;
mod tools;
mod unit;

use std::process::{Command, ExitCode};

use run::{Outcome, cargo};

const HELP: &str = "\
cargo xtask <command>

  test [--all]     every check that this machine has the tools for; with --all a missing tool is a failure
  test --quick     a few minutes of them while you work: form, lints, tests beside the code, some simulated lives
  check            format, lints and docs, warnings denied
  tidy             the house rules that no compiler checks
  licences         the licence of every dependency against the list of those we may use
  bench [--json] [PART]   every budget beside its figure, in release builds; parts: docs/benchmarks.md
  bench --peers [args]    the race against general-purpose servers, which it brings by npm; --help says what to ask for
  page [--dev]     the pages, compiled for browsers, as files for the server; with --dev quickly, not small
  browser          stories of phones and desks in a real browser, on a page built quickly for them
  shots DIR        the same, pictures of the screens into a folder
  bench-app        what the page weighs and how fast it opens
  demo [args]      the invented club on a server of your own
  drill [args]     a server under load is lost, a backup restored, phones refill; prints the tally
  sim [args]       lives of a simulated club, in which everything goes wrong that can; --release first for many
  fuzz [args]      inputs without end to whatever takes bytes from outside; --release first for many
  mutants [--gate | --exchange | --compliance | --formulas] [args]   our code with one thing changed, again and again:
                   does a test notice? args are those of cargo-mutants, --shard 1/10 say
  coverage [args]  how many lines of each part of core its tests reach
  formats [--write]   whether the tables in docs/formats.md are what the code says; with --write, make them so
  formulas         writes docs/formulas.md anew from the code
  interop          our documents read by another implementation of the open document format
  oracle           our formulas against independent implementations
  schema           requests made up from the OpenAPI document, to a server of its own
  postgres         the tests that need PostgreSQL, on servers of their own
  unit             the unit file, by systemd's own tool
  bindings [--check | --new-version]   the doors of the phone library for Kotlin, Swift and Python
  doors [LANGUAGE] one story told by Rust, Python, Kotlin and Swift through the doors of the phone library
  bench-ffi        what the doors cost in Kotlin and what the library weighs, beside the budgets
  deny             advisories, licences, bans and sources by cargo-deny
";

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let (command, rest) = match args.split_first() {
        Some((command, rest)) => (command.as_str(), rest),
        None => ("help", [].as_slice()),
    };
    let outcome = match (command, rest) {
        ("test", []) => return parts::test(false),
        ("test", [all]) if all == "--all" => return parts::test(true),
        ("test", [quick]) if quick == "--quick" => return parts::quick(),
        ("check", []) => parts::format().and(parts::lint).and(parts::docs),
        ("tidy", []) => tidy::part(),
        ("licences", []) => licences::part(),
        ("bench", rest) => bench::part(rest),
        ("page", rest) => page::part(rest),
        ("browser", []) => browser::page().and(browser::part),
        ("shots", [folder]) => browser::page().and(|| browser::shots(folder)),
        ("bench-app", rest) => page::part(&[]).and(|| browser::bench(rest)),
        ("demo", rest) => demo(rest),
        ("drill", rest) => drill(rest),
        ("sim", rest) => sim(rest),
        ("fuzz", rest) => fuzz::part(rest),
        ("mutants", rest) => mutants::part(rest),
        ("coverage", rest) => coverage::part(rest),
        ("formats", rest) => formats(rest),
        ("formulas", []) => formulas(),
        ("interop", []) => tools::interop(),
        ("oracle", []) => tools::oracle(),
        ("schema", []) => tools::schema(),
        ("unit", []) => unit::part(),
        ("bindings", rest) => bindings::part(rest),
        ("doors", rest) => doors::part(rest),
        ("bench-ffi", rest) => doors::bench::part(rest),
        ("postgres", []) => parts::postgres(),
        ("deny", []) => tools::deny(),
        ("help" | "--help" | "-h", _) => {
            print!("{HELP}");
            Outcome::Passed
        }
        _ => Outcome::Failed(format!("no such command: {}\n\n{HELP}", args.join(" "))),
    };
    match outcome {
        Outcome::Passed => ExitCode::SUCCESS,
        Outcome::Failed(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
        Outcome::Missing { tool, bring } => {
            if rest.iter().any(|word| word == "--json") {
                println!("{}", figure::missing(&format!("cargo xtask {command}"), tool, bring));
            }
            eprintln!("{tool} is missing; this brings it: {bring}");
            ExitCode::FAILURE
        }
    }
}

/// Builds the page where that is possible, the server's program and the demo beside it, and runs the demo.
fn demo(args: &[String]) -> Outcome {
    // Only a person looks at the page, and without one everything else is still told.
    let looks = args.iter().all(|a| a != "--check" && a != "--json");
    let built = if looks { page::for_people() } else { Outcome::Passed };
    match built {
        Outcome::Passed => {}
        Outcome::Failed(why) => println!("   The demo goes on without pages: {why}"),
        Outcome::Missing { tool, bring } => {
            println!("   The demo goes on without pages: {tool} is missing; this brings it: {bring}");
        }
    }
    beside("demo", args)
}

/// The same with the drill.
fn drill(args: &[String]) -> Outcome {
    beside("drill", args)
}

/// Lives of a simulated club. With `--release` first it is built for speed, which takes minutes.
pub(crate) fn sim(args: &[String]) -> Outcome {
    match args.split_first() {
        Some((first, rest)) if first == "--release" => {
            let mut sim =
                cargo(&["run", "--quiet", "--release", "--locked", "--package", "backstraight-tests"]);
            sim.args(["--bin", "sim", "--"]).args(rest);
            run::run(sim)
        }
        _ => beside("sim", args),
    }
}

/// Builds the server's program and the programs of the tests beside it, and runs one of them.
pub(crate) fn beside(program: &str, args: &[String]) -> Outcome {
    run::programs().and(|| {
        let mut command = Command::new(run::target().join("debug").join(program));
        command.current_dir(run::root()).args(args);
        run::run(command)
    })
}

fn formats(args: &[String]) -> Outcome {
    let mut command = cargo(&["run", "--quiet", "--locked", "--package", "backstraight-tests"]);
    command.args(["--example", "formats", "--"]).args(args);
    run::run(command)
}

fn formulas() -> Outcome {
    let mut command = cargo(&["run", "--quiet", "--locked", "--package", "backstraight-core"]);
    command.args(["--example", "formulas"]);
    match run::read(command) {
        Ok(text) => match std::fs::write(run::root().join("docs/formulas.md"), text) {
            Ok(()) => Outcome::Passed,
            Err(e) => Outcome::Failed(format!("docs/formulas.md: {e}")),
        },
        Err(why) => Outcome::Failed(why),
    }
}
