//! The server of a simulated world: the real one with its real store, called without a network in between, twice over
//! one database. It can be restarted, lose its disk at a commit, be backed up and be restored. Knows no phone.

use std::os::unix::fs::PermissionsExt as _;
use std::path::PathBuf;
use std::sync::atomic::Ordering;
use std::sync::{Arc, OnceLock};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ChangeHash, ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::{Identity, InstallKey};
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::{Asker, Role};
use backstraight_core::exchange::wire::{self, Down, Outcome, Up};
use backstraight_core::model::name::DocName;
use backstraight_ffi::phone::Clock as _;
use backstraight_server::app::{App, Clock, Shared};
use backstraight_server::config::Config;
use backstraight_server::exchange;
use backstraight_server::folder::Folder;
use backstraight_server::grant::{AtTheMachine, Caller};
use backstraight_server::job::compact::{self, Compacted};
use backstraight_server::job::repair::{self, Repaired};
use backstraight_server::problem::Problem;
use backstraight_server::project;
use backstraight_server::report::board::{self, Ask, Board};
use backstraight_server::secret;
use backstraight_server::store::backup::{self, Take};
use backstraight_server::store::people::{self, NewPerson};
use backstraight_server::store::{
    self, Db, Epoch, Faults, Store, StoreError, StoreOptions, account, document, heard, installs,
};
use backstraight_server::token::Bearer;

use super::DEVICES;
use super::planted::Planted;
use crate::clock::SetClock;
use crate::rng::Rng;
use crate::stand::START;

/// SQLite's extended code of a write that the disk did not take (`SQLITE_IOERR_FSYNC`).
const LOST_AT_FSYNC: i32 = 1034;

/// Why there was no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoAnswer {
    /// It does not run.
    Down,
    /// It does not know who asks.
    Unknown,
    /// It said no.
    Said(Problem),
}

pub(super) type Answered = Result<Vec<u8>, NoAnswer>;

/// A club as every life finds it, made once: what its server has in its folder, its people and their installs.
#[derive(Debug)]
struct Begun {
    files: Vec<(PathBuf, Vec<u8>)>,
    club: ClubId,
    people: Vec<PersonId>,
    installs: Vec<Identity>,
}

static BEGUN: OnceLock<Begun> = OnceLock::new();

/// Two athletes, a coach, care staff, and an athlete who means harm.
const PEOPLE: [(Role, &str); 5] = [
    (Role::Athlete, "Mira Aalto"),
    (Role::Athlete, "Noor Brandt"),
    (Role::HeadCoach, "Ruth Adeyemi"),
    (Role::Care, "Ines Falk"),
    (Role::Athlete, "Odd Larsson"),
];
/// Whose the installs are: two athletes with a phone, the first with a tablet too; a coach with a desk and a phone;
/// care staff; and last the install of the one who means harm, which is no device of the world.
const WHOSE: [usize; DEVICES + 1] = [0, 0, 1, 2, 2, 3, 4];

impl Begun {
    fn make() -> Begun {
        let clock = SetClock::at(START);
        let club = ClubId::new(clock.now(), secret::random());
        let mut server = Server::empty(clock, club, None);
        server.start();
        let (grant, now) = (AtTheMachine.to_keep_accounts(), server.clock.now());
        server
            .store()
            .write_blocking(move |db| people::add_club(db, &grant, club, "Cinder Lane", now))
            .unwrap();
        let people = PEOPLE.map(|(role, name)| server.person(role, name)).to_vec();
        let installs =
            WHOSE.iter().zip(1..).map(|(n, seed)| server.enrol(people[*n], InstallKey::of([seed; 32])));
        let installs = installs.collect();
        server.stop();
        let data = server.data();
        let mut files = Vec::new();
        for folder in [data.clone(), data.join("keys")] {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_file() {
                    let bytes = std::fs::read(&path).unwrap();
                    files.push((path.strip_prefix(&data).unwrap().to_owned(), bytes));
                }
            }
        }
        Begun { files, club, people, installs }
    }
}

fn caller_of(install: &Identity) -> Caller {
    let asker = Asker { person: install.person, club: install.club, role: install.role };
    Caller { asker, install: install.install }
}

/// Of an athlete's request that writes a document of another athlete: that one, in place of the caller.
fn whose(up: &Up, caller: Caller) -> Caller {
    let mut written = up.docs.iter().filter(|doc| doc.changes.is_some());
    let athlete = written.find_map(|doc| wire::name(&doc.name).ok()?.athlete());
    let theirs = |i: &&Identity| Some(i.person) == athlete && i.person != caller.asker.person;
    let other = Server::everybody().1.iter().find(theirs).filter(|_| caller.asker.role == Role::Athlete);
    other.map_or(caller, caller_of)
}

/// The server.
#[derive(Debug)]
pub(super) struct Server {
    dir: tempfile::TempDir,
    clock: SetClock,
    runtime: tokio::runtime::Runtime,
    faults: Arc<Faults>,
    app: Option<Shared>,
    /// Another one over the same database, with caches of its own. A request comes to either.
    second: Option<Shared>,
    turns: Rng,
    /// The club.
    pub(super) club: ClubId,
    athletes: Vec<Caller>,
    before: Option<Caller>,
    epoch: Option<[u8; 16]>,
    pub(super) planted: Option<Planted>,
}

impl Server {
    /// A server with one club, whose people have their installs, at the moment when everything begins.
    ///
    /// # Panics
    /// When it cannot be made on this machine.
    #[must_use]
    pub(super) fn new(clock: SetClock, planted: Option<Planted>) -> Server {
        let begun = BEGUN.get_or_init(Begun::make);
        let mut server = Server::empty(clock, begun.club, planted);
        for (file, bytes) in &begun.files {
            let path = server.data().join(file);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(&path, bytes).unwrap();
            // Its owner's alone, as a server makes it and asks for.
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        }
        let athletes = begun.installs.iter().filter(|i| i.role == Role::Athlete);
        server.athletes = athletes.map(caller_of).collect();
        server.start();
        server
    }

    fn empty(clock: SetClock, club: ClubId, planted: Option<Planted>) -> Server {
        // Without a disk behind it where there is such a place: nothing here waits for one.
        let place = PathBuf::from("/dev/shm");
        let made = if place.is_dir() { tempfile::tempdir_in(place) } else { tempfile::tempdir() };
        let dir = made.unwrap();
        std::fs::create_dir(dir.path().join("no-page")).unwrap();
        Server {
            dir,
            clock,
            runtime: tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap(),
            faults: Arc::default(),
            app: None,
            second: None,
            turns: Rng::new(0),
            club,
            athletes: Vec::new(),
            before: None,
            epoch: None,
            planted,
        }
    }

    /// The people, in the order in which they came, and their installs.
    #[must_use]
    pub(super) fn everybody() -> (&'static [PersonId], &'static [Identity]) {
        let begun = BEGUN.get_or_init(Begun::make);
        (&begun.people, &begun.installs)
    }

    /// The install of the one who means harm.
    ///
    /// # Panics
    /// When there is none.
    #[must_use]
    pub(super) fn stranger() -> &'static Identity {
        Server::everybody().1.last().unwrap()
    }

    /// The epoch of the store that runs, or ran last.
    #[must_use]
    pub(super) fn epoch(&self) -> [u8; 16] {
        self.epoch.unwrap_or_default()
    }

    fn data(&self) -> PathBuf {
        self.dir.path().join("server")
    }

    fn older(&self) -> PathBuf {
        self.dir.path().join("older")
    }

    /// Whether it runs.
    #[must_use]
    pub(super) fn runs(&self) -> bool {
        let works = |app: &Shared| !app.store.stopped();
        self.app.as_ref().is_some_and(works) && self.second.as_ref().is_none_or(works)
    }

    /// Starts it, whatever it died of.
    ///
    /// # Panics
    /// When it does not start.
    pub(super) fn start(&mut self) {
        self.stop();
        if self.planted == Some(Planted::AcknowledgesTooEarly) && self.older().is_file() {
            std::fs::copy(self.older(), self.data().join("backstraight.db")).unwrap();
        }
        let app = self.open(self.data(), false).or_else(|error| {
            if !matches!(error, StoreError::Stopped) {
                return Err(error);
            }
            // After a disk error a server waits for its machine to be started anew.
            Folder::open(&self.data())?.forget_stopped()?;
            self.open(self.data(), false)
        });
        let app = app.unwrap();
        self.epoch = app.store.read_blocking(store::epoch).ok();
        self.app = Some(app);
    }

    fn open(&self, data: PathBuf, guest: bool) -> Result<Shared, StoreError> {
        let clock = self.clock.clone();
        let mut config = Config::on(data);
        config.page = Some(self.dir.path().join("no-page"));
        let options = StoreOptions { guest, faults: Arc::clone(&self.faults), ..StoreOptions::default() };
        App::open(config, options, Clock::new(move || clock.now()))
    }

    /// A copy of the folder as it is now.
    fn copied(&self) -> PathBuf {
        let copy = self.dir.path().join("copy");
        for part in ["backstraight.db", "backstraight.db-wal", "keys/signing.key", "keys/secret.key"] {
            let (from, to) = (self.data().join(part), copy.join(part));
            std::fs::create_dir_all(to.parent().unwrap()).unwrap();
            // The log may not be there.
            let _ = std::fs::copy(from, to);
        }
        let _ = std::fs::remove_file(copy.join("backstraight.db-shm"));
        copy
    }

    /// The one of both to which a request comes, and whether it is the second, which the first such request starts.
    pub(super) fn either(&mut self) -> Option<(Shared, bool)> {
        let app = self.app.clone()?;
        if !self.turns.once_in(3) || app.store.stopped() {
            return Some((app, false));
        }
        if self.second.is_none() {
            let same = if self.planted == Some(Planted::TwoDatabases) { self.copied() } else { self.data() };
            // Where a write was lost nothing starts until whoever runs it says so. Nothing else may keep it from that.
            self.second = match self.open(same, true) {
                Err(StoreError::Stopped) => return None,
                opened => Some(opened.unwrap()),
            };
        }
        Some((self.second.clone()?, true))
    }

    /// Stops the second.
    pub(super) fn stop_second(&mut self) {
        if let Some(second) = self.second.take() {
            second.store.close();
        }
    }

    /// Stops it.
    pub(super) fn stop(&mut self) {
        self.stop_second();
        let Some(app) = self.app.take() else { return };
        app.store.close();
        drop(app);
        if self.planted == Some(Planted::AcknowledgesTooEarly) && !self.older().is_file() {
            // Nobody misses it when it is not there yet.
            let _ = std::fs::copy(self.data().join("backstraight.db"), self.older());
        }
    }

    /// After so many writes that go well, one is lost at the disk, and with it the server stops.
    pub(super) fn lose_a_write(&self, after: u32) {
        self.faults.commits_before.store(after, Ordering::SeqCst);
        self.faults.next_commit.store(LOST_AT_FSYNC, Ordering::SeqCst);
    }

    /// Whether it runs, and its next write will not be lost.
    pub(super) fn is_well(&self) -> bool {
        self.runs() && !self.about_to_lose()
    }

    /// Whether its next write will be lost.
    pub(super) fn about_to_lose(&self) -> bool {
        self.faults.next_commit.load(Ordering::SeqCst) != 0
    }

    /// No such fault is waiting any more.
    pub(super) fn heal(&self) {
        self.faults.next_commit.store(0, Ordering::SeqCst);
    }

    /// Its store.
    ///
    /// # Panics
    /// When it is stopped.
    #[must_use]
    pub(super) fn store(&self) -> Arc<Store> {
        Arc::clone(&self.app.as_ref().unwrap().store)
    }

    fn person(&self, role: Role, name: &str) -> PersonId {
        let now = self.clock.now();
        let id = PersonId::new(now, secret::random());
        let new = NewPerson { id, club: self.club, role, name: name.to_owned() };
        let grant = AtTheMachine.to_keep_accounts();
        let born = (role == Role::Athlete).then(|| "2001-02-03".parse().unwrap());
        self.store()
            .write_blocking(move |db| {
                people::add_person(db, &grant, &new, now)?;
                people::set_born(db, &grant, id, born, now)
            })
            .unwrap();
        id
    }

    fn enrol(&self, person: PersonId, own: InstallKey) -> Identity {
        let now = self.clock.now();
        let key = Folder::open(&self.data()).unwrap().keys().unwrap().secret;
        let invite = AtTheMachine.to_invite(person, self.club);
        let code = self.store().write_blocking(move |db| account::invite(db, &invite, &key, 60_000, now));
        let ask = account::Enrol {
            code: code.unwrap().code,
            device: "phone".to_owned(),
            public_key: Some(own.public()),
        };
        let outcome = self.store().write_blocking(move |db| account::enrol(db, &key, &ask, now)).unwrap();
        let account::EnrolOutcome::Enrolled(new) = outcome else { panic!("not enrolled: {outcome:?}") };
        Identity {
            install: new.install,
            person,
            club: new.club,
            role: new.role,
            name: new.name,
            server: "http://simulated".to_owned(),
            access: String::new(),
            refresh: String::new(),
            access_until: None,
            key: Some(own),
        }
    }

    /// Shuts an install out; whether that is durable.
    pub(super) fn withdraw(&self, whose: PersonId, install: InstallId) -> bool {
        let (grant, now) = (AtTheMachine.to_invite(whose, self.club).installs(), self.clock.now());
        self.store().write_blocking(move |db| installs::withdraw(db, &grant, install, now)).unwrap_or(false)
    }

    /// Answers an exchange, in whatever format it is.
    ///
    /// # Errors
    /// When there is no answer.
    pub(super) fn answer(&mut self, app: &Shared, from: &Identity, body: Vec<u8>) -> Answered {
        let bearer = Bearer { person: from.person, install: from.install };
        let known = app.store.read_blocking(|db| account::caller(db, bearer)).map_err(|_| NoAnswer::Down)?;
        let served = self.planted == Some(Planted::WithdrawnIsServed);
        let known = known.or(served.then(|| caller_of(from)));
        let mut caller = known.ok_or(NoAnswer::Unknown)?;
        let before = self.before.replace(caller);
        if self.planted == Some(Planted::CallerIsMixedUp) {
            caller = before.unwrap_or(caller);
        }
        if self.planted == Some(Planted::CoachCountsAsAthlete) && caller.asker.role.coaches() {
            let (athletes, now) = (self.athletes.clone(), self.clock.now());
            let today = Day::of(now, 0).unwrap().to_string();
            let noted = app.store.write_blocking(move |db| {
                let epoch = store::epoch(db)?;
                athletes.iter().try_for_each(|athlete| {
                    heard::note(db, athlete, heard::Word::Through(&today, epoch), now)
                })
            });
            noted.map_err(|_| NoAnswer::Down)?;
        }
        match (self.planted, Up::from_bytes(&body)) {
            (Some(Planted::ContentsSayWho), Ok(up)) => caller = whose(&up, caller),
            (Some(Planted::MalformedStops), Err(_)) => {
                self.stop();
                return Err(NoAnswer::Down);
            }
            _ => {}
        }
        let unread = self.planted == Some(Planted::ParcelCountsUnread);
        let parcels =
            Up::from_bytes(&body).ok().filter(|_| unread).and_then(|up| up.carried).map(|list| list.len());
        let read = move || {
            let up = Up::from_bytes(&body).map_err(|_| Problem::Malformed)?;
            Ok(if unread { Up { carried: None, ..up } } else { up })
        };
        let finish = move |mut down: Down| {
            down.carried = down.carried.or(parcels.map(|n| vec![Outcome::Accepted; n]));
            down.to_bytes()
        };
        self.runtime.block_on(exchange::run(app, caller, read, finish)).map_err(NoAnswer::Said)
    }

    /// Whether a request holds all that its device has to say: it speaks to this store and nothing is left on it.
    pub(super) fn hears_all(&self, body: &[u8]) -> bool {
        let (Ok(up), Some(app)) = (Up::from_bytes(body), &self.app) else { return false };
        up.left.is_none()
            && up
                .epoch
                .is_none_or(|epoch| app.store.read_blocking(store::epoch).is_ok_and(|own| *epoch == own))
    }

    /// Writes a backup, if that is possible.
    pub(super) fn backup(&self, number: usize) -> Option<PathBuf> {
        let file = self.dir.path().join(format!("backup-{number}"));
        let folder = Folder::open(&self.data()).ok()?;
        backup::backup_of(&self.store(), &folder, &file, self.clock.now()).ok()?;
        Some(file)
    }

    /// Puts a backup in the place of everything.
    ///
    /// # Panics
    /// When it cannot be restored.
    pub(super) fn restore(&mut self, file: &std::path::Path) {
        self.stop();
        let take = Take { replace: true, ..Take::default() };
        let before = self.epoch;
        backup::restore(file, &Folder::open(&self.data()).unwrap(), take, self.clock.now()).unwrap();
        self.start();
        if let (Some(Planted::RestoreKeepsEpoch), Some(before)) = (self.planted, before) {
            self.put_back(before);
        }
    }

    /// It says again that it is of that epoch.
    fn put_back(&mut self, epoch: Epoch) {
        let same = "UPDATE meta SET value = ?1 WHERE key = 'epoch'";
        self.store().write_blocking(move |db| Ok(db.execute(same, [epoch])?)).unwrap();
        self.epoch = Some(epoch);
    }

    /// One document is put into its compact form: which, and whether. One that does not come back the same is left alone.
    pub(super) fn compact(&self, rng: &mut Rng) -> Option<(DocName, bool)> {
        let docs = self.store().read_blocking(document::all).unwrap();
        let doc = docs.get(rng.below(docs.len().max(1)))?;
        let became = compact::one(&self.store(), None, doc.id, self.clock.now()).unwrap();
        Some((doc.name, became != Compacted::Refused))
    }

    /// One bit of what is stored of a document is not what it was: of its changes, or of what the gate keeps beside
    /// them. Whether there was one that could rot.
    ///
    /// # Panics
    /// When storage fails.
    pub(super) fn rot(&self, name: DocName, rng: &mut Rng) -> bool {
        let mut rng = Rng::new(rng.next());
        let rotten = move |db: &Db| {
            let Some(doc) = document::find(db, &name)? else { return Ok(false) };
            let stored = document::stored(db, doc.id)?;
            let upto = stored.snapshot.as_ref().map_or(0, |all| all.upto_n);
            let mut places = Vec::new();
            for chunk in stored.chunks {
                places.push(("chunk SET body = ?3 WHERE n", chunk.n, chunk.body));
                // Nobody reads it any more once a snapshot has its own.
                if chunk.n > upto {
                    places.push(("chunk SET delta = ?3 WHERE n", chunk.n, chunk.delta));
                }
            }
            if let Some(all) = stored.snapshot {
                places.push(("snapshot SET body = ?3 WHERE upto_n", all.upto_n, all.body));
                places.push(("snapshot SET delta = ?3 WHERE upto_n", all.upto_n, all.delta));
            }
            let (place, n, mut bytes) = places.swap_remove(rng.below(places.len()));
            let bit = rng.below(bytes.len() * 8);
            bytes[bit / 8] ^= 1 << (bit % 8);
            let spoil = format!("UPDATE {place} = ?2 AND doc = ?1");
            Ok(db.execute(&spoil, (doc.id, i64::try_from(n).unwrap(), bytes))? == 1)
        };
        self.store().write_blocking(rotten).unwrap()
    }

    /// It is looked through beside the servers that run, and what does not hold is mended: the names of these documents.
    ///
    /// # Panics
    /// When it cannot be mended.
    pub(super) fn mend(&mut self) -> Vec<DocName> {
        let (store, before, now) = (self.store(), self.epoch, self.clock.now());
        let days = |db: &Db| {
            let mut ask = db.prepare("SELECT id, heard_day FROM install")?;
            let days = ask.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
            Ok(days.collect::<Result<Vec<(Vec<u8>, Option<String>)>, _>>()?)
        };
        let heard = store.read_blocking(days).unwrap();
        let mut mended = Vec::new();
        for doc in store.read_blocking(document::all).unwrap() {
            match repair::one(&store, doc.id, now).unwrap() {
                Repaired::Sound => {}
                Repaired::Kept { .. } => mended.push(doc.name),
                Repaired::MovedOn => panic!("{} moved on while it was mended", doc.name),
            }
        }
        match (self.planted, before) {
            (Some(Planted::MendKeepsEpoch), Some(before)) => self.put_back(before),
            (Some(Planted::MendKeepsHeard), _) => {
                let back = move |db: &Db| {
                    let mut set = db.prepare("UPDATE install SET heard_day = ?2 WHERE id = ?1")?;
                    Ok(heard.iter().map(|(id, day)| set.execute((id, day))).sum::<Result<usize, _>>()?)
                };
                store.write_blocking(back).unwrap();
            }
            _ => {}
        }
        self.epoch = store.read_blocking(store::epoch).ok();
        mended
    }

    /// Every document as it is stored, by name, with its heads.
    ///
    /// # Panics
    /// When storage fails.
    #[must_use]
    pub(super) fn heads(&self) -> Vec<(DocName, Vec<ChangeHash>)> {
        let docs = self.store().read_blocking(document::all).unwrap();
        docs.into_iter().map(|doc| (doc.name, doc.heads)).collect()
    }

    /// A stored document, opened from its bytes; a new one when there is none.
    ///
    /// # Panics
    /// When storage fails or what is stored does not open.
    #[must_use]
    pub(super) fn document(&self, name: DocName) -> Document {
        let open = |db: &_| match document::find(db, &name)? {
            Some(doc) => exchange::index::open(db, &doc).map(Some),
            None => Ok(None),
        };
        self.store().read_blocking(open).unwrap().unwrap_or_else(|| Document::create(name).unwrap())
    }

    /// The board of all days from `from` to `to`, when its rows were made as they come (`whole` false) or all anew.
    ///
    /// # Panics
    /// When storage fails.
    #[must_use]
    pub(super) fn board(&self, (from, to): (Day, Day), whole: bool) -> Board {
        let clock = self.clock.clone();
        let (store, clock) = (self.store(), Clock::new(move || clock.now()));
        let today = Day::of(clock.now(), 0).unwrap();
        let none = |_: project::Caught| {};
        if whole {
            project::rebuild(&store, None, &clock, 1, &none).unwrap();
        } else {
            project::catch_up(&store, &clock, 1, &none).unwrap();
        }
        let (grant, ask) = (AtTheMachine.to_review(self.club), Ask::everybody(from, to, today));
        store.read_blocking(move |db| board::read(db, &grant, &ask)).unwrap().unwrap()
    }

    /// Its time.
    #[must_use]
    pub(super) fn now(&self) -> Moment {
        self.clock.now()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stop();
    }
}
