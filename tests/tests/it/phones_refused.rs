//! Real phones against a real server, and what neither lets pass: requests again and out of order,
//! documents of others, answers of a server that is broken.

use std::fs;
use std::path::Path;

use backstraight_core::base::day::Month;
use backstraight_core::base::id::{ActorId, ClubId, PersonId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::doc::command::{Command, New, Scene};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::thin;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::{Down, Outcome, Refusal, Up, UpDoc, heads_out};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{SeasonNo, Text};
use backstraight_core::model::plan::{Cue, Session};
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::identity::Identity;
use backstraight_ffi::phone::Phone;
use backstraight_ffi::transport::{Http, Renewal, Tokens, Transport};
use backstraight_server::grant::AtTheMachine;
use backstraight_server::secret;
use backstraight_server::store::people;
use backstraight_server::token::Bearer;
use backstraight_tests::stand::{Handset, MINUTE, START, Stand, november};
use minicbor::bytes::ByteVec;

/// A way to the server on which somebody reads along or changes what passes.
struct Way<'a> {
    http: Http,
    up: &'a mut dyn FnMut(&mut Up),
    down: &'a mut dyn FnMut(&mut Down),
}

impl Transport for Way<'_> {
    fn exchange(&mut self, access: &str, body: &[u8]) -> Result<Vec<u8>, PhoneError> {
        let mut up = Up::from_bytes(body).unwrap();
        (self.up)(&mut up);
        let mut down = Down::from_bytes(&self.http.exchange(access, &up.to_bytes())?).unwrap();
        (self.down)(&mut down);
        Ok(down.to_bytes())
    }

    fn renew(&mut self, ask: &Renewal) -> Result<Tokens, PhoneError> {
        self.http.renew(ask)
    }
}

fn notes(athlete: PersonId) -> DocName {
    DocName::Notes(athlete, Month::new(2026, 11).unwrap())
}

fn plan(athlete: PersonId) -> DocName {
    DocName::Plan(athlete, SeasonNo::new(2027).unwrap())
}

/// The stand's phones in a state with something in every direction, and all requests that led there.
fn recorded(stand: &Stand, mira: PersonId, ruth: PersonId) -> (Handset, Handset, Vec<Vec<u8>>) {
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    let mut requests = Vec::new();
    let mut session = phone.begin();
    for n in 1..=4 {
        phone.set(&mut session, n).unwrap();
        desk.say(notes(mira), &format!("{n}"));
        desk.exchange(&stand.url());
        let mut keep = |up: &mut Up| requests.push(up.to_bytes());
        let mut way = Way { http: Http::new(&stand.url()), up: &mut keep, down: &mut |_| {} };
        phone.phone.exchange(&mut way).unwrap();
    }
    desk.exchange(&stand.url());
    (phone, desk, requests)
}

#[test]
fn requests_again_and_out_of_order_change_nothing() {
    let mut stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk, requests) = recorded(&stand, mira, ruth);
    let (before, access) = (stand.stored(), phone.phone.identity().access.clone());
    let send = |stand: &Stand, request: &[u8]| {
        Down::from_bytes(&Http::new(&stand.url()).exchange(&access, request).unwrap()).unwrap()
    };
    assert_eq!(requests.len(), 4);
    for order in [[3, 3, 3, 3], [0, 0, 1, 1], [3, 2, 1, 0], [1, 3, 0, 2]] {
        for n in order {
            let down = send(&stand, &requests[n]);
            assert!(down.docs.iter().all(|d| d.outcome == Outcome::Accepted), "{down:?}");
            assert_eq!(stand.stored(), before);
        }
    }
    // After a restart, which has to look at the disk again; and by the token of somebody else.
    stand.stop();
    stand.start();
    let (theirs, theirs_name) = (desk.phone.identity().access.clone(), november(mira));
    for request in &requests {
        send(&stand, request);
        let down = Http::new(&stand.url()).exchange(&theirs, request).unwrap();
        let down = Down::from_bytes(&down).unwrap();
        let log = down.docs.iter().find(|d| d.name.as_slice() == theirs_name.to_bytes()).unwrap();
        assert!(matches!(&log.outcome, Outcome::Refused(r) if r.code == "not-yours"), "{log:?}");
    }
    assert_eq!(stand.stored(), before);
    // Requests of another epoch: nothing that they say about cursors is believed.
    let file = stand.dir.path().join("club.backup");
    stand.backup(&file);
    stand.restore(&file);
    for n in [3, 0, 2, 1] {
        send(&stand, &requests[n]);
        assert_eq!(stand.stored(), before);
    }
    for one in [&mut phone, &mut desk] {
        one.exchange(&stand.url());
        for name in [november(mira), notes(mira)] {
            assert_eq!(one.heads(name), before[&name].1);
        }
    }
    assert_eq!(phone.numbers(november(mira)), [1, 2, 3, 4]);
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

/// The server's own answers to these are looked at in its tests; here: what the phone makes of them.
#[test]
fn what_the_server_does_not_take_is_a_typed_error_on_the_phone_and_loses_nothing() {
    let (stand, elsewhere) = (Stand::default(), Stand::default());
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (phone, _desk, requests) = recorded(&stand, mira, ruth);
    let before = stand.stored();
    let (good, body) = (phone.phone.identity().access.clone(), requests.last().unwrap());
    let bearer = Bearer { person: mira, install: phone.phone.identity().install };
    let expired = stand.running().app.tokens.access(bearer, stand.now().plus_ms(-16 * MINUTE));
    let foreign = elsewhere.running().app.tokens.access(bearer, stand.now());
    let send = |access: &str, body: &[u8]| Http::new(&stand.url()).exchange(access, body);
    for (what, token) in [("expired", &expired), ("foreign", &foreign), ("none", &String::new())] {
        assert!(matches!(send(token, body), Err(PhoneError::SignedOut(_))), "{what}");
    }
    let mut other = Up::from_bytes(body).unwrap();
    other.protocol += 1;
    let mut long = body.clone();
    long.resize(backstraight_core::exchange::wire::MAX_BODY + 1, 0);
    for (what, body, status) in [
        ("another version", &other.to_bytes()[..], "400"),
        ("cut", &body[..body.len() / 2], "400"),
        ("too long", &long, "413"),
    ] {
        match send(&good, body) {
            Err(PhoneError::Answer(why)) => assert!(why.contains(status), "{what}: {why}"),
            other => panic!("{what}: {other:?}"),
        }
    }
    assert_eq!(stand.stored(), before);
    assert!(send(&good, body).is_ok());
}

/// A phone that takes itself for somebody else.
fn pretend(phone: Handset, change: impl FnOnce(&mut Identity)) -> Handset {
    let mut identity = phone.phone.identity().clone();
    change(&mut identity);
    let Handset { phone, clock, dir } = phone;
    drop(phone);
    Handset { phone: Phone::enrolled(&dir, identity, Box::new(clock.clone())).unwrap(), clock, dir }
}

fn session(title: &str) -> Session {
    Session::new("2026-11-26".parse().unwrap(), Text::new(title).unwrap())
}

#[test]
fn documents_of_others_are_refused_by_code_and_the_phone_keeps_its_bytes() {
    let stand = Stand::default();
    let (mira, jonas) =
        (stand.person(Role::Athlete, "Mira Aalto"), stand.person(Role::Athlete, "Jonas Okafor"));
    let away = ClubId::new(stand.now(), secret::random());
    stand.add_club(away, "Harbour Runners");
    let ines = stand.person_of(away, Role::Athlete, "Ines Duarte");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    // A phone that is honest does not even try.
    let mut phone = stand.phone(mira, "phone");
    for name in [november(jonas), plan(mira), notes(mira), DocName::Library(stand.club)] {
        let (root, record): (_, backstraight_core::model::any::AnyRecord) = match name {
            DocName::Plan(..) => ("sessions", session("mine").into()),
            DocName::Library(_) => ("cues", Cue::new(Text::new("push").unwrap()).into()),
            _ => {
                let comment = Text::new("mine").unwrap();
                ("comments", backstraight_core::model::log::Comment::new(stand.now(), mira, comment).into())
            }
        };
        assert!(matches!(phone.add(name, root, record), Err(PhoneError::NotAllowed(_))), "{name}");
        assert_eq!(phone.on_disk(name), (None, None));
    }
    // Phones that take themselves for somebody else: an athlete for a coach, for another athlete of
    // the club, for one of another club; a coach for a coach of another club.
    let mut as_coach = pretend(phone, |i| i.role = Role::Coach);
    as_coach.add(plan(mira), "sessions", session("my own plan")).unwrap();
    as_coach.say(notes(mira), "well done, me");
    as_coach.say(notes(jonas), "not so well");
    let mut as_jonas = pretend(stand.phone(mira, "second"), |i| i.person = jonas);
    as_jonas.say(november(jonas), "I did nothing");
    let mut as_ines = pretend(stand.phone(mira, "third"), |i| i.person = ines);
    as_ines.say(november(ines), "I did nothing");
    let mut desk = pretend(stand.phone(ruth, "desk"), |i| i.club = away);
    desk.add(DocName::Library(away), "cues", Cue::new(Text::new("push").unwrap())).unwrap();
    desk.say(notes(mira), "good, and in the same request");
    let cases: [(&mut Handset, &[DocName]); 4] = [
        (&mut as_coach, &[plan(mira), notes(mira), notes(jonas)]),
        (&mut as_jonas, &[november(jonas)]),
        (&mut as_ines, &[november(ines)]),
        (&mut desk, &[DocName::Library(away)]),
    ];
    for (one, names) in cases {
        let before: Vec<_> = names.iter().map(|name| one.on_disk(*name).0).collect();
        let report = one.exchange(&stand.url());
        assert!(report.rounds <= 2, "it does not try for ever: {}", report.rounds);
        let mut refused: Vec<(DocName, &str)> =
            report.refused.iter().map(|(n, r)| (*n, r.code.as_str())).collect();
        refused.sort_unstable();
        let mut wanted: Vec<(DocName, &str)> = names.iter().map(|n| (*n, "not-yours")).collect();
        wanted.sort_unstable();
        assert_eq!(refused, wanted);
        // Also after the app was closed: the bytes are here, and so is the word to the person.
        let again = Handset::open(&copy(one, &stand), stand.now());
        for (name, before) in names.iter().zip(before) {
            assert_eq!(again.on_disk(*name).0, before, "{name}");
        }
        let mut standing: Vec<DocName> =
            again.phone.refusals().unwrap().into_iter().map(|r| r.name).collect();
        standing.sort_unstable();
        assert_eq!(standing, wanted.iter().map(|(n, _)| *n).collect::<Vec<_>>());
    }
    // The good document of the desk's request is there, and nothing else.
    assert_eq!(stand.stored().into_keys().collect::<Vec<_>>(), [notes(mira)]);
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

/// A copy of a phone's folder, as it is on the disk now.
fn copy(one: &Handset, stand: &Stand) -> std::path::PathBuf {
    let to = tempfile::tempdir_in(stand.dir.path()).unwrap().keep();
    for entry in fs::read_dir(&one.dir).unwrap() {
        let name = entry.unwrap().file_name();
        fs::copy(one.dir.join(&name), to.join(&name)).unwrap();
    }
    to
}

#[test]
fn an_athlete_s_plan_beside_an_athlete_s_log_does_not_hold_up_the_log() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let mut phone = stand.phone(mira, "phone");
    let hash = phone.say(november(mira), "mine to write");
    let install = phone.phone.identity().install;
    let mut answers = Vec::new();
    let mut add_plan = |up: &mut Up| {
        let mut doc = Document::create(plan(mira)).unwrap();
        let start = doc.heads();
        doc.write_as(ActorId::of(install, [9; 8]));
        let place = Place::of("sessions", &KeyMint::new([1; 4]).mint());
        let add = Command::Add(vec![New { place, record: session("mine").into() }]);
        doc.apply(&add, &Scene { now: stand.now(), exercises: None }).unwrap();
        up.docs.push(UpDoc {
            name: ByteVec::from(plan(mira).to_bytes().to_vec()),
            cursor: 0,
            heads: heads_out(&doc.heads()),
            changes: Some(ByteVec::from(thin::pack(&doc.changes_since(&start)))),
        });
    };
    let mut way = Way {
        http: Http::new(&stand.url()),
        up: &mut add_plan,
        down: &mut |down| answers.push(down.clone()),
    };
    phone.phone.exchange(&mut way).unwrap();
    assert!(phone.phone.with_server(november(mira), &hash).unwrap());
    let said = answers[0].docs.iter().find(|d| d.name.as_slice() == plan(mira).to_bytes()).unwrap();
    assert!(matches!(&said.outcome, Outcome::Refused(r) if r.code == "not-yours"), "{said:?}");
    assert_eq!(stand.stored().into_keys().collect::<Vec<_>>(), [november(mira)]);
}

#[test]
fn a_parcel_that_a_server_may_take_later_is_offered_again_once_after_each_start() {
    let stand = Stand::at(START);
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    phone.exchange(&stand.url());
    desk.exchange(&stand.url());
    let mut session = phone.begin();
    phone.set(&mut session, 1).unwrap();
    let file = phone.phone.carry_out().unwrap().unwrap().bytes;
    desk.phone.carry_in(&file).unwrap();
    // How many parcels come to a server that does not take any, for that reason, in so many exchanges.
    let offered = |desk: &mut Handset, code: &str, exchanges: usize| {
        let (mut seen, mut refused) = (0, 0);
        for _ in 0..exchanges {
            let parcels = std::cell::Cell::new(0);
            let mut way = Way {
                http: Http::new(&stand.url()),
                up: &mut |up| parcels.set(parcels.get() + up.carried.take().map_or(0, |list| list.len())),
                down: &mut |down| {
                    let no = Refusal { code: code.to_owned(), change: None, text: String::new() };
                    down.carried = Some(vec![Outcome::Refused(no); parcels.get()]);
                },
            };
            refused += desk.phone.exchange(&mut way).unwrap().carried.refused.len();
            seen += parcels.get();
        }
        (seen, refused)
    };
    assert_eq!(offered(&mut desk, "unknown-field", 3), (1, 1));
    let mut desk = desk.reopened();
    assert_eq!(offered(&mut desk, "server-damaged", 3), (1, 1));
    assert!(!stand.stored().contains_key(&november(mira)));
    // The server is newer now, and its copy mended.
    let mut desk = desk.reopened();
    assert_eq!(desk.exchange(&stand.url()).carried.arrived, 1);
    assert!(desk.phone.carried().unwrap().is_empty() && stand.stored().contains_key(&november(mira)));
    // What no version will take is not offered again.
    phone.set(&mut session, 2).unwrap();
    let file = phone.phone.carry_out().unwrap().unwrap().bytes;
    desk.phone.carry_in(&file).unwrap();
    assert_eq!(offered(&mut desk, "not-yours", 2), (1, 1));
    let mut desk = desk.reopened();
    assert_eq!(offered(&mut desk, "not-yours", 2), (0, 0));
}

#[test]
fn a_role_that_was_wrong_for_a_while_loses_nothing() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let role = |role: Role| {
        let (grant, now) = (AtTheMachine.to_keep_accounts(), stand.now());
        assert!(
            stand.store().write_blocking(move |db| people::set_role(db, &grant, mira, role, now)).unwrap()
        );
    };
    let mut phone = stand.phone(mira, "phone");
    let october = DocName::Log(mira, Month::new(2026, 10).unwrap());
    phone.say(october, "with the server");
    phone.exchange(&stand.url());
    role(Role::Owner);
    phone.say(october, "on top of it");
    phone.say(november(mira), "the server never saw this document");
    let report = phone.exchange(&stand.url());
    assert_eq!(report.refused.len(), 2, "{report:?}");
    assert!(report.withdrawn.is_empty(), "what is about oneself stays readable: {report:?}");
    phone.say(november(mira), "recording goes on");
    phone.exchange(&stand.url());
    assert_eq!(phone.phone.unsent().unwrap().iter().map(|(_, n)| n).sum::<usize>(), 3);
    role(Role::Athlete);
    let mut phone = phone.reopened();
    phone.exchange(&stand.url());
    assert!(phone.phone.unsent().unwrap().is_empty(), "{:?}", phone.phone.unsent());
    assert!(phone.phone.refusals().unwrap().is_empty());
    assert_eq!(phone.phone.documents().unwrap(), [october, november(mira)]);
    let stored = stand.stored();
    assert_eq!(stored[&november(mira)].1, phone.heads(november(mira)));
    assert_eq!(stored[&october].1, phone.heads(october));
}

/// Attacks that the gate is known to refuse.
fn hostile() -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/hostile");
    let mut files: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "bin"))
        .map(|p| (p.file_name().unwrap().to_string_lossy().into_owned(), fs::read(p).unwrap()))
        .filter(|(name, _)| name != "base-log.bin")
        .collect();
    files.sort();
    assert!(files.len() > 50);
    files
}

#[test]
fn a_phone_takes_nothing_poisoned_from_a_server_that_is_broken() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    let log = november(mira);
    phone.say(log, "mine");
    phone.exchange(&stand.url());
    desk.exchange(&stand.url());
    let broken_sum = {
        let mut bytes = phone.phone.document(log).unwrap().changes_to_send(&[], 10);
        *bytes.get_mut(5).unwrap() ^= 1;
        bytes
    };
    let whole = phone.phone.document(log).unwrap().save();
    let mut poisons = hostile();
    poisons.push(("a broken checksum".to_owned(), broken_sum));
    poisons.push(("a whole document".to_owned(), whole));
    let (mut refused, mut unreadable) = (0, 0);
    for (n, (what, poison)) in poisons.iter().enumerate() {
        phone.say(log, &format!("{n}"));
        phone.exchange(&stand.url());
        // The desk lacks that change now, and is given something else in its place.
        desk.say(notes(mira), &format!("{n}"));
        let mut bytes = vec![0];
        bytes.extend_from_slice(poison);
        let (before, notes_before) = (desk.on_disk(log), desk.on_disk(notes(mira)));
        let mut swap = |down: &mut Down| {
            for doc in down.docs.iter_mut().filter(|d| d.name.as_slice() == log.to_bytes()) {
                doc.changes = Some(ByteVec::from(bytes.clone()));
                doc.cursor += 1_000;
            }
        };
        let mut way = Way { http: Http::new(&stand.url()), up: &mut |_| {}, down: &mut swap };
        match desk.phone.exchange(&mut way) {
            Ok(report) => {
                assert_eq!(report.not_taken.iter().map(|(n, _)| *n).collect::<Vec<_>>(), [log], "{what}");
                assert!(report.rounds <= 2 && !report.changed.contains(&log), "{what}");
                assert_ne!(desk.on_disk(notes(mira)), notes_before, "{what}: the other document is taken");
                refused += 1;
            }
            // Bytes that are no changes at all: nothing of the answer is believed.
            Err(PhoneError::Answer(_)) => {
                assert_eq!(desk.on_disk(notes(mira)), notes_before, "{what}");
                unreadable += 1;
            }
            Err(other) => panic!("{what}: {other}"),
        }
        let after = desk.on_disk(log);
        assert_eq!(after.0, before.0, "{what}: nothing is stored");
        let cursor = |row: &Option<backstraight_ffi::store::DocRow>| row.as_ref().unwrap().cursor;
        assert!(cursor(&after.1) <= cursor(&before.1), "{what}: the cursor has not moved on");
        assert_eq!(after.1.as_ref().unwrap().server_heads, before.1.as_ref().unwrap().server_heads, "{what}");
    }
    assert!(refused > 20, "{refused} {unreadable}");
    // The server is repaired: everything arrives.
    desk.exchange(&stand.url());
    assert_eq!(desk.heads(log), phone.heads(log));
    assert!(desk.phone.unsent().unwrap().is_empty());
    assert_eq!(desk.heads(notes(mira)), stand.stored()[&notes(mira)].1);
}
