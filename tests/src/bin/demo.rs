//! `cargo xtask demo`: an invented club, the whole loop, live. With `--check` every claim is held
//! against an independent tally; with `--json` the result is for a machine.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program that tells a story")]

use std::path::PathBuf;
use std::process::{Command, ExitCode};

use backstraight_server::report::athlete::AthleteReport;
use backstraight_server::report::board::Board;
use backstraight_tests::demo::care;
use backstraight_tests::demo::check::{self, Claims};
use backstraight_tests::demo::evening::{self, Evening};
use backstraight_tests::demo::evening_check;
use backstraight_tests::demo::machine::Machine;
use backstraight_tests::demo::stage::{Stage, Trouble};
use backstraight_tests::demo::story::{self, Told, cast};
use clap::Parser;
use serde::Serialize;

/// Shows the whole loop of Backstraight on an invented club.
#[derive(Debug, Parser)]
struct Args {
    /// Hold every claim against an independent tally; exit code 1 when one does not hold
    #[arg(long)]
    check: bool,
    /// Print the result as JSON and nothing else
    #[arg(long)]
    json: bool,
    /// Seed of the invented data
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Folder for all files; a new temporary one when missing
    #[arg(long, value_name = "DIR")]
    dir: Option<PathBuf>,
    /// Port of the server; any free one for 0
    #[arg(long, default_value_t = 0)]
    port: u16,
}

#[derive(Debug, Serialize)]
struct Outcome {
    seed: u64,
    sets_saved: usize,
    round_trips: u32,
    kilobytes_up: u64,
    kilobytes_down: u64,
    board: Board,
    athlete: AthleteReport,
    evening: Evening,
    claims: Vec<check::Claim>,
}

fn main() -> ExitCode {
    match run(&Args::parse()) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(trouble) => {
            eprintln!("the demo stopped: {trouble}");
            ExitCode::FAILURE
        }
    }
}

fn run(args: &Args) -> Result<bool, Trouble> {
    let quiet = args.json;
    let mut say = |text: &str| {
        if !quiet {
            println!("{text}");
        }
    };
    let temporary = tempfile::Builder::new().prefix("backstraight-demo-").tempdir()?;
    let dir = match &args.dir {
        Some(dir) => {
            std::fs::create_dir_all(dir)?;
            if std::fs::read_dir(dir)?.next().is_some() {
                return Err(format!("{} is not empty", dir.display()).into());
            }
            dir.clone()
        }
        None => temporary.path().to_owned(),
    };
    say("A server starts on a folder of its own. Club, people and phones are invented.");
    let mut stage = Stage::build(&dir, args.port)?;
    let mut told = story::tell(&mut stage, args.seed, &mut say)?;
    let mut claims = Claims::default();

    let machine = Machine::beside()?;
    let week = [
        "--from".to_owned(),
        stage.today.plus(-7).to_string(),
        "--to".to_owned(),
        stage.today.plus(1).to_string(),
    ];
    let ines = stage.athletes.first().map(|a| a.phone.identity().person.to_string()).ok_or("no athlete")?;
    let board: Board = machine.read(&stage, &["board"], &week)?;
    let report: AthleteReport = machine.read(&stage, &["athlete", &ines], &week)?;
    if !quiet {
        println!("\nThe board that both coaches see (`backstraight board`):\n");
        println!("{}", board.to_text());
        println!("\nWhat Ines did against what her phone showed (`backstraight athlete`):\n");
        let today = told.today_session.first().map(ToString::to_string);
        if let Some(session) = report.reviews.iter().find(|r| r.cell.session == today) {
            println!("{}", session.to_text());
        }
        for met in &report.met_here {
            println!("\nTwo edits met here:\n{}", met.to_text());
        }
    }
    let evening = evening::live(&mut stage, &machine, &mut say)?;
    if args.check {
        check::board(&board, &told, &stage, &mut claims);
        evening_check::evening(&evening, &told, &mut stage, &mut claims)?;
        care::check(&mut stage, (&board, &evening.attention), &mut claims)?;
        checks(&mut stage, &mut told, &machine, &report, &mut claims)?;
    } else {
        say("\nThe head coach picks three repetitions; nobody sees two edits any more.");
        story::pick(&mut stage, &told)?;
    }
    if args.json {
        let result = Outcome {
            seed: args.seed,
            sets_saved: told.ledger.saved.len(),
            round_trips: stage.traffic.round_trips,
            kilobytes_up: stage.traffic.sent / 1000,
            kilobytes_down: stage.traffic.received / 1000,
            board,
            athlete: report,
            evening,
            claims: claims.0.clone(),
        };
        println!("{}", serde_json::to_string_pretty(&result)?);
    } else if args.check {
        println!("\nEvery claim against the tally:");
        for claim in &claims.0 {
            println!("  {} {}", if claim.holds { "holds " } else { "FAILS " }, claim.claim);
            if !claim.holds {
                println!("         found: {}", claim.found);
            }
        }
        let held = claims.0.iter().filter(|c| c.holds).count();
        println!("{held} passed, {} failed", claims.0.len() - held);
    } else {
        further(&mut stage, &machine, &ines)?;
    }
    stage.close();
    Ok(claims.all_hold())
}

fn checks(
    stage: &mut Stage,
    told: &mut Told,
    machine: &Machine,
    report: &AthleteReport,
    claims: &mut Claims,
) -> Result<(), Trouble> {
    check::ines(report, told, claims);
    check::both_edits(stage, told, claims)?;
    check::nothing_lost(stage, told, claims)?;
    story::pick(stage, told)?;
    check::picked(stage, told, claims)?;
    let all = [
        "--from".to_owned(),
        stage.today.plus(-56).to_string(),
        "--to".to_owned(),
        stage.today.plus(13).to_string(),
    ];
    let whole: Board = machine.read(stage, &["board"], &all)?;
    check::board(&whole, told, stage, claims);
    let rebuilt = Command::new(machine.program()).args(["rebuild", "--data"]).arg(stage.data()).output()?;
    let again: Board = machine.read(stage, &["board"], &all)?;
    claims.0.push(check::Claim {
        claim: "the board is the same after its rows were made anew from the documents".to_owned(),
        holds: rebuilt.status.success() && again == whole,
        found: String::from_utf8_lossy(&rebuilt.stderr).into_owned(),
    });
    check::silent_returns(stage, told, claims)?;
    let clean = Command::new(machine.program()).args(["check", "--data"]).arg(stage.data()).output()?;
    claims.0.push(check::Claim {
        claim: "`backstraight check` finds the data folder clean".to_owned(),
        holds: clean.status.success(),
        found: String::from_utf8_lossy(&clean.stderr).into_owned(),
    });
    let silent = stage.athletes.get(cast::SILENT).map(|a| a.phone.refusals()).transpose()?;
    claims.0.push(check::Claim {
        claim: "no server refused anything of any honest phone".to_owned(),
        holds: silent.is_some_and(|r| r.is_empty()),
        found: String::new(),
    });
    Ok(())
}

fn further(stage: &mut Stage, machine: &Machine, ines: &str) -> Result<(), Trouble> {
    let token = stage.coaches.first().map(|c| c.phone.identity().access.clone()).ok_or("no coach")?;
    let (url, data, today) = (stage.url()?, stage.data(), stage.today);
    let (program, data) = (machine.program().display(), data.display());
    println!("\nThe server runs on at {url}. Open these in a browser, each in a window of its own kind");
    println!("(an ordinary one, a private one, another browser): a browser is one person's device.");
    let coach = stage.coaches.first().map(|c| (c.name, c.phone.identity().person));
    let athletes =
        stage.athletes.iter().take(2).map(|a| (a.phone.identity().name.clone(), a.phone.identity().person));
    let people: Vec<_> = coach.into_iter().map(|(name, id)| (name.to_owned(), id)).chain(athletes).collect();
    for (name, person) in people {
        println!("  {name}: {}", stage.way_in(person)?);
    }
    println!("Each link works once. Stop the server in between: what is logged waits in the browser.");
    println!("\nLook further, in another terminal:");
    println!("  {program} board --data {data} --week {today}");
    println!("  {program} board --data {data} --from {} --to {today}", today.plus(-13));
    println!("  {program} athlete Ines --data {data} --from {today} --to {today}");
    println!("  {program} attention --data {data}   (or records, or proposals)");
    println!("  {program} check --data {data}");
    println!("  {program} formula run e1rm.brzycki w=100 r=5");
    println!("With the head coach's token, good for a quarter of an hour:");
    println!("  curl -s -H 'authorization: Bearer {token}' '{url}/v1/board?from={today}&to={today}'");
    println!(
        "  curl -s -H 'authorization: Bearer {token}' '{url}/v1/athletes/{ines}?from={today}&to={today}'"
    );
    println!("Stop it with Ctrl-C; the files are removed then unless --dir was given.");
    stage.run_on()
}
