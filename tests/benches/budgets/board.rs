//! The board of a large club: asked over HTTP, its rows made anew from documents, and after one
//! exchange. Documents are as they lie on a server: a plan of twelve weeks and the logs of them each.

use std::collections::BTreeSet;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::{Asker, Role};
use backstraight_core::model::name::DocName;
use backstraight_server::app::Clock;
use backstraight_server::grant::{AtTheMachine, Caller};
use backstraight_server::project;
use backstraight_server::secret;
use backstraight_server::store::account::{self, Enrol, EnrolOutcome};
use backstraight_server::store::document::{self, Append};
use backstraight_server::store::people::{self, NewPerson};
use backstraight_server::store::snapshot::{self, Snapshot};
use backstraight_server::store::{self, Db, Store, heard, job};

use crate::documents::{Club, PERSON};
use crate::measure::{Row, median, program_ms, thread_ms, wall};
use crate::stage::Server;
use crate::story::{self, Athlete, Memory, month, month_log, season};

/// Athletes of the club, and how many of them trained differently.
const ATHLETES: usize = 500;
const STORIES: usize = 10;
/// Weeks of the board, and so of what lies there.
const WEEKS: i32 = 12;
/// Months of logs, sessions of each, sets of a session: twelve weeks of five sessions.
const MONTHS: u16 = 3;
const SESSIONS: i64 = 20;
const SETS: usize = 22;
/// Projections of one exchange that are measured.
const EXCHANGES: usize = 40;

/// Documents that many athletes share by content.
struct Story {
    logs: Vec<Document>,
    /// One more session in the middle of the last month, as an upload brings it.
    fresh: Vec<u8>,
    fresh_heads: Vec<backstraight_core::base::id::ChangeHash>,
}

fn tell(club: &Club, seed: u64) -> Story {
    let mut athlete = Athlete::new(&club.plan, &club.library, seed);
    // The upload is of a session that nobody did before.
    athlete.keep_the_last();
    let install = InstallId([7; 8]);
    let mut logs = Vec::new();
    let mut last = None;
    for n in 0..MONTHS {
        let mut memory = Memory::new(DocName::Log(PERSON, month(n)), install, u8::try_from(n + 1).unwrap());
        month_log(&mut athlete, &mut memory, SESSIONS, SETS, true);
        logs.push(memory.doc.clone());
        last = Some(memory);
    }
    let mut memory = last.unwrap();
    let before = memory.doc.heads();
    athlete.now_the_last();
    athlete.train(&mut memory, PERSON, story::in_month(month(MONTHS - 1), SESSIONS), SETS, true);
    Story { logs, fresh: memory.doc.changes_to_send(&before, usize::MAX), fresh_heads: memory.doc.heads() }
}

/// Puts a document into the store as a compaction leaves it.
fn put(db: &Db, club: ClubId, name: DocName, doc: &Document, now: backstraight_core::base::moment::Moment) {
    let grant = AtTheMachine.to_write(name, club);
    let add = Append { grant, checked_at: 0, body: vec![], changes: 0, delta: vec![], heads: doc.heads() };
    let row = document::append(db, &add, now).unwrap().unwrap();
    let new = Snapshot { doc: row.id, upto_n: row.max_n, body: doc.save(), delta: vec![] };
    assert!(snapshot::swap(db, &new, now).unwrap());
}

fn fill(server: &Server, club: &Club, stories: &[Story]) -> (ClubId, Vec<PersonId>) {
    let now = story::in_month(month(MONTHS - 1), SESSIONS);
    let (id, store) = (server.club(), server.store());
    let library = club.library_doc.clone();
    store
        .write_blocking(move |db| {
            put(db, id, DocName::Library(id), &library, now);
            Ok(())
        })
        .unwrap();
    let mut people = Vec::new();
    for n in 0..ATHLETES {
        let person = PersonId::new(now, secret::random());
        people.push(person);
        let (plan, logs) = (club.plan_doc.clone(), stories[n % STORIES].logs.clone());
        let new = NewPerson { id: person, club: id, role: Role::Athlete, name: format!("Athlete {n:03}") };
        store
            .write_blocking(move |db| {
                people::add_person(db, &AtTheMachine.to_keep_accounts(), &new, now)?;
                let key = [1; 32];
                let code = account::invite(db, &AtTheMachine.to_invite(person, id), &key, 60_000, now)?.code;
                let ask = Enrol { code, device: "phone".to_owned(), public_key: None };
                let EnrolOutcome::Enrolled(install) = account::enrol(db, &key, &ask, now)? else {
                    panic!("not enrolled");
                };
                let asker = Asker { person, club: id, role: Role::Athlete };
                let caller = Caller { asker, install: install.install };
                let day = Day::of(now, 0).unwrap().to_string();
                heard::note(db, &caller, heard::Word::Through(&day, store::epoch(db)?), now)?;
                put(db, id, DocName::Plan(person, season()), &plan, now);
                for (n, log) in (0..MONTHS).zip(&logs) {
                    put(db, id, DocName::Log(person, month(n)), log, now);
                }
                Ok(())
            })
            .unwrap();
    }
    (id, people)
}

/// Asks over a connection that stays open, and gives the status and the length of the body.
pub(crate) fn get(stream: &mut TcpStream, path: &str, access: &str, tag: Option<&str>) -> (String, Vec<u8>) {
    let tag = tag.map_or_else(String::new, |t| format!("if-none-match: {t}\r\n"));
    let head = format!("GET {path} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {access}\r\n{tag}\r\n");
    stream.write_all(head.as_bytes()).unwrap();
    let mut got = Vec::with_capacity(16 << 20);
    let mut part = vec![0; 1 << 18];
    let end = loop {
        let n = stream.read(&mut part).unwrap();
        assert!(n > 0, "the connection ended");
        got.extend_from_slice(&part[..n]);
        if let Some(end) = got.windows(4).position(|w| w == b"\r\n\r\n") {
            break end + 4;
        }
    };
    let head = String::from_utf8_lossy(&got[..end]).to_ascii_lowercase();
    let length =
        head.lines().find_map(|l| l.strip_prefix("content-length: ")).map_or(0, |n| n.parse().unwrap());
    while got.len() < end + length {
        let n = stream.read(&mut part).unwrap();
        assert!(n > 0, "the connection ended");
        got.extend_from_slice(&part[..n]);
    }
    (head, got.split_off(end))
}

pub(crate) fn connect(address: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect(address).unwrap();
    stream.set_nodelay(true).unwrap();
    stream
}

/// Memory of this program that is not shared or thrown away, MB.
fn resident_mb() -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = text.lines().find(|l| l.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
}

pub(crate) fn figures() -> Vec<Row> {
    let club = &Club::of(WEEKS);
    let dir = tempfile::tempdir().unwrap();
    let now = story::in_month(month(MONTHS - 1), SESSIONS);
    let server = Server::on(dir.path(), now);
    let stories: Vec<Story> = (0..STORIES as u64).map(|seed| tell(club, seed)).collect();
    let (id, people) = fill(&server, club, &stories);
    let store = server.store();
    let clock = Clock::new(move || now);
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let mut rows = rebuilt(&store, &clock, cores);
    rows.extend(asked(&server, id, now));
    rows.extend(followed(&store, &clock, id, &people, &stories));
    rows.push(
        Row::most("memory of the server meanwhile", 200.0, resident_mb(), "MB")
            .note("of this whole program at the end, the invented work and the asking side among it"),
    );
    server.stop();
    rows
}

fn rebuilt(store: &Store, clock: &Clock, cores: usize) -> Vec<Row> {
    let begun = program_ms();
    let (ms, caught) = wall(|| project::rebuild(store, None, clock, cores, &|_| {}).unwrap());
    let spent = program_ms() - begun;
    assert_eq!((caught.done, caught.left), (ATHLETES as u64 + 1, 0));
    #[expect(clippy::cast_precision_loss, reason = "a small count")]
    let hundreds = ATHLETES as f64 / 100.0;
    vec![
        Row::most("rows of 100 athletes rebuilt from documents", 1_000.0, ms / hundreds, "ms").of_cpu().note(
            format!(
                "{ATHLETES} athletes, {cores} threads; a plan of {WEEKS} weeks, 3 logs of 460 changes each"
            ),
        ),
        Row::beside("of it: CPU of all threads", spent / hundreds, "ms CPU"),
    ]
}

fn asked(server: &Server, club: ClubId, now: backstraight_core::base::moment::Moment) -> Vec<Row> {
    let coach = server.enrolled(club, Role::HeadCoach, "Marta Quillfeather");
    let today = Day::of(now, 0).unwrap();
    let path = format!("/v1/board?from={}&to={}&today={today}&limit=1000", today.plus(-83), today);
    let mut stream = connect(server.address);
    let (mut each, mut again) = (Vec::new(), Vec::new());
    let (mut bytes, mut sessions) = (0, 0);
    for n in 0..18 {
        let (ms, (head, body)) = wall(|| get(&mut stream, &path, &coach.access, None));
        assert!(head.starts_with("http/1.1 200"), "{head}");
        let tag = head.lines().find_map(|l| l.strip_prefix("etag: ")).unwrap().to_owned();
        let (known, (head, _)) = wall(|| get(&mut stream, &path, &coach.access, Some(&tag)));
        assert!(head.starts_with("http/1.1 304"), "{head}");
        if n >= 3 {
            each.push(ms);
            again.push(known);
        } else {
            let board: serde_json::Value = serde_json::from_slice(&body).unwrap();
            let athletes = board["athletes"].as_array().unwrap();
            assert_eq!((athletes.len(), &board["pending"]), (ATHLETES, &serde_json::json!(0)));
            sessions = athletes.iter().map(|a| a["sessions"].as_array().unwrap().len()).sum();
            let states: BTreeSet<&str> = athletes[0]["sessions"]
                .as_array()
                .unwrap()
                .iter()
                .map(|s| s["state"].as_str().unwrap())
                .collect();
            assert!(states.len() > 1, "{states:?}");
            bytes = body.len();
        }
    }
    vec![
        Row::most("board of 500 athletes × 12 weeks over HTTP", 50.0, median(each), "ms")
            .of_cpu()
            .note(format!("one page, {sessions} sessions, {bytes} B of JSON, on an open connection")),
        Row::beside("the same, asked by somebody who has it", median(again), "ms"),
    ]
}

/// One upload of one session each, appended as an exchange appends it, then its projection.
fn followed(store: &Store, clock: &Clock, club: ClubId, people: &[PersonId], stories: &[Story]) -> Vec<Row> {
    let (mut cpu, mut all) = (Vec::new(), Vec::new());
    for (n, person) in people.iter().enumerate().take(EXCHANGES) {
        let story = &stories[n % STORIES];
        let now = clock.now();
        let grant = AtTheMachine.to_write(DocName::Log(*person, month(MONTHS - 1)), club);
        let add = Append {
            grant,
            checked_at: 1,
            body: story.fresh.clone(),
            changes: 24,
            delta: vec![],
            heads: story.fresh_heads.clone(),
        };
        store.write_blocking(move |db| document::append(db, &add, now)).unwrap().unwrap();
        let claims = store.write_blocking(move |db| job::claim(db, 9, [3; 8], now)).unwrap();
        let [claim] = claims.as_slice() else { panic!("{claims:?}") };
        let begun = program_ms();
        let own = thread_ms();
        let (ms, wrote) = wall(|| project::one(store, claim.clone(), clock).unwrap());
        assert!(wrote && thread_ms() > own);
        cpu.push(program_ms() - begun);
        all.push(ms);
    }
    vec![
        Row::most("one exchange's projection", 3.0, median(cpu), "ms CPU")
            .note("one session of 22 sets on top of a month of 460 changes, the commit among it"),
        Row::beside("the same on the wall, disk included", median(all), "ms"),
    ]
}
