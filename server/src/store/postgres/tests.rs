//! What is promised over PostgreSQL alone: several processes at once, a server that goes away, tables
//! that are the same as SQLite's.

mod schema;
mod tls;

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Barrier};
use std::time::Duration;

use backstraight_cluster::Cluster;
use backstraight_core::base::day::Month;
use backstraight_core::base::id::ChangeHash;
use backstraight_core::model::name::DocName;

use crate::folder::Folder;
use crate::grant::AtTheMachine;
use crate::store::account::{self, Enrol, EnrolOutcome, Rotation};
use crate::store::contract::{ALL, CLUB, House, KEY, MIRA, NOW, On, RUTH, hear, house};
use crate::store::document::{self, Append};
use crate::store::news::{Heard, Told};
use crate::store::postgres::Database;
use crate::store::{self, Db, Store, StoreError, StoreOptions, job};

/// One of the documents that many write.
fn month(n: u8) -> DocName {
    DocName::Log(MIRA, Month::new(2026, n).unwrap())
}

fn add(name: DocName, checked_at: u64, body: &str) -> Append {
    Append {
        grant: AtTheMachine.to_write(name, CLUB),
        checked_at,
        body: body.as_bytes().to_vec(),
        changes: 1,
        delta: vec![1],
        heads: vec![ChangeHash([7; 32])],
    }
}

fn newest(store: &Store, name: DocName) -> Result<u64, StoreError> {
    store.read_blocking(|db| Ok(document::find(db, &name)?.map_or(0, |d| d.max_n)))
}

/// Everything after a cursor: numbers and bodies.
fn after(store: &Store, name: DocName, cursor: u64) -> Vec<(u64, String)> {
    let read = AtTheMachine.to_read(name);
    let chunks = store.read_blocking(|db| document::chunks_after(db, &read, cursor, ALL)).unwrap();
    chunks.into_iter().map(|c| (c.n, String::from_utf8(c.body).unwrap())).collect()
}

/// Appends to several documents in one transaction, in the order given, until it was in time.
fn append(store: &Store, names: &[DocName], body: &str) -> Result<(), StoreError> {
    loop {
        let mut adds = Vec::new();
        for name in names {
            adds.push(add(*name, newest(store, *name)?, body));
        }
        let done = store.write_beside_blocking(move |db| {
            let mut written = Vec::new();
            for add in &adds {
                written.push(document::append(db, add, NOW)?.is_some());
            }
            // One that came too late takes the others with it: they are tried together again.
            if written.contains(&false) { Err(StoreError::Busy) } else { Ok(()) }
        });
        match done {
            Err(StoreError::Busy) => std::thread::yield_now(),
            done => return done,
        }
    }
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn a_reader_by_cursor_never_passes_a_chunk_that_comes_later() {
    const WRITERS: usize = 8;
    const EACH: usize = 25;
    let h = house(On::Postgres);
    let stores = [h.open(), h.open()];
    let done = AtomicBool::new(false);
    let names = [month(1), month(2), month(3)];
    let seen = std::thread::scope(|scope| {
        let readers: Vec<_> = (0..2)
            .map(|r| {
                let (stores, done) = (&stores, &done);
                scope.spawn(move || {
                    let mut seen: [Vec<(u64, String)>; 3] = Default::default();
                    loop {
                        let last = done.load(Ordering::SeqCst);
                        for (name, seen) in names.into_iter().zip(&mut seen) {
                            let cursor = seen.last().map_or(0, |(n, _)| *n);
                            for (n, body) in after(&stores[r], name, cursor) {
                                assert_eq!(n, seen.last().map_or(0, |(n, _)| *n) + 1, "a hole");
                                seen.push((n, body));
                            }
                        }
                        if last {
                            return seen;
                        }
                    }
                })
            })
            .collect();
        let writers: Vec<_> = (0..WRITERS)
            .map(|w| {
                let stores = &stores;
                scope.spawn(move || {
                    for n in 0..EACH {
                        // In one order, as an exchange does: circles have a test of their own.
                        let (a, b) = [(0, 1), (0, 2), (1, 2)][(w + n) % 3];
                        let (a, b) = (names[a], names[b]);
                        append(&stores[w % 2], &[a, b], &format!("{w}.{n}")).unwrap();
                    }
                })
            })
            .collect();
        writers.into_iter().for_each(|w| w.join().unwrap());
        done.store(true, Ordering::SeqCst);
        readers.into_iter().map(|r| r.join().unwrap()).collect::<Vec<_>>()
    });
    assert_eq!(seen[0], seen[1]);
    let all: Vec<&String> = seen[0].iter().flatten().map(|(_, body)| body).collect();
    assert_eq!(all.len(), 2 * WRITERS * EACH, "each is there twice: once a document");
    assert_eq!(all.iter().collect::<BTreeSet<_>>().len(), WRITERS * EACH, "nothing lost");
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn writes_that_meet_in_a_circle_are_done_anew_and_once() {
    let h = house(On::Postgres);
    let (a, b) = (h.open(), h.open());
    for name in [month(1), month(2)] {
        append(&a, &[name], "first").unwrap();
    }
    let barrier = Arc::new(Barrier::new(2));
    let tries = Arc::new(std::sync::atomic::AtomicU32::new(0));
    let circle = |store: &Store, order: [DocName; 2], barrier: Arc<Barrier>| {
        let tries = Arc::clone(&tries);
        store
            .write_beside_blocking(move |db| {
                let first = tries.fetch_add(1, Ordering::SeqCst) < 2;
                let mut ask = db.prepare("SELECT id FROM doc WHERE name = ?1 /*pg FOR UPDATE */")?;
                ask.exists([order[0].to_bytes()])?;
                if first {
                    barrier.wait();
                }
                ask.exists([order[1].to_bytes()])?;
                db.execute("INSERT INTO audit (at, what, subject) VALUES (1, 'circle', 'x')", [])?;
                Ok(())
            })
            .unwrap();
    };
    std::thread::scope(|scope| {
        scope.spawn(|| circle(&a, [month(1), month(2)], Arc::clone(&barrier)));
        scope.spawn(|| circle(&b, [month(2), month(1)], Arc::clone(&barrier)));
    });
    assert!(tries.load(Ordering::SeqCst) > 2, "one of them was done anew");
    assert_eq!(lines(&a, "circle"), 2);
}

fn lines(store: &Store, what: &str) -> i64 {
    store
        .read_blocking(|db| {
            Ok(db.query_row("SELECT count(*) FROM audit WHERE what = ?1", [what], |r| r.get(0))?)
        })
        .unwrap()
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn processes_that_start_together_make_the_tables_once() {
    let dir = tempfile::tempdir().unwrap();
    let folder = Folder::open(dir.path()).unwrap();
    let database = Database::at(Cluster::shared().database().parse().unwrap());
    let opened: Vec<_> = std::thread::scope(|scope| {
        let open = || {
            let options = StoreOptions { database: database.clone(), ..StoreOptions::default() };
            let store = Store::open(&folder, options).unwrap();
            (store.server(), store.read_blocking(store::epoch).unwrap())
        };
        let threads: Vec<_> = (0..6).map(|_| scope.spawn(open)).collect();
        threads.into_iter().map(|t| t.join().unwrap()).collect()
    });
    assert!(opened.iter().all(|o| *o == opened[0]));
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn another_folder_needs_the_same_keys() {
    let h = house(On::Postgres);
    let other = tempfile::tempdir().unwrap();
    let folder = Folder::open(other.path()).unwrap();
    let open =
        || Store::open(&folder, StoreOptions { database: h.database.clone(), ..StoreOptions::default() });
    std::fs::create_dir(other.path().join("keys")).unwrap();
    for name in ["signing.key", "secret.key"] {
        std::fs::copy(h.dir.path().join("keys").join(name), other.path().join("keys").join(name)).unwrap();
    }
    assert!(open().is_ok());
    std::fs::remove_dir_all(other.path().join("keys")).unwrap();
    assert!(matches!(open(), Err(StoreError::Unfit(_))));
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn a_statement_that_failed_is_never_acknowledged() {
    let h = house(On::Postgres);
    let swallowed = h.store.write_blocking(|db| {
        db.execute("INSERT INTO audit (at, what, subject) VALUES (1, 'swallowed', 'x')", [])?;
        drop(db.execute("SELECT nothing FROM nowhere", []));
        Ok(())
    });
    assert!(swallowed.is_err());
    let panicked = h.store.write_blocking(|db| -> Result<(), StoreError> {
        db.execute("INSERT INTO audit (at, what, subject) VALUES (1, 'swallowed', 'x')", [])?;
        panic!("a mistake")
    });
    assert!(matches!(panicked, Err(StoreError::Damaged(_))));
    assert_eq!(lines(&h.store, "swallowed"), 0);
    let read = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        h.store.read_blocking(|_| -> Result<(), StoreError> { panic!("a mistake") })
    }));
    assert!(read.is_err());
    assert!(h.store.read_blocking(|db| Ok(db.execute("DELETE FROM meta", []).is_err())).unwrap());
    h.append(0, b"a").unwrap().unwrap();
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn a_code_is_used_once_and_a_token_followed_once_by_two_processes_at_once() {
    let h = house(On::Postgres);
    let stores = [h.open(), h.open()];
    for round in 0..10 {
        let grant = AtTheMachine.to_invite(MIRA, CLUB);
        let made = h.store.write_blocking(move |db| account::invite(db, &grant, &KEY, 60_000, NOW)).unwrap();
        let enrol = |store: &Store| {
            let ask = Enrol { code: made.code.clone(), device: "phone".to_owned(), public_key: None };
            store.write_beside_blocking(move |db| account::enrol(db, &KEY, &ask, NOW)).unwrap()
        };
        let enrol = &enrol;
        let enrolled: Vec<EnrolOutcome> = std::thread::scope(|scope| {
            let threads: Vec<_> =
                stores.iter().chain(&stores).map(|s| scope.spawn(move || enrol(s))).collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        let good = enrolled.iter().filter(|e| matches!(e, EnrolOutcome::Enrolled(_))).count();
        assert_eq!((good, enrolled.len()), (1, 4), "round {round}: {enrolled:?}");
    }
    let new = h.enrol(RUTH);
    let keys = crate::folder::Keys { signing: [1; 32], secret: KEY };
    let tokens = crate::token::Tokens::new(&keys, [0; 16]);
    for generation in 1..20 {
        let rotate = |store: &Store| {
            let token = tokens.refresh(new.install, generation, &new.salt);
            let claim = crate::token::RefreshClaim::read(&token).unwrap();
            store.write_beside_blocking(move |db| account::rotate(db, &KEY, claim, false, NOW)).unwrap()
        };
        let rotate = &rotate;
        let next: Vec<Rotation> = std::thread::scope(|scope| {
            let threads: Vec<_> = stores.iter().map(|s| scope.spawn(move || rotate(s))).collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        let wanted = Rotation::Next { person: RUTH, generation: generation + 1, salt: new.salt };
        assert_eq!(next, [wanted, wanted]);
    }
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn no_job_is_claimed_twice() {
    let h = house(On::Postgres);
    let stores = [h.open(), h.open()];
    h.store
        .write_blocking(|db| {
            for n in 0..200_u8 {
                let owner = [n; 16];
                job::mark(db, owner, CLUB, NOW)?;
            }
            Ok(())
        })
        .unwrap();
    let work = |n: u8, store: &Store| {
        let mut all = Vec::new();
        loop {
            let claims = store.write_beside_blocking(move |db| job::claim(db, 7, [n; 8], NOW)).unwrap();
            if claims.is_empty() {
                return all;
            }
            all.extend(claims.iter().map(|c| c.owner));
            store
                .write_beside_blocking(move |db| {
                    for claim in &claims {
                        assert!(job::held(db, claim)?);
                        job::finish(db, claim)?;
                    }
                    Ok(())
                })
                .unwrap();
        }
    };
    let work = &work;
    let claimed: Vec<[u8; 16]> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..4_u8)
            .map(|n| (n, &stores[usize::from(n % 2)]))
            .map(|(n, s)| scope.spawn(move || work(n, s)))
            .collect();
        threads.into_iter().flat_map(|t| t.join().unwrap()).collect()
    });
    assert_eq!((claimed.len(), claimed.iter().collect::<BTreeSet<_>>().len()), (200, 200));
    assert_eq!(h.store.read_blocking(job::count).unwrap(), 0);
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn what_is_durable_is_told_to_every_process_and_nothing_else() {
    let h = house(On::Postgres);
    let other = h.open();
    let (mut here, mut there) = (h.store.news().of_club(CLUB), other.news().of_club(CLUB));
    let taken_back = h.store.write_blocking(|db| -> Result<(), StoreError> {
        document::append(db, &add(month(1), 0, "taken back"), NOW)?;
        Err(StoreError::Busy)
    });
    assert!(taken_back.is_err());
    append(&h.store, &[month(2), month(3)], "kept").unwrap();
    let told = |n| Some(Heard::Told(Told::Document(CLUB, month(n), None)));
    for news in [&mut here, &mut there] {
        assert_eq!((hear(news), hear(news)), (told(2), told(3)));
    }
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn nothing_acknowledged_is_lost_when_the_server_crashes_again_and_again() {
    const CRASHES: usize = 5;
    let cluster = Cluster::start();
    let dir = tempfile::tempdir().unwrap();
    let folder = Folder::open(dir.path()).unwrap();
    let database = Database::at(cluster.database().parse().unwrap());
    let open = || {
        Store::open(&folder, StoreOptions { database: database.clone(), ..StoreOptions::default() }).unwrap()
    };
    let stores = [open(), open()];
    let grant = AtTheMachine.to_keep_accounts();
    stores[0]
        .write_blocking(move |db| store::people::add_club(db, &grant, CLUB, "Cinder Lane", NOW))
        .unwrap();
    let stop = AtomicBool::new(false);
    let write = |w: usize| {
        let (mut acknowledged, mut refused) = (Vec::new(), 0);
        for n in 0.. {
            if stop.load(Ordering::SeqCst) {
                break;
            }
            let body = format!("{w}.{n}");
            match append(&stores[w % 2], &[month(1 + u8::try_from(w % 3).unwrap())], &body) {
                Ok(()) => acknowledged.push(body),
                Err(StoreError::Unavailable(_)) => {
                    refused += 1;
                    std::thread::sleep(Duration::from_millis(20));
                }
                Err(other) => panic!("{other:?}"),
            }
        }
        (acknowledged, refused)
    };
    let write = &write;
    let (acknowledged, refused) = std::thread::scope(|scope| {
        let writers: Vec<_> = (0..6).map(|w| scope.spawn(move || write(w))).collect();
        for _ in 0..CRASHES {
            std::thread::sleep(Duration::from_millis(400));
            cluster.crash();
            cluster.up();
        }
        std::thread::sleep(Duration::from_millis(400));
        stop.store(true, Ordering::SeqCst);
        let each = writers.into_iter().map(|w| w.join().unwrap());
        each.fold((Vec::new(), 0), |(mut all, sum), (some, n)| {
            all.extend(some);
            (all, sum + n)
        })
    });
    let mut kept = Vec::new();
    for name in [month(1), month(2), month(3)] {
        let chunks = after(&stores[0], name, 0);
        assert!(chunks.iter().zip(1..).all(|((n, _), wanted)| *n == wanted), "{name}: a hole");
        kept.extend(chunks.into_iter().map(|(_, body)| body));
    }
    let once: BTreeSet<&String> = kept.iter().collect();
    assert_eq!(once.len(), kept.len(), "nothing twice");
    let lost: Vec<_> = acknowledged.iter().filter(|body| !once.contains(body)).collect();
    assert!(lost.is_empty(), "{lost:?}");
    assert!(acknowledged.len() > 100 && refused >= CRASHES, "{} {refused}", acknowledged.len());
    // A database that would forget what it has promised is refused.
    stores.iter().for_each(Store::close);
    cluster.crash();
    cluster.configure("fsync = off\n");
    cluster.up();
    let options = StoreOptions { database: database.clone(), ..StoreOptions::default() };
    assert!(matches!(Store::open(&folder, options), Err(StoreError::Unfit(_))));
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn a_lost_server_is_said_to_be_and_found_again() {
    let cluster = Cluster::start();
    let dir = tempfile::tempdir().unwrap();
    let folder = Folder::open(dir.path()).unwrap();
    let database = Database::at(cluster.database().parse().unwrap());
    let store = Store::open(&folder, StoreOptions { database, ..StoreOptions::default() }).unwrap();
    let alive = || store.read_blocking(|db| Ok(db.query_row("SELECT 1", [], |_| Ok(()))?));
    assert!(alive().is_ok());
    let mut news = store.news().of_all();
    cluster.crash();
    for _ in 0..3 {
        assert!(matches!(alive(), Err(StoreError::Unavailable(_))), "{:?}", alive());
        assert!(matches!(store.write_blocking(|_| Ok(())), Err(StoreError::Unavailable(_))));
    }
    cluster.up();
    assert!(alive().is_ok());
    let told = Told::Rows(CLUB);
    assert_eq!(hear(&mut news), Some(Heard::Missed), "it listens again");
    let tell = move |db: &Db| {
        db.tell(told);
        Ok(())
    };
    store.write_blocking(tell).unwrap();
    assert_eq!(hear(&mut news), Some(Heard::Told(told)));
}

/// So many read at once, and one more is told so instead of being let in.
#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn connections_are_bounded() {
    let House { database, dir, .. } = house(On::Postgres);
    let folder = Folder::open(dir.path()).unwrap();
    let database = Database { connections: 4, ..database };
    let store =
        Store::open(&folder, StoreOptions { database, guest: true, ..StoreOptions::default() }).unwrap();
    let (reached, leave) = (Barrier::new(3), Barrier::new(3));
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                store
                    .read_blocking(|_| {
                        reached.wait();
                        leave.wait();
                        Ok(())
                    })
                    .unwrap();
            });
        }
        reached.wait();
        assert!(matches!(store.read_blocking(|_| Ok(())), Err(StoreError::Busy)));
        assert!(store.write_blocking(|_| Ok(())).is_ok(), "writers have connections of their own");
        leave.wait();
    });
    assert!(store.read_blocking(|_| Ok(())).is_ok());
}
