//! Enrolling, access tokens, refresh tokens.

use backstraight_core::base::id::InstallId;
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::people;
use data_encoding::BASE64URL_NOPAD;
use serde_json::{Value, json};

use crate::support::{Device, Key, Server, code_of, post, with};

fn refresh(server: &Server, key: &Key, token: &str) -> (u16, Value) {
    post(&format!("{}/v1/token", server.url), None, &key.refresh(token, server.now()))
}

fn successor(server: &Server, key: &Key, token: &str) -> String {
    let answer = refresh(server, key, token);
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
    let first = phone.refresh.clone();
    // The answer is lost three times, the last time days later.
    let second = successor(&server, &phone.key, &first);
    assert_eq!(successor(&server, &phone.key, &first), second);
    server.wait(9 * 86_400_000);
    assert_eq!(successor(&server, &phone.key, &first), second);
    let third = successor(&server, &phone.key, &second);
    assert_ne!(third, second);
    assert_eq!(successor(&server, &phone.key, &second), third);
}

#[test]
fn an_old_token_that_comes_back_ends_the_session_of_both() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let athlete = club.person(Role::Athlete, "Mira Aalto");
    let (phone, other) = (club.device(athlete), club.device(athlete));
    let second = successor(&server, &phone.key, &phone.refresh);
    let third = successor(&server, &phone.key, &second);
    assert_eq!(status(&phone, &phone.access), 200);
    assert_eq!(code_of(&refresh(&server, &phone.key, &phone.refresh)), (401, "session-ended"));
    // The whole family is gone, at once; another install of the same person is not touched.
    for token in [&phone.refresh, &second, &third] {
        assert_eq!(code_of(&refresh(&server, &phone.key, token)), (401, "session-ended"));
    }
    assert_eq!(status(&phone, &phone.access), 401);
    assert_eq!(status(&other, &other.access), 200);
    successor(&server, &other.key, &other.refresh);
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
            code_of(&refresh(&server, &phone.key, &BASE64URL_NOPAD.encode(&forged))),
            (401, "unauthenticated")
        );
    }
    for text in ["", "x", &phone.access, &phone.refresh[1..], &format!("{}=", phone.refresh)] {
        assert_eq!(code_of(&refresh(&server, &phone.key, text)), (401, "unauthenticated"), "{text}");
    }
    // None of that ended the session.
    successor(&server, &phone.key, &phone.refresh);
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
    successor(&server, &phone.key, &phone.refresh);
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
    assert_eq!(code_of(&refresh(&server, &phone.key, &phone.refresh)), (401, "unauthenticated"));
}

#[test]
fn a_stolen_refresh_token_alone_is_useless_and_harmless() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let url = format!("{}/v1/token", server.url);
    let at = server.now();
    let good = phone.key.refresh(&phone.refresh, at);
    let second = successor(&server, &phone.key, &phone.refresh);
    let third = successor(&server, &phone.key, &second);
    for (what, body, want) in [
        ("no proof", json!({ "refresh_token": third }), (401, "unauthenticated")),
        ("another key", Key::fresh().refresh(&third, at), (401, "unauthenticated")),
        (
            "another token's proof",
            with(good.clone(), json!({ "refresh_token": third })),
            (401, "unauthenticated"),
        ),
        (
            "another time",
            with(phone.key.refresh(&third, at), json!({ "at": at.0 + 1 })),
            (401, "unauthenticated"),
        ),
        (
            "no time",
            json!({ "refresh_token": third, "signature": good["signature"] }),
            (401, "unauthenticated"),
        ),
        ("an old token without a proof", json!({ "refresh_token": phone.refresh }), (401, "unauthenticated")),
        ("an old token by a thief", Key::fresh().refresh(&phone.refresh, at), (401, "unauthenticated")),
        ("no signature", with(good.clone(), json!({ "signature": "x" })), (422, "field")),
        ("a word for a time", with(good.clone(), json!({ "at": "now" })), (400, "malformed")),
        ("a huge time", with(good.clone(), json!({ "at": 1e300 })), (400, "malformed")),
        ("a far time", phone.key.refresh(&third, Moment(i64::MIN)), (400, "clock")),
    ] {
        assert_eq!(code_of(&post(&url, None, &body)), want, "{what}");
    }
    // None of that ended the session, and an old request is of no use later.
    successor(&server, &phone.key, &third);
    server.wait(5 * 60_000 + 1);
    assert_eq!(code_of(&post(&url, None, &good)), (400, "clock"));
}

#[test]
fn of_many_refreshes_at_once_there_is_one_successor() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let mut token = phone.refresh.clone();
    for _ in 0..5 {
        let url = format!("{}/v1/token", server.url);
        let body = phone.key.refresh(&token, server.now());
        let asked: Vec<_> = (0..40)
            .map(|_| {
                let (url, body) = (url.clone(), body.clone());
                std::thread::spawn(move || post(&url, None, &body))
            })
            .collect();
        let given: std::collections::BTreeSet<String> = asked
            .into_iter()
            .map(|t| {
                let (status, answer) = t.join().unwrap();
                assert_eq!(status, 200, "{answer}");
                answer["refresh_token"].as_str().unwrap().to_owned()
            })
            .collect();
        assert_eq!(given.len(), 1);
        token = given.into_iter().next().unwrap();
    }
}

#[test]
fn a_phone_with_a_wrong_clock_is_told_the_time_and_comes_again() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let url = format!("{}/v1/token", server.url);
    for apart in [-300_001, 300_001, -86_400_000 * 400] {
        let wrong = Moment(server.now().0 + apart);
        let answer = post(&url, None, &phone.key.refresh(&phone.refresh, wrong));
        assert_eq!(code_of(&answer), (400, "clock"));
        let told = answer.1.get("now").unwrap().as_i64().unwrap();
        assert_eq!(post(&url, None, &phone.key.refresh(&phone.refresh, Moment(told))).0, 200);
    }
    let near = Moment(server.now().0 - 300_000);
    assert_eq!(post(&url, None, &phone.key.refresh(&phone.refresh, near)).0, 200);
}

#[test]
fn sessions_end_with_time_and_only_the_exchange_ends_with_them() {
    const DAY: i64 = 86_400_000;
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (idle, busy) = (club.device(mira), club.device(mira));
    server.wait(60 * DAY - 1);
    let next = successor(&server, &busy.key, &busy.refresh);
    server.wait(1);
    assert_eq!(code_of(&refresh(&server, &idle.key, &idle.refresh)), (401, "session-expired"));
    let mut token = successor(&server, &busy.key, &next);
    server.wait(59 * DAY);
    token = successor(&server, &busy.key, &token);
    server.wait(59 * DAY);
    token = successor(&server, &busy.key, &token);
    server.wait(2 * DAY - 1);
    token = successor(&server, &busy.key, &token);
    server.wait(1);
    assert_eq!(code_of(&refresh(&server, &busy.key, &token)), (401, "session-expired"));
    // A new invitation starts another, and what the old install wrote stays its own.
    let again = club.device(mira);
    assert_eq!(status(&again, &again.access), 200);
    let strict = tempfile::tempdir().unwrap();
    let server = Server::with(strict.path(), |c| (c.idle_days, c.session_days) = (1, 2));
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    server.wait(DAY);
    assert_eq!(code_of(&refresh(&server, &phone.key, &phone.refresh)), (401, "session-expired"));
}

#[test]
fn keys_of_access_tokens_change_and_no_good_token_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let keys = || crate::support::get(&format!("{}/.well-known/jwks.json", server.url)).1["keys"].clone();
    let before = keys();
    assert_eq!(before.as_array().unwrap().len(), 1);
    assert_eq!((&before[0]["kty"], &before[0]["crv"]), (&json!("OKP"), &json!("Ed25519")));
    let header = |token: &str| -> Value {
        serde_json::from_slice(&BASE64URL_NOPAD.decode(token.split('.').next().unwrap().as_bytes()).unwrap())
            .unwrap()
    };
    assert_eq!(header(&phone.access)["kid"], before[0]["kid"]);
    let folder = backstraight_server::folder::Folder::open(dir.path()).unwrap();
    folder.rotate_signing(server.now().plus_ms(1_000_000)).unwrap();
    server.renew_keys();
    let after = keys();
    assert_eq!(after.as_array().unwrap().len(), 2);
    assert_ne!(after[0]["kid"], before[0]["kid"]);
    assert_eq!(after[1], before[0]);
    // An old token is good for its life; a new one is signed by the new key, which anybody can check.
    assert_eq!(status(&phone, &phone.access), 200);
    let answer = refresh(&server, &phone.key, &phone.refresh);
    let new = answer.1["access_token"].as_str().unwrap().to_owned();
    assert_eq!(header(&new)["kid"], after[0]["kid"]);
    assert_eq!(status(&phone, &new), 200);
    let point = BASE64URL_NOPAD.decode(after[0]["x"].as_str().unwrap().as_bytes()).unwrap();
    let key = ed25519_dalek::VerifyingKey::from_bytes(&point.try_into().unwrap()).unwrap();
    let (signed, signature) = new.rsplit_once('.').unwrap();
    let signature = BASE64URL_NOPAD.decode(signature.as_bytes()).unwrap();
    let signature = ed25519_dalek::Signature::from_slice(&signature).unwrap();
    key.verify_strict(signed.as_bytes(), &signature).unwrap();
    // The retired key ends with the last of its tokens.
    server.wait(1_000_000);
    assert_eq!(keys().as_array().unwrap().len(), 1);
    assert_eq!(status(&phone, &server.token(phone.person, phone.install, server.now())), 200);
    assert_eq!(status(&phone, &phone.access), 401);
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
