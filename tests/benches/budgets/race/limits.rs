//! What no server of this kind can be quicker than: a bare database that is given the bytes of each phone, and a bare
//! HTTP server that says each of them back. Knows nothing of documents.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::sync::Mutex;

use axum::Router;
use axum::body::Bytes;
use axum::extract::DefaultBodyLimit;
use axum::routing::post;

use super::line::Line;
use crate::burst::{Process, count, within_ten_seconds};
use crate::documents::Club;
use crate::measure::{machine_s, program_ms};
use crate::upload::{Fortnight, raw};

/// The word by which this program becomes such a server.
pub(crate) const ECHO: &str = "--serve-echo";

/// Both, for so many phones.
pub(crate) fn lines(club: &Club, phones: usize) -> Vec<Line> {
    let bytes = Fortnight::of_one(club).upload;
    vec![bare_database(&bytes, phones), bare_echo(&bytes, phones)]
}

/// A row for each phone, committed and synced.
fn bare_database(bytes: &[u8], phones: usize) -> Line {
    let dir = tempfile::tempdir().unwrap();
    let db = Mutex::new(raw(dir.path()));
    let (own, machine) = (program_ms(), machine_s());
    let (times, elapsed) = within_ten_seconds(phones, |_| {
        db.lock().unwrap().execute("INSERT INTO bare (body) VALUES (?1)", [bytes]).unwrap();
    });
    let spent = (program_ms() - own) / 1e3;
    let mut line = Line::acknowledged("limit: a row each in bare SQLite", phones, &times, elapsed);
    "in this program, without a server".clone_into(&mut line.client);
    line.server_cpu_s = Some(spent);
    line.bytes_up = Some(count(bytes.len()));
    line.durable_s = Some(elapsed);
    line.durable = Some(phones);
    line.others_cpu_s = Some((machine_s() - machine - spent).max(0.0));
    format!("{} B, WAL, synchronous=FULL; CPU with the threads that wait", bytes.len())
        .clone_into(&mut line.note);
    line
}

/// The same bytes there and back.
fn bare_echo(bytes: &[u8], phones: usize) -> Line {
    let server = Process::start(&[ECHO], Path::new("."), None);
    let (own, cpu, machine) = (program_ms(), server.cpu_ms(), machine_s());
    let head = format!(
        "POST / HTTP/1.1\r\nhost: {}\r\nconnection: close\r\ncontent-length: {}\r\n\r\n",
        server.address,
        bytes.len()
    );
    let heard = Mutex::new(0);
    let (times, elapsed) = within_ten_seconds(phones, |_| {
        let mut stream = TcpStream::connect(server.address).unwrap();
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(bytes).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        assert!(answer.ends_with(bytes));
        *heard.lock().unwrap() += answer.len();
    });
    let spent = (server.cpu_ms() - cpu) / 1e3;
    let mut line = Line::acknowledged("limit: bare HTTP, said back", phones, &times, elapsed);
    "ours, a connection each".clone_into(&mut line.client);
    line.server_cpu_s = Some(spent);
    line.peak_mb = Some(server.peak_mb());
    line.bytes_up = Some(count(head.len() + bytes.len()));
    line.bytes_down = Some(count(heard.into_inner().unwrap()) / count(phones));
    line.turns = Some(1.0);
    line.others_cpu_s = Some((machine_s() - machine - spent - (program_ms() - own) / 1e3).max(0.0));
    "nothing is kept".clone_into(&mut line.note);
    server.kill();
    line
}

/// What [`ECHO`] runs, until it is killed.
pub(crate) fn serve() {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        println!("{}", listener.local_addr().unwrap());
        let app =
            Router::new().route("/", post(|body: Bytes| async { body })).layer(DefaultBodyLimit::disable());
        axum::serve(listener, app).await.unwrap();
    });
}
