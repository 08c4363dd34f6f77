//! A server on a folder of its own and real phones that speak with it over HTTP on this machine: for
//! tests of what both promise together. Knows no story.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use backstraight_cluster::Cluster;
use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ChangeHash, ClubId, PersonId, SquadId};
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::Availability;
use backstraight_core::model::log::{Comment, SessionDone, SetDone, Work};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Available, Load, Reps, Text};
use backstraight_core::view::done::Done;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::phone::{Clock as _, Exchanged, Phone};
use backstraight_ffi::transport::{Http, enrol};
use backstraight_server::app::{self, Clock, Running};
use backstraight_server::config::Config;
use backstraight_server::erase::list::ErasedList;
use backstraight_server::folder::Folder;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::job::check;
use backstraight_server::store::backup::Take;
use backstraight_server::store::people::{self, NewPerson};
use backstraight_server::store::postgres::Database;
use backstraight_server::store::{Store, StoreOptions, account, backup, document};
use backstraight_server::{exchange, secret};

use crate::clock::SetClock;

/// Ten in the morning of 25 November 2026, UTC: when these stands begin.
pub const START: Moment = Moment(1_795_600_800_000);
/// A minute in ms.
pub const MINUTE: i64 = 60_000;
/// A day in ms.
pub const DAY: i64 = 86_400_000;

/// A server with one club, on a folder that goes with it.
#[derive(Debug)]
pub struct Stand {
    /// Everything: the server's folder and those of the phones.
    pub dir: tempfile::TempDir,
    /// The server's clock.
    pub clock: SetClock,
    /// The club.
    pub club: ClubId,
    data: PathBuf,
    database: Database,
    runtime: tokio::runtime::Runtime,
    running: Option<Running>,
    /// Whether the server keeps the rows of its board by itself, from the next start on.
    pub projector: bool,
}

impl Default for Stand {
    fn default() -> Stand {
        Stand::at(START)
    }
}

impl Stand {
    /// A running server, at a moment.
    ///
    /// # Panics
    /// When it does not start.
    #[must_use]
    pub fn at(now: Moment) -> Stand {
        let database = if over_postgres() { new_database() } else { Database::default() };
        Stand::over(now, database)
    }

    /// The same with everything in a database server.
    ///
    /// # Panics
    /// When it does not start.
    #[must_use]
    pub fn over(now: Moment, database: Database) -> Stand {
        let dir = tempfile::tempdir().unwrap();
        let data = dir.path().join("server");
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        let club = ClubId::new(now, secret::random());
        let clock = SetClock::at(now);
        let mut stand = Stand { dir, clock, club, data, database, runtime, running: None, projector: true };
        stand.start();
        stand.add_club(club, "Cinder Lane");
        stand
    }

    /// The same with other settings.
    ///
    /// # Panics
    /// When it does not start.
    #[must_use]
    pub fn with(now: Moment, change: impl FnOnce(&mut Config)) -> Stand {
        let mut stand = Stand::at(now);
        stand.stop();
        stand.start_with(change);
        stand
    }

    /// Starts the server on its folder.
    ///
    /// # Panics
    /// When it does not start.
    pub fn start(&mut self) {
        self.start_with(|_| {});
    }

    fn start_with(&mut self, change: impl FnOnce(&mut Config)) {
        let clock = self.clock.clone();
        let mut config = Config::on(self.data.clone());
        config.compact_after = 0;
        config.database = self.database.clone();
        config.without_projector = !self.projector;
        change(&mut config);
        let clock = Clock::new(move || clock.now());
        let started = app::start(config, StoreOptions::default(), clock);
        self.running = Some(self.runtime.block_on(started).unwrap());
    }

    /// Stops it.
    pub fn stop(&mut self) {
        if let Some(running) = self.running.take() {
            self.runtime.block_on(running.stop());
        }
    }

    /// Its state.
    ///
    /// # Panics
    /// When it is stopped.
    #[must_use]
    pub fn running(&self) -> &Running {
        self.running.as_ref().unwrap()
    }

    /// Where it listens.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}", self.running().address)
    }

    /// Its folder.
    #[must_use]
    pub fn data(&self) -> &Path {
        &self.data
    }

    /// Its store.
    #[must_use]
    pub fn store(&self) -> Arc<Store> {
        Arc::clone(&self.running().app.store)
    }

    /// Its time.
    #[must_use]
    pub fn now(&self) -> Moment {
        self.clock.now()
    }

    /// Another club on the same server.
    ///
    /// # Panics
    /// When storage fails.
    pub fn add_club(&self, id: ClubId, name: &str) {
        let (grant, now, name) = (AtTheMachine.to_keep_accounts(), self.now(), name.to_owned());
        self.store().write_blocking(move |db| people::add_club(db, &grant, id, &name, now)).unwrap();
    }

    /// A person of the club.
    #[must_use]
    pub fn person(&self, role: Role, name: &str) -> PersonId {
        self.person_of(self.club, role, name)
    }

    /// A person of any club.
    ///
    /// # Panics
    /// When storage fails.
    #[must_use]
    pub fn person_of(&self, club: ClubId, role: Role, name: &str) -> PersonId {
        let id = PersonId::new(self.now(), secret::random());
        let new = NewPerson { id, club, role, name: name.to_owned() };
        let (grant, now) = (AtTheMachine.to_keep_accounts(), self.now());
        // Athletes are of age where a test says nothing else.
        let born = (role == Role::Athlete).then(|| "2001-02-03".parse().unwrap());
        self.store()
            .write_blocking(move |db| {
                people::add_person(db, &grant, &new, now)?;
                people::set_born(db, &grant, id, born, now)
            })
            .unwrap();
        id
    }

    /// A squad of the club.
    ///
    /// # Panics
    /// When storage fails.
    #[must_use]
    pub fn squad(&self) -> SquadId {
        let (id, club, now) = (SquadId::new(self.now(), secret::random()), self.club, self.now());
        let grant = AtTheMachine.to_keep_accounts();
        self.store()
            .write_blocking(move |db| people::add_squad(db, &grant, club, id, "Sprints", now))
            .unwrap();
        id
    }

    /// An invitation, good for a day.
    ///
    /// # Panics
    /// When storage fails.
    #[must_use]
    pub fn code(&self, person: PersonId) -> String {
        let key = Folder::open(&self.data).unwrap().keys().unwrap().secret;
        let (grant, now) = (AtTheMachine.to_invite(person, self.club), self.now());
        self.store().write_blocking(move |db| account::invite(db, &grant, &key, DAY, now)).unwrap().code
    }

    /// An enrolled phone of a person; `folder` tells it from the person's others.
    #[must_use]
    pub fn phone(&self, person: PersonId, folder: &str) -> Handset {
        Handset::enrol(&self.url(), &self.code(person), &self.dir.path().join(folder), self.now())
    }

    /// Every document as it is stored: name, number of its newest chunk, heads.
    ///
    /// # Panics
    /// When storage fails.
    #[must_use]
    pub fn stored(&self) -> BTreeMap<DocName, (u64, Vec<ChangeHash>)> {
        let docs = self.store().read_blocking(document::all).unwrap();
        docs.into_iter().map(|d| (d.name, (d.max_n, d.heads))).collect()
    }

    /// What the check of the whole folder finds.
    ///
    /// # Panics
    /// When storage fails.
    #[must_use]
    pub fn trouble(&self) -> Vec<String> {
        self.store().read_blocking(check::whole).unwrap().trouble
    }

    /// Writes a backup while the server runs.
    ///
    /// # Panics
    /// When it cannot be written.
    pub fn backup(&self, file: &Path) {
        backup::backup_of(&self.store(), &Folder::open(&self.data).unwrap(), file, self.now()).unwrap();
    }

    /// Stops the server, puts a backup in the place of its database and starts it again. On a database
    /// server nothing is replaced: it goes into a new database, by way of the folder with nothing in it
    /// but the list of who was erased.
    ///
    /// # Panics
    /// When it cannot be restored.
    pub fn restore(&mut self, file: &Path) {
        self.stop();
        if self.database.url.is_some() {
            let erased = ErasedList::read(&self.data).unwrap();
            std::fs::remove_dir_all(&self.data).unwrap();
            let folder = Folder::open(&self.data).unwrap();
            erased.write(folder.root()).unwrap();
            self.database = new_database();
            backup::restore_to(file, &folder, &self.database, Take::default(), self.now()).unwrap();
        } else {
            let take = Take { replace: true, ..Take::default() };
            backup::restore(file, &Folder::open(&self.data).unwrap(), take, self.now()).unwrap();
        }
        self.start();
    }

    /// The name of its database, when it is on the database server that tests share.
    #[must_use]
    pub fn database_name(&self) -> Option<String> {
        self.database.url.as_ref().and_then(|url| url.database().map(str::to_owned))
    }
}

/// Whether stands are on a database server, unless they say otherwise.
#[must_use]
pub fn over_postgres() -> bool {
    std::env::var("BACKSTRAIGHT_TEST_OVER").is_ok_and(|over| over == "postgres")
}

fn new_database() -> Database {
    Database::at(Cluster::shared().database().parse().unwrap())
}

impl Drop for Stand {
    fn drop(&mut self) {
        self.stop();
    }
}

/// A phone or a desk: a real install on a folder, with a clock that a test sets.
#[derive(Debug)]
pub struct Handset {
    /// The install.
    pub phone: Phone,
    /// Its clock.
    pub clock: SetClock,
    /// Its folder.
    pub dir: PathBuf,
}

impl Handset {
    /// Trades an invitation for an install.
    ///
    /// # Panics
    /// When that fails.
    #[must_use]
    pub fn enrol(url: &str, code: &str, dir: &Path, now: Moment) -> Handset {
        let identity = enrol(url, code, "test phone").unwrap();
        let clock = SetClock::at(now);
        let phone = Phone::enrolled(dir, identity, Box::new(clock.clone())).unwrap();
        Handset { phone, clock, dir: dir.to_owned() }
    }

    /// Opens a folder again.
    ///
    /// # Panics
    /// When that fails.
    #[must_use]
    pub fn open(dir: &Path, now: Moment) -> Handset {
        let clock = SetClock::at(now);
        let phone = Phone::open(dir, Box::new(clock.clone())).unwrap().unwrap();
        Handset { phone, clock, dir: dir.to_owned() }
    }

    /// Closes the app and opens it again.
    #[must_use]
    pub fn reopened(self) -> Handset {
        let (dir, now) = (self.dir.clone(), self.clock.now());
        drop(self);
        Handset::open(&dir, now)
    }

    /// Whose it is.
    #[must_use]
    pub fn person(&self) -> PersonId {
        self.phone.identity().person
    }

    /// The person's own log of the present month.
    ///
    /// # Panics
    /// When the clock is outside the calendar.
    #[must_use]
    pub fn log(&self) -> DocName {
        DocName::Log(self.person(), self.phone.today().unwrap().month())
    }

    /// Sends and receives until nothing is left to do.
    ///
    /// # Panics
    /// When that fails.
    #[track_caller]
    pub fn exchange(&mut self, url: &str) -> Exchanged {
        self.phone.exchange(&mut Http::new(url)).unwrap()
    }

    /// Adds one record.
    ///
    /// # Errors
    /// What the phone said.
    pub fn add(
        &mut self,
        name: DocName,
        root: &'static str,
        record: impl Into<AnyRecord>,
    ) -> Result<(Key, ChangeHash), PhoneError> {
        let key = self.phone.key();
        let command = Command::Add(vec![New { place: Place::of(root, &key), record: record.into() }]);
        self.phone.run(name, &command).map(|hash| (key, hash))
    }

    /// Writes a comment.
    ///
    /// # Panics
    /// When the phone refuses.
    #[track_caller]
    pub fn say(&mut self, name: DocName, words: &str) -> ChangeHash {
        let comment = Comment::new(self.clock.now(), self.person(), Text::new(words).unwrap());
        self.add(name, "comments", comment).unwrap().1
    }

    /// The comments of a document, sorted.
    ///
    /// # Panics
    /// When one cannot be read.
    #[must_use]
    pub fn words(&mut self, name: DocName) -> Vec<String> {
        let read = self.phone.document(name).unwrap().records::<Comment>("comments");
        assert!(read.unreadable.is_empty(), "{:?}", read.unreadable);
        let mut words: Vec<String> = read.live().map(|e| e.record.text.to_string()).collect();
        words.sort_unstable();
        words
    }

    /// Says what an athlete may train.
    ///
    /// # Panics
    /// When the phone refuses.
    pub fn allow(&mut self, athlete: PersonId, level: Available, from: Day, until: Option<Day>) {
        let avoid = (level == Available::Modified).then(|| Text::new("jumps").unwrap());
        let said = Availability::new(self.clock.now(), self.person(), from, level);
        let said = Availability { until, avoid, ..said };
        self.add(DocName::Availability(athlete), "availability", said).unwrap();
    }

    /// Begins a session of nobody's plan, with one exercise.
    ///
    /// # Panics
    /// When the phone refuses.
    #[track_caller]
    pub fn begin(&mut self) -> Session {
        let record = SessionDone::new(self.phone.today().unwrap(), self.clock.now());
        let name = self.log();
        let (key, _) = self.add(name, "sessions", record).unwrap();
        Session { name, key, work: self.phone.key(), open: false }
    }

    /// Logs the set number `n`; it can be known again by its numbers.
    ///
    /// # Errors
    /// What the phone said.
    pub fn set(&mut self, session: &mut Session, n: i64) -> Result<(Key, ChangeHash), PhoneError> {
        let key = self.phone.key();
        let work = if session.open {
            WorkOf::Open(session.work.clone())
        } else {
            WorkOf::New(session.work.clone(), Box::new(Work::new("abcdef-1".parse().unwrap())))
        };
        let set = Box::new(numbered(n));
        let command = Command::LogSet { session: session.key.clone(), work, key: key.clone(), set };
        let hash = self.phone.run(session.name, &command)?;
        session.open = true;
        Ok((key, hash))
    }

    /// Every set of a log by its key, with its number.
    ///
    /// # Panics
    /// When anything in the log cannot be read whole, or a set holds other values than it was given.
    #[must_use]
    pub fn sets(&mut self, name: DocName) -> BTreeMap<Key, i64> {
        sets(self.phone.document(name).unwrap())
    }

    /// The numbers of all sets of a log, ascending.
    ///
    /// # Panics
    /// As [`Handset::sets`].
    #[must_use]
    pub fn numbers(&mut self, name: DocName) -> Vec<i64> {
        let mut numbers: Vec<i64> = self.sets(name).into_values().collect();
        numbers.sort_unstable();
        numbers
    }

    /// Heads of a document here.
    ///
    /// # Panics
    /// When it cannot be read.
    #[must_use]
    pub fn heads(&mut self, name: DocName) -> Vec<ChangeHash> {
        self.phone.document(name).unwrap().heads()
    }

    /// The stored bytes of a document, and what is known of the server about it.
    ///
    /// # Panics
    /// When they cannot be read.
    #[must_use]
    pub fn on_disk(&self, name: DocName) -> (Option<Vec<u8>>, Option<backstraight_ffi::store::DocRow>) {
        let store = self.phone.shelf();
        (store.bytes(&name).unwrap(), store.doc(&name).unwrap())
    }
}

/// A session that is being logged.
#[derive(Debug, Clone)]
pub struct Session {
    /// The log.
    pub name: DocName,
    /// Its key there.
    pub key: Key,
    work: Key,
    open: bool,
}

/// The set number `n`.
#[must_use]
pub fn numbered(n: i64) -> SetDone {
    SetDone {
        load: Load::new(100 * n).ok(),
        reps: Reps::new(n % 20 + 1).ok(),
        ..SetDone::new(START.plus_ms(n * 1000))
    }
}

/// Every set of a log by its key, with its number.
///
/// # Panics
/// When anything in the log cannot be read whole, or a set holds other values than it was given.
#[must_use]
pub fn sets(log: &Document) -> BTreeMap<Key, i64> {
    let done = Done::of([log]);
    assert!(done.unreadable.is_empty(), "{:?}", done.unreadable);
    let all = done.sessions.iter().flat_map(|s| &s.works).flat_map(|w| &w.sets);
    let numbered_set = |s: &backstraight_core::view::done::DoneSet| {
        assert!(s.set.unread.is_empty() && s.earlier.is_empty() && s.others.is_empty(), "{s:?}");
        let n = (s.set.record.at.0 - START.0) / 1000;
        assert_eq!(s.set.record, numbered(n), "a set is whole");
        (s.set.place.keys.last().unwrap().clone(), n)
    };
    all.map(numbered_set).collect()
}

/// The log of an athlete in November 2026.
///
/// # Panics
/// Never.
#[must_use]
pub fn november(athlete: PersonId) -> DocName {
    DocName::Log(athlete, Month::new(2026, 11).unwrap())
}

/// Packs a body as phones do.
#[must_use]
pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    exchange::gzip::pack(bytes)
}
