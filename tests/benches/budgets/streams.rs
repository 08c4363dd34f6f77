//! What open streams of nudges cost a server that has nothing to say: memory of each, how long one piece of news takes
//! to all of them, and what it takes to be quiet. The server and the other ends are each a process of their own, so
//! that memory is counted from a fresh start.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_ffi::transport::enrol;
use backstraight_tests::stand::{START, Stand};
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
use serde::{Deserialize, Serialize};

use crate::measure::{Row, program_ms};

/// The words by which this program becomes the server that is measured, and the other ends.
pub(crate) const SERVE: &str = "--serve-streams";
pub(crate) const LISTEN: &str = "--listen-to-streams";
/// How many.
const STREAMS: u32 = 10_000;
/// How long it is quiet.
const QUIET: Duration = Duration::from_secs(50);

/// What the server's process tells.
#[derive(Debug, Serialize, Deserialize)]
struct Told {
    open_s: f64,
    bytes_each: u64,
    news_s: f64,
    quiet_ms: f64,
    bytes_afterwards: u64,
}

pub(crate) fn figures() -> Vec<Row> {
    if !files(u64::from(STREAMS) + 200) {
        return Vec::new();
    }
    let output =
        Command::new(std::env::current_exe().unwrap()).arg(SERVE).stderr(Stdio::inherit()).output().unwrap();
    let told: Told = serde_json::from_slice(&output.stdout).unwrap();
    #[expect(clippy::cast_precision_loss, reason = "bytes of a stream")]
    let bytes = |n: u64| n as f64;
    vec![
        Row::most("memory of an open stream of nudges", 15_000.0, bytes(told.bytes_each), "B")
            .note(format!("{STREAMS} of them, resident, all open after {:.1} s", told.open_s)),
        Row::beside("one piece of news with all of them after", told.news_s, "s"),
        Row::beside("CPU of a second in which they have nothing to say", told.quiet_ms, "ms CPU")
            .note("signs of life, and a look at the rights of each every 25 s"),
        Row::beside("memory of one afterwards", bytes(told.bytes_afterwards), "B"),
    ]
}

/// Resident memory of this program, bytes (Linux).
fn resident() -> u64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = text.lines().find(|l| l.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() * 1024
}

/// So many files for this program; says why not.
fn files(wanted: u64) -> bool {
    let most = getrlimit(Resource::Nofile).maximum;
    if most.is_some_and(|most| most < wanted) {
        eprintln!("streams are not measured: only {most:?} files may be open; ulimit -Hn {wanted} allows it");
        return false;
    }
    setrlimit(Resource::Nofile, Rlimit { current: Some(wanted), maximum: most }).unwrap();
    true
}

/// Opens a stream and waits for its first event.
fn open(address: &str, token: &str) -> TcpStream {
    let mut stream = TcpStream::connect(address).unwrap();
    let head = format!(
        "GET /v1/nudge HTTP/1.1\r\nhost: {address}\r\naccept: text/event-stream\r\nauthorization: Bearer {token}\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let mut bytes = [0; 2048];
    let mut seen = 0;
    while !bytes.windows(9).any(|w| w == b"data: all") {
        seen += stream.read(&mut bytes[seen..]).unwrap();
    }
    stream
}

/// What [`LISTEN`] runs, the other end of all streams: opens them and says so; when told to go on, waits until the news
/// is with each and says so; ends when its input does.
pub(crate) fn listen(words: &[String]) {
    let [address, token] = words else { return };
    assert!(files(u64::from(STREAMS) + 200));
    let mut streams: Vec<TcpStream> = (0..STREAMS).map(|_| open(address, token)).collect();
    println!("open");
    let mut go = String::new();
    std::io::stdin().read_line(&mut go).unwrap();
    for stream in &mut streams {
        let mut bytes = [0; 512];
        assert!(stream.read(&mut bytes).unwrap() > 0);
    }
    println!("told");
    std::io::stdin().read_line(&mut go).unwrap();
}

/// What [`SERVE`] runs: measures and prints it.
pub(crate) fn serve() {
    assert!(files(u64::from(STREAMS) + 200));
    let stand = Stand::with(START, |config| {
        config.limits.streams = STREAMS + 50;
        config.limits.streams_each = STREAMS + 50;
        // One desk opens them all, and at once.
        config.limits.install_minute = 1_000_000;
        config.limits.address_minute = 1_000_000;
    });
    let coach = stand.person(Role::Coach, "Ruth Adeyemi");
    let identity = enrol(&stand.url(), &stand.code(coach), "desk").unwrap();
    let address = stand.running().address.to_string();
    // Threads, caches and pools are there before anything is counted.
    drop((0..50).map(|_| open(&address, &identity.access)).collect::<Vec<_>>());
    std::thread::sleep(Duration::from_secs(1));
    let before = resident();
    let begun = Instant::now();
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args([LISTEN, &address, &identity.access])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let (mut say, mut hear) = (child.stdin.take().unwrap(), BufReader::new(child.stdout.take().unwrap()));
    let mut heard = || {
        let mut line = String::new();
        hear.read_line(&mut line).unwrap();
        line
    };
    assert_eq!(heard(), "open\n");
    let open_s = begun.elapsed().as_secs_f64();
    std::thread::sleep(Duration::from_secs(2));
    let each = |now: u64| now.saturating_sub(before) / u64::from(STREAMS);
    let app = &stand.running().app;
    assert_eq!(app.hub.streams(), usize::try_from(STREAMS).unwrap());
    let bytes_each = each(resident());
    let begun = Instant::now();
    app.hub.tell(stand.club, None, [DocName::Log(PersonId(coach.0), "2026-11".parse().unwrap())]);
    say.write_all(b"go on\n").unwrap();
    assert_eq!(heard(), "told\n");
    let news_s = begun.elapsed().as_secs_f64();
    let idle = program_ms();
    std::thread::sleep(QUIET);
    let quiet_ms = (program_ms() - idle) / QUIET.as_secs_f64();
    let told = Told { open_s, bytes_each, news_s, quiet_ms, bytes_afterwards: each(resident()) };
    println!("{}", serde_json::to_string(&told).unwrap());
    drop(say);
    child.wait().unwrap();
}
