//! Bodies that are cut, too large, packed to hurt or no request at all; answers that are cut.

use std::io::{Read, Write};

use backstraight_core::base::day::Month;
use backstraight_core::doc::thin;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::{Down, MAX_BODY, MAX_DOCS};
use backstraight_core::model::name::DocName;
use backstraight_server::exchange::gzip;
use backstraight_server::job::compact;
use backstraight_server::store::document;
use serde_json::Value;

use crate::support::{Device, Server, about, changes, log, post_raw, refusal};

fn said(device: &Device, headers: &[(&str, &str)], body: &[u8]) -> (u16, String) {
    let (status, bytes) = post_raw(&device.url, &device.access, headers, body);
    let code = serde_json::from_slice::<Value>(&bytes)
        .ok()
        .and_then(|v| v.get("code").and_then(Value::as_str).map(str::to_owned))
        .unwrap_or_default();
    (status, code)
}

fn one() -> (tempfile::TempDir, Server, Device) {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    phone.say(log(mira), "one");
    (dir, server, phone)
}

#[test]
fn bodies_that_are_no_request_write_nothing() {
    let (_dir, server, phone) = one();
    let body = phone.up().to_bytes();
    let packed = gzip::pack(&body);
    let refused = |status: u16, code: &str| (status, code.to_owned());
    let malformed = refused(400, "malformed");
    for n in [0, 1, body.len() / 2, body.len() - 1] {
        assert_eq!(said(&phone, &[], &body[..n]), malformed, "cut at {n}");
    }
    for n in [0, 1, 9, packed.len() / 2, packed.len() - 1] {
        assert_eq!(said(&phone, &[("content-encoding", "gzip")], &packed[..n]), malformed, "cut at {n}");
    }
    assert_eq!(said(&phone, &[("content-encoding", "gzip")], &body), malformed);
    assert_eq!(said(&phone, &[("content-encoding", "br")], &body), refused(415, "media-type"));
    let mut up = phone.up();
    up.protocol = 2;
    assert_eq!(said(&phone, &[], &up.to_bytes()), refused(400, "version"));
    let mut up = phone.up();
    up.docs.push(up.docs[0].clone());
    assert_eq!(said(&phone, &[], &up.to_bytes()), refused(422, "field"));
    let mut up = phone.up();
    up.docs = vec![up.docs[0].clone(); MAX_DOCS + 1];
    assert_eq!(said(&phone, &[], &up.to_bytes()), refused(422, "field"));
    assert!(server.store().read_blocking(document::all).unwrap().is_empty());
    // The same bytes, whole: taken, packed or not.
    assert_eq!(said(&phone, &[("content-encoding", "gzip")], &packed).0, 200);
    assert_eq!(said(&phone, &[("content-encoding", "identity")], &body).0, 200);
}

#[test]
fn another_type_of_body_is_refused() {
    let (_dir, server, phone) = one();
    let mut answer = crate::support::agent()
        .post(format!("{}/v1/exchange", server.url))
        .header("authorization", &format!("Bearer {}", phone.access))
        .header("content-type", "application/json")
        .send(phone.up().to_bytes())
        .unwrap();
    assert_eq!(answer.status().as_u16(), 415);
    let kind = answer.headers().get("content-type").unwrap().to_str().unwrap().to_owned();
    assert_eq!(kind, "application/problem+json");
    let body: Value = serde_json::from_str(&answer.body_mut().read_to_string().unwrap()).unwrap();
    assert_eq!((body["status"].as_u64(), body["code"].as_str()), (Some(415), Some("media-type")));
    assert_eq!(answer.headers().get("x-request-id").unwrap().len(), 16);
}

#[test]
fn large_bodies_and_bombs_are_refused() {
    let (_dir, _server, phone) = one();
    let large = (413, "too-large".to_owned());
    // One byte over the limit: refused when it is announced, before anything was sent; and when
    // it was not announced, as soon as it is there.
    assert!(
        raw(&phone, &format!("content-length: {}\r\n\r\n", MAX_BODY + 1), &[]).starts_with("HTTP/1.1 413")
    );
    let mut body = format!("{:x}\r\n", MAX_BODY + 1).into_bytes();
    body.resize(body.len() + MAX_BODY + 1, 0);
    assert!(raw(&phone, "transfer-encoding: chunked\r\n\r\n", &body).starts_with("HTTP/1.1 413"));
    assert_eq!(said(&phone, &[], &vec![0; MAX_BODY]), (400, "malformed".to_owned()));
    let bomb = gzip::pack(&vec![0; 256 << 20]);
    assert!(bomb.len() < 400_000);
    assert_eq!(said(&phone, &[("content-encoding", "gzip")], &bomb), large);
    // Within the limit of bytes but packed as nothing honest is.
    let mut up = phone.up();
    up.docs[0].changes = Some(vec![0; 4 << 20].into());
    assert_eq!(said(&phone, &[("content-encoding", "gzip")], &gzip::pack(&up.to_bytes())), large);
    // The same unpacked is a request, with something for the gate to refuse.
    let down = phone.send(&up);
    assert!(!refusal(&down, log(phone.person)).is_empty());
    // A thin form that wants to become large is the gate's to refuse.
    let mut up = phone.up();
    up.docs[0].changes = Some(thin::pack(&[7; 100]).into());
    assert_ne!(refusal(&phone.send(&up), log(phone.person)), "Some(Accepted)");
}

/// Speaks to the exchange by hand; what is answered.
fn raw(device: &Device, rest: &str, body: &[u8]) -> String {
    let mut socket = std::net::TcpStream::connect(device.url.trim_start_matches("http://")).unwrap();
    let head = format!(
        "POST /v1/exchange HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {}\r\ncontent-type: application/cbor\r\n",
        device.access
    );
    socket.write_all(head.as_bytes()).unwrap();
    socket.write_all(rest.as_bytes()).unwrap();
    socket.write_all(body).unwrap();
    let mut answer = [0; 1_000];
    let n = socket.read(&mut answer).unwrap();
    String::from_utf8_lossy(&answer[..n]).into_owned()
}

#[test]
fn a_body_that_does_not_come_is_given_up() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.request_seconds = 1);
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let answer = raw(&phone, "content-length: 100\r\n\r\n", &[1, 2, 3]);
    assert!(answer.starts_with("HTTP/1.1 503") && answer.contains("time-out"), "{answer}");
}

#[test]
fn connections_beyond_the_limit_wait_for_a_place() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.connections = 2);
    let address = server.url.trim_start_matches("http://").to_owned();
    let ask = || {
        let mut socket = std::net::TcpStream::connect(&address).unwrap();
        socket.write_all(b"GET /healthz HTTP/1.1\r\nhost: x\r\n\r\n").unwrap();
        socket.set_read_timeout(Some(std::time::Duration::from_millis(500))).unwrap();
        socket
    };
    let answered = |socket: &mut std::net::TcpStream| {
        let mut answer = [0; 300];
        socket.read(&mut answer).is_ok_and(|n| answer[..n].starts_with(b"HTTP/1.1 200"))
    };
    let (mut first, mut second) = (ask(), ask());
    assert!(answered(&mut first) && answered(&mut second));
    let mut third = ask();
    assert!(!answered(&mut third));
    drop(first);
    assert!(answered(&mut third));
}

/// The length is announced, the body breaks off.
#[test]
fn a_connection_that_breaks_off_writes_nothing() {
    let (_dir, server, phone) = one();
    let body = phone.up().to_bytes();
    let mut socket = std::net::TcpStream::connect(server.url.trim_start_matches("http://")).unwrap();
    write!(
        socket,
        "POST /v1/exchange HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {}\r\ncontent-type: application/cbor\r\n\
         content-length: {}\r\n\r\n",
        phone.access,
        body.len()
    )
    .unwrap();
    socket.write_all(&body[..body.len() - 5]).unwrap();
    drop(socket);
    assert_eq!(said(&phone, &[], &body[..3]).0, 400);
    assert!(server.store().read_blocking(document::all).unwrap().is_empty());
}

#[test]
fn answers_are_packed_for_those_who_take_it() {
    let (_dir, _server, mut phone) = one();
    for n in 0..60 {
        phone.say(log(phone.person), &format!("set {n}"));
    }
    phone.exchange();
    let mut up = phone.up();
    up.docs.clear();
    let (_, plain) = post_raw(&phone.url, &phone.access, &[("accept-encoding", "identity")], &up.to_bytes());
    assert!(Down::from_bytes(&plain).is_ok());
    let (_, packed) = post_raw(&phone.url, &phone.access, &[("accept-encoding", "gzip;q=0")], &up.to_bytes());
    assert_eq!(Down::from_bytes(&packed).unwrap().docs, Down::from_bytes(&plain).unwrap().docs);
    let (_, packed) = post_raw(&phone.url, &phone.access, &[("accept-encoding", "br, gzip")], &up.to_bytes());
    // The client of these tests unpacks by itself when it asked by itself; here it did not.
    let unpacked = if packed.starts_with(&[0x1f, 0x8b]) {
        gzip::unpack(&packed, MAX_BODY, 100).unwrap()
    } else {
        packed
    };
    assert_eq!(Down::from_bytes(&unpacked).unwrap().docs, Down::from_bytes(&plain).unwrap().docs);
}

#[test]
fn an_answer_that_is_too_long_goes_on_in_the_next() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.answer_bytes = 4_096);
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let mut phone = club.device(mira);
    let months: Vec<DocName> = (1..=12).map(|m| DocName::Log(mira, Month::new(2026, m).unwrap())).collect();
    for round in 0..12 {
        for name in &months {
            phone.say(*name, &format!("{round} {}", "words ".repeat(20)));
        }
        phone.settle();
    }
    let mut desk = club.device(ruth);
    let first = desk.exchange();
    assert!(first.more);
    let rounds = desk.settle();
    assert!(rounds > 5, "{rounds}");
    for name in &months {
        assert_eq!(desk.heads(*name), phone.heads(*name), "{name}");
    }
    // The same from compacted documents, where one document alone is longer than an answer.
    for doc in server.store().read_blocking(document::all).unwrap() {
        compact::one(&server.store(), None, doc.id, server.now()).unwrap();
    }
    for name in &months {
        phone.say(*name, "one more");
    }
    phone.settle();
    for doc in server.store().read_blocking(document::all).unwrap() {
        compact::one(&server.store(), None, doc.id, server.now()).unwrap();
    }
    let mut late = club.device(ruth);
    let down = late.exchange();
    assert!(down.more && down.docs.iter().any(|d| d.cursor > 1 << 40), "cut inside a document");
    assert!(late.settle() > 5);
    for name in &months {
        assert_eq!(late.heads(*name), phone.heads(*name), "{name}");
        assert_eq!(late.copies[name].cursor, 13);
    }
    assert!(!desk.exchange().more);
    assert_eq!(changes(&desk.exchange(), months[0]), 0);
}

#[test]
fn more_changes_than_the_gate_takes_at_once_go_in_slices_and_come_back_in_slices() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    for n in 0..2_100 {
        phone.say(log(mira), &format!("{n}"));
    }
    let down = phone.exchange();
    assert_eq!(about(&down, log(mira)).unwrap().cursor, 2);
    assert_eq!(changes(&down, log(mira)), 0);
    let mut tablet = club.device(mira);
    let down = tablet.exchange();
    assert!(down.more);
    tablet.settle();
    assert_eq!(tablet.heads(log(mira)), phone.heads(log(mira)));
}

#[test]
fn why_a_phone_is_not_heard_is_told_to_whoever_reads_the_board() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, coach) =
        (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::HeadCoach, "Marta Quillfeather"));
    let desk = club.device(coach);
    let told = || {
        let answer = crate::support::agent()
            .get(format!("{}/v1/board", server.url))
            .header("authorization", &format!("Bearer {}", desk.access))
            .call();
        let board = answer.unwrap().body_mut().read_to_vec().unwrap();
        let board: Value = serde_json::from_slice(&board).unwrap();
        board["athletes"][0]["silence"].as_str().map_or(String::new(), str::to_owned)
    };
    assert!(told().contains("no phone yet"), "{}", told());
    let phone = club.device(mira);
    assert_eq!(told(), "");
    let mut old = phone.up();
    old.protocol = 2;
    assert_eq!(said(&phone, &[], &old.to_bytes()), (400, "version".to_owned()));
    assert!(told().contains("another version"), "{}", told());
    let mut wrong = phone.up();
    wrong.local_day = "1970-01-01".to_owned();
    phone.send(&wrong);
    assert!(told().contains("date is wrong"), "{}", told());
    phone.send(&phone.up());
    assert_eq!(told(), "");
    let install = phone.install;
    server
        .store()
        .write_blocking(move |db| {
            db.execute("UPDATE install SET withdrawn_at = 1 WHERE id = ?1", [install.0])?;
            Ok(())
        })
        .unwrap();
    assert!(told().contains("withdrawn"), "{}", told());
}
