//! The parts of `cargo xtask test`: what they are called, in which order they run, and how their
//! outcome is told. No part is tried twice.

use std::process::{Command, ExitCode};
use std::time::{Duration, Instant};

use crate::run::{self, Outcome, cargo};
use crate::{bindings, browser, doors, licences, tidy, tools, unit};

struct Part {
    name: &'static str,
    run: fn() -> Outcome,
}

/// Quick parts first, so that a slip is told early.
const PARTS: [Part; 23] = [
    Part { name: "format", run: format },
    Part { name: "tidy", run: tidy::part },
    Part { name: "licences", run: licences::part },
    Part { name: "lint", run: lint },
    Part { name: "docs", run: docs },
    Part { name: "tests", run: tests },
    Part { name: "otlp", run: otlp },
    Part { name: "postgres", run: postgres },
    Part { name: "interop", run: tools::interop },
    Part { name: "oracle", run: tools::oracle },
    Part { name: "schema", run: tools::schema },
    Part { name: "unit", run: unit::part },
    Part { name: "bindings", run: bindings::check },
    Part { name: "doors", run: doors::rust },
    Part { name: "doors-py", run: doors::python },
    Part { name: "doors-kt", run: doors::kotlin },
    Part { name: "page", run: browser::page },
    Part { name: "browser", run: browser::part },
    Part { name: "sim", run: sim },
    Part { name: "fuzz", run: fuzz },
    Part { name: "demo", run: demo },
    Part { name: "drill", run: drill },
    Part { name: "drill-pg", run: drill_over_postgres },
];

/// What a person runs while working: minutes, once everything was compiled before.
const QUICK: [Part; 6] = [
    Part { name: "format", run: format },
    Part { name: "tidy", run: tidy::part },
    Part { name: "licences", run: licences::part },
    Part { name: "lint", run: lint },
    Part { name: "units", run: units },
    Part { name: "lives", run: some_lives },
];

/// Runs every part. With `all`, a missing tool is a failure.
pub(crate) fn test(all: bool) -> ExitCode {
    told(&PARTS, all)
}

/// Runs the quick parts, which need no tool but the compiler.
pub(crate) fn quick() -> ExitCode {
    told(&QUICK, false)
}

fn told(parts: &[Part], all: bool) -> ExitCode {
    let mut told: Vec<(&'static str, Duration, Outcome)> = Vec::new();
    for part in parts {
        println!("\n==> {}", part.name);
        let began = Instant::now();
        let outcome = (part.run)();
        let took = began.elapsed();
        println!("<== {}: {} in {:.1} s", part.name, word(&outcome, all), took.as_secs_f64());
        match &outcome {
            Outcome::Passed => {}
            Outcome::Failed(why) => println!("{why}"),
            Outcome::Missing { tool, bring } => println!("{tool} is missing; this brings it: {bring}"),
        }
        told.push((part.name, took, outcome));
    }
    println!();
    for (name, took, outcome) in &told {
        let note = match outcome {
            Outcome::Missing { tool, bring } => format!("   {tool} is missing: {bring}"),
            Outcome::Passed | Outcome::Failed(_) => String::new(),
        };
        println!("{name:<10} {:<8} {:>8.1} s{note}", word(outcome, all), took.as_secs_f64());
    }
    let count = |w: &str| told.iter().filter(|(_, _, o)| word(o, all) == w).count();
    let failed = count("failed");
    println!("{} passed, {failed} failed, {} skipped", count("passed"), count("skipped"));
    if failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

const fn word(outcome: &Outcome, all: bool) -> &'static str {
    match outcome {
        Outcome::Passed => "passed",
        Outcome::Missing { .. } if !all => "skipped",
        Outcome::Failed(_) | Outcome::Missing { .. } => "failed",
    }
}

pub(crate) fn format() -> Outcome {
    run::run(cargo(&["fmt", "--all", "--check"]))
}

/// With the one feature that is off unless asked for: without it less is compiled.
pub(crate) fn lint() -> Outcome {
    let (all, deny) = (["clippy", "--workspace", "--all-targets", "--locked"], ["--", "-D", "warnings"]);
    run::run(cargo(&[&all[..], &["--features", OTLP], &deny].concat()))
}

pub(crate) fn docs() -> Outcome {
    let mut command = cargo(&["doc", "--workspace", "--no-deps", "--locked"]);
    command.env("RUSTDOCFLAGS", "-D warnings");
    run::run(command)
}

fn tests() -> Outcome {
    run::run(cargo(&["test", "--workspace", "--locked", "--no-fail-fast"]))
}

/// The tests that stand beside the code.
fn units() -> Outcome {
    run::run(cargo(&["test", "--workspace", "--locked", "--no-fail-fast", "--lib", "--bins"]))
}

/// Some lives of the simulator.
fn some_lives() -> Outcome {
    crate::sim(&["--seeds", "60", "--steps", "100"].map(str::to_owned))
}

/// The one feature that is off unless asked for.
const OTLP: &str = "backstraight-server/otlp";

/// What it does, against a collector.
fn otlp() -> Outcome {
    // The workspace as a whole, as everywhere here: of another choice of packages all libraries would be
    // compiled again.
    run::run(cargo(&["test", "--workspace", "--features", OTLP, "--locked", "--test", "it", "otlp"]))
}

const fn postgres_missing() -> Outcome {
    Outcome::Missing { tool: "PostgreSQL 14 or later", bring: backstraight_cluster::BRING }
}

/// Tests of the modules below that are about SQLite's file, or about a folder that one process has for
/// itself.
const ABOUT_FILES: [&str; 5] = [
    "backups::the_way_table_by_table_gives_the_same_backup",
    "command_line::compact_and_check_at_the_machine_and_a_changed_byte_is_found",
    "command_line::every_failure_says_why_and_is_no_success",
    "command_line::people_are_kept_at_the_machine_while_the_server_runs",
    "restored::a_restore_needs_an_empty_folder_and_an_intact_backup",
];

/// The tests that need a PostgreSQL server: each makes one of its own from the machine's binaries.
pub(crate) fn postgres() -> Outcome {
    let Some(folder) = backstraight_cluster::find() else {
        return postgres_missing();
    };
    println!("PostgreSQL of {}", folder.display());
    let over = |args: &[&str]| {
        let mut command = cargo(&["test", "--locked", "--no-fail-fast"]);
        command.args(args).env(backstraight_cluster::VARIABLE, &folder);
        command
    };
    let mut requests = over(&["--workspace", "--test", "it", "--"]);
    // What the server promises from outside, whatever is behind it; the rest is about files.
    requests.args(["access::", "exchange::", "exchange_limits::", "invitations::", "sessions::"]);
    requests.args(["people::", "sign_in::", "nudge::", "calendars::", "carry::", "command_line::"]);
    // Keeping: backups by the clock, damage and repair, restored servers, erasing, full copies.
    requests.args(["backups::", "damaged::", "restored::", "restore::", "erasure::", "export::"]);
    // What is written at the machine, leaving with a copy, what came by way of somebody else or was refused.
    requests.args(["squads::", "leaving::", "aside::", "carried_heard::"]);
    requests.arg("watching::neither_logs_nor_figures_nor_errors_say_anything_about_anybody");
    requests.args(ABOUT_FILES.iter().flat_map(|name| ["--skip", name]));
    requests.env("BACKSTRAIGHT_TEST_OVER", "postgres");
    run::run(over(&["--workspace", "--lib", "--bins", "--tests", "--", "--ignored", "postgres"]))
        .and(|| run::run(requests))
}

/// The invented club, from making it to reading it back.
fn demo() -> Outcome {
    crate::demo(&["--check".to_owned()])
}

/// A server that is lost and found again, small.
fn drill() -> Outcome {
    crate::drill(&["--store", "sqlite", "--phones", "8", "--sets", "12"].map(str::to_owned))
}

/// Lives in which nothing may be found, and faults put in on purpose that must be.
fn sim() -> Outcome {
    let lives = ["--seeds", "200", "--steps", "100"].map(str::to_owned);
    let planted = ["--planted", "--seeds", "300", "--steps", "100"].map(str::to_owned);
    let every_write = ["--every-write", "--steps", "40"].map(str::to_owned);
    crate::sim(&lives).and(|| crate::sim(&planted)).and(|| crate::sim(&every_write))
}

/// What is committed for every fuzz target, and some seconds of each beyond.
fn fuzz() -> Outcome {
    crate::fuzz::part(&["--minutes", "0.5"].map(str::to_owned))
}

/// The same with everything in a database server of its own.
fn drill_over_postgres() -> Outcome {
    if backstraight_cluster::find().is_none() {
        return postgres_missing();
    }
    crate::drill(&["--store", "postgres", "--phones", "8", "--sets", "12"].map(str::to_owned))
}

/// A command by name, in the workspace.
pub(crate) fn program(name: &str) -> Command {
    let mut command = Command::new(name);
    command.current_dir(run::root());
    command
}
