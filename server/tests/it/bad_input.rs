//! What nobody should send, to every route that there is: each answer is a problem with a code, none is
//! a mistake of the server, and nothing is stored.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;

use backstraight_core::base::id::PersonId;
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use data_encoding::BASE64URL_NOPAD;
use serde_json::{Value, json};

use crate::raw::{Answer, Route, connect, read, request, routes, send};
use crate::support::{Device, Server, log};

/// Rows of every table.
fn rows(data: &Path) -> BTreeMap<String, i64> {
    let db = rusqlite::Connection::open(data.join("backstraight.db")).unwrap();
    let mut tables = db.prepare("SELECT name FROM sqlite_master WHERE type = 'table'").unwrap();
    let names: Vec<String> = tables.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
    let count =
        |name: &String| db.query_row(&format!("SELECT count(*) FROM \"{name}\""), [], |r| r.get(0)).unwrap();
    names.iter().map(|name| (name.clone(), count(name))).collect()
}

struct Stage<'a> {
    server: &'a Server,
    stranger: PersonId,
    owner: Device,
    coach: Device,
    phone: Device,
}

/// Two clubs, with something written in both.
fn stage(server: &Server) -> Stage<'_> {
    let (club, other) = (server.club("Cinder Lane"), server.club("Quarry Park"));
    let mut phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let owner = club.device(club.person(Role::Owner, "Marta Quillfeather"));
    let coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let mut far = other.device(other.person(Role::Athlete, "Ilse Brandt"));
    for device in [&mut phone, &mut far] {
        device.say(log(device.person), "a word");
        device.settle();
    }
    Stage { server, stranger: far.person, owner, coach, phone }
}

fn open(dir: &Path) -> Server {
    Server::with(dir, |c| {
        c.without_projector = true;
        c.limits.install_minute = 1_000_000;
        c.limits.address_minute = 1_000_000;
        c.limits.wrong_codes = 100_000;
    })
}

impl Stage<'_> {
    fn ask(&self, route: &Route, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        send(&self.server.url, &request(&route.method, path, headers, body))
    }
}

/// A problem that is the sender's.
fn refused(what: &str, answer: &Answer) -> String {
    assert!((400..500).contains(&answer.status), "{what}: {answer:?}");
    let code = answer.code();
    assert!(!code.is_empty(), "{what}");
    code
}

/// The token with another header or without a signature, and others that are none.
fn wrong_tokens(stage: &Stage<'_>) -> Vec<(&'static str, String)> {
    let good = &stage.owner.access;
    let parts: Vec<&str> = good.split('.').collect();
    let head: Value = serde_json::from_slice(&BASE64URL_NOPAD.decode(parts[0].as_bytes()).unwrap()).unwrap();
    let with = |name: &str, value: Value| {
        let mut head = head.clone();
        head[name] = value;
        BASE64URL_NOPAD.encode(head.to_string().as_bytes())
    };
    let none = with("alg", json!("none"));
    let now = stage.server.now();
    let at = |ms| stage.server.token(stage.owner.person, stage.owner.install, Moment(now.0 + ms));
    let claims: Value =
        serde_json::from_slice(&BASE64URL_NOPAD.decode(parts[1].as_bytes()).unwrap()).unwrap();
    let key = jsonwebtoken::EncodingKey::from_secret(b"a key of somebody else");
    let hmac = jsonwebtoken::encode(&jsonwebtoken::Header::default(), &claims, &key).unwrap();
    vec![
        ("expired", at(-3_600_000)),
        ("of the future", at(3_600_000)),
        ("alg none, no signature", format!("{none}.{}.", parts[1])),
        ("alg none, signed", format!("{none}.{}.{}", parts[1], parts[2])),
        ("alg HS256", hmac),
        (
            "alg HS256 over the old signature",
            format!("{}.{}.{}", with("alg", json!("HS256")), parts[1], parts[2]),
        ),
        ("crit", format!("{}.{}.{}", with("crit", json!(["exp"])), parts[1], parts[2])),
        ("a key of its own", format!("{}.{}.{}", with("jwk", json!({})), parts[1], parts[2])),
        ("no signature", format!("{}.{}.", parts[0], parts[1])),
        ("cut", good[..good.len() - 1].to_owned()),
        ("long", "a".repeat(9_000)),
        ("a refresh token", stage.owner.refresh.clone()),
        ("empty", String::new()),
    ]
}

#[test]
fn no_route_takes_a_wrong_token_or_two() {
    let dir = tempfile::tempdir().unwrap();
    let server = open(dir.path());
    let stage = stage(&server);
    let before = rows(dir.path());
    let good = format!("Bearer {}", stage.owner.access);
    let mut tried = 0;
    for route in routes().into_iter().filter(|r| r.secured) {
        let path = route.at(&stage.phone.person.to_string());
        let what = format!("{} {path}", route.method);
        let mut is_refused = |why: &str, headers: &[(&str, &str)]| {
            let headers = [headers, &[("content-type", "application/json")]].concat();
            let answer = stage.ask(&route, &path, &headers, b"{}");
            assert_eq!(
                (answer.status, refused(&what, &answer).as_str()),
                (401, "unauthenticated"),
                "{what}: {why}"
            );
            assert_eq!(answer.header("www-authenticate"), Some("Bearer"));
            tried += 1;
        };
        is_refused("none", &[]);
        is_refused("two", &[("authorization", &good), ("authorization", &good)]);
        is_refused("another scheme", &[("authorization", &good.replace("Bearer", "Basic"))]);
        is_refused("in a cookie", &[("cookie", &good)]);
        for (why, token) in wrong_tokens(&stage) {
            is_refused(why, &[("authorization", &format!("Bearer {token}"))]);
        }
    }
    assert!(tried > 200, "{tried}");
    assert_eq!(rows(dir.path()), before);
}

#[test]
fn no_route_takes_an_identity_of_another_club_or_none() {
    let dir = tempfile::tempdir().unwrap();
    let server = open(dir.path());
    let stage = stage(&server);
    let before = rows(dir.path());
    let stranger = stage.stranger.to_string();
    let long = "9".repeat(5_000);
    let ids =
        [&stranger, "%FF%FE", "%00", "%2e%2e%2f", "0", "-1", "99999999999999999999999", &long, "%", "%zz"];
    let mut tried = 0;
    for route in routes().into_iter().filter(Route::has_id) {
        for device in [&stage.owner, &stage.coach, &stage.phone] {
            let bearer = format!("Bearer {}", device.access);
            let headers = [("authorization", bearer.as_str()), ("content-type", "application/json")];
            for id in ids {
                let path = route.at(id);
                // A body that fits where there is one, as far as the names of its fields go.
                let fields = route.fields.iter().flatten().map(|f| (f.clone(), json!(stranger)));
                let body = Value::Object(fields.collect()).to_string();
                let answer = stage.ask(&route, &path, &headers, body.as_bytes());
                let code = refused(&path, &answer);
                let known = ["not-found", "not-allowed", "malformed", "field"].contains(&code.as_str());
                assert!(known, "{} {path}: {answer:?}", route.method);
                tried += 1;
            }
        }
    }
    assert!(tried > 200, "{tried}");
    // The same identity in a body.
    let coach = format!("Bearer {}", stage.coach.access);
    let headers = [("authorization", coach.as_str()), ("content-type", "application/json")];
    let body = json!({ "person": stranger }).to_string();
    let answer = send(&server.url, &request("POST", "/v1/invites", &headers, body.as_bytes()));
    assert_eq!((answer.status, answer.code().as_str()), (404, "not-found"));
    assert_eq!(rows(dir.path()), before);
}

#[test]
fn no_query_breaks_a_route() {
    let dir = tempfile::tempdir().unwrap();
    let server = open(dir.path());
    let stage = stage(&server);
    let before = rows(dir.path());
    let bearer = format!("Bearer {}", stage.coach.access);
    let headers = [("authorization", bearer.as_str())];
    let long = "9".repeat(5_000);
    let values = [
        "%FF",
        "%00",
        "-1",
        "0",
        "1e400",
        "99999999999999999999999",
        "0001-01-01",
        "9999-12-31",
        "2026-02-30",
        &long,
        "%F0%9F%92%A9",
        "[]",
        "true",
    ];
    let mut refusals = 0;
    for route in routes().into_iter().filter(|r| !r.query.is_empty()) {
        let path = route.at(&stage.phone.person.to_string());
        let unknown = stage.ask(&route, &format!("{path}?nonsense=1"), &headers, b"");
        // Where the path names a session, there is none of that key.
        let code = refused(&path, &unknown);
        assert!(["field", "not-found", "not-allowed"].contains(&code.as_str()), "{path}: {code}");
        for name in &route.query {
            let doubled = stage.ask(&route, &format!("{path}?{name}=1&{name}=1"), &headers, b"");
            refused(&path, &doubled);
            for value in values {
                let path = format!("{path}?{name}={value}");
                let answer = stage.ask(&route, &path, &headers, b"");
                assert!(answer.status < 500, "{path}: {answer:?}");
                if answer.status >= 400 {
                    refused(&path, &answer);
                    refusals += 1;
                }
            }
            for bad in ["%FF", "99999999999999999999999", &long] {
                refused(&path, &stage.ask(&route, &format!("{path}?{name}={bad}"), &headers, b""));
            }
        }
    }
    assert!(refusals > 100, "{refusals}");
    assert_eq!(rows(dir.path()), before);
}

/// Bodies that are no JSON object of any route.
fn wrong_bodies(fields: &[String]) -> Vec<Vec<u8>> {
    let mut bodies: Vec<Vec<u8>> = vec![
        b"".to_vec(),
        b"{".to_vec(),
        b"{}".to_vec(),
        b"[]".to_vec(),
        b"null".to_vec(),
        b"\"text\"".to_vec(),
        b"1e400".to_vec(),
        b"{\"\xff\":1}".to_vec(),
        b"{}{}".to_vec(),
        b"\xef\xbb\xbf{}".to_vec(),
        "[".repeat(10_000).into_bytes(),
        "{\"a\":".repeat(3_000).into_bytes(),
    ];
    for field in fields {
        for value in [
            "null,\"surplus\":1",
            "1e400",
            "-1",
            "99999999999999999999999",
            "[]",
            "{}",
            "[[[[1]]]]",
            "\"\\ud800\"",
            "\"\\u0000\"",
            "\"\"",
            "0.5",
            "\"\u{202e}\"",
        ] {
            bodies.push(format!("{{\"{field}\":{value}}}").into_bytes());
        }
        bodies.push(format!("{{\"{field}\":\"x\",\"{field}\":\"x\"}}").into_bytes());
        bodies.push([b"{\"", field.as_bytes(), b"\":\"\xc3\x28\"}"].concat());
    }
    bodies
}

#[test]
fn no_body_breaks_a_route() {
    let dir = tempfile::tempdir().unwrap();
    let server = open(dir.path());
    let stage = stage(&server);
    let before = rows(dir.path());
    let bearer = format!("Bearer {}", stage.owner.access);
    let json = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let mut tried = 0;
    for route in routes() {
        let Some(fields) = &route.fields else { continue };
        let path = route.at(&stage.phone.person.to_string());
        for body in wrong_bodies(fields) {
            // Where nothing has to be said, nothing is a thing to say.
            if body == b"{}" && !route.needs {
                continue;
            }
            let answer = stage.ask(&route, &path, &json, &body);
            refused(&format!("{path} {}", String::from_utf8_lossy(&body[..body.len().min(80)])), &answer);
            tried += 1;
        }
        for types in [
            &["text/plain"][..],
            &["application/xml"],
            &[],
            &["application/json", "text/plain"],
            &["application/jsonx"],
        ] {
            let headers: Vec<_> =
                json[..1].iter().copied().chain(types.iter().map(|t| ("content-type", *t))).collect();
            assert_eq!(
                refused(&path, &stage.ask(&route, &path, &headers, b"{}")),
                "media-type",
                "{path} {types:?}"
            );
        }
    }
    assert!(tried > 80, "{tried}");
    // The exchange speaks CBOR.
    let cbor = [("authorization", bearer.as_str()), ("content-type", "application/cbor")];
    for body in [
        &b""[..],
        b"{}",
        &[0xff; 40],
        &[0x81; 5_000],
        &[0xa1, 0x1b, 0xff],
        &[0xbf],
        &[0x9b, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff],
    ] {
        let answer = send(&server.url, &request("POST", "/v1/exchange", &cbor, body));
        refused(&format!("{body:?}"), &answer);
    }
    let twice = [&cbor[..], &[("content-encoding", "gzip"), ("content-encoding", "identity")]].concat();
    assert_eq!(
        refused("codings", &send(&server.url, &request("POST", "/v1/exchange", &twice, b"x"))),
        "media-type"
    );
    assert_eq!(rows(dir.path()), before);
}

#[test]
fn no_other_method_and_no_odd_head_does_anything() {
    let dir = tempfile::tempdir().unwrap();
    let server = open(dir.path());
    let stage = stage(&server);
    let before = rows(dir.path());
    let bearer = format!("Bearer {}", stage.owner.access);
    let headers = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let all = routes();
    for route in &all {
        for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "INVENTED"] {
            if all.iter().any(|r| r.path == route.path && r.method == method) {
                continue;
            }
            let path = route.at(&stage.phone.person.to_string());
            let answer = send(&server.url, &request(method, &path, &headers, b"{}"));
            assert_eq!(
                (answer.status, answer.code().as_str()),
                (405, "method-not-allowed"),
                "{method} {path}"
            );
            assert!(answer.header("allow").is_some(), "{method} {path}: {answer:?}");
        }
    }
    // What is no HTTP is refused before any route, without a body.
    let post = "POST /v1/token HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\n";
    let long = format!("GET /healthz HTTP/1.1\r\nhost: x\r\nx-long: {}\r\n\r\n", "x".repeat(100_000));
    for bytes in [
        format!("{post}content-length: 2\r\ncontent-length: 3\r\n\r\n{{}}"),
        format!("{post}content-length: -2\r\n\r\n{{}}"),
        format!("{post}content-length: 99999999999999999999999\r\n\r\n{{}}"),
        format!("{post}transfer-encoding: gzip\r\n\r\n{{}}"),
        format!("{post}x y: 1\r\n\r\n"),
        "GET / HTTP/9.9\r\n\r\n".to_owned(),
        "\u{1}\u{2}\u{3}\r\n\r\n".to_owned(),
        long,
    ] {
        let answer = send(&server.url, bytes.as_bytes());
        assert!((400..500).contains(&answer.status), "{bytes:.90}: {answer:?}");
    }
    // One host is named, and of two lengths of a body the one that ends by itself counts.
    let get = "GET /healthz HTTP/1.1\r\n";
    for hosts in ["", "host: x\r\nhost: x\r\n", "host: x\r\nHost: y\r\n"] {
        let answer = send(&server.url, format!("{get}{hosts}\r\n").as_bytes());
        assert_eq!((answer.status, answer.code().as_str()), (400, "malformed"), "{hosts:?}");
    }
    assert_eq!(send(&server.url, b"GET /healthz HTTP/1.0\r\n\r\n").status, 200);
    let smuggled = "2\r\n{}\r\n0\r\n\r\nGET /healthz HTTP/1.1\r\nhost: x\r\n\r\n";
    for lengths in
        ["content-length: 2\r\ntransfer-encoding: chunked", "transfer-encoding: chunked\r\ncontent-length: 2"]
    {
        let mut socket = connect(&server.url);
        socket.write_all(format!("{post}{lengths}\r\n\r\n{smuggled}").as_bytes()).unwrap();
        let answer = read(&mut socket);
        assert_eq!((answer.status, answer.code().as_str()), (400, "malformed"), "{lengths}");
    }
    assert_eq!(rows(dir.path()), before);
    assert_eq!(send(&server.url, &request("GET", "/healthz", &[], b"")).status, 200);
}
