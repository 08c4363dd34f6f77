//! `cargo xtask drill`: the restore drill, with its tally. Exit code 1 when something is lost.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program that tells what it does")]

use std::path::Path;
use std::process::ExitCode;

use backstraight_cluster::BRING;
use backstraight_tests::demo::machine::Machine;
use backstraight_tests::demo::stage::Trouble;
use backstraight_tests::drill::ground::{Ground, PostgresServer, SqliteFolder};
use backstraight_tests::drill::{self, Size, Tally};
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
    /// What the server keeps its data in; without it both, where PostgreSQL is found
    #[arg(long, value_enum)]
    store: Option<Store>,
    /// Print the tallies as a JSON list and nothing else
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Store {
    Sqlite,
    Postgres,
    Both,
}

impl Store {
    /// Whether each of the two is drilled. One that is asked for and missing stops the drill; one that is
    /// not asked for is left out, which is said.
    fn chosen(asked: Option<Store>) -> Result<(bool, bool), Trouble> {
        let found = backstraight_cluster::find().is_some();
        match asked {
            Some(Store::Sqlite) => Ok((true, false)),
            None if !found => {
                eprintln!("PostgreSQL is missing and skipped; this brings it: {BRING}\n");
                Ok((true, false))
            }
            Some(Store::Postgres | Store::Both) if !found => {
                Err(format!("PostgreSQL is missing; this brings it: {BRING}").into())
            }
            Some(Store::Postgres) => Ok((false, true)),
            Some(Store::Both) | None => Ok((true, true)),
        }
    }
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
    let machine = Machine::beside()?;
    let (sqlite, postgres) = Store::chosen(args.store)?;
    let mut tallies = Vec::new();
    if sqlite {
        tallies.push(on(args, |dir| Box::new(SqliteFolder::new(machine.program(), dir)))?);
    }
    if postgres {
        tallies.push(on(args, |dir| Box::new(PostgresServer::new(machine.program(), dir)))?);
    }
    if args.json {
        println!("{}", serde_json::to_string_pretty(&tallies)?);
    }
    Ok(tallies.iter().all(Tally::holds))
}

/// A drill on a ground in a folder that goes with it.
fn on(args: &Args, ground: impl FnOnce(&Path) -> Box<dyn Ground>) -> Result<Tally, Trouble> {
    let dir = tempfile::Builder::new().prefix("backstraight-drill-").tempdir()?;
    let size = Size { phones: usize::from(args.phones), sets: i64::from(args.sets) };
    let mut say = |text: &str| {
        if !args.json {
            println!("{text}");
        }
    };
    let tally = drill::run(ground(dir.path()).as_mut(), dir.path(), size, args.seed, &mut say)?;
    if !args.json {
        tell(&tally, args.seed);
    }
    Ok(tally)
}

fn tell(tally: &Tally, seed: u64) {
    println!("\nThe tally ({}, seed {seed}):", tally.store);
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
    println!("{}\n", if tally.holds() { "nothing is lost" } else { "SOMETHING IS LOST" });
}
