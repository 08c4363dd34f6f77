//! What open streams of nudges cost a server that has nothing to say: memory of each, then how long one
//! piece of news takes to all of them. Their other ends are in a process of their own. Run by hand, with how many:
//! `cargo run --release -p backstraight-tests --example idle_streams -- 10000`.
#![expect(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "a measurement that cannot be made ends the program"
)]

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
use rustix::time::{ClockId, clock_gettime};

/// Resident memory of this program, bytes (Linux).
fn resident() -> u64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = text.lines().find(|l| l.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() * 1024
}

/// Processor time of this program so far, seconds.
#[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
fn cpu() -> f64 {
    let t = clock_gettime(ClockId::ProcessCPUTime);
    t.tv_sec as f64 + t.tv_nsec as f64 / 1e9
}

/// So many files for this program; says why not.
fn files(wanted: u64) -> bool {
    let most = getrlimit(Resource::Nofile).maximum;
    if most.is_some_and(|most| most < wanted) {
        println!("only {most:?} files may be open: raise the limit (ulimit -Hn {wanted})");
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

/// The other end of all streams, in a process of its own: opens them and says so; when told to go on, waits until
/// the news is with each and says so; ends when its input does.
fn listeners(address: &str, token: &str, wanted: u32) {
    let mut streams: Vec<TcpStream> = (0..wanted).map(|_| open(address, token)).collect();
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

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let wanted: u32 = args.first().map_or(10_000, |n| n.parse().unwrap());
    if !files(u64::from(wanted) + 200) {
        return;
    }
    if let [_, address, token] = &args[..] {
        return listeners(address, token, wanted);
    }
    let stand = Stand::with(START, |config| {
        config.limits.streams = wanted + 50;
        config.limits.streams_each = wanted + 50;
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
        .args([&wanted.to_string(), &address, &identity.access])
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
    let opened = begun.elapsed();
    std::thread::sleep(Duration::from_secs(2));
    let each = |now: u64| (now - before) / u64::from(wanted);
    let app = &stand.running().app;
    println!(
        "{} streams, opened in {:.1} s: {} bytes of resident memory each",
        app.hub.streams(),
        opened.as_secs_f64(),
        each(resident())
    );
    let begun = Instant::now();
    app.hub.tell(stand.club, None, [DocName::Log(PersonId(coach.0), "2026-11".parse().unwrap())]);
    say.write_all(b"go on\n").unwrap();
    assert_eq!(heard(), "told\n");
    println!("one piece of news was with all of them after {:.2} s", begun.elapsed().as_secs_f64());
    let (idle, quiet) = (cpu(), Duration::from_secs(50));
    std::thread::sleep(quiet);
    let spent = (cpu() - idle) * 1e3 / quiet.as_secs_f64();
    println!("signs of life and looking up rights every 25 s: {spent:.1} ms of processor time a second");
    println!("afterwards {} bytes each", each(resident()));
    drop(say);
    child.wait().unwrap();
}
