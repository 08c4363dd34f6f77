//! Enrolling, access tokens, refresh tokens.

use backstraight_core::base::id::InstallId;
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::people;
use data_encoding::BASE64URL_NOPAD;
use serde_json::{Value, json};

use crate::support::{Device, Server, code_of, post};

fn refresh(url: &str, token: &str) -> (u16, Value) {
    post(&format!("{url}/v1/token"), None, &json!({ "refresh_token": token }))
}

fn successor(url: &str, token: &str) -> String {
    let answer = refresh(url, token);
    assert_eq!(answer.0, 200, "{}", answer.1);
    answer.1.get("refresh_token").unwrap().as_str().unwrap().to_owned()
}

fn status(device: &Device, access: &str) -> u16 {
    crate::support::post_raw(&device.url, access, &[], &device.up().to_bytes()).0
}

#[test]
fn an_answer_that_was_lost_never_logs_a_phone_out() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let first = phone.refresh;
    // The answer is lost three times, the last time days later.
    let second = successor(&server.url, &first);
    assert_eq!(successor(&server.url, &first), second);
    server.wait(9 * 86_400_000);
    assert_eq!(successor(&server.url, &first), second);
    let third = successor(&server.url, &second);
    assert_ne!(third, second);
    assert_eq!(successor(&server.url, &second), third);
}

#[test]
fn an_old_token_that_comes_back_ends_the_session_of_both() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let athlete = club.person(Role::Athlete, "Mira Aalto");
    let (phone, other) = (club.device(athlete), club.device(athlete));
    let second = successor(&server.url, &phone.refresh);
    let third = successor(&server.url, &second);
    assert_eq!(status(&phone, &phone.access), 200);
    assert_eq!(code_of(&refresh(&server.url, &phone.refresh)), (401, "session-ended"));
    // The whole family is gone, at once; another install of the same person is not touched.
    for token in [&phone.refresh, &second, &third] {
        assert_eq!(code_of(&refresh(&server.url, token)), (401, "session-ended"));
    }
    assert_eq!(status(&phone, &phone.access), 401);
    assert_eq!(status(&other, &other.access), 200);
    successor(&server.url, &other.refresh);
}

#[test]
fn forged_refresh_tokens_do_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let raw = BASE64URL_NOPAD.decode(phone.refresh.as_bytes()).unwrap();
    for n in 0..raw.len() {
        let mut forged = raw.clone();
        forged[n] ^= 1;
        assert_eq!(
            code_of(&refresh(&server.url, &BASE64URL_NOPAD.encode(&forged))),
            (401, "unauthenticated")
        );
    }
    for text in ["", "x", &phone.access, &phone.refresh[1..], &format!("{}=", phone.refresh)] {
        assert_eq!(code_of(&refresh(&server.url, text)), (401, "unauthenticated"), "{text}");
    }
    // None of that ended the session.
    successor(&server.url, &phone.refresh);
}

#[test]
fn a_session_outlives_the_server() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    server.stop();
    let server = Server::on(dir.path());
    assert_eq!(crate::support::post_raw(&server.url, &phone.access, &[], &phone.up().to_bytes()).0, 200);
    successor(&server.url, &phone.refresh);
}

#[test]
fn other_access_tokens_are_refused_by_the_exchange() {
    let (dir, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (server, other) = (Server::on(dir.path()), Server::on(elsewhere.path()));
    let club = server.club("Cinder Lane");
    let athlete = club.person(Role::Athlete, "Mira Aalto");
    let stranger = club.person(Role::Athlete, "Jonas Okafor");
    let phone = club.device(athlete);
    let late = Moment(server.now().0 - 16 * 60_000);
    let early = Moment(server.now().0 + 60_000);
    let parts: Vec<&str> = phone.access.split('.').collect();
    let unsigned = format!("{}.{}.", parts[0], parts[1]);
    let none = BASE64URL_NOPAD.encode(br#"{"alg":"none","typ":"at+jwt"}"#);
    let swapped = server.token(stranger, phone.install, server.now());
    let swapped_parts: Vec<&str> = swapped.split('.').collect();
    let mut bit = phone.access.clone().into_bytes();
    let middle = phone.access.find('.').unwrap() + 5;
    bit[middle] = if bit[middle] == b'A' { b'B' } else { b'A' };
    let vectors = [
        ("none", String::new()),
        ("a word", "token".to_owned()),
        ("expired", server.token(athlete, phone.install, late)),
        ("not yet good", server.token(athlete, phone.install, early)),
        ("another server's", other.token(athlete, phone.install, server.now())),
        ("another person's install", swapped.clone()),
        ("an unknown install", server.token(athlete, InstallId([9; 8]), server.now())),
        ("without its signature", unsigned.clone()),
        ("algorithm none", format!("{none}.{}.", parts[1])),
        ("algorithm none with a signature", format!("{none}.{}.{}", parts[1], parts[2])),
        ("another token's signature", format!("{unsigned}{}", swapped_parts[2])),
        ("another token's claims", format!("{}.{}.{}", parts[0], swapped_parts[1], parts[2])),
        ("a changed bit", String::from_utf8(bit).unwrap()),
        ("cut", phone.access[..phone.access.len() - 1].to_owned()),
        ("longer", format!("{}A", phone.access)),
        ("padded", format!("{}==", phone.access)),
        ("four parts", format!("{}.x", phone.access)),
        ("a refresh token", phone.refresh.clone()),
        ("very long", "a".repeat(6_000)),
    ];
    for (what, token) in vectors {
        assert_eq!(status(&phone, &token), 401, "{what}");
    }
    assert_eq!(status(&phone, &phone.access), 200);
    server.wait(15 * 60_000 + 4_999);
    assert_eq!(status(&phone, &phone.access), 200);
    server.wait(1);
    assert_eq!(status(&phone, &phone.access), 401);
}

#[test]
fn rights_are_looked_up_and_not_remembered() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let athlete = club.person(Role::Athlete, "Mira Aalto");
    let phone = club.device(athlete);
    assert_eq!(status(&phone, &phone.access), 200);
    let (grant, now) = (AtTheMachine.to_keep_accounts(), server.now());
    assert!(server.store().write_blocking(move |db| people::withdraw(db, &grant, athlete, now)).unwrap());
    assert_eq!(status(&phone, &phone.access), 401);
    assert_eq!(code_of(&refresh(&server.url, &phone.refresh)), (401, "unauthenticated"));
}

/// A phone whose token is old is told so while it still sends; then it comes again by the same
/// connection, as clients do when nothing says that it ends.
#[test]
fn a_request_that_is_refused_by_its_head_does_not_cut_off_its_body() {
    use std::io::{BufRead, BufReader, Read, Write};
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let mut body = phone.up().to_bytes();
    let whole = body.len();
    body.resize(1 << 20, 0);
    let mut socket = std::net::TcpStream::connect(server.url.trim_start_matches("http://")).unwrap();
    socket.set_nodelay(true).unwrap();
    socket.set_read_timeout(Some(std::time::Duration::from_secs(20))).unwrap();
    let mut answers = BufReader::new(socket.try_clone().unwrap());
    let pause = || std::thread::sleep(std::time::Duration::from_millis(30));
    let mut ask = |access: &str, body: &[u8]| {
        let head = format!(
            "POST /v1/exchange HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {access}\r\n\
             content-type: application/cbor\r\ncontent-length: {}\r\n\r\n",
            body.len()
        );
        socket.write_all(head.as_bytes()).unwrap();
        pause();
        for part in body.chunks(300_000) {
            socket.write_all(part).unwrap();
            pause();
        }
        let (mut status, mut length, mut line) = (String::new(), 0, String::new());
        while answers.read_line(&mut line).unwrap() > 2 {
            if status.is_empty() {
                status.clone_from(&line);
            }
            if let Some(n) = line.strip_prefix("content-length: ") {
                length = n.trim().parse().unwrap();
            }
            assert!(!line.starts_with("connection: close"));
            line.clear();
        }
        answers.read_exact(&mut vec![0; length]).unwrap();
        status
    };
    for _ in 0..3 {
        assert!(ask("old", &body).starts_with("HTTP/1.1 401"));
    }
    assert!(ask(&phone.access, &body[..whole]).starts_with("HTTP/1.1 200"));
}
