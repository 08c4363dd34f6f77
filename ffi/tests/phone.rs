//! The phone's store: what was called saved is there, whatever happens next.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::fs;
use std::path::Path;

use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::{SessionDone, SetDone, Work};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Load, Reps};
use backstraight_core::view::done::Done;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::identity::Identity;
use backstraight_ffi::phone::{Clock, Phone};
use backstraight_ffi::store::FILE;
use backstraight_ffi::transport::{Renewal, Tokens, Transport};
use uuid::Uuid;

/// Noon of 2026-11-25 in UTC.
const NOON: Moment = Moment(1_795_608_000_000);

struct Noon;

impl Clock for Noon {
    fn now(&self) -> Moment {
        NOON
    }
    fn zone_minutes(&self) -> i32 {
        0
    }
}

fn identity(role: Role) -> Identity {
    Identity {
        install: InstallId([4; 8]),
        person: PersonId(Uuid::from_u128(1)),
        club: ClubId(Uuid::from_u128(2)),
        role,
        name: "Invented Athlete".into(),
        server: "http://127.0.0.1:1".into(),
        access: "a".into(),
        refresh: "r".into(),
        access_until: None,
        key: None,
    }
}

fn enrol(dir: &Path, role: Role) -> Phone {
    Phone::enrolled(dir, identity(role), Box::new(Noon)).unwrap()
}

fn reopen(dir: &Path) -> Phone {
    Phone::open(dir, Box::new(Noon)).unwrap().unwrap()
}

fn log(phone: &Phone) -> DocName {
    DocName::Log(phone.identity().person, phone.today().unwrap().month())
}

struct Story {
    session: Key,
    work: Key,
    open: bool,
}

fn begin(phone: &mut Phone) -> Story {
    let (session, work) = (phone.key(), phone.key());
    let record = SessionDone::new(phone.today().unwrap(), NOON);
    let name = log(phone);
    phone
        .run(name, &Command::Add(vec![New { place: Place::of("sessions", &session), record: record.into() }]))
        .unwrap();
    Story { session, work, open: false }
}

fn set(phone: &mut Phone, story: &mut Story, kg: i64) -> Result<Key, PhoneError> {
    let key = phone.key();
    let set =
        SetDone { load: Load::new(kg * 100).ok(), reps: Reps::new(5).ok(), ..SetDone::new(NOON.plus_ms(kg)) };
    let work = if story.open {
        WorkOf::Open(story.work.clone())
    } else {
        WorkOf::New(story.work.clone(), Box::new(Work::new("abcdef-1".parse().unwrap())))
    };
    let command =
        Command::LogSet { session: story.session.clone(), work, key: key.clone(), set: Box::new(set) };
    let name = log(phone);
    phone.run(name, &command)?;
    story.open = true;
    Ok(key)
}

fn loads(phone: &mut Phone) -> Vec<i64> {
    let name = log(phone);
    let done = Done::of([phone.document(name).unwrap()]);
    let mut loads: Vec<i64> = done
        .sessions
        .iter()
        .flat_map(|s| &s.works)
        .flat_map(|w| &w.sets)
        .map(|s| s.set.record.load.unwrap().get() / 100)
        .collect();
    loads.sort_unstable();
    loads
}

#[test]
fn saved_sets_are_there_after_every_restart() {
    let dir = tempfile::tempdir().unwrap();
    let mut phone = enrol(dir.path(), Role::Athlete);
    let mut story = begin(&mut phone);
    for kg in 1..=20 {
        set(&mut phone, &mut story, kg).unwrap();
        drop(phone);
        phone = reopen(dir.path());
        assert_eq!(loads(&mut phone), (1..=kg).collect::<Vec<_>>());
    }
    // A new start writes as a new actor with new keys; nothing is used twice.
    assert_eq!(phone.unsent().unwrap(), [(log(&phone), 21)]);
}

#[test]
fn a_folder_that_was_never_enrolled_is_no_phone() {
    let dir = tempfile::tempdir().unwrap();
    assert!(Phone::open(dir.path(), Box::new(Noon)).unwrap().is_none());
}

#[test]
fn a_damaged_file_is_set_aside_and_what_can_be_read_is_taken_over() {
    let dir = tempfile::tempdir().unwrap();
    let mut phone = enrol(dir.path(), Role::Athlete);
    let mut story = begin(&mut phone);
    for kg in 1..=50 {
        set(&mut phone, &mut story, kg).unwrap();
    }
    drop(phone);
    // The root page of a small table is overwritten: the integrity check must notice.
    let path = dir.path().join(FILE);
    let mut bytes = fs::read(&path).unwrap();
    let page = 4096;
    let last = bytes.len() / page - 1;
    for b in &mut bytes[last * page..] {
        *b = 0xff;
    }
    fs::write(&path, &bytes).unwrap();
    let mut phone = reopen(dir.path());
    assert_eq!(phone.shelf().set_aside.len(), 1);
    assert!(phone.shelf().set_aside[0].exists(), "never deleted");
    // Whatever survived is a run from the start, and the phone works on.
    let found = loads(&mut phone);
    assert_eq!(found, (1..=i64::try_from(found.len()).unwrap()).collect::<Vec<_>>());
    let mut story = begin(&mut phone);
    set(&mut phone, &mut story, 99).unwrap();
    assert!(loads(&mut phone).contains(&99));

    // A file that is no database at all.
    drop(phone);
    fs::write(&path, b"nothing of ours").unwrap();
    let phone = reopen(dir.path());
    assert_eq!(phone.shelf().set_aside.len(), 1);
    assert!(dir.path().join(format!("{FILE}.damaged-2")).exists());
}

#[test]
fn a_flipped_bit_in_one_document_costs_no_more_than_what_follows_it() {
    let dir = tempfile::tempdir().unwrap();
    let mut phone = enrol(dir.path(), Role::Athlete);
    let mut story = begin(&mut phone);
    for kg in 1..=20 {
        set(&mut phone, &mut story, kg).unwrap();
    }
    let name = log(&phone);
    drop(phone);
    // The twelfth chunk: the session, then eleven sets.
    let db = rusqlite::Connection::open(dir.path().join(FILE)).unwrap();
    let mut body: Vec<u8> = db.query_row("SELECT body FROM chunk WHERE n = 12", [], |r| r.get(0)).unwrap();
    body[40] ^= 1;
    db.execute("UPDATE chunk SET body = ?1 WHERE n = 12", [body]).unwrap();
    drop(db);
    let mut phone = reopen(dir.path());
    assert_eq!(loads(&mut phone), (1..=10).collect::<Vec<_>>());
    assert_eq!(phone.shelf().damaged().unwrap(), 21, "every piece is kept");
    let row = phone.shelf().doc(&name).unwrap().unwrap();
    assert!(row.cursor == 0 && row.tell_heads && !row.agreed, "the server is asked for everything");
    let mut story = begin(&mut phone);
    set(&mut phone, &mut story, 99).unwrap();
    drop(phone);
    let mut expected: Vec<i64> = (1..=10).collect();
    expected.push(99);
    assert_eq!(loads(&mut reopen(dir.path())), expected);
}

#[test]
fn a_full_disk_is_said_and_nothing_half_is_kept() {
    let dir = tempfile::tempdir().unwrap();
    let mut phone = enrol(dir.path(), Role::Athlete);
    let mut story = begin(&mut phone);
    phone.shelf_mut().limit_pages(24).unwrap();
    let mut saved = 0;
    let refused = loop {
        match set(&mut phone, &mut story, saved + 1) {
            Ok(_) => saved += 1,
            Err(e) => break e,
        }
        assert!(saved < 10_000, "the limit is never reached");
    };
    assert!(matches!(refused, PhoneError::Storage { full: true, .. }), "{refused}");
    assert!(refused.to_string().contains("free some storage"));
    assert_eq!(
        loads(&mut phone),
        (1..=saved).collect::<Vec<_>>(),
        "what memory shows is what the disk holds"
    );
    // Space is back: the same set can be saved.
    phone.shelf_mut().limit_pages(100_000).unwrap();
    set(&mut phone, &mut story, saved + 1).unwrap();
    drop(phone);
    assert_eq!(loads(&mut reopen(dir.path())), (1..=saved + 1).collect::<Vec<_>>());
}

#[test]
fn long_logs_are_compacted_and_read_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let mut phone = enrol(dir.path(), Role::Athlete);
    let mut story = begin(&mut phone);
    for kg in 1..=450 {
        set(&mut phone, &mut story, kg).unwrap();
    }
    assert!(phone.shelf().chunk_count(&log(&phone)).unwrap() < 100);
    drop(phone);
    assert_eq!(loads(&mut reopen(dir.path())), (1..=450).collect::<Vec<_>>());
}

#[test]
fn a_phone_writes_only_what_is_its_persons() {
    let dir = tempfile::tempdir().unwrap();
    let mut phone = enrol(dir.path(), Role::Coach);
    let name = log(&phone);
    let session = phone.key();
    let record = SessionDone::new(phone.today().unwrap(), NOON);
    let command = Command::Add(vec![New { place: Place::of("sessions", &session), record: record.into() }]);
    assert!(matches!(phone.run(name, &command), Err(PhoneError::NotAllowed(_))));
}

#[test]
fn a_store_of_a_newer_app_is_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    drop(enrol(dir.path(), Role::Athlete));
    let db = rusqlite::Connection::open(dir.path().join(FILE)).unwrap();
    db.pragma_update(None, "user_version", 99).unwrap();
    drop(db);
    let refused = Phone::open(dir.path(), Box::new(Noon)).unwrap_err();
    assert!(matches!(refused, PhoneError::Newer { found: 99, .. }), "{refused}");
    assert!(!dir.path().join(format!("{FILE}.damaged-1")).exists());
}

/// Carries nothing, and notes what it is asked.
struct Notes {
    asked: Vec<&'static str>,
    access: String,
}

impl Transport for Notes {
    fn exchange(&mut self, access: &str, _body: &[u8]) -> Result<Vec<u8>, PhoneError> {
        self.asked.push("exchange");
        if access == self.access {
            Err(PhoneError::Offline("out of reach".to_owned()))
        } else {
            Err(PhoneError::SignedOut("another token".to_owned()))
        }
    }

    fn renew(&mut self, ask: &Renewal) -> Result<Tokens, PhoneError> {
        self.asked.push("renew");
        self.access = format!("{}-next", self.access);
        let (access, refresh) = (self.access.clone(), format!("{}-next", ask.refresh));
        Ok(Tokens { access, refresh, good_for: 900 })
    }
}

#[test]
fn a_token_known_to_be_old_is_renewed_before_anything_is_sent_and_an_unknown_one_when_it_is_refused() {
    let mut carry = Notes { asked: Vec::new(), access: "b".to_owned() };
    let dir = tempfile::tempdir().unwrap();
    // How long the first token is good was never said: it is tried.
    let mut phone = enrol(dir.path(), Role::Athlete);
    assert!(matches!(phone.exchange(&mut carry), Err(PhoneError::Offline(_))));
    assert_eq!(carry.asked, ["exchange", "renew", "exchange"]);
    drop(phone);
    // The new one is good for a while by this phone's own clock, also after a start.
    carry.asked.clear();
    let mut phone = reopen(dir.path());
    assert!(phone.exchange(&mut carry).is_err());
    assert_eq!(carry.asked, ["exchange"]);
    let until = phone.identity().access_until.unwrap();
    assert_eq!(until, Noon.now().plus_ms(870_000));
    // Past that it is renewed first.
    drop(phone);
    let mut identity = backstraight_ffi::identity::load(dir.path()).unwrap().unwrap();
    identity.access_until = Some(Noon.now());
    backstraight_ffi::identity::store(&identity, dir.path()).unwrap();
    carry.asked.clear();
    assert!(reopen(dir.path()).exchange(&mut carry).is_err());
    assert_eq!(carry.asked, ["renew", "exchange"]);
}
