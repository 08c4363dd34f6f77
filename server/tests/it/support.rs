//! An invented club on a server in this process, and devices that write real documents.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU32, Ordering};

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ActorId, ChangeHash, ClubId, InstallId, PersonId, SquadId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::admit::Admitted;
use backstraight_core::doc::command::{Command, New, Scene};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::thin;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::proof;
use backstraight_core::exchange::wire::{Down, DownDoc, Outcome, PROTOCOL, Up, UpDoc, heads, heads_out};
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::{Assessment, Availability};
use backstraight_core::model::log::{Comment, Report, SessionDone};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Available, Complaint, Text};
use backstraight_core::model::plan::{Cue, PlanAbout, Remark};
use backstraight_server::app::{self, Clock, Running};
use backstraight_server::config::Config;
use backstraight_server::folder::Folder;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::backup::{self, Made};
use backstraight_server::store::people::NewPerson;
use backstraight_server::store::{Faults, Store, StoreError, StoreOptions, account, people};
use backstraight_server::token::Bearer;
use data_encoding::HEXLOWER;
use ed25519_dalek::{Signer as _, SigningKey};
use minicbor::bytes::ByteVec;
use serde_json::{Value, json};

use crate::over;

/// Ten in the morning of 25 November 2026, UTC.
pub(crate) const START: i64 = 1_795_600_800_000;

/// A server in this process, on a folder that may outlive it.
pub(crate) struct Server {
    pub(crate) url: String,
    pub(crate) faults: Arc<Faults>,
    time: Arc<AtomicI64>,
    running: Option<Running>,
    runtime: Option<tokio::runtime::Runtime>,
    key: [u8; 32],
}

impl Server {
    pub(crate) fn on(folder: &Path) -> Server {
        Server::with(folder, |_| {})
    }

    pub(crate) fn with(folder: &Path, change: impl FnOnce(&mut Config)) -> Server {
        let mut config = Config::on(folder.to_owned());
        config.compact_after = 0;
        config.database = over::database(folder);
        change(&mut config);
        let faults = Arc::new(Faults::default());
        let options = StoreOptions { faults: Arc::clone(&faults), ..StoreOptions::default() };
        let time = Arc::new(AtomicI64::new(START));
        let clock = Arc::clone(&time);
        let clock = Clock::new(move || Moment(clock.load(Ordering::SeqCst)));
        let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
        let running = runtime.block_on(app::start(config, options, clock)).unwrap();
        let url = format!("http://{}", running.address);
        let key = Folder::open(folder).unwrap().keys().unwrap().secret;
        Server { url, faults, time, running: Some(running), runtime: Some(runtime), key }
    }

    pub(crate) fn now(&self) -> Moment {
        Moment(self.time.load(Ordering::SeqCst))
    }

    pub(crate) fn wait(&self, ms: i64) {
        self.time.fetch_add(ms, Ordering::SeqCst);
    }

    pub(crate) fn streams(&self) -> usize {
        self.running.as_ref().unwrap().app.hub.streams()
    }

    pub(crate) fn store(&self) -> Arc<Store> {
        Arc::clone(&self.running.as_ref().unwrap().app.store)
    }

    pub(crate) fn metrics(&self) -> std::net::SocketAddr {
        self.running.as_ref().unwrap().metrics.unwrap()
    }

    pub(crate) fn shared(&self) -> app::Shared {
        Arc::clone(&self.running.as_ref().unwrap().app)
    }

    pub(crate) fn app(&self) -> &app::App {
        &self.running.as_ref().unwrap().app
    }

    pub(crate) fn token(&self, person: PersonId, install: InstallId, at: Moment) -> String {
        self.running.as_ref().unwrap().app.tokens.access(Bearer { person, install }, at)
    }

    /// What the first start prints.
    pub(crate) fn owner_link(&self) -> Option<String> {
        let running = self.running.as_ref().unwrap();
        self.runtime.as_ref().unwrap().block_on(running.owner_link()).unwrap()
    }

    /// Writes a backup while it runs.
    pub(crate) fn backup(&self, file: &Path) -> Result<Made, StoreError> {
        let folder = Folder::open(&self.app().config.data).unwrap();
        backup::backup_of(&self.store(), &folder, file, self.now())
    }

    /// Takes the keys of the folder now.
    pub(crate) fn renew_keys(&self) {
        backstraight_server::job::access::renew_keys(&self.running.as_ref().unwrap().app).unwrap();
    }

    pub(crate) fn stop(mut self) {
        self.end();
    }

    fn end(&mut self) {
        if let (Some(running), Some(runtime)) = (self.running.take(), self.runtime.take()) {
            runtime.block_on(running.stop());
        }
    }

    pub(crate) fn club(&self, name: &str) -> Club<'_> {
        let (id, now, name) = (ClubId::new(self.now(), bits()), self.now(), name.to_owned());
        let grant = AtTheMachine.to_keep_accounts();
        self.store().write_blocking(move |db| people::add_club(db, &grant, id, &name, now)).unwrap();
        Club { server: self, id }
    }

    pub(crate) fn code(&self, person: PersonId, club: ClubId, minutes: i64) -> String {
        let (grant, now, key) = (AtTheMachine.to_invite(person, club), self.now(), self.key);
        self.store()
            .write_blocking(move |db| account::invite(db, &grant, &key, minutes * 60_000, now))
            .unwrap()
            .code
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.end();
    }
}

/// Bits that differ from call to call.
fn bits() -> [u8; 10] {
    static NEXT: AtomicU32 = AtomicU32::new(1);
    let mut out = [7; 10];
    out[6..].copy_from_slice(&NEXT.fetch_add(1, Ordering::SeqCst).to_be_bytes());
    out
}

/// A club of that server.
pub(crate) struct Club<'a> {
    pub(crate) server: &'a Server,
    pub(crate) id: ClubId,
}

impl Club<'_> {
    pub(crate) fn person(&self, role: Role, name: &str) -> PersonId {
        let new = NewPerson {
            id: PersonId::new(self.server.now(), bits()),
            club: self.id,
            role,
            name: name.to_owned(),
        };
        let (id, now, grant) = (new.id, self.server.now(), AtTheMachine.to_keep_accounts());
        // Athletes are of age where a test says nothing else.
        let born = (role == Role::Athlete).then(|| "2001-02-03".parse().unwrap());
        self.server
            .store()
            .write_blocking(move |db| {
                people::add_person(db, &grant, &new, now)?;
                people::set_born(db, &grant, id, born, now)
            })
            .unwrap();
        id
    }

    /// A date of birth as the club keeps it.
    pub(crate) fn born(&self, person: PersonId, born: Option<&str>) {
        let (grant, now) = (AtTheMachine.to_keep_accounts(), self.server.now());
        let born = born.map(|b| b.parse().unwrap());
        let set =
            self.server.store().write_blocking(move |db| people::set_born(db, &grant, person, born, now));
        assert!(set.unwrap());
    }

    pub(crate) fn squad(&self, name: &str) -> SquadId {
        let (id, club, name, now) =
            (SquadId::new(self.server.now(), bits()), self.id, name.to_owned(), self.server.now());
        let grant = AtTheMachine.to_keep_accounts();
        self.server
            .store()
            .write_blocking(move |db| people::add_squad(db, &grant, club, id, &name, now))
            .unwrap();
        id
    }

    pub(crate) fn device(&self, person: PersonId) -> Device {
        Device::enrol(&self.server.url, &self.server.code(person, self.id, 15), self.server.now())
    }
}

/// The key of an install, as a test makes it.
#[derive(Debug, Clone)]
pub(crate) struct Key(SigningKey);

impl Key {
    pub(crate) const fn of(key: SigningKey) -> Key {
        Key(key)
    }

    pub(crate) fn fresh() -> Key {
        Key(SigningKey::from_bytes(&backstraight_server::secret::random()))
    }

    pub(crate) fn public(&self) -> [u8; 32] {
        self.0.verifying_key().to_bytes()
    }

    /// The fields with which a device says who it is.
    pub(crate) fn device(&self, message: impl Fn(&[u8; 32], &str) -> Vec<u8>) -> Value {
        self.called("test phone", message)
    }

    pub(crate) fn called(&self, device: &str, message: impl Fn(&[u8; 32], &str) -> Vec<u8>) -> Value {
        let public = self.public();
        json!({
            "device": device,
            "public_key": HEXLOWER.encode(&public),
            "signature": HEXLOWER.encode(&self.0.sign(&message(&public, device)).to_bytes()),
        })
    }

    /// The body of an enrolment.
    pub(crate) fn enrolment(&self, code: &str) -> Value {
        with(self.device(|key, device| proof::enrol(code, key, device)), json!({ "code": code }))
    }

    /// The body of a refresh at a moment.
    pub(crate) fn refresh(&self, token: &str, at: Moment) -> Value {
        let signature = self.0.sign(&proof::refresh(token, at)).to_bytes();
        json!({ "refresh_token": token, "at": at.0, "signature": HEXLOWER.encode(&signature) })
    }
}

/// One JSON object of two.
pub(crate) fn with(mut a: Value, b: Value) -> Value {
    let Value::Object(more) = b else { panic!("no object") };
    a.as_object_mut().unwrap().extend(more);
    a
}

/// Posts JSON; the status and the answer.
pub(crate) fn post(url: &str, access: Option<&str>, body: &Value) -> (u16, Value) {
    let mut request = agent().post(url).header("content-type", "application/json");
    if let Some(access) = access {
        request = request.header("authorization", &format!("Bearer {access}"));
    }
    let mut answer = request.send(body.to_string()).unwrap();
    let text = answer.body_mut().read_to_string().unwrap();
    (answer.status().as_u16(), serde_json::from_str(&text).unwrap_or(Value::Null))
}

pub(crate) fn get(url: &str) -> (u16, Value) {
    get_as(url, None)
}

pub(crate) fn get_as(url: &str, access: Option<&str>) -> (u16, Value) {
    let mut request = agent().get(url);
    if let Some(access) = access {
        request = request.header("authorization", &format!("Bearer {access}"));
    }
    let mut answer = request.call().unwrap();
    let text = answer.body_mut().read_to_string().unwrap();
    (answer.status().as_u16(), serde_json::from_str(&text).unwrap_or(Value::Null))
}

pub(crate) fn agent() -> ureq::Agent {
    ureq::Agent::config_builder().http_status_as_error(false).build().into()
}

/// Posts bytes to the exchange with these headers; the status and the body.
pub(crate) fn post_raw(url: &str, access: &str, headers: &[(&str, &str)], body: &[u8]) -> (u16, Vec<u8>) {
    let mut request = agent()
        .post(format!("{url}/v1/exchange"))
        .header("authorization", &format!("Bearer {access}"))
        .header("content-type", "application/cbor");
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    let mut answer = request.send(body).unwrap();
    let bytes = answer.body_mut().with_config().limit(64 << 20).read_to_vec().unwrap();
    (answer.status().as_u16(), bytes)
}

pub(crate) fn code_of(answer: &(u16, Value)) -> (u16, &str) {
    (answer.0, answer.1.get("code").and_then(Value::as_str).unwrap_or(""))
}

/// A document on a device.
#[derive(Debug, Clone)]
pub(crate) struct Copy {
    pub(crate) doc: Document,
    pub(crate) cursor: u64,
    /// What the server has, as it said last.
    pub(crate) server: Vec<ChangeHash>,
}

/// An enrolled install with its documents.
pub(crate) struct Device {
    pub(crate) url: String,
    pub(crate) access: String,
    pub(crate) refresh: String,
    pub(crate) key: Key,
    pub(crate) install: InstallId,
    pub(crate) person: PersonId,
    pub(crate) epoch: Option<Vec<u8>>,
    pub(crate) people: u64,
    pub(crate) local_day: String,
    pub(crate) copies: BTreeMap<DocName, Copy>,
    now: Moment,
    mint: Option<KeyMint>,
}

impl Device {
    pub(crate) fn enrol(url: &str, code: &str, now: Moment) -> Device {
        Device::keyed(url, code, now, Key::fresh())
    }

    pub(crate) fn enrol_as(url: &str, code: &str, device: &str, now: Moment) -> Device {
        Device::named(url, code, device, now, Key::fresh())
    }

    /// The same with a key that the test made.
    pub(crate) fn keyed(url: &str, code: &str, now: Moment, key: Key) -> Device {
        Device::named(url, code, "test phone", now, key)
    }

    fn named(url: &str, code: &str, device: &str, now: Moment, key: Key) -> Device {
        let said = key.called(device, |key, device| proof::enrol(code, key, device));
        let (status, answer) = post(&format!("{url}/v1/enrol"), None, &with(said, json!({ "code": code })));
        assert_eq!(status, 200, "{answer}");
        Device::of(url, &answer, key, now)
    }

    /// The device to which a server gave this answer.
    pub(crate) fn of(url: &str, answer: &Value, key: Key, now: Moment) -> Device {
        let text = |name: &str| answer.get(name).unwrap().as_str().unwrap().to_owned();
        Device {
            url: url.to_owned(),
            access: text("access_token"),
            refresh: text("refresh_token"),
            key,
            install: text("install").parse().unwrap(),
            person: text("person").parse().unwrap(),
            epoch: None,
            people: 0,
            local_day: Day::of(now, 0).unwrap().to_string(),
            copies: BTreeMap::new(),
            now,
            mint: None,
        }
    }

    pub(crate) fn copy(&mut self, name: DocName) -> &mut Copy {
        let actor = ActorId::of(self.install, [1; 8]);
        self.copies.entry(name).or_insert_with(|| {
            let mut doc = Document::create(name).unwrap();
            doc.write_as(actor);
            let server = doc.heads();
            Copy { doc, cursor: 0, server }
        })
    }

    /// Writes a comment of its own; the name of the change.
    pub(crate) fn say(&mut self, name: DocName, words: &str) -> ChangeHash {
        self.add(name, "comments", Comment::new(self.now, self.person, Text::new(words).unwrap()))
    }

    /// Logs a session of today that nobody planned; its key.
    pub(crate) fn session(&mut self, name: DocName) -> String {
        let today = Day::of(self.now, 0).unwrap();
        let before: Vec<String> = self.sessions(name);
        self.add(name, "sessions", SessionDone::new(today, self.now));
        self.sessions(name).into_iter().find(|k| !before.contains(k)).unwrap()
    }

    fn sessions(&mut self, name: DocName) -> Vec<String> {
        let read = self.copy(name).doc.records::<SessionDone>("sessions");
        read.live().map(|e| e.key().to_string()).collect()
    }

    /// Reports that something hurts.
    pub(crate) fn report(&mut self, name: DocName) {
        self.add(name, "reports", Report::new(self.now, Complaint::Pain));
    }

    /// Reports that something hurts, in words.
    pub(crate) fn report_words(&mut self, words: &str) {
        let report =
            Report { text: Some(Text::new(words).unwrap()), ..Report::new(self.now, Complaint::Pain) };
        self.add(DocName::Care(self.person), "reports", report);
    }

    /// Notes what was seen, as care staff do.
    pub(crate) fn assess(&mut self, name: DocName) {
        let text = Text::new("look again on Friday").unwrap();
        self.add(name, "assessments", Assessment::new(self.now, self.person, text));
    }

    /// Says that nothing is to be trained.
    pub(crate) fn forbid(&mut self, name: DocName) {
        let from = Day::of(self.now, 0).unwrap();
        self.add(name, "availability", Availability::new(self.now, self.person, from, Available::No));
    }

    /// Writes a cue into the library.
    pub(crate) fn cue(&mut self, name: DocName) {
        self.add(name, "cues", Cue::new(Text::new("push the track away").unwrap()));
    }

    /// Writes a remark that only coaches see.
    pub(crate) fn remark(&mut self, name: DocName) {
        let text = Text::new("plan the relay").unwrap();
        self.add(name, "remarks", Remark::new(self.person, self.person, self.now, text));
    }

    pub(crate) fn add(
        &mut self,
        name: DocName,
        root: &'static str,
        record: impl Into<AnyRecord>,
    ) -> ChangeHash {
        let random = [self.install.0[0], self.install.0[1], self.install.0[2], self.install.0[3]];
        let mint = self.mint.get_or_insert_with(|| KeyMint::new(random));
        let place = Place::of(root, &mint.mint());
        let add = Command::Add(vec![New { place, record: record.into() }]);
        let scene = Scene { now: self.now, exercises: None };
        self.copy(name).doc.apply(&add, &scene).unwrap()
    }

    /// Changes when a season begins and ends: fields that exist already from the second time on.
    pub(crate) fn season(&mut self, name: DocName, from: &str, to: &str) {
        let scene = Scene { now: self.now, exercises: None };
        let copy = self.copy(name);
        let was = copy.doc.record::<PlanAbout>(&Place::main("about")).unwrap().unwrap().record;
        let about =
            PlanAbout { from: Some(from.parse().unwrap()), to: Some(to.parse().unwrap()), ..was.clone() };
        let edit = Command::Edit { place: Place::main("about"), from: was.into(), to: about.into() };
        copy.doc.apply(&edit, &scene).unwrap();
    }

    /// The request that tells everything.
    pub(crate) fn up(&self) -> Up {
        let docs = self.copies.iter().map(|(name, copy)| {
            let unsent = copy.doc.count_since(&copy.server) > 0;
            UpDoc {
                name: ByteVec::from(name.to_bytes().to_vec()),
                cursor: copy.cursor,
                heads: heads_out(&copy.doc.heads()),
                changes: unsent.then(|| ByteVec::from(thin::pack(&copy.doc.changes_since(&copy.server)))),
            }
        });
        Up {
            protocol: PROTOCOL,
            epoch: self.epoch.clone().map(ByteVec::from),
            local_day: self.local_day.clone(),
            clock: self.now.0,
            docs: docs.collect(),
            people: self.people,
            carried: None,
            left: None,
            app: "test".to_owned(),
        }
    }

    pub(crate) fn send(&self, up: &Up) -> Down {
        let (status, bytes) = post_raw(&self.url, &self.access, &[], &up.to_bytes());
        assert_eq!(status, 200, "{}", String::from_utf8_lossy(&bytes));
        Down::from_bytes(&bytes).unwrap()
    }

    /// One round trip, and everything of the answer taken in.
    pub(crate) fn exchange(&mut self) -> Down {
        let down = self.send(&self.up());
        self.take(&down);
        down
    }

    /// Round trips until nothing is left to do; how many it took.
    pub(crate) fn settle(&mut self) -> u32 {
        for n in 1..50 {
            let down = self.exchange();
            let need = down.docs.iter().any(|d| d.outcome == Outcome::Need);
            if !down.more && !need {
                return n;
            }
        }
        panic!("it does not come to an end");
    }

    pub(crate) fn take(&mut self, down: &Down) {
        let epoch = down.epoch.to_vec();
        if self.epoch.as_ref() != Some(&epoch) {
            for copy in self.copies.values_mut() {
                copy.cursor = 0;
                copy.server = Document::create(copy.doc.name()).unwrap().heads();
            }
            self.epoch = Some(epoch);
        }
        for doc in &down.docs {
            self.take_doc(doc);
        }
        if let Some(people) = &down.people {
            self.people = people.version;
        }
    }

    fn take_doc(&mut self, down: &DownDoc) {
        if matches!(down.outcome, Outcome::Refused(_)) && down.heads.is_empty() {
            return;
        }
        let copy = self.copy(DocName::from_bytes(&down.name).unwrap());
        if let Some(packed) = &down.changes {
            let changes = thin::unpack(packed, thin::ThinLimits::default()).unwrap();
            let admitted = copy.doc.admit(&changes, &|_| true).unwrap();
            assert!(matches!(admitted, Admitted::Merged { .. }), "{admitted:?}");
        }
        copy.cursor = down.cursor;
        copy.server = heads(&down.heads).unwrap();
    }

    pub(crate) fn heads(&self, name: DocName) -> Vec<ChangeHash> {
        self.copies.get(&name).map(|c| c.doc.heads()).unwrap_or_default()
    }

    pub(crate) fn words(&self, name: DocName) -> Vec<String> {
        let doc = &self.copies.get(&name).unwrap().doc;
        let read = doc.records::<Comment>("comments");
        assert!(read.unreadable.is_empty(), "{:?}", read.unreadable);
        let mut words: Vec<String> = read.live().map(|e| e.record.text.to_string()).collect();
        words.sort_unstable();
        words
    }
}

/// The answer about one document.
pub(crate) fn about(down: &Down, name: DocName) -> Option<&DownDoc> {
    down.docs.iter().find(|d| d.name.as_slice() == name.to_bytes())
}

/// The code of a refusal.
pub(crate) fn refusal(down: &Down, name: DocName) -> String {
    match about(down, name).map(|d| &d.outcome) {
        Some(Outcome::Refused(refusal)) => refusal.code.clone(),
        other => format!("{other:?}"),
    }
}

/// The changes of an answer about one document.
pub(crate) fn changes(down: &Down, name: DocName) -> usize {
    let packed = about(down, name).and_then(|d| d.changes.as_ref());
    packed.map_or(0, |p| {
        let plain = thin::unpack(p, thin::ThinLimits::default()).unwrap();
        backstraight_core::doc::chunk::split(&plain).unwrap().len()
    })
}

pub(crate) fn log(person: PersonId) -> DocName {
    DocName::Log(person, Month::new(2026, 11).unwrap())
}

pub(crate) fn notes(person: PersonId) -> DocName {
    DocName::Notes(person, Month::new(2026, 11).unwrap())
}
