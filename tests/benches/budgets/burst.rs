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
use crate::measure::{Row, machine_s, median, program_ms, quantile, wall};
use crate::stage::{Server, send};
use crate::story;
use crate::upload::{Device, held};

/// Phones, and within which time all of them begin.
const PHONES: usize = 1_000;
const WITHIN: Duration = Duration::from_secs(10);
/// Changes that each of them brings.
const CHANGES: u32 = 264;
/// Requests that are under way at most; a phone beyond it waits, and the wait counts.
const AT_ONCE: usize = 128;
/// Athletes on the page of the board that the coach looks at meanwhile, and how often it is asked for.
const LOOKED_AT: usize = 60;
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// The word by which this program becomes a server.
pub(crate) const SERVE: &str = "--serve-for-burst";

/// A server in a process of its own.
pub(crate) struct Process {
    child: Child,
    pub(crate) address: SocketAddr,
}

impl Process {
    /// This program again, as what the words say, which prints where it listens.
    pub(crate) fn start(words: &[&str], folder: &Path, database: Option<&str>) -> Process {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command.args(words).arg(folder).args(database).stdout(Stdio::piped()).stdin(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Process { child, address: line.trim().parse().unwrap() }
    }

    /// The most that it had resident, MB.
    pub(crate) fn peak_mb(&self) -> f64 {
        let text = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = text.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
        line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
    }

    /// CPU so far, ms (fields 14 and 15 of `/proc/PID/stat`, in hundredths of a second).
    pub(crate) fn cpu_ms(&self) -> f64 {
        let text = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).unwrap();
        let after = text.rsplit_once(')').unwrap().1;
        let ticks = |n: usize| after.split_whitespace().nth(n).unwrap().parse::<f64>().unwrap();
        (ticks(11) + ticks(12)) * 10.0
    }

    /// Ends it as a loss of power would, but for the disk.
    pub(crate) fn kill(mut self) {
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
    } else {
        eprintln!("burst over PostgreSQL is not measured; this brings it: {}", backstraight_cluster::BRING);
    }
    rows
}

fn on(what: &str, club: &Club, database: Option<&str>, processes: usize) -> Vec<Row> {
    let evening = Evening::of(club, database, processes, PHONES, true);
    let Evening { times, looks, .. } = &evening;
    vec![
        Row::most(&format!("1,000 phones back within 10 s, p99 until durable: {what}"), 250.0, quantile(times, 0.99), "ms")
            .note(format!("264 changes each on 1,012 earlier ones, a connection each; both cores, phones among them; p50 {:.0} ms, worst {:.0} ms", quantile(times, 0.5), quantile(times, 0.9999))),
        Row::most("a coach's board meanwhile", 50.0, median(looks.clone()), "ms").of_cpu().note(format!(
            "{LOOKED_AT} athletes × 12 weeks, {} times on an open connection, elapsed; p95 {:.0} ms, worst {:.0} ms",
            looks.len(),
            quantile(looks, 0.95),
            quantile(looks, 0.9999)
        )),
        Row::most("memory of a server meanwhile, at most", 100.0, evening.peak_mb, "MB").note("resident, of its own process; rows of boards are made meanwhile"),
        Row::beside("CPU of the servers for each phone", evening.cpu_ms / count(PHONES), "ms CPU").note("rows of boards among it"),
        Row::most("acknowledged uploads not there after kill -9", 0.0, count(evening.lost), "phones"),
    ]
}

/// A count as a figure.
#[expect(clippy::cast_precision_loss, reason = "a small count")]
pub(crate) const fn count(n: usize) -> f64 {
    n as f64
}

/// What was seen of one such evening.
pub(crate) struct Evening {
    /// Until "durable", for each phone, ms.
    pub(crate) times: Vec<f64>,
    /// Until the last one, s.
    pub(crate) elapsed_s: f64,
    /// Of each look at the board, ms.
    looks: Vec<f64>,
    /// Of all servers, boards' rows among it.
    pub(crate) cpu_ms: f64,
    /// Resident, of the largest server.
    pub(crate) peak_mb: f64,
    /// Bytes of all requests, heads among them, and of all answers.
    pub(crate) up: usize,
    pub(crate) down: usize,
    /// Phones whose acknowledged work is not there after the kill.
    pub(crate) lost: usize,
    /// What other programs took of the machine meanwhile, s.
    pub(crate) others_s: f64,
}

impl Evening {
    /// So many phones against so many servers on one store, with or without a coach who looks at the board.
    pub(crate) fn of(
        club: &Club,
        database: Option<&str>,
        processes: usize,
        phones: usize,
        looked_at: bool,
    ) -> Evening {
        let dir = tempfile::tempdir().unwrap();
        let (coach, devices) = prepare(dir.path(), club, database, phones);
        let servers: Vec<Process> =
            (0..processes).map(|_| Process::start(&[SERVE], dir.path(), database)).collect();
        let cpu = || servers.iter().map(Process::cpu_ms).sum::<f64>();
        // Rows of what was there before are no work of this evening.
        settle(&cpu);
        let (before, own, machine) = (cpu(), program_ms(), machine_s());
        let ((times, elapsed_s, up, down), looks) = if looked_at {
            with_a_coach(&coach, &servers[0], || come_back(&devices, &servers))
        } else {
            (come_back(&devices, &servers), Vec::new())
        };
        let cpu_ms = cpu() - before;
        let others_s = machine_s() - machine - (program_ms() - own + cpu_ms) / 1e3;
        let peak_mb = servers.iter().map(Process::peak_mb).fold(0.0, f64::max);
        servers.into_iter().for_each(Process::kill);
        let lost = missing(dir.path(), &devices, database);
        Evening { times, elapsed_s, looks, cpu_ms, peak_mb, up, down, lost, others_s: others_s.max(0.0) }
    }
}

/// Waits until servers have nothing to do, two minutes at most.
fn settle(cpu: &impl Fn() -> f64) {
    for _ in 0..120 {
        let before = cpu();
        std::thread::sleep(Duration::from_secs(1));
        if cpu() - before <= 10.0 {
            return;
        }
    }
}

/// In each trial one phone sends, and the server is killed when the answer is there: changes that are lost.
pub(crate) fn lost_at_kill(club: &Club, database: Option<&str>, trials: usize) -> Vec<Option<u32>> {
    let dir = tempfile::tempdir().unwrap();
    let (_, devices) = prepare(dir.path(), club, database, trials);
    let trial = |device| {
        let servers = vec![Process::start(&[SERVE], dir.path(), database)];
        let device = std::slice::from_ref(device);
        come_back(device, &servers);
        servers.into_iter().for_each(Process::kill);
        Some(if missing(dir.path(), device, database) == 0 { 0 } else { CHANGES })
    };
    devices.iter().map(trial).collect()
}

/// All phones enrolled, with what they sent before the two weeks, and their coach.
fn prepare(folder: &Path, club: &Club, database: Option<&str>, phones: usize) -> (Identity, Vec<Device>) {
    let database = database.map_or_else(Database::default, |url| Database::at(url.parse().unwrap()));
    let server = Server::over(folder, story::START, database);
    let id = server.club();
    let coach = server.enrolled(id, Role::HeadCoach, "Ruth Adeyemi");
    let people: Vec<Identity> =
        (0..phones).map(|n| server.enrolled(id, Role::Athlete, &format!("Athlete {n:04}"))).collect();
    let next = AtomicUsize::new(0);
    let made = Mutex::new(Vec::with_capacity(phones));
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

/// Runs `work` for each of `many`, the n-th when its share of the ten seconds is over; milliseconds from then until
/// it is done, and seconds until all are.
pub(crate) fn within_ten_seconds(many: usize, work: impl Fn(usize) + Sync) -> (Vec<f64>, f64) {
    let next = AtomicUsize::new(0);
    let times = Mutex::new(Vec::with_capacity(many));
    let begun = Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..AT_ONCE.min(many) {
            scope.spawn(|| {
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    if n >= many {
                        return;
                    }
                    let due = WITHIN * u32::try_from(n).unwrap() / u32::try_from(many).unwrap();
                    std::thread::sleep(due.saturating_sub(begun.elapsed()));
                    work(n);
                    let took = begun.elapsed().saturating_sub(due).as_secs_f64() * 1e3;
                    times.lock().unwrap().push(took);
                }
            });
        }
    });
    (times.into_inner().unwrap(), begun.elapsed().as_secs_f64())
}

/// Every phone sends what it has; how long each took, ms, and all together, s, and bytes up and down.
fn come_back(devices: &[Device], servers: &[Process]) -> (Vec<f64>, f64, usize, usize) {
    let (up, down) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let (times, elapsed) = within_ten_seconds(devices.len(), |n| {
        let device = &devices[n];
        let posted = send(servers[n % servers.len()].address, &device.identity.access, &device.packed);
        let answer = Down::from_bytes(&posted.body).unwrap();
        assert_eq!(answer.docs.first().unwrap().outcome, Outcome::Accepted);
        up.fetch_add(posted.up, Ordering::Relaxed);
        down.fetch_add(posted.down, Ordering::Relaxed);
    });
    (times, elapsed, up.into_inner(), down.into_inner())
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
