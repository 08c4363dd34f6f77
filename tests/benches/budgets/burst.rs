//! A Sunday evening: a thousand phones that were without a signal for two weeks come back within ten
//! seconds. Time to "durable" for each, how long their coach's board takes meanwhile, memory and CPU of the server's
//! own process (boards' rows made meanwhile), and what is there after the process was killed the moment the last
//! answer was out.

use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use backstraight_cluster::Cluster;
use backstraight_core::base::day::Day;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::{Down, Outcome};
use backstraight_ffi::identity::Identity;
use backstraight_server::store::postgres::Database;

use crate::board;
use crate::documents::Club;
use crate::measure::{Row, median, quantile, wall};
use crate::stage::{Server, post};
use crate::story;
use crate::upload::{Device, held};

/// Phones, and within which time all of them begin.
const PHONES: usize = 1_000;
const WITHIN: Duration = Duration::from_secs(10);
/// Requests that are under way at most; a phone beyond it waits, and the wait counts.
const AT_ONCE: usize = 128;
/// Athletes on the page of the board that the coach looks at meanwhile, and how often it is asked for.
const LOOKED_AT: usize = 60;
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// The word by which this program becomes a server.
pub(crate) const SERVE: &str = "--serve-for-burst";

/// A server in a process of its own.
struct Process {
    child: Child,
    address: SocketAddr,
}

impl Process {
    fn start(folder: &Path, database: Option<&str>) -> Process {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command.arg(SERVE).arg(folder).args(database).stdout(Stdio::piped()).stdin(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Process { child, address: line.trim().parse().unwrap() }
    }

    fn status(&self, field: &str) -> f64 {
        let text = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = text.lines().find(|l| l.starts_with(field)).unwrap();
        line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
    }

    /// CPU so far, ms (fields 14 and 15 of `/proc/PID/stat`, in hundredths of a second).
    fn cpu_ms(&self) -> f64 {
        let text = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).unwrap();
        let after = text.rsplit_once(')').unwrap().1;
        let ticks = |n: usize| after.split_whitespace().nth(n).unwrap().parse::<f64>().unwrap();
        (ticks(11) + ticks(12)) * 10.0
    }

    /// Ends it as a loss of power would, but for the disk.
    fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

/// What [`Process::start`] runs: a server on the folder until it is killed.
pub(crate) fn serve(args: &[String]) {
    let folder = Path::new(&args[0]);
    let database = args.get(1).map_or_else(Database::default, |url| Database::at(url.parse().unwrap()));
    let server = Server::in_service(folder, story::START, database);
    println!("{}", server.address);
    loop {
        std::thread::park();
    }
}

pub(crate) fn figures(club: &Club) -> Vec<Row> {
    let mut rows = on("SQLite", club, None, 1);
    if backstraight_cluster::find().is_some() {
        let cluster = Cluster::start();
        rows.extend(on("PostgreSQL, two processes", club, Some(&cluster.database()), 2));
    }
    rows
}

fn on(what: &str, club: &Club, database: Option<&str>, processes: usize) -> Vec<Row> {
    let dir = tempfile::tempdir().unwrap();
    let (coach, devices) = prepare(dir.path(), club, database);
    let servers: Vec<Process> = (0..processes).map(|_| Process::start(dir.path(), database)).collect();
    let before: f64 = servers.iter().map(Process::cpu_ms).sum();
    let (times, looks) = with_a_coach(&coach, &servers[0], || come_back(&devices, &servers));
    let spent = servers.iter().map(Process::cpu_ms).sum::<f64>() - before;
    let peak = servers.iter().map(|s| s.status("VmHWM:")).fold(0.0, f64::max);
    servers.into_iter().for_each(Process::kill);
    let lost = missing(dir.path(), &devices, database);
    #[expect(clippy::cast_precision_loss, reason = "a small count")]
    let (phones, lost) = (PHONES as f64, lost as f64);
    vec![
        Row::most(&format!("1,000 phones back within 10 s, p99 until durable: {what}"), 250.0, quantile(&times, 0.99), "ms")
            .note(format!("264 changes each on 1,012 earlier ones, a connection each; both cores, phones among them; p50 {:.0} ms, worst {:.0} ms", quantile(&times, 0.5), quantile(&times, 0.9999))),
        Row::most("a coach's board meanwhile", 50.0, median(looks.clone()), "ms").of_cpu().note(format!(
            "{LOOKED_AT} athletes × 12 weeks, {} times on an open connection, elapsed; p95 {:.0} ms, worst {:.0} ms",
            looks.len(),
            quantile(&looks, 0.95),
            quantile(&looks, 0.9999)
        )),
        Row::most("memory of a server meanwhile, at most", 100.0, peak, "MB").note("resident, of its own process; rows of boards are made meanwhile"),
        Row::beside("CPU of the servers for each phone", spent / phones, "ms CPU").note("rows of boards among it"),
        Row::most("acknowledged uploads not there after kill -9", 0.0, lost, "phones"),
    ]
}

/// All phones enrolled, with what they sent before the two weeks, and their coach.
fn prepare(folder: &Path, club: &Club, database: Option<&str>) -> (Identity, Vec<Device>) {
    let database = database.map_or_else(Database::default, |url| Database::at(url.parse().unwrap()));
    let server = Server::over(folder, story::START, database);
    let id = server.club();
    let coach = server.enrolled(id, Role::HeadCoach, "Ruth Adeyemi");
    let people: Vec<Identity> =
        (0..PHONES).map(|n| server.enrolled(id, Role::Athlete, &format!("Athlete {n:04}"))).collect();
    let next = AtomicUsize::new(0);
    let made = Mutex::new(Vec::with_capacity(PHONES));
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    let Some(identity) = people.get(n) else { return };
                    let device = Device::ready(&server, club, identity.clone(), n as u64, story::START);
                    made.lock().unwrap().push(device);
                }
            });
        }
    });
    server.stop();
    (coach, made.into_inner().unwrap())
}

/// What each look of the coach at the board takes while the phones come back, ms.
fn with_a_coach<T>(coach: &Identity, server: &Process, phones: impl FnOnce() -> T) -> (T, Vec<f64>) {
    let today = Day::of(story::START, 0).unwrap();
    let path = format!("/v1/board?from={}&to={today}&today={today}&limit={LOOKED_AT}", today.plus(-83));
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let looking = scope.spawn(|| {
            let mut stream = board::connect(server.address);
            let mut took = Vec::new();
            while !over.load(Ordering::Relaxed) {
                let (ms, (head, _)) = wall(|| board::get(&mut stream, &path, &coach.access, None));
                assert!(head.starts_with("http/1.1 200"), "{head}");
                took.push(ms);
                std::thread::sleep(LOOK_EVERY);
            }
            took
        });
        let done = phones();
        over.store(true, Ordering::Relaxed);
        (done, looking.join().unwrap())
    })
}

/// Milliseconds from when each phone wants to send until its answer says "durable".
fn come_back(devices: &[Device], servers: &[Process]) -> Vec<f64> {
    let next = AtomicUsize::new(0);
    let times = Mutex::new(Vec::with_capacity(devices.len()));
    let begun = Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| {
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    let Some(device) = devices.get(n) else { return };
                    let share = u32::try_from(n).unwrap();
                    let due = WITHIN * share / u32::try_from(devices.len()).unwrap();
                    std::thread::sleep(due.saturating_sub(begun.elapsed()));
                    let server = &servers[n % servers.len()];
                    let body = post(server.address, &device.identity.access, &device.packed);
                    let took = begun.elapsed().saturating_sub(due).as_secs_f64() * 1e3;
                    let down = Down::from_bytes(&body).unwrap();
                    assert_eq!(down.docs.first().unwrap().outcome, Outcome::Accepted);
                    times.lock().unwrap().push(took);
                }
            });
        }
    });
    times.into_inner().unwrap()
}

/// How many acknowledged logs are not whole in the store that the killed servers left.
fn missing(folder: &Path, devices: &[Device], database: Option<&str>) -> usize {
    let database = database.map_or_else(Database::default, |url| Database::at(url.parse().unwrap()));
    let server = Server::over(folder, story::START, database);
    let store = server.store();
    let lost = devices.iter().filter(|d| !story::same(&held(&store, d.story.name), &d.story.heads)).count();
    server.stop();
    lost
}
