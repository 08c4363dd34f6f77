//! `cargo xtask fuzz`: inputs without end to every target, each in a process of its own, so that not even a process
//! that dies ends the search. What breaks something is made small and kept.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program that tells what it does")]

use std::fs;
use std::io::{self, BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use backstraight_tests::fuzz::run::{Found, Tally, Until, Wrong, fuzz, once};
use backstraight_tests::fuzz::{TARGETS, Target, corpus, find};
use clap::Parser;
use sense::Sense;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

#[path = "fuzz/sense.rs"]
mod sense;

/// An input that has not ended after this is taken for one that never does.
const ENDLESS: Duration = Duration::from_secs(if cfg!(debug_assertions) { 120 } else { 20 });
/// Processes that may die of one target before it is left.
const MOST_DEATHS: u64 = 10;

/// Inputs without end to whatever takes bytes from outside
#[derive(Debug, Clone, Parser)]
#[command(name = "cargo xtask fuzz")]
struct Args {
    /// This target, and no other; may be said several times
    #[arg(long, value_name = "T")]
    target: Vec<String>,
    /// For so many minutes in all, shared by the targets
    #[arg(long, value_name = "M", default_value_t = 1.0)]
    minutes: f64,
    /// So many inputs to each target
    #[arg(long, value_name = "N", conflicts_with = "minutes")]
    runs: Option<u64>,
    /// The seed; the same gives the same inputs
    #[arg(long, default_value_t = 1, value_name = "S")]
    seed: u64,
    /// The tally as one JSON object
    #[arg(long)]
    json: bool,
    /// Keep inputs that reached new code in this folder, and go on from those that are there
    #[arg(long, value_name = "DIR")]
    pool: Option<PathBuf>,
    /// Put inputs that break something into this folder
    #[arg(long, value_name = "DIR", default_value = "target/fuzz/found")]
    found: PathBuf,
    /// Run this one input of the one target, and let it break
    #[arg(long, value_name = "FILE")]
    input: Option<PathBuf>,
    /// Write the committed inputs anew
    #[arg(long)]
    corpus: bool,
    /// Name the targets and what each holds
    #[arg(long)]
    list: bool,
    /// Where a process that works writes down what it is at
    #[arg(long, hide = true)]
    at: Option<PathBuf>,
}

fn main() -> ExitCode {
    let args = Args::parse();
    match told(&args) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

/// Does what was asked; whether all was well.
fn told(args: &Args) -> io::Result<bool> {
    if args.list {
        TARGETS.iter().for_each(|t| println!("{:<10} {}", t.name, t.about));
        return Ok(true);
    }
    if args.corpus {
        let (files, bytes) = corpus::write()?;
        println!("{files} files, {bytes} bytes");
        return Ok(true);
    }
    let targets = chosen(args)?;
    if let Some(file) = &args.input {
        return one(&targets, file);
    }
    if let Some(at) = &args.at {
        return work(&targets, args, at);
    }
    all(&targets, args)
}

fn chosen(args: &Args) -> io::Result<Vec<&'static Target>> {
    let unknown = |name: &String| io::Error::other(format!("there is no target {name}; --list names them"));
    match args.target.as_slice() {
        [] => Ok(TARGETS.iter().collect()),
        some => some.iter().map(|name| find(name).ok_or_else(|| unknown(name))).collect(),
    }
}

/// One input, to look at: what breaks breaks here, with its trace.
fn one(targets: &[&'static Target], file: &Path) -> io::Result<bool> {
    let [target] = targets else {
        return Err(io::Error::other("--input wants the one --target that it is for"));
    };
    let input = fs::read(file)?;
    (target.run)(&input);
    let mut tally = Tally::default();
    let wrong = once(target, &input, &mut Sense::new(None)?, &mut tally);
    println!("{} bytes: {} ms, {} kB at once", input.len(), tally.slowest.as_millis(), tally.largest >> 10);
    if let Some(wrong) = &wrong {
        println!("{}", wrong.words());
    }
    Ok(wrong.is_none())
}

fn pool_of(args: &Args, target: &Target) -> Option<PathBuf> {
    args.pool.as_ref().map(|pool| pool.join(target.name))
}

fn hash(input: &[u8]) -> String {
    Sha256::digest(input).iter().take(6).map(|b| format!("{b:02x}")).collect()
}

/// Works on one target in this process; the tally goes out as JSON.
fn work(targets: &[&'static Target], args: &Args, at: &Path) -> io::Result<bool> {
    let [target] = targets else { return Err(io::Error::other("one target a process")) };
    let mut inputs = corpus::committed(target)?;
    let pool = pool_of(args, target);
    if let Some(pool) = &pool {
        fs::create_dir_all(pool)?;
        inputs.extend(corpus::read(pool)?.into_iter().map(|(_, bytes)| bytes));
    }
    let mut sense = Sense::new(Some(at))?;
    sense::give_up_after(ENDLESS);
    let until = match args.runs {
        Some(runs) => Until::Runs(runs),
        None => Until::Time(Duration::from_secs_f64(args.minutes.max(0.0) * 60.0)),
    };
    let mut keep = |input: &[u8]| {
        if let Some(pool) = &pool {
            // An input that is not kept is only found again later.
            let _ = fs::write(pool.join(hash(input)), input);
        }
    };
    let tally = fuzz(target, &inputs, args.seed, until, &mut sense, &mut keep);
    for found in &tally.found {
        let file = kept(args, target, found)?;
        println!("{}", json!({ "file": file, "what": found.wrong.words() }));
    }
    println!("{}", figures(target, &tally));
    io::stdout().flush()?;
    Ok(true)
}

/// Puts an input that broke something where it is found again.
fn kept(args: &Args, target: &Target, found: &Found) -> io::Result<PathBuf> {
    let word = match &found.wrong {
        Wrong::Panic(..) => "panic",
        Wrong::Slow(_) => "slow",
        Wrong::Large(_) => "large",
    };
    let folder = args.found.join(target.name);
    fs::create_dir_all(&folder)?;
    let file = folder.join(format!("{word}-{}.bin", hash(&found.input)));
    fs::write(&file, &found.input)?;
    Ok(file)
}

fn figures(target: &Target, tally: &Tally) -> Value {
    json!({
        "target": target.name,
        "runs": tally.runs,
        "seconds": tally.took.as_secs_f64(),
        "slowest_ms": tally.slowest.as_secs_f64() * 1000.0,
        "largest_kb": tally.largest >> 10,
        "taken": tally.taken,
        "caught": tally.caught,
        "reached": tally.reached,
        "found": tally.found.len(),
    })
}

/// Every target in processes of its own, one after the other; whether nothing was found.
fn all(targets: &[&'static Target], args: &Args) -> io::Result<bool> {
    let mut share = args.clone();
    if args.runs.is_none() {
        #[expect(clippy::cast_precision_loss, reason = "a dozen targets")]
        let count = targets.len().max(1) as f64;
        share.minutes /= count;
    }
    let (mut told, mut clean) = (Vec::new(), true);
    for target in targets {
        let sum = on_its_own(target, &share)?;
        clean &= sum["found"] == 0;
        if !args.json {
            line(&sum);
        }
        told.push(sum);
    }
    let runs: u64 = told.iter().filter_map(|t| t["runs"].as_u64()).sum();
    if args.json {
        println!("{}", json!({ "seed": args.seed, "runs": runs, "targets": told }));
    } else {
        println!("{runs} inputs in all");
    }
    Ok(clean)
}

fn line(sum: &Value) {
    let number = |name: &str| sum[name].as_f64().unwrap_or(0.0);
    println!(
        "{:<10} {:>10} inputs, {:>7.0} a second; slowest {:>5.1} ms, largest {:>6.0} kB, {:>6.0} edges, {} found",
        sum["target"].as_str().unwrap_or_default(),
        number("runs"),
        number("runs") / number("seconds").max(0.001),
        number("slowest_ms"),
        number("largest_kb"),
        number("reached"),
        number("found")
    );
}

/// One target, in a process that is started anew when it dies.
fn on_its_own(target: &Target, args: &Args) -> io::Result<Value> {
    let at = std::env::temp_dir().join(format!("backstraight-fuzz-{}-{}", std::process::id(), target.name));
    let begun = Instant::now();
    let (mut sum, mut deaths) = (figures(target, &Tally::default()), 0);
    loop {
        let left = (args.minutes - begun.elapsed().as_secs_f64() / 60.0).max(0.0);
        let mut command = Command::new(std::env::current_exe()?);
        command.arg("--target").arg(target.name).arg("--at").arg(&at);
        command.arg("--seed").arg(args.seed.wrapping_add(deaths * 1_000_003).to_string());
        command.arg("--found").arg(&args.found);
        match args.runs {
            Some(runs) => command.arg("--runs").arg(runs.to_string()),
            None => command.arg("--minutes").arg(left.to_string()),
        };
        if let Some(pool) = &args.pool {
            command.arg("--pool").arg(pool);
        }
        let mut child = command.stdout(Stdio::piped()).spawn()?;
        let mut said = Vec::new();
        if let Some(out) = child.stdout.take() {
            said.extend(BufReader::new(out).lines().map_while(Result::ok));
        }
        let status = child.wait()?;
        for line in &said {
            let Ok(value) = serde_json::from_str::<Value>(line) else { continue };
            if let Some(file) = value["file"].as_str() {
                tell(target, Path::new(file), value["what"].as_str().unwrap_or_default());
            } else {
                add(&mut sum, &value);
            }
        }
        if status.success() {
            break;
        }
        deaths += 1;
        let (runs, input) = sense::noted(&at)?;
        let file = args.found.join(target.name).join(format!("death-{}.bin", hash(&input)));
        fs::create_dir_all(args.found.join(target.name))?;
        fs::write(&file, &input)?;
        tell(target, &file, &format!("the process died of it ({status})"));
        add(&mut sum, &json!({ "runs": runs, "found": 1 }));
        if deaths >= MOST_DEATHS || args.runs.is_none() && begun.elapsed().as_secs_f64() > args.minutes * 60.0
        {
            break;
        }
    }
    let _ = fs::remove_file(&at);
    Ok(sum)
}

/// Adds what a process did to what those before it did.
fn add(sum: &mut Value, more: &Value) {
    let number = |v: &Value, name: &str| v[name].as_f64().unwrap_or(0.0);
    for name in ["seconds", "slowest_ms"] {
        let (a, b) = (number(sum, name), number(more, name));
        sum[name] = json!(if name == "seconds" { a + b } else { a.max(b) });
    }
    for name in ["runs", "taken", "caught", "found", "largest_kb", "reached"] {
        let (a, b) = (sum[name].as_u64().unwrap_or(0), more[name].as_u64().unwrap_or(0));
        sum[name] = json!(if name.ends_with("kb") || name == "reached" { a.max(b) } else { a + b });
    }
}

fn tell(target: &Target, file: &Path, what: &str) {
    eprintln!("{}: {what}", target.name);
    eprintln!("   again: cargo xtask fuzz --target {} --input {}", target.name, file.display());
}
