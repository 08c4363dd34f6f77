//! Processes that are killed (SIGKILL) at random instants: what a phone called saved and what a
//! server acknowledged is there afterwards.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::base::key::Key;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::phone::{Clock as _, SystemClock};
use backstraight_ffi::transport::Http;
use backstraight_tests::rng::Rng;
use backstraight_tests::stand::{Handset, MINUTE, Stand};

fn worker() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_phone_worker"));
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn kill(child: &mut Child) {
    // SIGKILL: nothing of the process runs after it.
    child.kill().unwrap();
    let ended = child.wait().unwrap();
    let mut said = String::new();
    drop(child.stderr.take().unwrap().read_to_string(&mut said));
    assert_eq!(std::os::unix::process::ExitStatusExt::signal(&ended), Some(9), "it ended by itself: {said}");
}

/// Lets the phone of a folder log sets until it has said `lines` of them, then a little longer, then
/// kills it; gives back all that it said.
fn log_and_kill(
    folder: &Path,
    now: i64,
    first: i64,
    url: Option<&str>,
    lines: usize,
    wait: Duration,
) -> Vec<(Key, i64)> {
    let mut command = worker();
    command.arg("log").arg(folder).arg(now.to_string()).arg(first.to_string());
    if let Some(url) = url {
        command.args(["--url", url]);
    }
    let mut child = command.spawn().unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let seen = Arc::new(AtomicUsize::new(0));
    let reader = {
        let seen = Arc::clone(&seen);
        std::thread::spawn(move || {
            let mut told = Vec::new();
            let mut line = String::new();
            while out.read_line(&mut line).unwrap() > 0 {
                let (key, n) = line.strip_suffix('\n').unwrap().split_once(' ').unwrap();
                told.push((key.parse::<Key>().unwrap(), n.parse::<i64>().unwrap()));
                seen.fetch_add(1, Ordering::SeqCst);
                line.clear();
            }
            // Nobody waits for a worker that ended by itself.
            seen.store(usize::MAX, Ordering::SeqCst);
            told
        })
    };
    while seen.load(Ordering::SeqCst) < lines {
        std::thread::yield_now();
    }
    std::thread::sleep(wait);
    kill(&mut child);
    reader.join().unwrap()
}

#[test]
fn every_set_that_a_phone_called_saved_outlives_its_process() {
    const KILLS: usize = 36;
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let phone = stand.phone(mira, "phone");
    let (folder, log) = (phone.dir.clone(), phone.log());
    drop(phone);
    let mut rng = Rng::new(20_261_125);
    let mut told: BTreeMap<Key, i64> = BTreeMap::new();
    let mut exchanged = 0;
    for round in 0..KILLS {
        // The access token is old at each start: some die while they renew it.
        stand.clock.set(stand.now().plus_ms(16 * MINUTE));
        let url = stand.url();
        let url = (round % 2 == 1).then_some(url.as_str());
        let lines = usize::try_from(rng.range(0, 40)).unwrap();
        let wait = Duration::from_micros(rng.next() % 6_000);
        let first = 1 + 3_000 * i64::try_from(round).unwrap();
        let said = log_and_kill(&folder, stand.now().0, first, url, lines, wait);
        assert!(said.len() >= lines);
        exchanged += usize::from(url.is_some() && said.len() >= 5);
        told.extend(said);
        let mut phone = Handset::open(&folder, stand.now());
        assert!(phone.phone.shelf().set_aside.is_empty());
        // `sets` fails when anything is half there.
        let found = phone.sets(log);
        for (key, n) in &told {
            assert_eq!(found.get(key), Some(n), "round {round}");
        }
        // A kill between the disk and the word leaves at most one set that was not called saved.
        assert!(found.len() <= told.len() + round + 1, "{} {}", found.len(), told.len());
    }
    assert!(exchanged > 10, "{exchanged}");
    assert!(told.len() > 400, "{}: the phone compacted its store on the way", told.len());
    let mut phone = Handset::open(&folder, stand.now());
    phone.exchange(&stand.url());
    assert!(phone.phone.unsent().unwrap().is_empty() && phone.phone.refusals().unwrap().is_empty());
    let mut fresh = stand.phone(mira, "fresh");
    fresh.exchange(&stand.url());
    assert_eq!(fresh.heads(log), phone.heads(log));
    assert_eq!(fresh.sets(log), phone.sets(log));
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

/// A server in a process of its own.
struct Served {
    child: Child,
    url: String,
}

impl Served {
    fn on(data: &Path) -> Served {
        let mut child = worker().arg("serve").arg(data).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let url = line.trim().to_owned();
        assert!(url.starts_with("http://127.0.0.1:"), "{url}");
        Served { child, url }
    }

    fn kill(&mut self) {
        kill(&mut self.child);
    }
}

#[test]
fn what_a_server_acknowledged_outlives_its_process() {
    let mut stand = Stand::at(SystemClock { zone_minutes: 0 }.now());
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let jonas = stand.person(Role::Athlete, "Jonas Okafor");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let people = [mira, mira, jonas, ruth];
    let mut handsets: Vec<Handset> =
        people.iter().enumerate().map(|(n, p)| stand.phone(*p, &format!("phone-{n}"))).collect();
    let (log, other) = (handsets[0].log(), handsets[2].log());
    let notes = match log {
        DocName::Log(athlete, month) => DocName::Notes(athlete, month),
        _ => panic!("a log"),
    };
    // Invitations for the phones that look afterwards, made before the server is another process.
    let codes = [mira, jonas, ruth].map(|p| stand.code(p));
    let now = stand.now();
    stand.stop();

    let mut served = Served::on(stand.data());
    // Right after the word: acknowledged, then dead.
    let mut acknowledged: BTreeSet<(DocName, ChangeHash)> = BTreeSet::new();
    for n in 0..6 {
        let phone = handsets.first_mut().unwrap();
        let hash = phone.say(log, &format!("first {n}"));
        phone.exchange(&served.url);
        served.kill();
        assert!(phone.phone.with_server(log, &hash).unwrap());
        acknowledged.insert((log, hash));
        served = Served::on(stand.data());
    }
    // While several upload.
    let url = Mutex::new(served.url.clone());
    let (stop, offline) = (AtomicBool::new(false), AtomicUsize::new(0));
    let done: Vec<(Handset, BTreeSet<(DocName, ChangeHash)>)> = std::thread::scope(|scope| {
        let writers: Vec<_> = handsets
            .into_iter()
            .enumerate()
            .map(|(who, mut phone)| {
                let (url, stop, offline) = (&url, &stop, &offline);
                scope.spawn(move || {
                    let name = if phone.person() == ruth { notes } else { phone.log() };
                    let (mut said, mut acknowledged) = (Vec::new(), BTreeSet::new());
                    for n in 0.. {
                        if stop.load(Ordering::SeqCst) {
                            break;
                        }
                        said.push(phone.say(name, &format!("{who} {n}")));
                        let url = url.lock().unwrap().clone();
                        match phone.phone.exchange(&mut Http::new(&url)) {
                            Ok(report) => assert!(report.refused.is_empty() && report.not_taken.is_empty()),
                            Err(PhoneError::Offline(_)) => {
                                offline.fetch_add(1, Ordering::SeqCst);
                                std::thread::sleep(Duration::from_millis(10));
                            }
                            Err(other) => panic!("{other}"),
                        }
                        said.retain(|hash| {
                            let with_server = phone.phone.with_server(name, hash).unwrap();
                            if with_server {
                                acknowledged.insert((name, *hash));
                            }
                            !with_server
                        });
                    }
                    (phone, acknowledged)
                })
            })
            .collect();
        let mut rng = Rng::new(7);
        for _ in 0..8 {
            std::thread::sleep(Duration::from_millis(40 + rng.next() % 160));
            served.kill();
            served = Served::on(stand.data());
            url.lock().unwrap().clone_from(&served.url);
        }
        stop.store(true, Ordering::SeqCst);
        writers.into_iter().map(|w| w.join().unwrap()).collect()
    });
    assert!(offline.load(Ordering::SeqCst) > 0, "some were cut off");
    served.kill();

    let mut served = Served::on(stand.data());
    let mut handsets = Vec::new();
    for (phone, more) in done {
        assert!(!more.is_empty());
        acknowledged.extend(more);
        handsets.push(phone);
    }
    // Before any phone sends again: the server alone has every change that it acknowledged.
    let mut fresh: Vec<Handset> = codes
        .iter()
        .enumerate()
        .map(|(n, code)| Handset::enrol(&served.url, code, &stand.dir.path().join(format!("fresh-{n}")), now))
        .collect();
    for phone in &mut fresh {
        phone.exchange(&served.url);
    }
    let desk = fresh.last_mut().unwrap();
    for (name, hash) in &acknowledged {
        assert!(desk.phone.document(*name).unwrap().holds(hash), "{name}");
    }
    // Sending again does no harm, and everybody agrees.
    for _ in 0..2 {
        for phone in &mut handsets {
            phone.exchange(&served.url);
        }
    }
    handsets.extend(fresh);
    for phone in &mut handsets {
        phone.exchange(&served.url);
        assert!(phone.phone.unsent().unwrap().is_empty() && phone.phone.refusals().unwrap().is_empty());
    }
    served.kill();
    stand.start();
    assert_eq!(stand.trouble(), Vec::<String>::new());
    let stored = stand.stored();
    assert!([log, other, notes].iter().all(|name| stored.contains_key(name)));
    for phone in &mut handsets {
        for name in phone.phone.documents().unwrap() {
            assert_eq!(Some(&phone.heads(name)), stored.get(&name).map(|(_, heads)| heads), "{name}");
        }
    }
}
