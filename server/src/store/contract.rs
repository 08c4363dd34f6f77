//! What every database behind the server must keep to: each promise is tried on each of them.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use backstraight_cluster::Cluster;
use backstraight_core::base::day::Month;
use backstraight_core::base::id::{ChangeHash, ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use uuid::Uuid;

use self::each_statement::whichever_statement_fails_all_of_it_is_said_and_undone;
use super::account::{self, Enrol, EnrolOutcome, Enrolled, Rotation};
use super::audit::{self, Noted};
use super::document::{self, Append, Room};
use super::news::{Heard, Subscription, Told};
use super::people::{self, NewPerson};
use super::postgres::Database;
use super::snapshot::{self, Snapshot};
use super::sql::Kind;
use super::{Db, Faults, Store, StoreError, StoreOptions, heard, job, value};
use crate::folder::{Folder, Keys};
use crate::grant::{AtTheMachine, By, Caller};
use crate::secret;
use crate::token::{Bearer, RefreshClaim, Tokens};

pub(super) const NOW: Moment = Moment(1_795_600_800_000);
pub(super) const CLUB: ClubId = ClubId(Uuid::from_u128(1));
pub(super) const MIRA: PersonId = PersonId(Uuid::from_u128(2));
pub(super) const RUTH: PersonId = PersonId(Uuid::from_u128(3));
pub(super) const KEY: [u8; 32] = [5; 32];
pub(super) const ALL: Room = Room { bytes: usize::MAX, changes: u64::MAX };

mod each_statement;

macro_rules! on_each {
    ($($promise:ident),* $(,)?) => {
        mod sqlite {
            $(#[test]
            fn $promise() {
                super::$promise(super::On::Sqlite);
            })*
        }
        mod postgres {
            $(#[test]
            #[ignore = "needs PostgreSQL: cargo xtask postgres"]
            fn $promise() {
                super::$promise(super::On::Postgres);
            })*
        }
    };
}
on_each! {
    chunks_are_numbered_without_gaps_and_only_after_what_was_checked,
    several_chunks_of_one_upload_go_together_or_not_at_all,
    requests_that_wait_together_fail_one_by_one,
    a_closed_store_has_everything_and_takes_nothing,
    a_snapshot_only_moves_forward_and_keeps_the_newest_chunks,
    a_refresh_token_is_followed_by_one_other,
    withdrawn_people_are_nobody,
    only_athletes_are_waited_for_and_only_believable_days_count,
    codes_of_open_invitations_never_share_their_beginning,
    what_is_durable_is_told_once_and_what_was_taken_back_is_not,
    a_reader_waits_for_what_may_soon_be_done_and_nothing_else,
    whatever_is_altered_in_the_audit_list_is_found,
    several_who_add_to_the_audit_list_at_once_keep_its_links,
    whichever_statement_fails_all_of_it_is_said_and_undone,
}

/// The databases.
#[derive(Debug, Clone, Copy)]
pub(super) enum On {
    Sqlite,
    Postgres,
}

impl On {
    /// An empty one.
    fn database(self) -> Database {
        match self {
            On::Sqlite => Database::default(),
            On::Postgres => Database::at(Cluster::shared().database().parse().unwrap()),
        }
    }
}

/// A store with one club, one athlete and one coach.
pub(super) struct House {
    pub(super) store: Store,
    pub(super) database: Database,
    faults: Arc<Faults>,
    pub(super) dir: tempfile::TempDir,
}

pub(super) fn house(on: On) -> House {
    let dir = tempfile::tempdir().unwrap();
    let faults = Arc::new(Faults::default());
    let database = on.database();
    let options =
        StoreOptions { faults: Arc::clone(&faults), database: database.clone(), ..StoreOptions::default() };
    let store = Store::open(&Folder::open(dir.path()).unwrap(), options).unwrap();
    let grant = AtTheMachine.to_keep_accounts();
    store.write_blocking(move |db| people::add_club(db, &grant, CLUB, "Cinder Lane", NOW)).unwrap();
    for (id, role) in [(MIRA, Role::Athlete), (RUTH, Role::Coach)] {
        let new = NewPerson { id, club: CLUB, role, name: "Somebody".to_owned() };
        store.write_blocking(move |db| people::add_person(db, &grant, &new, NOW)).unwrap();
    }
    House { store, database, faults, dir }
}

impl House {
    /// The same database once more, as another process has it.
    pub(super) fn open(&self) -> Store {
        let options = StoreOptions { database: self.database.clone(), ..StoreOptions::default() };
        Store::open(&Folder::open(self.dir.path()).unwrap(), options).unwrap()
    }

    pub(super) fn enrol(&self, person: PersonId) -> Enrolled {
        let grant = AtTheMachine.to_invite(person, CLUB);
        let done = self.store.write_blocking(move |db| {
            let code = account::invite(db, &grant, &KEY, 60_000, NOW)?.code;
            account::enrol(db, &KEY, &Enrol { code, device: "phone".to_owned(), public_key: None }, NOW)
        });
        match done.unwrap() {
            EnrolOutcome::Enrolled(new) => new,
            other => panic!("{other:?}"),
        }
    }

    pub(super) fn caller(&self, new: &Enrolled) -> Option<Caller> {
        let bearer = Bearer { person: new.person, install: new.install };
        self.store.read_blocking(|db| account::caller(db, bearer)).unwrap()
    }

    pub(super) fn append(&self, at: u64, body: &[u8]) -> Result<Option<document::Doc>, StoreError> {
        let add = piece(at, body);
        self.store.write_blocking(move |db| document::append(db, &add, NOW))
    }

    pub(super) fn max_n(&self) -> u64 {
        self.store.read_blocking(|db| document::find(db, &log())).unwrap().map_or(0, |d| d.max_n)
    }
}

pub(super) fn log() -> DocName {
    DocName::Log(MIRA, Month::new(2026, 11).unwrap())
}

pub(super) fn piece(at: u64, body: &[u8]) -> Append {
    let n = u8::try_from(at).unwrap();
    Append {
        grant: AtTheMachine.to_write(log(), CLUB),
        checked_at: at,
        body: body.to_vec(),
        changes: 1,
        delta: vec![n],
        heads: vec![ChangeHash([n; 32])],
    }
}

fn chunks_are_numbered_without_gaps_and_only_after_what_was_checked(on: On) {
    let h = house(on);
    assert_eq!(h.append(1, b"too early").unwrap(), None);
    assert_eq!(h.append(0, b"a").unwrap().unwrap().max_n, 1);
    assert_eq!(h.append(0, b"checked before a").unwrap(), None);
    assert_eq!(h.append(1, b"b").unwrap().unwrap().max_n, 2);
    let read = AtTheMachine.to_read(log());
    let got =
        |after, room| h.store.read_blocking(|db| document::chunks_after(db, &read, after, room)).unwrap();
    assert_eq!(
        got(0, ALL).iter().map(|c| (c.n, c.body.clone())).collect::<Vec<_>>(),
        [(1, b"a".to_vec()), (2, b"b".to_vec())]
    );
    assert_eq!(got(1, ALL).len(), 1);
    assert_eq!(got(2, ALL).len(), 0);
    assert_eq!(got(0, Room { bytes: 1, changes: 9 }).len(), 1);
    assert_eq!(got(0, Room { bytes: 0, changes: 0 }).len(), 1, "always at least one");
    assert_eq!(got(0, Room { bytes: 2, changes: 2 }).len(), 2);
    let doc = h.store.read_blocking(|db| document::find(db, &log())).unwrap().unwrap();
    assert_eq!((doc.max_n, doc.heads), (2, vec![ChangeHash([1; 32])]));
}

fn several_chunks_of_one_upload_go_together_or_not_at_all(on: On) {
    let h = house(on);
    let adds = vec![piece(0, b"a"), piece(1, b"b"), piece(2, b"c")];
    let again = adds.clone();
    let (doc, first) =
        h.store.write_blocking(move |db| document::append_all(db, &adds, NOW)).unwrap().unwrap();
    assert_eq!((doc.max_n, first), (3, 1));
    assert!(h.store.write_blocking(move |db| document::append_all(db, &again, NOW)).unwrap().is_none());
    let torn = vec![piece(3, b"d"), piece(5, b"e")];
    assert!(h.store.write_blocking(move |db| document::append_all(db, &torn, NOW)).is_err());
    assert_eq!(h.max_n(), 3);
}

#[test]
fn a_commit_that_fails_leaves_nothing_and_says_so() {
    for code in [rusqlite::ffi::SQLITE_FULL, rusqlite::ffi::SQLITE_READONLY, rusqlite::ffi::SQLITE_BUSY] {
        let h = house(On::Sqlite);
        h.append(0, b"a").unwrap();
        h.faults.next_commit.store(code, Ordering::SeqCst);
        let failed = h.append(1, b"b");
        assert!(
            matches!(failed, Err(StoreError::Full | StoreError::ReadOnly | StoreError::Busy)),
            "{failed:?}"
        );
        assert_eq!(h.max_n(), 1);
        assert!(!h.store.stopped());
        assert_eq!(h.append(1, b"b").unwrap().unwrap().max_n, 2, "it goes on when the reason is gone");
    }
}

#[test]
fn after_a_disk_error_nothing_is_acknowledged_any_more() {
    let h = house(On::Sqlite);
    h.append(0, b"a").unwrap();
    h.faults.next_commit.store(rusqlite::ffi::SQLITE_IOERR_WRITE, Ordering::SeqCst);
    for _ in 0..3 {
        assert!(matches!(h.append(1, b"b"), Err(StoreError::Stopped)));
    }
    assert!(h.store.stopped());
    assert_eq!(h.max_n(), 1, "reading goes on");
}

fn requests_that_wait_together_fail_one_by_one(on: On) {
    let h = house(on);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
    let outcomes = runtime.block_on(async {
        // While the first one holds the writer, the others gather for the next transaction.
        let slow = h.store.write(|_| {
            std::thread::sleep(std::time::Duration::from_millis(100));
            Ok(0)
        });
        let good = |n: i64| {
            h.store.write(move |db| {
                db.execute("INSERT INTO audit (at, what, subject) VALUES (?1, 'x', 'y')", [n])?;
                Ok(n)
            })
        };
        let bad = h.store.write(|db| {
            db.execute("INSERT INTO audit (at, what, subject) VALUES (666, 'x', 'y')", [])?;
            Err::<i64, _>(StoreError::Damaged("on purpose".to_owned()))
        });
        tokio::join!(slow, good(1), bad, good(2))
    });
    assert!(outcomes.0.is_ok() && outcomes.1.is_ok() && outcomes.2.is_err() && outcomes.3.is_ok());
    let at: Vec<i64> = h
        .store
        .read_blocking(|db| {
            let mut ask = db.prepare("SELECT at FROM audit WHERE what = 'x' ORDER BY at")?;
            Ok(ask.query_map([], |r| r.get(0))?.collect::<Result<_, _>>()?)
        })
        .unwrap();
    assert_eq!(at, [1, 2]);
}

fn a_closed_store_has_everything_and_takes_nothing(on: On) {
    let h = house(on);
    h.append(0, b"a").unwrap();
    let epoch = h.store.read_blocking(value::epoch).unwrap();
    h.store.close();
    assert!(h.append(1, b"b").is_err());
    h.store.close();
    let again = h.open();
    assert_eq!(again.read_blocking(value::epoch).unwrap(), epoch);
    assert_eq!(again.read_blocking(|db| document::find(db, &log())).unwrap().unwrap().max_n, 1);
}

fn a_snapshot_only_moves_forward_and_keeps_the_newest_chunks(on: On) {
    let h = house(on);
    for n in 0..6 {
        h.append(n, b"x").unwrap();
    }
    let id = h.store.read_blocking(|db| document::find(db, &log())).unwrap().unwrap().id;
    let swap = |upto_n| {
        let new = Snapshot { doc: id, upto_n, body: vec![9], delta: vec![8] };
        h.store.write_blocking(move |db| snapshot::swap(db, &new, NOW)).unwrap()
    };
    let oldest = || h.store.read_blocking(|db| document::oldest_chunk(db, id)).unwrap();
    assert!(swap(3));
    assert_eq!(oldest(), Some(1));
    assert!(!swap(3) && !swap(2));
    assert!(swap(5));
    assert_eq!(oldest(), Some(4));
    let whole = h.store.read_blocking(|db| document::whole(db, id, b"start")).unwrap();
    assert_eq!(whole, b"\x09x");
    assert_eq!(h.store.read_blocking(|db| document::deltas(db, id, 0)).unwrap(), [vec![8], vec![5]]);
    let due = |least| h.store.read_blocking(|db| snapshot::due(db, least, 9)).unwrap();
    assert_eq!((due(1), due(2)), (vec![id], vec![]));
}

fn a_refresh_token_is_followed_by_one_other(on: On) {
    let h = house(on);
    let new = h.enrol(MIRA);
    let tokens = Tokens::new(&Keys { signing: [1; 32], secret: KEY }, [0; 16]);
    let rotate = |generation, restored| {
        let claim = RefreshClaim::read(&tokens.refresh(new.install, generation, &new.salt)).unwrap();
        h.store.write_blocking(move |db| account::rotate(db, &KEY, claim, restored, NOW)).unwrap()
    };
    let next = |generation| Rotation::Next { person: MIRA, generation, salt: new.salt };
    assert_eq!(rotate(2, false), Rotation::Unknown, "never given out");
    assert_eq!((rotate(1, false), rotate(1, false)), (next(2), next(2)));
    assert_eq!((rotate(2, false), rotate(2, false)), (next(3), next(3)));
    assert_eq!(rotate(9, true), next(10), "given out after the backup");
    assert!(h.caller(&new).is_some());
    assert_eq!(rotate(3, false), Rotation::Killed);
    assert_eq!(rotate(10, false), Rotation::Killed);
    assert!(h.caller(&new).is_none());
}

fn withdrawn_people_are_nobody(on: On) {
    let h = house(on);
    let new = h.enrol(MIRA);
    assert_eq!(h.caller(&new).unwrap().asker.role, Role::Athlete);
    let other = Enrolled { person: RUTH, ..new.clone() };
    assert!(h.caller(&other).is_none(), "the install is another person's");
    let grant = AtTheMachine.to_keep_accounts();
    assert!(h.store.write_blocking(move |db| people::withdraw(db, &grant, MIRA, NOW)).unwrap());
    assert!(h.caller(&new).is_none());
    assert!(h.store.read_blocking(|db| people::find(db, MIRA)).unwrap().is_none());
    let wrote = h.store.read_blocking(|db| document::writer(db, new.install)).unwrap();
    assert_eq!(wrote, Some((MIRA, CLUB, Role::Athlete)), "what was written stays whose it was");
    assert_eq!(h.store.read_blocking(|db| document::writer(db, InstallId([0; 8]))).unwrap(), None);
}

fn only_athletes_are_waited_for_and_only_believable_days_count(on: On) {
    let h = house(on);
    let (phone, desk) = (h.enrol(MIRA), h.enrol(RUTH));
    let (phone, desk) = (h.caller(&phone).unwrap(), h.caller(&desk).unwrap());
    let version =
        |c: Caller| h.store.read_blocking(|db| people::known_to(db, &c, None)).unwrap().unwrap().version;
    let note = |c: Caller, day: &'static str, now: Moment| {
        h.store
            .write_blocking(move |db| heard::note(db, &c, heard::Word::Through(day, value::epoch(db)?), now))
            .unwrap();
    };
    let before = version(desk);
    note(desk, "2026-11-25", NOW);
    assert_eq!(version(desk), before);
    let athletes = version(phone);
    // That a clock has gone wrong is news too: the board says so.
    for (day, stays) in [
        ("2026-11-25", false),
        ("2026-11-25", true),
        ("2026-11-28", false),
        ("2026-11-28", true),
        ("2026-11-27", false),
    ] {
        let before = version(desk);
        note(phone, day, NOW);
        assert_eq!(version(desk) == before, stays, "{day}");
    }
    assert_eq!(version(phone), athletes, "athletes are not told");
    // What was said to the store as it was before something was lost may not be all.
    let before = heard::Word::Through("2026-11-28", [0; 16]);
    h.store.write_blocking(move |db| heard::note(db, &phone, before, NOW)).unwrap();
    let row = h.store.read_blocking(|db| {
        Ok(db.query_row(
            "SELECT heard_day, heard_at, clock_wrong FROM install WHERE id = ?1",
            [phone.install.0],
            |r| Ok((r.get::<_, String>(0)?, r.get::<_, i64>(1)?, r.get::<_, bool>(2)?)),
        )?)
    });
    assert_eq!(row.unwrap(), ("2026-11-27".to_owned(), NOW.0, false));
    note(phone, "1999-01-01", NOW.plus_ms(1));
    let wrong: bool = h
        .store
        .read_blocking(|db| {
            Ok(db.query_row("SELECT clock_wrong FROM install WHERE heard_at > ?1", [NOW.0], |r| r.get(0))?)
        })
        .unwrap();
    assert!(wrong);
}

/// The next word; waits for it a while.
pub(super) fn hear(news: &mut Subscription) -> Option<Heard> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
    let patience = std::time::Duration::from_secs(10);
    runtime.block_on(async { tokio::time::timeout(patience, news.next()).await.ok().flatten() })
}

fn what_is_durable_is_told_once_and_what_was_taken_back_is_not(on: On) {
    let h = house(on);
    let mut news = h.store.news().of_club(CLUB);
    let mut others = h.store.news().of_club(ClubId(Uuid::from_u128(9)));
    let taken_back = h.store.write_blocking(|db| -> Result<(), StoreError> {
        document::append(db, &piece(0, b"taken back"), NOW)?;
        Err(StoreError::Busy)
    });
    assert!(taken_back.is_err());
    let adds = vec![piece(0, b"a"), piece(1, b"b")];
    h.store.write_beside_blocking(move |db| document::append_all(db, &adds, NOW)).unwrap().unwrap();
    let other = Told::Rows(ClubId(Uuid::from_u128(9)));
    let tell = move |db: &Db| {
        db.tell(other);
        db.tell(Told::Rows(CLUB));
        Ok(())
    };
    h.store.write_blocking(tell).unwrap();
    // That people came into the house may only arrive now.
    let mut next = || loop {
        match hear(&mut news) {
            Some(Heard::Told(Told::People(_))) => {}
            word => break word,
        }
    };
    assert_eq!(next(), Some(Heard::Told(Told::Document(CLUB, log(), None))));
    assert_eq!(next(), Some(Heard::Told(Told::Rows(CLUB))), "two chunks were one word");
    assert_eq!(hear(&mut others), Some(Heard::Told(other)));
}

fn codes_of_open_invitations_never_share_their_beginning(on: On) {
    let h = house(on);
    let grant = AtTheMachine.to_invite(MIRA, CLUB);
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..300 {
        let made = h.store.write_blocking(move |db| account::invite(db, &grant, &KEY, 60_000, NOW)).unwrap();
        assert!(seen.insert(made.code.get(..secret::SELECTOR_LEN).unwrap().to_owned()));
    }
    // A week later they are forgotten.
    let later = NOW.plus_ms(8 * 86_400_000);
    h.store.write_blocking(move |db| account::invite(db, &grant, &KEY, 60_000, later)).unwrap();
    let left: i64 = h
        .store
        .read_blocking(|db| Ok(db.query_row("SELECT count(*) FROM invite", [], |r| r.get(0))?))
        .unwrap();
    assert_eq!(left, 1);
}

fn a_reader_waits_for_what_may_soon_be_done_and_nothing_else(on: On) {
    let h = house(on);
    let review = |person| {
        let caller = h.caller(&h.enrol(person)).unwrap();
        crate::grant::to_review(&caller).unwrap()
    };
    let (coach, athlete) = (review(RUTH), review(MIRA));
    let (mira, other, elsewhere) = (MIRA.0.into_bytes(), [8; 16], [9; 16]);
    let mark =
        |owner: [u8; 16], club| h.store.write_blocking(move |db| job::mark(db, owner, club, NOW)).unwrap();
    let soon = |grant, most| h.store.read_blocking(move |db| job::soon(db, &grant, most)).unwrap();
    let pending = |grant| h.store.read_blocking(move |db| job::pending(db, &grant)).unwrap();
    let left = |owners: &[[u8; 16]]| h.store.read_blocking(|db| job::left(db, owners)).unwrap();
    let claim = || h.store.write_blocking(|db| job::claim(db, 9, [1; 8], NOW)).unwrap();

    assert_eq!((soon(coach, 9), pending(coach), left(&[mira])), (vec![], 0, false));
    mark(mira, CLUB);
    mark(other, CLUB);
    let strangers = ClubId(Uuid::from_u128(77));
    let accounts = AtTheMachine.to_keep_accounts();
    h.store.write_blocking(move |db| people::add_club(db, &accounts, strangers, "Strangers", NOW)).unwrap();
    mark(elsewhere, strangers);
    assert_eq!((soon(coach, 9).len(), soon(coach, 1).len(), pending(coach)), (2, 1, 2));
    assert_eq!((soon(athlete, 9), pending(athlete)), (vec![mira], 1));

    let claims = claim();
    let done = claims.iter().find(|c| c.owner == mira).cloned().unwrap();
    h.store.write_blocking(move |db| job::finish(db, &done)).unwrap();
    assert_eq!((left(&[mira]), left(&[mira, other]), soon(athlete, 9)), (false, true, vec![]));

    // What failed twice is behind, but nobody waits for it.
    let failing = claims.into_iter().find(|c| c.owner == other).unwrap();
    h.store.write_blocking(move |db| job::put_off(db, &failing, NOW)).unwrap();
    let later = NOW.plus_ms(job::LEASE);
    h.store.write_blocking(move |db| job::claim(db, 9, [1; 8], later)).unwrap();
    assert_eq!((left(&[other]), soon(coach, 9), pending(coach)), (false, vec![], 1));
}

/// What could be done to line `id` by who writes the database behind the program's back.
fn alterations(id: i64, on: On) -> Vec<String> {
    let bytes = |count: usize| match on {
        On::Sqlite => format!("x'{}'", "01".repeat(count)),
        On::Postgres => format!("'\\x{}'::bytea", "01".repeat(count)),
    };
    let mut all: Vec<String> = [
        "at = at + 1",
        "club = NULL",
        &format!("person = {}", bytes(16)),
        &format!("install = {}", bytes(8)),
        "what = what || '.'",
        "subject = ''",
        "link = NULL",
        &format!("link = {}", bytes(32)),
        // The same letters, cut elsewhere.
        "what = what || substr(subject, 1, 1), subject = substr(subject, 2)",
    ]
    .iter()
    .map(|set| format!("UPDATE audit SET {set} WHERE id = {id}"))
    .collect();
    all.push(format!("DELETE FROM audit WHERE id = {id}"));
    // Two lines change places; and what somebody puts in with a link of its own.
    all.push(format!(
        "UPDATE audit SET id = CASE id WHEN {id} THEN -1 ELSE {id} END WHERE id IN ({id}, {id} + 1);
                      UPDATE audit SET id = {id} + 1 WHERE id = -1"
    ));
    all.push(format!(
        "UPDATE audit SET id = id + 1000 WHERE id > {id};
         UPDATE audit SET id = id - 999 WHERE id > 1000;
         INSERT INTO audit (id, at, what, subject) VALUES ({id} + 1, 1, 'x', 'y')"
    ));
    all
}

fn whatever_is_altered_in_the_audit_list_is_found(on: On) {
    let h = house(on);
    let by = By { club: Some(CLUB), person: Some(RUTH), install: Some(InstallId([7; 8])) };
    // Two lines as a version without links left them, at the very beginning.
    h.store
        .write_blocking(move |db| {
            for trigger in ["audit_no_update", "audit_no_delete"] {
                let of = if db.kind() == Kind::Postgres { " ON audit" } else { "" };
                db.execute_batch(&format!("DROP TRIGGER {trigger}{of}"))?;
            }
            db.execute_batch("UPDATE audit SET link = NULL")?;
            for n in 0..20 {
                audit::add(db, &by, "tried", &format!("line {n}"), NOW)?;
            }
            Ok(())
        })
        .unwrap();
    let whole = h.store.read_blocking(audit::follow).unwrap();
    assert!(whole.lines >= 23 && whole.trouble.is_empty(), "{whole:?}");
    let ids: Vec<i64> = h
        .store
        .read_blocking(|db| {
            let mut ask = db.prepare("SELECT id FROM audit ORDER BY id")?;
            Ok(ask.query_map([], |r| r.get(0))?.collect::<Result<_, _>>()?)
        })
        .unwrap();
    let noted: Noted = whole.newest().unwrap().parse().unwrap();
    let old = ids.len() - 20;
    let mut tried = 0;
    for (n, id) in ids.iter().enumerate() {
        for alter in alterations(*id, on) {
            // Nothing to take away of what never was there, and no line after the last to change with.
            // (The first link covers no more than the second one does.)
            let nothing =
                n <= old && alter.contains("link = NULL") || n < old && alter.contains("club = NULL");
            let last = n + 1 == ids.len();
            if nothing || (last && alter.contains("CASE")) {
                continue;
            }
            let said = alter.clone();
            let seen = h.store.write_blocking(move |db| {
                db.execute_batch(&alter)?;
                let mut trouble = audit::follow(db)?.trouble;
                // What is taken from the end is found by what was noted elsewhere, and only so.
                if last {
                    trouble.extend(audit::missing(db, &[noted])?);
                }
                Err::<(), _>(StoreError::Damaged(format!("{}", trouble.len())))
            });
            match seen {
                Err(StoreError::Damaged(found)) => assert_ne!(found, "0", "{said}"),
                other => panic!("{said}: {other:?}"),
            }
            tried += 1;
        }
    }
    assert!(tried > 200, "{tried}");
    let after = h.store.read_blocking(audit::follow).unwrap();
    assert_eq!(after, whole, "all of it was taken back");
}

fn several_who_add_to_the_audit_list_at_once_keep_its_links(on: On) {
    let h = house(on);
    // A folder belongs to one process; a database server has several.
    let other = matches!(on, On::Postgres).then(|| h.open());
    std::thread::scope(|scope| {
        for n in 0..8 {
            let store = other.as_ref().filter(|_| n % 2 == 0).unwrap_or(&h.store);
            scope.spawn(move || {
                for k in 0..10 {
                    let subject = format!("{n} {k}");
                    let add = move |db: &Db| audit::add(db, &AtTheMachine::BY, "tried", &subject, NOW);
                    store.write_beside_blocking(add).unwrap();
                }
            });
        }
    });
    let found = h.store.read_blocking(audit::follow).unwrap();
    assert_eq!(found.trouble, [""; 0]);
    assert!(found.lines >= 80, "{found:?}");
}
