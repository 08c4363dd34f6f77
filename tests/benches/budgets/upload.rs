//! Two weeks without a signal, as the server sees them: 264 changes on top of a thousand. CPU of
//! gate and store alone, of the whole server over HTTP, and of a bare database beside them.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use backstraight_cluster::Cluster;
use backstraight_core::base::id::{ChangeHash, ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::chunk;
use backstraight_core::doc::gate::{GateIndex, Verdict, delta_bytes};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::thin::{self, ThinLimits};
use backstraight_core::exchange::access::{Asker, Role, Subject};
use backstraight_core::exchange::device::{Card, Standing, compose};
use backstraight_core::exchange::wire::{Down, Outcome, Up, heads};
use backstraight_core::model::name::{DocName, Kind};
use backstraight_ffi::identity::Identity;
use backstraight_server::folder::Folder;
use backstraight_server::grant::{Access, AtTheMachine, Caller, on_document};
use backstraight_server::secret;
use backstraight_server::store::document::{self, Append};
use backstraight_server::store::postgres::Database;
use backstraight_server::store::{Store, StoreOptions, people};
use rusqlite::Connection;

use crate::documents::{Club, size};
use crate::measure::{Row, cpu, median, program_ms, thread_ms, wall};
use crate::stage::{Server, gzip, post};
use crate::story::{self, Athlete, Memory, month, month_log};

/// The month of the story.
const MONTH: u16 = 1;
/// Sessions before and during the two weeks; 21 sets each, so that each makes 22 changes.
pub(crate) const EARLIER: i64 = 46;
pub(crate) const FRESH: i64 = 12;
pub(crate) const SETS: usize = 21;
/// Uploads of a round and rounds.
const UPLOADS: usize = 16;
const ROUNDS: usize = 5;

/// A log as it was sent before the two weeks, and what has come to it since.
pub(crate) struct Fortnight {
    pub(crate) name: DocName,
    earlier: Vec<u8>,
    earlier_heads: Vec<ChangeHash>,
    pub(crate) upload: Vec<u8>,
    pub(crate) heads: Vec<ChangeHash>,
}

impl Fortnight {
    /// One that stands for all.
    pub(crate) fn of_one(club: &Club) -> Fortnight {
        Fortnight::new(club, crate::documents::PERSON, InstallId([9; 8]), 3)
    }

    fn new(club: &Club, person: PersonId, install: InstallId, seed: u64) -> Fortnight {
        let name = DocName::Log(person, month(MONTH));
        let mut athlete = Athlete::new(&club.plan, &club.library, seed);
        let mut memory = Memory::new(name, install, 1);
        month_log(&mut athlete, &mut memory, EARLIER, SETS, false);
        let earlier = memory.doc.changes_to_send(&[], usize::MAX);
        let earlier_heads = memory.doc.heads();
        let mut doc = memory.doc;
        // Another start of the app: another actor, other keys.
        let mut memory = Memory::new(name, install, 2);
        doc.write_as(backstraight_core::base::id::ActorId::of(install, [2; 8]));
        memory.doc = doc;
        month_log(&mut athlete, &mut memory, FRESH, SETS, false);
        let upload = memory.doc.changes_to_send(&earlier_heads, usize::MAX);
        assert_eq!(chunk::split(&upload).unwrap().len(), 264);
        Fortnight { name, earlier, earlier_heads, upload, heads: memory.doc.heads() }
    }

    /// The request of a phone that has this log and sends `unsent`.
    fn request(&self, standing: &Standing, cursor: u64, unsent: &[u8], heads: &[ChangeHash]) -> Up {
        let card = Card {
            name: self.name,
            cursor,
            heads: heads.to_vec(),
            unsent: unsent.to_vec(),
            tell_heads: false,
        };
        compose(standing, vec![card]).up
    }
}

pub(crate) fn figures(club: &Club) -> Vec<Row> {
    let bare = bare_insert(club);
    let mut rows = gate_and_append(club, bare);
    rows.extend(whole_server(club, bare));
    rows.extend(many_at_once(club));
    rows
}

/// Devices that send at the same time, and how many there are.
const AT_ONCE: usize = 8;
const DEVICES: usize = 96;

/// The same upload by many devices at once, as the clock on the wall sees it, on each store.
fn many_at_once(club: &Club) -> Vec<Row> {
    let lite = tempfile::tempdir().unwrap();
    let server = Server::on(lite.path(), story::START);
    let what = "durable uploads by 8 devices at once: SQLite";
    let mut rows = vec![Row::beside(what, at_once(&[server], club), "/s").note("elapsed time")];
    if backstraight_cluster::find().is_none() {
        eprintln!("upload over PostgreSQL is not measured; this brings it: {}", backstraight_cluster::BRING);
        return rows;
    }
    let cluster = Cluster::start();
    for (count, what) in [(1, "the same: PostgreSQL"), (2, "the same: PostgreSQL, two servers")] {
        let dir = tempfile::tempdir().unwrap();
        let database = Database::at(cluster.database().parse().unwrap());
        let servers: Vec<Server> =
            (0..count).map(|_| Server::over(dir.path(), story::START, database.clone())).collect();
        rows.push(Row::beside(what, at_once(&servers, club), "/s").note("elapsed time, on this machine too"));
        servers.into_iter().for_each(Server::stop);
    }
    rows
}

/// Uploads a second.
fn at_once(servers: &[Server], club: &Club) -> f64 {
    let id = servers[0].club();
    let people: Vec<Identity> =
        (0..DEVICES).map(|n| servers[0].enrolled(id, Role::Athlete, &format!("Athlete {n}"))).collect();
    let devices: Vec<Device> = people
        .into_iter()
        .zip(1_000..)
        .map(|(identity, seed)| Device::ready(&servers[0], club, identity, seed, story::START))
        .collect();
    let (ms, ()) = wall(|| {
        std::thread::scope(|scope| {
            for (n, part) in devices.chunks(DEVICES / AT_ONCE).enumerate() {
                let server = &servers[n % servers.len()];
                scope.spawn(move || {
                    for device in part {
                        let down = answer(server, &device.identity, &device.packed);
                        assert_eq!(down.docs.first().unwrap().outcome, Outcome::Accepted);
                    }
                });
            }
        });
    });
    #[expect(clippy::cast_precision_loss, reason = "a small count")]
    let count = DEVICES as f64;
    count * 1e3 / ms
}

/// A database with the durability of the server's and a table of one column.
pub(crate) fn raw(dir: &Path) -> Connection {
    let db = Connection::open(dir.join("bare.sqlite")).unwrap();
    db.pragma_update(None, "journal_mode", "WAL").unwrap();
    db.pragma_update(None, "synchronous", "FULL").unwrap();
    db.execute_batch("CREATE TABLE IF NOT EXISTS bare (id INTEGER PRIMARY KEY, body BLOB NOT NULL)").unwrap();
    db
}

/// CPU of a bare insert of the same bytes as one row with the same durability, ms.
fn bare_insert(club: &Club) -> f64 {
    let dir = tempfile::tempdir().unwrap();
    let story = Fortnight::of_one(club);
    let db = raw(dir.path());
    let rounds = (0..ROUNDS).map(|_| {
        let begun = thread_ms();
        for _ in 0..UPLOADS {
            let mut put = db.prepare_cached("INSERT INTO bare (body) VALUES (?1)").unwrap();
            put.execute([&story.upload]).unwrap();
        }
        (thread_ms() - begun) / each()
    });
    median(rounds.collect())
}

#[expect(clippy::cast_precision_loss, reason = "a small count")]
fn each() -> f64 {
    UPLOADS as f64
}

/// Check, delta and append into the server's store, without HTTP, unpacking and answer.
fn gate_and_append(club: &Club, bare: f64) -> Vec<Row> {
    let dir = tempfile::tempdir().unwrap();
    let folder = Folder::open(dir.path()).unwrap();
    let store = Arc::new(Store::open(&folder, StoreOptions::default()).unwrap());
    let (now, id) = (story::START, ClubId::new(story::START, secret::random()));
    let grant = AtTheMachine.to_keep_accounts();
    store.write_blocking(move |db| people::add_club(db, &grant, id, "Cinder Lane", now)).unwrap();
    let install = InstallId([9; 8]);
    let story = Fortnight::new(club, crate::documents::PERSON, install, 3);
    let index = GateIndex::from_changes(Kind::Log, &story.earlier).unwrap();
    let own = |i: InstallId| i == install;
    let mut rounds = Vec::new();
    for _ in 0..ROUNDS {
        let mut work = Vec::new();
        for _ in 0..UPLOADS {
            let person = PersonId::new(now, secret::random());
            let grant = grant_on(person, id, install);
            let earlier = Append {
                grant,
                checked_at: 0,
                body: story.earlier.clone(),
                changes: 1_012,
                delta: index.whole_delta(),
                heads: index.heads(),
            };
            store.write_blocking(move |db| document::append_all(db, &[earlier], now)).unwrap();
            work.push((grant, index.clone()));
        }
        let begun = program_ms();
        for (grant, index) in &mut work {
            let Verdict::Accept(accepted) = index.check(&story.upload, &own).unwrap() else { return vec![] };
            assert!(!accepted.needs_document());
            index.admit(&accepted).unwrap();
            let append = Append {
                grant: *grant,
                checked_at: 1,
                body: accepted.fresh_bytes(&story.upload),
                changes: 264,
                delta: delta_bytes(&accepted),
                heads: index.heads(),
            };
            let written = store.write_blocking(move |db| document::append_all(db, &[append], now)).unwrap();
            assert_eq!(written.map(|(doc, _)| doc.heads), Some(story.heads.clone()));
        }
        rounds.push((program_ms() - begun) / each());
    }
    store.close();
    let spent = median(rounds);
    let gate = cpu(
        101,
        || (),
        |()| match index.check(&story.upload, &own) {
            Ok(Verdict::Accept(accepted)) => delta_bytes(&accepted),
            _ => Vec::new(),
        },
    );
    let packed = thin::pack(&story.upload);
    let unpacked = cpu(101, || (), |()| thin::unpack(&packed, ThinLimits::default()).unwrap());
    let names = cpu(
        101,
        || (),
        |()| {
            let chunks = chunk::split(&story.upload).unwrap();
            chunks.into_iter().map(|c| usize::from(chunk::name(c).unwrap().0[0])).sum::<usize>()
        },
    );
    vec![
        Row::most("264 changes on 1,000: gate, delta and append", 1.0, spent, "ms CPU")
            .note("a durable transaction each, index at hand"),
        Row::beside("of it: gate and delta", gate, "ms CPU"),
        Row::beside("of it: SHA-256 of the changes", names, "ms CPU"),
        Row::beside("before it: the thin form unpacked", unpacked, "ms CPU"),
        Row::beside("a bare SQLite insert of the same bytes", bare, "ms CPU")
            .note(format!("one row of {} B, WAL, synchronous=FULL", story.upload.len())),
        Row::most("gate, delta and append to the bare insert", 8.0, spent / bare, "times"),
    ]
}

fn grant_on(person: PersonId, club: ClubId, install: InstallId) -> backstraight_server::grant::MayWrite {
    let caller = Caller { asker: Asker { person, club, role: Role::Athlete }, install };
    let name = DocName::Log(person, month(MONTH));
    let subject = Subject { club, athlete: Some(person), care_open_to_coaches: false, watched: false };
    match on_document(&caller, name, &subject) {
        Access::Write(_, grant) => grant,
        Access::None | Access::Read(_) => panic!("an athlete may write the own log"),
    }
}

/// A device ready to send.
pub(crate) struct Device {
    pub(crate) identity: Identity,
    pub(crate) story: Fortnight,
    standing: Standing,
    cursor: u64,
    pub(crate) packed: Vec<u8>,
}

impl Device {
    /// Sends the earlier changes and packs the request of the two weeks.
    pub(crate) fn ready(server: &Server, club: &Club, identity: Identity, seed: u64, now: Moment) -> Device {
        let story = Fortnight::new(club, identity.person, identity.install, seed);
        let mut standing = Standing {
            epoch: None,
            people: 0,
            local_day: Some(story::first_day()),
            clock: now,
            app: "backstraight 0.1.0".to_owned(),
        };
        let first = story.request(&standing, 0, &story.earlier, &story.earlier_heads);
        let down = answer(server, &identity, &gzip(&first.to_bytes()));
        standing.epoch = <[u8; 16]>::try_from(down.epoch.as_slice()).ok();
        standing.people = down.people.map_or(0, |p| p.version);
        let cursor = down.docs.first().map_or(0, |d| d.cursor);
        let up = story.request(&standing, cursor, &story.upload, &story.heads);
        Device { identity, standing, cursor, packed: gzip(&up.to_bytes()), story }
    }
}

fn answer(server: &Server, identity: &Identity, packed: &[u8]) -> Down {
    Down::from_bytes(&post(server.address, &identity.access, packed)).unwrap()
}

/// Everything that the server does for one such request, over HTTP on a connection of its own.
fn whole_server(club: &Club, bare: f64) -> Vec<Row> {
    let dir = tempfile::tempdir().unwrap();
    let now = story::START;
    let server = Server::on(dir.path(), now);
    let id = server.club();
    server.enrolled(id, Role::HeadCoach, "Ruth Adeyemi");
    let (mut uploads, mut idle) = (Vec::new(), Vec::new());
    for round in 0..ROUNDS as u64 {
        // All are enrolled before the first speaks: nobody is new to anybody in what is measured.
        let people: Vec<Identity> = (0..UPLOADS)
            .map(|n| server.enrolled(id, Role::Athlete, &format!("Athlete {round}-{n}")))
            .collect();
        let seeds = 100 + 100 * round..;
        let devices: Vec<Device> = people
            .into_iter()
            .zip(seeds)
            .map(|(identity, seed)| Device::ready(&server, club, identity, seed, now))
            .collect();
        uploads.push(server_ms(|| {
            for device in &devices {
                let down = answer(&server, &device.identity, &device.packed);
                let doc = down.docs.first().unwrap();
                assert_eq!(doc.outcome, Outcome::Accepted);
                assert!(story::same(&heads(&doc.heads).unwrap(), &device.story.heads));
            }
        }));
        let requests: Vec<Vec<u8>> = devices
            .iter()
            .map(|d| {
                let up = d.story.request(&d.standing, d.cursor + 1, &[], &d.story.heads);
                gzip(&up.to_bytes())
            })
            .collect();
        idle.push(server_ms(|| {
            for (device, packed) in devices.iter().zip(&requests) {
                assert!(answer(&server, &device.identity, packed).docs.is_empty());
            }
        }));
    }
    server.stop();
    let (spent, nothing) = (median(uploads), median(idle));
    vec![
        Row::most("the same upload, whole server", 1.4, spent, "ms CPU")
            .note("over HTTP, a connection each: token, unpacking, rights, gate, append, answer, log line"),
        Row::beside("of it: an exchange with nothing new", nothing, "ms CPU"),
        Row::least("durable uploads per second of one core", 1_000.0, 1_000.0 / spent, "/s"),
        Row::most("whole server to the bare insert", 8.0, spent / bare, "times"),
    ]
}

/// CPU of all threads but this one while `work` runs on this one, ms an upload. What the server
/// still does after its last answer counts too.
fn server_ms(work: impl FnOnce()) -> f64 {
    std::thread::sleep(Duration::from_millis(100));
    let (all, own) = (program_ms(), thread_ms());
    work();
    std::thread::sleep(Duration::from_millis(100));
    ((program_ms() - all) - (thread_ms() - own)) / each()
}

/// Rows of sizes that belong together.
pub(crate) fn sizes(plain: &[u8], request: f64) -> Vec<Row> {
    let (packed, thin) = (size(&gzip(plain)), size(&thin::pack(plain)));
    vec![
        Row::beside("264 changes, plain", size(plain), "B"),
        Row::beside("264 changes, gzip of the plain bytes", packed, "B"),
        Row::beside("264 changes, thin form", thin, "B"),
        Row::most("264 changes, the whole request as sent", 18_000.0, request, "B")
            .note("gzip of the request with library, plan and log listed"),
        Row::most("the whole request to gzip of the plain bytes", 1.2, request / packed, "times"),
    ]
}

/// A document of its whole content, to compare what two sides hold.
pub(crate) fn held(store: &Store, name: DocName) -> Vec<ChangeHash> {
    let doc = store.read_blocking(|db| document::find(db, &name)).unwrap();
    doc.map(|d| d.heads).unwrap_or_else(|| Document::create(name).unwrap().heads())
}
