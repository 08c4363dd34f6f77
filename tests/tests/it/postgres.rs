//! Several server processes over one PostgreSQL database: devices go through either and get the same,
//! and what was acknowledged outlives processes and the database server itself.

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use backstraight_cluster::Cluster;
use backstraight_core::base::id::ChangeHash;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::phone::{Clock as _, SystemClock};
use backstraight_ffi::transport::Http;
use backstraight_server::store::postgres::Database;
use backstraight_tests::stand::{Handset, Stand};

/// A server in a process of its own, over the database of a stand and with its keys.
struct Served {
    child: Child,
    url: String,
}

impl Served {
    fn beside(stand: &Stand, database: &str) -> Served {
        let mut command = Command::new(env!("CARGO_BIN_EXE_phone_worker"));
        command.arg("serve").arg(stand.data()).args(["--database", database]);
        command.stdin(Stdio::null()).stdout(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let url = line.trim().to_owned();
        assert!(url.starts_with("http://127.0.0.1:"), "{url}");
        Served { child, url }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // SIGKILL, which it may have got before.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

fn stand(database: &str) -> Stand {
    let now = SystemClock { zone_minutes: 0 }.now();
    Stand::over(now, Database::at(database.parse().unwrap()))
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn devices_go_through_either_process_and_get_the_same() {
    let database = Cluster::shared().database();
    let stand = stand(&database);
    let other = Served::beside(&stand, &database);
    let urls = [stand.url(), other.url.clone()];
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let mut phones = [stand.phone(mira, "phone"), stand.phone(mira, "watch")];
    // Enrolled at one process, known to the other.
    let mut desk = Handset::enrol(&other.url, &stand.code(ruth), &stand.dir.path().join("desk"), stand.now());
    let log = phones[0].log();
    std::thread::scope(|scope| {
        for (who, phone) in phones.iter_mut().enumerate() {
            let urls = &urls;
            scope.spawn(move || {
                // Both write one log at the same time, each through one process and then the other.
                for n in 0..12 {
                    phone.say(log, &format!("{who} {n}"));
                    phone.exchange(&urls[(who + n) % 2]);
                }
            });
        }
    });
    for (n, phone) in phones.iter_mut().enumerate() {
        phone.exchange(&urls[n]);
    }
    desk.exchange(&urls[0]);
    desk.exchange(&urls[1]);
    assert_eq!(phones[0].words(log).len(), 24);
    assert_eq!(phones[0].heads(log), phones[1].heads(log));
    assert_eq!(desk.words(log), phones[0].words(log));
    assert_eq!(desk.heads(log), stand.stored()[&log].1);
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

type Acknowledged = BTreeSet<(DocName, ChangeHash)>;

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn what_was_acknowledged_outlives_processes_and_the_database_server() {
    const CRASHES: usize = 4;
    let cluster = Cluster::start();
    let database = cluster.database();
    let stand = stand(&database);
    let people = [
        stand.person(Role::Athlete, "Mira Aalto"),
        stand.person(Role::Athlete, "Jonas Okafor"),
        stand.person(Role::Athlete, "Ines Marlow"),
    ];
    let phones: Vec<Handset> =
        people.iter().enumerate().map(|(n, p)| stand.phone(*p, &format!("phone-{n}"))).collect();
    let mut other = Served::beside(&stand, &database);
    let urls = std::sync::Mutex::new([stand.url(), other.url.clone()]);
    let (stop, refused, told) = (AtomicBool::new(false), AtomicUsize::new(0), AtomicUsize::new(0));
    let mut done: Vec<(Handset, Acknowledged)> = std::thread::scope(|scope| {
        let writers: Vec<_> = phones
            .into_iter()
            .map(|mut phone| {
                let (urls, stop, refused, told) = (&urls, &stop, &refused, &told);
                scope.spawn(move || {
                    let name = phone.log();
                    let (mut said, mut acknowledged) = (Vec::new(), Acknowledged::new());
                    for n in 0.. {
                        if stop.load(Ordering::SeqCst) {
                            break;
                        }
                        said.push(phone.say(name, &n.to_string()));
                        let url = urls.lock().unwrap()[n % 2].clone();
                        match phone.phone.exchange(&mut Http::new(&url)) {
                            Ok(_) => {}
                            Err(PhoneError::Offline(_)) => std::thread::sleep(Duration::from_millis(20)),
                            Err(PhoneError::Answer(text)) => {
                                assert!(
                                    text.contains("503") && text.contains("database cannot be reached"),
                                    "{text}"
                                );
                                refused.fetch_add(1, Ordering::SeqCst);
                                std::thread::sleep(Duration::from_millis(20));
                            }
                            Err(other) => panic!("{other}"),
                        }
                        // What a broken off exchange had acknowledged before counts too.
                        said.retain(|hash| {
                            let there = phone.phone.with_server(name, hash).unwrap();
                            if there {
                                acknowledged.insert((name, *hash));
                            }
                            !there
                        });
                        told.store(told.load(Ordering::SeqCst).max(acknowledged.len()), Ordering::SeqCst);
                    }
                    (phone, acknowledged)
                })
            })
            .collect();
        for n in 0..CRASHES {
            let before = told.load(Ordering::SeqCst);
            while told.load(Ordering::SeqCst) < before + 5 && !writers.iter().any(|w| w.is_finished()) {
                std::thread::sleep(Duration::from_millis(10));
            }
            cluster.crash();
            std::thread::sleep(Duration::from_millis(200));
            cluster.up();
            if n % 2 == 1 {
                // A server process too, in the middle of whatever it does.
                let next = Served::beside(&stand, &database);
                urls.lock().unwrap()[1] = next.url.clone();
                other = next;
            }
        }
        stop.store(true, Ordering::SeqCst);
        writers.into_iter().map(|w| w.join().unwrap()).collect()
    });
    let sum: usize = done.iter().map(|(_, acknowledged)| acknowledged.len()).sum();
    assert!(sum > 40 && refused.load(Ordering::SeqCst) > 0, "{sum} {refused:?}");
    // Before the phones send anything again: everything that was acknowledged is there.
    for (phone, acknowledged) in &mut done {
        let mut fresh = stand.phone(phone.person(), &format!("fresh-{}", phone.person()));
        fresh.exchange(&other.url);
        for (name, hash) in acknowledged.iter() {
            assert!(fresh.phone.document(*name).unwrap().holds(hash), "{name}: acknowledged and lost");
        }
        phone.exchange(&stand.url());
        fresh.exchange(&other.url);
        let log = phone.log();
        assert_eq!(fresh.heads(log), phone.heads(log));
        assert!(phone.phone.unsent().unwrap().is_empty());
    }
    assert_eq!(stand.trouble(), Vec::<String>::new());
}
