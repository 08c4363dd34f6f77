//! The race: the same evening against our server and against general-purpose servers for documents that merge, which
//! were brought for it (`cargo xtask bench --peers`), with what no server can be quicker than beside them. The peers
//! speak by scripts of their own (`tests/peers`); this knows where those are and what they print.

mod limits;
mod line;

use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use backstraight_cluster::Cluster;
use clap::Parser;
pub(crate) use limits::{ECHO, serve as serve_echo};
use line::Line;
use rustix::process::{Pid, Signal, kill_process_group};

use crate::burst::{Evening, count, lost_at_kill};
use crate::documents::Club;
use crate::story;

/// The word that begins a race.
pub(crate) const WORD: &str = "race";

#[derive(Debug, Parser)]
#[command(name = "cargo xtask bench --peers")]
struct Args {
    /// How many devices come back, one race after the other
    #[arg(long, value_delimiter = ',', default_value = "100")]
    devices: Vec<usize>,
    /// These alone: limits, backstraight, or a peer by its name
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    only: Vec<String>,
    /// Seconds after which a peer is given up
    #[arg(long, default_value_t = 120, value_name = "SECONDS")]
    limit: u64,
    /// How often each is killed as it acknowledges, in the first race
    #[arg(long, default_value_t = 5, value_name = "TIMES")]
    trials: usize,
    /// One JSON object a line
    #[arg(long)]
    json: bool,
    /// A peer and the folder that it was brought to
    #[arg(long, value_name = "NAME=FOLDER")]
    peer: Vec<String>,
    /// A peer that is not there, and why
    #[arg(long, value_name = "NAME=WHY")]
    absent: Vec<String>,
}

impl Args {
    fn wants(&self, name: &str) -> bool {
        self.only.is_empty() || self.only.iter().any(|only| only == name)
    }

    /// Kills are of one device each: more devices beside would show the same again.
    fn trials(&self, devices: usize) -> usize {
        if self.devices.first() == Some(&devices) { self.trials } else { 0 }
    }
}

/// Runs it and prints it.
pub(crate) fn run(words: &[String]) {
    let args = Args::parse_from(std::iter::once("race").chain(words.iter().map(String::as_str)));
    let club = Club::of(story::WEEKS);
    if !args.json {
        println!("{}", line::HEAD);
    }
    let mut seen: Vec<(String, Line)> = Vec::new();
    for &devices in &args.devices {
        if args.wants("limits") {
            limits::lines(&club, devices).iter().for_each(|line| print(line, args.json));
        }
        if args.wants("backstraight") {
            ours(&club, devices, &args);
        }
        for (name, folder) in args.peer.iter().filter_map(|peer| peer.split_once('=')) {
            if args.wants(name) {
                let before = seen.iter().rfind(|(of, _)| of == name).map(|(_, line)| line);
                let line = peer(name, Path::new(folder), devices, before, &args);
                print(&line, args.json);
                seen.push((name.to_owned(), line));
            }
        }
        for (name, why) in args.absent.iter().filter_map(|absent| absent.split_once('=')) {
            if args.wants(name) {
                print(&Line::without(name, devices, why), args.json);
            }
        }
    }
}

fn print(line: &Line, json: bool) {
    if json {
        println!("{}", serde_json::to_string(line).unwrap());
    } else {
        println!("{}", line.row());
    }
}

fn ours(club: &Club, devices: usize, args: &Args) {
    print(&our_line("Backstraight, SQLite", club, None, 1, devices, args.trials(devices)), args.json);
    let what = "Backstraight, PostgreSQL, two processes";
    let line = if backstraight_cluster::find().is_some() {
        let cluster = Cluster::start();
        // The evening and the trials each have a club of their own.
        our_line(what, club, Some(&cluster), 2, devices, args.trials(devices))
    } else {
        Line::without(what, devices, format!("PostgreSQL is missing: {}", backstraight_cluster::BRING))
    };
    print(&line, args.json);
}

fn our_line(
    what: &str,
    club: &Club,
    cluster: Option<&Cluster>,
    processes: usize,
    devices: usize,
    trials: usize,
) -> Line {
    let database = || cluster.map(Cluster::database);
    let evening = Evening::of(club, database().as_deref(), processes, devices, false);
    let mut line = Line::acknowledged(what, devices, &evening.times, evening.elapsed_s);
    "ours, the phone's own request".clone_into(&mut line.client);
    line.durable = Some(devices - evening.lost);
    // An answer says "durable", and what it said was there after the kill.
    line.durable_s = (evening.lost == 0).then_some(evening.elapsed_s);
    line.server_cpu_s = Some(evening.cpu_ms / 1e3);
    line.peak_mb = Some(evening.peak_mb);
    line.bytes_up = Some(count(evening.up) / count(devices));
    line.bytes_down = Some(count(evening.down) / count(devices));
    line.turns = Some(1.0);
    line.others_cpu_s = Some(evening.others_s);
    line.lost = lost_at_kill(club, database().as_deref(), trials);
    line.note = match cluster {
        Some(_) => {
            "rows of boards among the CPU; memory of one process; the database's own is among the others"
                .to_owned()
        }
        None => "rows of boards among the CPU".to_owned(),
    };
    line
}

/// A peer by its script; not tried with more devices than it can bear by what it showed with fewer.
fn peer(name: &str, folder: &Path, devices: usize, before: Option<&Line>, args: &Args) -> Line {
    if let Some(before) = before {
        let needs = before.ms_a_device().map(|ms| ms * count(devices) / 1e3);
        if before.durable_s.is_none() {
            return Line::without(&before.server, devices, "not tried: fewer were too many");
        }
        if let Some(needs) = needs.filter(|s| *s > Duration::from_secs(args.limit).as_secs_f64()) {
            let why = format!("not tried: at what it took a device before, {needs:.0} s of CPU");
            return Line::without(&before.server, devices, why);
        }
    }
    let store = match tempfile::tempdir() {
        Ok(store) => store,
        Err(e) => return Line::without(name, devices, e.to_string()),
    };
    let mut node = Command::new("node");
    node.arg("--max-old-space-size=8192").arg(folder.join("race.mjs")).args(["run", name]);
    node.args(["--devices", &devices.to_string(), "--limit", &args.limit.to_string()]);
    node.args(["--trials", &args.trials(devices).to_string(), "--folder"]).arg(store.path());
    // A group of its own: its servers end with it.
    node.stdout(Stdio::piped()).process_group(0);
    let told = match node.spawn() {
        Ok(child) => hear(child, Duration::from_secs(args.limit * 3 + 60)),
        Err(e) => Err(e.to_string()),
    };
    let read = |told: String| {
        let last = told.lines().last().unwrap_or_default();
        serde_json::from_str::<Line>(last).map_err(|e| format!("its script ended without a figure ({e})"))
    };
    told.and_then(read).unwrap_or_else(|why| Line::without(name, devices, why))
}

/// What it prints, if it ends within that time; it and all that it started are ended otherwise.
fn hear(mut child: Child, within: Duration) -> Result<String, String> {
    let begun = Instant::now();
    let group = i32::try_from(child.id()).ok().and_then(Pid::from_raw);
    let over = loop {
        match child.try_wait() {
            Ok(Some(_)) => break Ok(()),
            Ok(None) if begun.elapsed() > within => {
                break Err(format!("given up after {} s", within.as_secs()));
            }
            Ok(None) => std::thread::sleep(Duration::from_millis(100)),
            Err(e) => break Err(e.to_string()),
        }
    };
    // Whatever it left behind; nothing, as a rule.
    let _ = group.map(|group| kill_process_group(group, Signal::KILL));
    let output = child.wait_with_output().map_err(|e| e.to_string())?;
    over.map(|()| String::from_utf8_lossy(&output.stdout).into_owned())
}
