//! A server in this program on a real port and a folder of its own, and what is needed to speak
//! with it. Its log is made as in service and thrown away.

use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_ffi::identity::Identity;
use backstraight_ffi::transport::enrol;
use backstraight_server::app::{self, Clock, Running};
use backstraight_server::config::Config;
use backstraight_server::folder::Folder;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::secret;
use backstraight_server::store::people::{self, NewPerson};
use backstraight_server::store::postgres::Database;
use backstraight_server::store::{Store, StoreOptions, account};
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;

/// The server and its runtime.
pub(crate) struct Server {
    pub(crate) address: SocketAddr,
    running: Running,
    runtime: tokio::runtime::Runtime,
    time: Arc<AtomicI64>,
    key: [u8; 32],
}

impl Server {
    pub(crate) fn on(folder: &Path, now: Moment) -> Server {
        Server::over(folder, now, Database::default())
    }

    /// The same with everything in a database server.
    pub(crate) fn over(folder: &Path, now: Moment, database: Database) -> Server {
        Server::start(folder, now, database, false)
    }

    /// The same as it is in service: rows of the board are made beside.
    pub(crate) fn in_service(folder: &Path, now: Moment, database: Database) -> Server {
        Server::start(folder, now, database, true)
    }

    fn start(folder: &Path, now: Moment, database: Database, projects: bool) -> Server {
        let time = Arc::new(AtomicI64::new(now.0));
        let shown = Arc::clone(&time);
        let clock = Clock::new(move || Moment(shown.load(Ordering::SeqCst)));
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        let mut config = Config::on(folder.to_owned());
        // Made after an answer is given, by a task of its own: the part `board` measures it by itself.
        config.without_projector = !projects;
        config.database = database;
        let running = runtime.block_on(app::start(config, StoreOptions::default(), clock)).unwrap();
        let key = Folder::open(folder).unwrap().keys().unwrap().secret;
        Server { address: running.address, running, runtime, time, key }
    }

    pub(crate) fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    pub(crate) fn set(&self, now: Moment) {
        self.time.store(now.0, Ordering::SeqCst);
    }

    pub(crate) fn store(&self) -> Arc<Store> {
        Arc::clone(&self.running.app.store)
    }

    pub(crate) fn club(&self) -> ClubId {
        let now = self.now();
        let id = ClubId::new(now, secret::random());
        let grant = AtTheMachine.to_keep_accounts();
        self.store().write_blocking(move |db| people::add_club(db, &grant, id, "Cinder Lane", now)).unwrap();
        id
    }

    /// A person with an enrolled install.
    pub(crate) fn enrolled(&self, club: ClubId, role: Role, name: &str) -> Identity {
        let (now, key) = (self.now(), self.key);
        let id = PersonId::new(now, secret::random());
        let new = NewPerson { id, club, role, name: name.to_owned() };
        let grant = AtTheMachine.to_keep_accounts();
        self.store().write_blocking(move |db| people::add_person(db, &grant, &new, now)).unwrap();
        let grant = AtTheMachine.to_invite(id, club);
        let invite = self.store().write_blocking(move |db| account::invite(db, &grant, &key, 900_000, now));
        enrol(&self.url(), &invite.unwrap().code, "phone").unwrap()
    }

    fn now(&self) -> Moment {
        Moment(self.time.load(Ordering::SeqCst))
    }

    pub(crate) fn stop(self) {
        self.runtime.block_on(self.running.stop());
    }
}

/// An answer, and the bytes of request and answer as they were on the wire, heads among them.
pub(crate) struct Posted {
    pub(crate) body: Vec<u8>,
    pub(crate) up: usize,
    pub(crate) down: usize,
}

/// Posts an exchange on a connection of its own and gives the body of the answer.
pub(crate) fn post(address: SocketAddr, access: &str, packed: &[u8]) -> Vec<u8> {
    send(address, access, packed).body
}

/// The same as a phone that comes back does it. Works on the calling thread alone.
pub(crate) fn send(address: SocketAddr, access: &str, packed: &[u8]) -> Posted {
    let mut stream = TcpStream::connect(address).unwrap();
    let head = format!(
        "POST /v1/exchange HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {access}\r\n\
         content-type: application/cbor\r\ncontent-encoding: gzip\r\naccept-encoding: gzip\r\n\
         connection: close\r\ncontent-length: {}\r\n\r\n",
        packed.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    stream.write_all(packed).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let (up, down) = (head.len() + packed.len(), answer.len());
    let end = answer.windows(4).position(|w| w == b"\r\n\r\n").unwrap();
    let (head, body) = answer.split_at(end + 4);
    let head = String::from_utf8_lossy(head).to_ascii_lowercase();
    assert!(head.starts_with("http/1.1 200"), "{head}");
    let mut out = Vec::new();
    if head.contains("content-encoding: gzip") {
        GzDecoder::new(body).read_to_end(&mut out).unwrap();
    } else {
        out.extend_from_slice(body);
    }
    Posted { body: out, up, down }
}

/// Packs as the phone's own transport does.
pub(crate) fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

/// Makes a log as a serving process does, every line written to nowhere.
pub(crate) fn log_to_nowhere() {
    let filter = tracing_subscriber::EnvFilter::new("warn,backstraight_server=info");
    tracing_subscriber::fmt()
        .json()
        .flatten_event(true)
        .with_current_span(true)
        .with_span_list(false)
        .with_target(false)
        .with_writer(std::io::sink)
        .with_env_filter(filter)
        .init();
}
