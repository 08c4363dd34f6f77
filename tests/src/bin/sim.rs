//! `cargo xtask sim`: lives of a simulated club, seed by seed, until something is lost or all of them are through.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program that tells what it does")]

use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use backstraight_tests::sim::{Chaos, Found, Plan, Planted, Tally, every_write, live, shrink};
use clap::{Parser, ValueEnum as _};
use serde_json::json;

/// Lives of a simulated club: everything goes wrong that can, and nothing that was acknowledged may be lost
#[derive(Debug, Parser)]
#[command(name = "cargo xtask sim")]
struct Args {
    /// How many seeds
    #[arg(long, default_value_t = 100, value_name = "N")]
    seeds: u64,
    /// Steps of each life
    #[arg(long, default_value_t = 150, value_name = "M")]
    steps: u64,
    /// The first seed; with `--seeds 1` a finding is seen again
    #[arg(long, default_value_t = 0, value_name = "SEED")]
    from: u64,
    /// Put each fault in on purpose, one after the other, and say which seed finds it
    #[arg(long)]
    planted: bool,
    /// Put this fault in
    #[arg(long, value_name = "FAULT", conflicts_with = "planted")]
    plant: Option<Planted>,
    /// What does not go wrong, with commas between
    #[arg(long, value_enum, value_delimiter = ',', value_name = "TROUBLE")]
    without: Vec<Chaos>,
    /// One life over and over: each write of each device and of the server goes wrong as the 1st, the 2nd, the 3rd …
    #[arg(long, conflicts_with_all = ["planted", "plant", "seeds"])]
    every_write: bool,
    /// The tally as one JSON object
    #[arg(long)]
    json: bool,
}

fn main() -> ExitCode {
    let args = Args::parse();
    // What a life dies of is told in one line; the trace of each try would bury it.
    std::panic::set_hook(Box::new(|_| {}));
    if args.every_write {
        every(&args)
    } else if args.planted {
        find_planted(&args)
    } else {
        find(&args)
    }
}

fn plan(args: &Args, seed: u64, planted: Option<Planted>) -> Plan {
    Plan { seed, steps: args.steps, planted, without: args.without.iter().copied().collect(), one: None }
}

/// Lives through seeds on every processor until one finds something; the least such seed.
fn search(args: &Args, planted: Option<Planted>) -> (Tally, Option<(Plan, Found)>) {
    let next = AtomicU64::new(args.from);
    let end = args.from.saturating_add(args.seeds);
    let over = AtomicBool::new(false);
    let told = Mutex::new((0_u64, Instant::now()));
    let all: Mutex<(Tally, Option<(Plan, Found)>)> = Mutex::default();
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                while !over.load(Ordering::Relaxed) {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= end {
                        return;
                    }
                    let plan = plan(args, seed, planted);
                    let lived = live(&plan);
                    let mut all = all.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
                    match lived {
                        Ok(tally) => {
                            all.0 = all.0.and(tally);
                            tell(&told, args.seeds, &all.0);
                        }
                        Err(found) => {
                            over.store(true, Ordering::Relaxed);
                            if all.1.as_ref().is_none_or(|(before, _)| before.seed > seed) {
                                all.1 = Some((plan, found));
                            }
                        }
                    }
                }
            });
        }
    });
    all.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner)
}

/// Says now and then how far it is: a long run takes an hour.
fn tell(told: &Mutex<(u64, Instant)>, seeds: u64, tally: &Tally) {
    let mut told = told.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    told.0 += 1;
    if told.1.elapsed() >= Duration::from_secs(30) {
        told.1 = Instant::now();
        eprintln!("{} of {seeds} lives, {} operations: nothing found yet", told.0, tally.operations());
    }
}

fn find(args: &Args) -> ExitCode {
    let begun = Instant::now();
    let (tally, found) = search(args, args.plant);
    let seconds = begun.elapsed().as_secs_f64();
    if args.json {
        println!("{}", told(args, &tally, seconds, found.as_ref()));
    } else {
        println!(
            "{} lives of {} steps: {} operations ({} deeds, {} writes, {} requests) in {seconds:.1} s; {} apps died, \
             {} phones and {} servers were set back",
            args.seeds,
            args.steps,
            tally.operations(),
            tally.deeds,
            tally.writes,
            tally.requests,
            tally.crashes,
            tally.phones_set_back,
            tally.servers_set_back
        );
        println!(
            "{} acknowledged facts were held against what is there; {} of them were lost with the only phone that had \
             them, as they had to be",
            tally.facts, tally.lost_with_a_phone
        );
    }
    let Some((plan, found)) = found else { return ExitCode::SUCCESS };
    eprintln!("seed {} found: {}", plan.seed, found.0);
    let least = shrink(&plan);
    let why = live(&least).err().map_or_else(|| "nothing, on another try".to_owned(), |found| found.0);
    eprintln!("again: {}", again(&plan));
    eprintln!("as little as possible: {}: {why}", again(&least));
    ExitCode::FAILURE
}

/// The command that lives a life once more.
fn again(plan: &Plan) -> String {
    let words = plan.without.iter().filter_map(Chaos::to_possible_value);
    let without = words.map(|word| word.get_name().to_owned()).collect::<Vec<_>>().join(",");
    let planted = plan.planted.map(|fault| format!(" --plant {}", fault.word())).unwrap_or_default();
    let without = if without.is_empty() { without } else { format!(" --without {without}") };
    format!("cargo xtask sim --from {} --seeds 1 --steps {}{planted}{without}", plan.seed, plan.steps)
}

fn told(args: &Args, tally: &Tally, seconds: f64, found: Option<&(Plan, Found)>) -> serde_json::Value {
    json!({
        "seeds": args.seeds,
        "steps": args.steps,
        "seconds": seconds,
        "operations": tally.operations(),
        "deeds": tally.deeds,
        "writes": tally.writes,
        "requests": tally.requests,
        "hostile_requests": tally.hostile,
        "carried": tally.carried,
        "apps_died": tally.crashes,
        "rotten": tally.rotten,
        "rotten_on_servers": tally.rotten_on_servers,
        "phones_set_back": tally.phones_set_back,
        "servers_started": tally.servers_started,
        "servers_set_back": tally.servers_set_back,
        "upgrades": tally.upgrades,
        "unknown_to_older": tally.unknown,
        "facts": tally.facts,
        "lost_with_a_phone": tally.lost_with_a_phone,
        "found": found.map(|(plan, found)| json!({ "seed": plan.seed, "what": found.0 })),
    })
}

fn every(args: &Args) -> ExitCode {
    let begun = Instant::now();
    match every_write(args.from, args.steps) {
        Ok((lives, tally)) => {
            let seconds = begun.elapsed().as_secs_f64();
            if args.json {
                let told = json!({
                    "lives": lives, "seconds": seconds, "operations": tally.operations(), "facts": tally.facts,
                });
                println!("{told}");
            } else {
                println!(
                    "each write went wrong once in every way: {lives} lives, {} operations, {} acknowledged facts held \
                     against what is there, in {seconds:.1} s",
                    tally.operations(),
                    tally.facts
                );
            }
            ExitCode::SUCCESS
        }
        Err((plan, found)) => {
            eprintln!("with {:?} on seed {}, {} steps: {}", plan.one, plan.seed, plan.steps, found.0);
            ExitCode::FAILURE
        }
    }
}

/// Puts every fault in, one after the other. One that no seed finds is a failure: of the simulator.
fn find_planted(args: &Args) -> ExitCode {
    let mut missed = Vec::new();
    for planted in Planted::ALL {
        let (_, found) = search(args, Some(planted));
        let word = planted.word();
        match (&found, args.json) {
            (Some((plan, found)), true) => {
                println!("{}", json!({ "planted": word, "seed": plan.seed, "what": found.0 }));
            }
            (Some((plan, found)), false) => {
                let what: String = found.0.lines().next().unwrap_or_default().chars().take(110).collect();
                println!("{word:<24} seed {:>4}: {what}", plan.seed);
            }
            (None, _) => missed.push(word),
        }
    }
    if missed.is_empty() {
        return ExitCode::SUCCESS;
    }
    eprintln!("not found within {} seeds: {}", args.seeds, missed.join(", "));
    ExitCode::FAILURE
}
