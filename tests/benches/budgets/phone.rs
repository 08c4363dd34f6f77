//! A real phone and a real desk against a real server: how long a set takes until it is durable,
//! what two weeks cost in bytes and round trips, also after the server was restored.

use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::Command;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::view::planned::Plan;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::phone::{Exchanged, Phone};
use backstraight_ffi::transport::{Http, Renewal, Tokens, Transport};
use backstraight_server::folder::Folder;
use backstraight_server::store::backup::{self, Take};
use backstraight_tests::clock::SetClock;
use rusqlite::Connection;

use crate::measure::{Row, quantile, thread_ms, wall};
use crate::stage::Server;
use crate::story::{self, Athlete, DAY, Desk, START, in_month, month, season};
use crate::upload::{self, EARLIER, FRESH, SETS};

/// A phone whose every deed is timed beside a bare insert of the same bytes.
struct Timed {
    phone: Phone,
    clock: SetClock,
    bare: Connection,
    saved: Vec<f64>,
    inserted: Vec<f64>,
    cpu: (f64, f64),
}

impl Desk for Timed {
    fn key(&mut self) -> Key {
        self.phone.key()
    }

    fn run(&mut self, name: DocName, command: &Command, now: Moment) {
        self.clock.set(now);
        let before = self.phone.document(name).unwrap().heads();
        let begun = thread_ms();
        let (ms, hash) = wall(|| self.phone.run(name, command));
        self.cpu.0 += thread_ms() - begun;
        hash.unwrap();
        let bytes = self.phone.document(name).unwrap().changes_since(&before);
        let begun = thread_ms();
        let (bare, done) = wall(|| {
            let mut put = self.bare.prepare_cached("INSERT INTO bare (body) VALUES (?1)")?;
            put.execute([&bytes])
        });
        self.cpu.1 += thread_ms() - begun;
        done.unwrap();
        if matches!(command, Command::LogSet { .. }) {
            self.saved.push(ms);
            self.inserted.push(bare);
        }
    }
}

/// A desk that just works.
struct Plain {
    phone: Phone,
    clock: SetClock,
}

impl Desk for Plain {
    fn key(&mut self) -> Key {
        self.phone.key()
    }

    fn run(&mut self, name: DocName, command: &Command, now: Moment) {
        self.clock.set(now);
        self.phone.run(name, command).unwrap();
    }
}

/// The phone's own transport, every request counted.
struct Counted {
    http: Http,
    /// Requests of any kind.
    requests: u32,
    /// Packed bytes of each body of an exchange.
    bodies: Vec<u64>,
}

impl Transport for Counted {
    fn exchange(&mut self, access: &str, body: &[u8]) -> Result<Vec<u8>, PhoneError> {
        let before = self.http.sent;
        let answer = self.http.exchange(access, body);
        self.requests += 1;
        self.bodies.push(self.http.sent - before);
        answer
    }

    fn renew(&mut self, ask: &Renewal) -> Result<Tokens, PhoneError> {
        self.requests += 1;
        self.http.renew(ask)
    }
}

fn exchange(phone: &mut Phone, clock: &SetClock, server: &Server, now: Moment) -> (Exchanged, Counted) {
    clock.set(now);
    server.set(now);
    let mut http = Counted { http: Http::new(&server.url()), requests: 0, bodies: Vec::new() };
    let report = phone.exchange(&mut http).unwrap();
    assert!(report.refused.is_empty() && report.not_taken.is_empty(), "{report:?}");
    (report, http)
}

pub(crate) fn figures() -> Vec<Row> {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(&dir.path().join("server"), START);
    let id = server.club();
    let (coach, mira) = (
        server.enrolled(id, Role::HeadCoach, "Ruth Adeyemi"),
        server.enrolled(id, Role::Athlete, "Mira Aalto"),
    );
    let (person, clock) = (mira.person, SetClock::at(START));
    let phone = Phone::enrolled(&dir.path().join("desk"), coach, Box::new(clock.clone())).unwrap();
    let mut desk = Plain { phone, clock: clock.clone() };
    let keys = story::write_library(&mut desk, id);
    story::write_plan(&mut desk, person, &keys, story::WEEKS);
    exchange(&mut desk.phone, &clock, &server, START);

    let folder = dir.path().join("phone");
    let mut phone = Phone::enrolled(&folder, mira, Box::new(clock.clone())).unwrap();
    exchange(&mut phone, &clock, &server, START);
    let library = phone.library().unwrap();
    let plan = Plan::of(phone.document(DocName::Plan(person, season())).unwrap());
    assert_eq!(plan.sessions.len(), 200);
    let mut athlete = Athlete::new(&plan, &library, 7);
    let bare = Connection::open(dir.path().join("bare.sqlite")).unwrap();
    bare.pragma_update(None, "journal_mode", "WAL").unwrap();
    bare.pragma_update(None, "synchronous", "FULL").unwrap();
    bare.execute_batch("CREATE TABLE bare (id INTEGER PRIMARY KEY, body BLOB NOT NULL)").unwrap();
    let mut timed =
        Timed { phone, clock: clock.clone(), bare, saved: vec![], inserted: vec![], cpu: (0.0, 0.0) };
    let name = DocName::Log(person, month(1));
    for n in 0..EARLIER {
        athlete.train(&mut timed, person, in_month(month(1), n), SETS, false);
    }
    let after = START.plus_ms(40 * DAY);
    exchange(&mut timed.phone, &clock, &server, after);
    let copy = dir.path().join("club.backup");
    backup::backup(&Folder::open(&dir.path().join("server")).unwrap(), &copy, after).unwrap();

    // Two weeks in the cellar, then one exchange.
    timed.phone = Phone::open(&folder, Box::new(clock.clone())).unwrap().unwrap();
    let sent_before = timed.phone.document(name).unwrap().heads();
    for n in EARLIER..EARLIER + FRESH {
        athlete.train(&mut timed, person, in_month(month(1), n), SETS, false);
    }
    let plain = timed.phone.document(name).unwrap().changes_to_send(&sent_before, usize::MAX);
    let (common, http) = exchange(&mut timed.phone, &clock, &server, after.plus_ms(14 * DAY));
    assert_eq!(upload::held(&server.store(), name), timed.phone.document(name).unwrap().heads());
    server.stop();

    // The server comes back from a backup that knows nothing of these weeks.
    let new = dir.path().join("restored");
    let now = after.plus_ms(15 * DAY);
    backup::restore(&copy, &Folder::open(&new).unwrap(), Take::default(), now).unwrap();
    let server = Server::on(&new, now);
    let heads = timed.phone.document(name).unwrap().heads();
    assert_ne!(upload::held(&server.store(), name), heads);
    let (restored, again) = exchange(&mut timed.phone, &clock, &server, now);
    assert!(restored.new_epoch);
    assert_eq!(upload::held(&server.store(), name), heads);
    server.stop();

    #[expect(clippy::cast_precision_loss, reason = "a small count")]
    let (deeds, one, all) = (
        timed.bare.last_insert_rowid() as f64,
        http.bodies.last().copied().unwrap_or(0) as f64,
        http.http.sent as f64,
    );
    let mut rows = durable(&timed, deeds);
    rows.extend(upload::sizes(&plain, one));
    rows.push(
        Row::most("bytes up in all", 18_000.0, all, "B")
            .note(format!("{} times the request", http.bodies.len())),
    );
    let sides = "a phone against a server over HTTP, both sides compared afterwards";
    rows.push(Row::most("rounds after two weeks offline", 1.0, f64::from(common.rounds), "").note(sides));
    rows.push(
        Row::most("times that the body was sent", 1.0, bodies(&http), "")
            .note(format!("{} requests in all: an old access token is renewed first", http.requests)),
    );
    rows.push(
        Row::most("rounds after the server was restored", 2.0, f64::from(restored.rounds), "")
            .note("from a backup without those weeks; they are all there again"),
    );
    rows.push(
        Row::most("bodies sent after the server was restored", 2.0, bodies(&again), "")
            .note(format!("{} requests in all: a day later the token is old again", again.requests)),
    );
    rows
}

#[expect(clippy::cast_precision_loss, reason = "a small count")]
fn bodies(sent: &Counted) -> f64 {
    sent.bodies.len() as f64
}

fn durable(timed: &Timed, deeds: f64) -> Vec<Row> {
    let at = |share| (quantile(&timed.saved, share), quantile(&timed.inserted, share));
    let ((set50, bare50), (set99, bare99)) = (at(0.5), at(0.99));
    vec![
        Row::beside("log a set on the phone until durable, p50", set50, "ms").note(format!(
            "{} sets; bare insert of the same bytes beside each: {bare50:.2} ms",
            timed.saved.len()
        )),
        Row::beside("log a set on the phone until durable, p99", set99, "ms")
            .note(format!("bare insert: {bare99:.2} ms")),
        Row::most("log a set, p99 to the bare insert's", 2.0, set99 / bare99, "times")
            .note(format!("p50: {:.2} times", set50 / bare50)),
        Row::beside("log a set on the phone until durable", timed.cpu.0 / deeds, "ms CPU")
            .note(format!("bare insert: {:.3} ms CPU", timed.cpu.1 / deeds)),
    ]
}
