//! What every answer of every route says to browsers and proxies.

use std::sync::atomic::Ordering;

use backstraight_core::exchange::access::Role;

use crate::raw::{Answer, request, routes, send};
use crate::support::Server;

const DATA: &str = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

fn check(what: &str, answer: &Answer) {
    // Public keys may be kept for a minute, data for no time.
    let kept = if what.contains("jwks.json") { "max-age=60" } else { "no-store" };
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-embedder-policy", "require-corp"),
        ("content-security-policy", DATA),
        ("cache-control", kept),
    ] {
        assert_eq!(answer.header(name), Some(value), "{what}, {name}: {answer:?}");
    }
    assert!(answer.header("permissions-policy").unwrap().contains("geolocation=()"), "{what}");
    // Other sites may read nothing.
    assert_eq!(answer.header("access-control-allow-origin"), None, "{what}");
    assert_eq!(answer.header("access-control-allow-credentials"), None, "{what}");
    assert_eq!(answer.header("server"), None, "{what}");
}

#[test]
fn every_route_and_every_error_says_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.metrics_listen = Some("127.0.0.1:0".parse().unwrap()));
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let bearer = format!("Bearer {}", phone.access);
    let own = phone.person.to_string();
    let with = [("authorization", bearer.as_str()), ("origin", "https://elsewhere.example")];
    let mut good = 0;
    for route in routes() {
        let what = format!("{} {}", route.method, route.path);
        for headers in [&with[..], &with[1..]] {
            let answer = send(&server.url, &request(&route.method, &route.at(&own), headers, b""));
            check(&what, &answer);
            good += u32::from(answer.status == 200);
            if answer.status >= 400 {
                answer.code();
            }
        }
    }
    assert!(good >= 10, "{good}");
    let json = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let long = "x".repeat(20_000);
    for (status, code, bytes) in [
        (404, "not-found", request("GET", "/nothing", &[], b"")),
        (405, "method-not-allowed", request("DELETE", "/v1/board", &json, b"")),
        (405, "method-not-allowed", request("OPTIONS", "/v1/board", &with, b"")),
        (413, "too-large", request("POST", "/v1/consent", &json, long.as_bytes())),
        (415, "media-type", request("POST", "/v1/consent", &json[..1], b"{}")),
        (422, "field", request("GET", "/v1/board?limit=0", &json, b"")),
        (400, "malformed", request("POST", "/v1/consent", &json, b"{")),
        (401, "unauthenticated", request("GET", "/v1/board", &[], b"")),
    ] {
        let answer = send(&server.url, &bytes);
        assert_eq!((answer.status, answer.code().as_str()), (status, code), "{answer:?}");
        check(code, &answer);
        if status == 405 {
            assert_eq!(answer.header("allow"), Some("GET,HEAD"), "{answer:?}");
        }
    }
    let figures = send(&format!("http://{}", server.metrics()), &request("GET", "/metrics", &[], b""));
    assert_eq!(figures.status, 200);
    check("metrics", &figures);
    // What goes wrong inside.
    server.faults.next_commit.store(rusqlite::ffi::SQLITE_FULL, Ordering::SeqCst);
    let body = b"{\"care_open_to_coaches\":true}";
    let answer = send(&server.url, &request("POST", "/v1/consent", &json, body));
    assert_eq!((answer.status, answer.code().as_str()), (507, "storage-full"), "{answer:?}");
    check("full", &answer);
}

#[test]
fn only_an_encrypted_way_is_asked_for_again() {
    let dir = tempfile::tempdir().unwrap();
    let ask = |server: &Server, proto| {
        let answer = send(&server.url, &request("GET", "/healthz", &[("x-forwarded-proto", proto)], b""));
        answer.header("strict-transport-security").map(str::to_owned)
    };
    let server = Server::on(dir.path());
    assert_eq!(ask(&server, "https"), None, "anybody can say so");
    server.stop();
    let server = Server::with(dir.path(), |c| c.behind_proxy = true);
    assert_eq!(ask(&server, "https").as_deref(), Some("max-age=63072000"));
    assert_eq!(ask(&server, "http"), None);
}
