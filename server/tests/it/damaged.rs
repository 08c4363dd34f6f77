//! One damaged document: it is named, left alone and mended; all others go on as ever.

use std::path::Path;
use std::process::{Command, Stdio};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::DocName;
use backstraight_server::job::compact::{self, Compacted};
use backstraight_server::job::repair::{self, Repaired};
use backstraight_server::job::{apart, check, scrub};
use backstraight_server::store::{self, Db, document, quarantine};

use crate::command_line::{json, run};
use crate::support::{Device, Server, about, get, log};

/// Changes a byte of what is stored of a document, as a failing disk would.
fn rot(server: &Server, name: DocName, n: i64) {
    let spoil = move |db: &Db| {
        let of = "n = ?2 AND doc = (SELECT id FROM doc WHERE name = ?1)";
        let name = name.to_bytes();
        let read = format!("SELECT body FROM chunk WHERE {of}");
        let mut body: Vec<u8> = db.query_row(&read, (name.as_slice(), n), |r| r.get(0))?;
        *body.last_mut().unwrap() ^= 1;
        let write = format!("UPDATE chunk SET body = ?3 WHERE {of}");
        Ok(db.execute(&write, (name.as_slice(), n, body))?)
    };
    assert_eq!(server.store().write_blocking(spoil).unwrap(), 1);
}

fn id(server: &Server, name: DocName) -> i64 {
    server.store().read_blocking(|db| document::find(db, &name)).unwrap().unwrap().id
}

fn trouble(server: &Server) -> Vec<String> {
    server.store().read_blocking(check::whole).unwrap().trouble
}

/// Through which day each install of a person was heard.
fn heard(server: &Server, person: PersonId) -> Vec<Option<String>> {
    let ask = move |db: &Db| {
        let mut ask =
            db.prepare("SELECT heard_day FROM install WHERE person = ?1 ORDER BY created_at, id")?;
        Ok(ask.query_map([person.0.as_bytes()], |r| r.get(0))?.collect::<Result<_, _>>()?)
    };
    server.store().read_blocking(ask).unwrap()
}

fn epoch(server: &Server) -> Vec<u8> {
    server.store().read_blocking(store::epoch).unwrap().to_vec()
}

fn write(phone: &mut Device, name: DocName, from: u32, to: u32) {
    for n in from..to {
        phone.say(name, &format!("{n}"));
        phone.settle();
    }
}

#[test]
fn a_damaged_document_is_named_and_left_alone_and_devices_refill_it() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, noor) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Athlete, "Noor Haddad"));
    let (mut phone, mut other) = (club.device(mira), club.device(noor));
    write(&mut phone, log(mira), 0, 5);
    write(&mut other, log(noor), 0, 2);
    let mut tablet = club.device(mira);
    tablet.settle();
    let bad = id(&server, log(mira));
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let shared = server.shared();
    assert!(runtime.block_on(scrub::one(&shared, bad)));
    rot(&server, log(mira), 3);
    assert!(!runtime.block_on(scrub::one(&shared, bad)));
    assert!(runtime.block_on(scrub::one(&shared, id(&server, log(noor)))), "the other one holds");
    let ready = get(&format!("{}/readyz", server.url)).1;
    assert_eq!(ready["checks"]["documents"]["figure"], 1, "{ready}");
    let alone = server.store().read_blocking(quarantine::all).unwrap();
    assert_eq!((alone.len(), alone[0].doc, alone[0].work.as_str()), (1, bad, "check"));
    drop(shared);
    let said = run(&["check", "--json"], dir.path());
    let said = String::from_utf8(said.stdout).unwrap();
    assert!(said.contains(&log(mira).to_string()) && !said.contains(&log(noor).to_string()), "{said}");
    // Everybody else is served as ever.
    write(&mut other, log(noor), 2, 4);

    let was = epoch(&server);
    let (today, before) = (Some("2026-11-25".to_owned()), Some("2026-10-31".to_owned()));
    assert_eq!(heard(&server, mira), [today.clone(), today.clone()]);
    // Two of five stay; the phone sends the others again, and the tablet's place is not mistaken.
    assert!(matches!(
        repair::one(&server.store(), bad, server.now()).unwrap(),
        Repaired::Kept { changes: 3, .. }
    ));
    assert_eq!(trouble(&server), Vec::<String>::new());
    assert_eq!(repair::one(&server.store(), bad, server.now()).unwrap(), Repaired::Sound);
    // What was lost may be a session of any day of that month: nobody was heard of it any more, and the store is
    // another one to devices, though its server runs on.
    assert_ne!(epoch(&server), was);
    assert_eq!(heard(&server, mira), [before.clone(), before]);
    assert_eq!(heard(&server, noor), [today]);
    phone.say(log(mira), "new");
    phone.settle();
    tablet.settle();
    for device in [&phone, &tablet] {
        assert_eq!(device.epoch, Some(epoch(&server)));
        assert_eq!(device.words(log(mira)), ["0", "1", "2", "3", "4", "new"]);
        assert_eq!(device.heads(log(mira)), phone.heads(log(mira)));
    }
    let stored = server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().unwrap();
    assert_eq!(stored.heads, phone.heads(log(mira)));
    assert_eq!(trouble(&server), Vec::<String>::new());
    assert_eq!(std::fs::read_dir(dir.path().join("damaged")).unwrap().count(), 1, "nothing is thrown away");
}

#[test]
fn a_snapshot_that_rots_is_mended_from_chunks_and_the_other_way_round() {
    for snapshot in [true, false] {
        let dir = tempfile::tempdir().unwrap();
        let server = Server::on(dir.path());
        let club = server.club("Cinder Lane");
        let mira = club.person(Role::Athlete, "Mira Aalto");
        let mut phone = club.device(mira);
        write(&mut phone, log(mira), 0, 4);
        let id = id(&server, log(mira));
        assert!(matches!(compact::one(&server.store(), None, id, server.now()), Ok(Compacted::Done(_))));
        if snapshot {
            let spoil = move |db: &Db| {
                Ok(db.execute("UPDATE snapshot SET body = ?2 WHERE doc = ?1", (id, &[0_u8][..]))?)
            };
            assert_eq!(server.store().write_blocking(spoil).unwrap(), 1);
        } else {
            rot(&server, log(mira), 2);
        }
        assert!(!trouble(&server).is_empty());
        let out = run(&["check", "--repair"], dir.path());
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(out.status.success() && said.contains("5 changes stay"), "{said}");
        phone.settle();
        assert_eq!(phone.words(log(mira)), ["0", "1", "2", "3"]);
    }
}

/// What the gate keeps beside a snapshot is all that it has of older changes. A wrong bit in it would have honest changes
/// refused, or wrong ones taken.
#[test]
fn each_bit_of_a_snapshots_index_is_noticed_and_made_anew() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (mut phone, mut tablet) = (club.device(mira), club.device(mira));
    let id = |server: &Server| id(server, log(mira));
    // Twice: the chunks of a snapshot stay until the next one.
    for n in 0..2 {
        for device in [&mut phone, &mut tablet] {
            write(device, log(mira), 4 * n, 4 * n + 2);
        }
        assert!(matches!(
            compact::one(&server.store(), None, id(&server), server.now()),
            Ok(Compacted::Done(_))
        ));
    }
    let first = |db: &Db| Ok(document::stored(db, document::all(db)?[0].id)?.chunks.first().map(|c| c.n));
    assert!(server.store().read_blocking(first).unwrap().is_some_and(|n| n > 1), "older chunks are gone");
    let delta =
        move |db: &Db| Ok(db.query_row("SELECT delta FROM snapshot", [], |r| r.get::<_, Vec<u8>>(0))?);
    let put = |server: &Server, delta: Vec<u8>| {
        let put = move |db: &Db| Ok(db.execute("UPDATE snapshot SET delta = ?1", [delta])?);
        assert_eq!(server.store().write_blocking(put).unwrap(), 1);
    };
    let whole = server.store().read_blocking(delta).unwrap();
    let spoilt = |at: usize| {
        let mut rotten = whole.clone();
        rotten[at] ^= 1 << (at % 8);
        rotten
    };
    for at in 0..whole.len() {
        put(&server, spoilt(at));
        assert!(!trouble(&server).is_empty(), "byte {at} of {}", whole.len());
    }
    // A number of operations: names, their order and heads are what they were. And the version: nothing can be read.
    let mut count: u32 = 9;
    for (at, in_order) in [(whole.len() - 1, true), (0, false)] {
        put(&server, spoilt(at));
        let was = epoch(&server);
        let now = server.now().plus_ms(i64::from(count));
        let mended = repair::one(&server.store(), id(&server), now).unwrap();
        assert!(matches!(mended, Repaired::Kept { changes, .. } if changes == count as usize), "{mended:?}");
        assert_eq!(trouble(&server), Vec::<String>::new());
        // A place that counts changes in their order is worth nothing when that order is gone.
        assert_eq!(epoch(&server) == was, in_order);
        for device in [&mut phone, &mut tablet] {
            write(device, log(mira), count, count + 1);
            count += 1;
        }
        phone.settle();
        assert_eq!(phone.words(log(mira)).len() + 1, count as usize);
        assert_eq!(phone.heads(log(mira)), tablet.heads(log(mira)));
    }
}

/// What cannot be read as a whole is left out of answers, which are given all the same.
#[test]
fn a_document_that_cannot_be_read_holds_up_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, noor) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Athlete, "Noor Haddad"));
    let ruth = club.person(Role::HeadCoach, "Ruth Adeyemi");
    let (mut phone, mut tablet) = (club.device(mira), club.device(mira));
    let (mut other, mut desk) = (club.device(noor), club.device(ruth));
    write(&mut phone, log(mira), 0, 2);
    write(&mut other, log(noor), 0, 2);
    tablet.settle();
    desk.settle();
    let bad = id(&server, log(mira));
    // Twice: the chunks of a snapshot stay until the next one.
    for n in 1..3 {
        write(&mut phone, log(mira), 2 * n, 2 * n + 2);
        assert!(matches!(compact::one(&server.store(), None, bad, server.now()), Ok(Compacted::Done(_))));
    }
    let spoil =
        move |db: &Db| Ok(db.execute("UPDATE snapshot SET body = ?2 WHERE doc = ?1", (bad, &[0_u8][..]))?);
    assert_eq!(server.store().write_blocking(spoil).unwrap(), 1);
    // A device that sends hears what became of it, and of what it lacks nothing; its place stays where it was.
    tablet.say(log(mira), "tablet");
    let (place, down) = (tablet.copy(log(mira)).cursor, tablet.exchange());
    let of = about(&down, log(mira)).unwrap();
    assert_eq!((&of.outcome, &of.changes, of.cursor), (&Outcome::Accepted, &None, place));
    // A coach has everything of everybody else, on a new device too, and is told of no day of hers.
    write(&mut other, log(noor), 2, 3);
    let mut new = club.device(ruth);
    for desk in [&mut desk, &mut new] {
        desk.settle();
        assert_eq!(desk.words(log(noor)), ["0", "1", "2"]);
        desk.people = 0;
        let told = desk.exchange().people.unwrap();
        let heard = |who: PersonId| {
            let of = told.list.iter().find(|known| known.person.as_slice() == who.0.as_bytes());
            of.unwrap().heard_day.clone()
        };
        assert_eq!((heard(mira), heard(noor)), (None, Some("2026-11-25".to_owned())));
        assert_eq!(told.version, 0, "it comes again");
    }
    assert_eq!(desk.words(log(mira)), ["0", "1"]);
    assert!(new.heads(log(mira)).is_empty());
    assert!(matches!(repair::one(&server.store(), bad, server.now()).unwrap(), Repaired::Kept { .. }));
    for device in [&mut phone, &mut tablet, &mut desk, &mut new] {
        device.settle();
    }
    phone.settle();
    for device in [&phone, &tablet, &desk, &new] {
        assert_eq!(device.words(log(mira)), ["0", "1", "2", "3", "4", "5", "tablet"]);
    }
    assert!(desk.people > 0 && new.people > 0);
    assert_eq!(trouble(&server), Vec::<String>::new());
}

/// Also before anybody looked: what the stored index refuses is held against the changes themselves.
#[test]
fn a_wrong_bit_in_the_index_refuses_no_honest_change() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    write(&mut phone, log(mira), 0, 3);
    let id = id(&server, log(mira));
    assert!(matches!(compact::one(&server.store(), None, id, server.now()), Ok(Compacted::Done(_))));
    let delta =
        move |db: &Db| Ok(db.query_row("SELECT delta FROM snapshot", [], |r| r.get::<_, Vec<u8>>(0))?);
    let whole = server.store().read_blocking(delta).unwrap();
    let put = |server: &Server, delta: Vec<u8>| {
        let put = move |db: &Db| Ok(db.execute("UPDATE snapshot SET delta = ?1", [delta])?);
        assert_eq!(server.store().write_blocking(put).unwrap(), 1);
    };
    server.stop();
    // The last is a number of operations: nothing else tells of it.
    for (words, at) in (3..).zip((0..whole.len()).rev().step_by(9)) {
        let mut rotten = whole.clone();
        rotten[at] ^= 1 << (at % 8);
        // One that just starts has no index at hand.
        let server = Server::on(dir.path());
        put(&server, rotten);
        phone.url.clone_from(&server.url);
        phone.say(log(mira), &format!("{words}"));
        let down = phone.exchange();
        assert_eq!(about(&down, log(mira)).unwrap().outcome, Outcome::Accepted, "byte {at}");
        put(&server, whole.clone());
        assert_eq!(trouble(&server), Vec::<String>::new(), "byte {at}");
        server.stop();
    }
}

#[test]
fn compaction_in_a_process_of_its_own_gives_the_same_and_what_breaks_it_is_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, noor) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Athlete, "Noor Haddad"));
    let (mut phone, mut other) = (club.device(mira), club.device(noor));
    write(&mut phone, log(mira), 0, 3);
    write(&mut other, log(noor), 0, 3);
    let program = Path::new(env!("CARGO_BIN_EXE_backstraight"));
    let store = server.store();
    let good = id(&server, log(mira));
    assert!(matches!(compact::one(&store, Some(program), good, server.now()), Ok(Compacted::Done(_))));
    assert_eq!(compact::one(&store, Some(program), good, server.now()).unwrap(), Compacted::Nothing);
    assert_eq!(trouble(&server), Vec::<String>::new());
    // A program that breaks down, as one does that runs out of its memory or time.
    let bad = id(&server, log(noor));
    let broken = compact::one(&store, Some(Path::new("/bin/false")), bad, server.now()).unwrap();
    assert_eq!(broken, Compacted::Refused);
    let alone = store.read_blocking(quarantine::all).unwrap();
    assert_eq!((alone.len(), alone[0].work.as_str()), (1, "compact"));
    assert!(alone[0].why.contains("the process ended"), "{}", alone[0].why);
    let due = store.read_blocking(|db| store::snapshot::due(db, 1, 9)).unwrap();
    assert_eq!(due, Vec::<i64>::new(), "the background leaves it alone");
    // None that can be started says nothing about the document.
    let none = compact::one(&store, Some(Path::new("/nowhere/at/all")), bad, server.now()).unwrap();
    assert_eq!(none, Compacted::Nothing);
    write(&mut other, log(noor), 3, 4);
    assert_eq!(
        about(&other.exchange(), log(noor)).map_or(Outcome::Accepted, |d| d.outcome.clone()),
        Outcome::Accepted
    );
    // Somebody who looked compacts it, and it is as any other.
    let line = json(&["compact"], dir.path());
    assert_eq!((line["compacted"].as_u64(), line["refused"].as_u64()), (Some(1), Some(0)), "{line}");
    assert_eq!(store.read_blocking(quarantine::all).unwrap(), []);
    // The other process takes nothing but what it was made for.
    let mut child = Command::new(program)
        .arg(apart::COMMAND)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    std::io::Write::write_all(&mut child.stdin.take().unwrap(), b"no CBOR").unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(!out.status.success() && out.stdout.is_empty());
}
