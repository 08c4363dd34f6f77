//! `cargo xtask drill`: the restore drill, with its tally. Exit code 1 when something is lost.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program that tells what it does")]

use std::process::ExitCode;

use backstraight_tests::demo::machine::Machine;
use backstraight_tests::demo::stage::Trouble;
use backstraight_tests::drill::{self, Ground, Size, SqliteFolder};
use clap::{Parser, ValueEnum};

/// Loses a server under load and gets everything back.
#[derive(Debug, Parser)]
struct Args {
    /// Seed of who logs when
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Phones
    #[arg(long, default_value_t = 24, value_parser = clap::value_parser!(u16).range(1..=500))]
    phones: u16,
    /// Sets that each phone logs before the backup, and again after it
    #[arg(long, default_value_t = 40, value_parser = clap::value_parser!(u16).range(1..=500))]
    sets: u16,
    /// What the server keeps its data in
    #[arg(long, value_enum, default_value_t = Store::Sqlite)]
    store: Store,
    /// Print the tally as JSON and nothing else
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Store {
    Sqlite,
}

fn main() -> ExitCode {
    match run(&Args::parse()) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(trouble) => {
            eprintln!("the drill stopped: {trouble}");
            ExitCode::FAILURE
        }
    }
}

fn run(args: &Args) -> Result<bool, Trouble> {
    let dir = tempfile::Builder::new().prefix("backstraight-drill-").tempdir()?;
    let machine = Machine::beside()?;
    let mut ground: Box<dyn Ground> = match args.store {
        Store::Sqlite => Box::new(SqliteFolder::new(machine.program(), dir.path())),
    };
    let size = Size { phones: usize::from(args.phones), sets: i64::from(args.sets) };
    let quiet = args.json;
    let mut say = |text: &str| {
        if !quiet {
            println!("{text}");
        }
    };
    let tally = drill::run(ground.as_mut(), dir.path(), size, args.seed, &mut say)?;
    if args.json {
        println!("{}", serde_json::to_string_pretty(&tally)?);
        return Ok(tally.holds());
    }
    println!("\nThe tally ({}, seed {}):", tally.store, args.seed);
    for (what, n) in [
        ("acknowledged before the server was lost", tally.acknowledged as u128),
        ("  came back from the backup", tally.from_backup as u128),
        ("  came back from phones", tally.from_phones as u128),
        ("  lost", tally.lost as u128),
        ("saved on phones, not acknowledged yet", tally.not_acknowledged as u128),
        ("  lost", tally.not_acknowledged_lost as u128),
        ("things that the check found", u128::from(tally.trouble)),
        ("backup, bytes", u128::from(tally.backup_bytes)),
        ("backup while serving, ms", tally.backup_ms),
        ("verify and restore, ms", tally.restore_ms),
        ("start, ms", tally.start_ms),
        ("refill by all phones, ms", tally.refill_ms),
    ] {
        println!("  {what:<42} {n:>10}");
    }
    println!("{}", if tally.holds() { "nothing is lost" } else { "SOMETHING IS LOST" });
    Ok(tally.holds())
}
