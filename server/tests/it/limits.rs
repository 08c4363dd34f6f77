//! Limits: of a file, of requests a minute, of work that waits, and of slow clients.

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use backstraight_core::exchange::access::Role;

use crate::command_line::run;
use crate::raw::{connect, read, request, send};
use crate::support::{Server, post_raw};

#[test]
fn a_file_of_limits_is_held_to_and_a_wrong_one_ends_the_start() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("limits.toml");
    for (text, words) in [
        ("json_byte = 2000", "there is no limit \"json_byte\""),
        ("json_bytes = 12", "json_bytes is 12, and has to be a whole number from 1024 to 1048576"),
    ] {
        std::fs::write(&file, text).unwrap();
        let args = ["serve", "--listen", "127.0.0.1:0", "--limits", file.to_str().unwrap()];
        let out = run(&args, &dir.path().join("data"));
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(!out.status.success() && said.contains(words) && said.contains("limits.toml"), "{said}");
    }
    assert!(!dir.path().join("data").exists(), "nothing was begun");
    let server = Server::with(&dir.path().join("data"), |c| c.limits.json_bytes = 2_000);
    let json = [("content-type", "application/json")];
    let body = |n| format!("{{\"refresh_token\":\"{}\"}}", "x".repeat(n));
    let ask = |n| send(&server.url, &request("POST", "/v1/token", &json, body(n).as_bytes())).code();
    assert_eq!((ask(1_900).as_str(), ask(2_000).as_str()), ("unauthenticated", "too-large"));
}

#[test]
fn one_install_that_asks_too_often_waits_and_others_do_not() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.install_minute = 10);
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (phone, tablet) = (club.device(mira), club.device(mira));
    let ask = |access: &str| {
        let bearer = format!("Bearer {access}");
        send(&server.url, &request("GET", "/v1/records", &[("authorization", &bearer)], b""))
    };
    for n in 0..10 {
        assert_eq!(ask(&phone.access).status, 200, "{n}");
    }
    let refused = ask(&phone.access);
    assert_eq!((refused.status, refused.code().as_str()), (429, "too-fast"));
    assert_eq!(refused.header("retry-after"), Some("6"));
    assert_eq!(post_raw(&server.url, &phone.access, &[], &phone.up().to_bytes()).0, 429);
    assert_eq!(ask(&tablet.access).status, 200);
    // A forged token is nobody's: it takes nothing from whom it names.
    server.wait(6_000);
    let mut forged = tablet.access;
    forged.replace_range(forged.len() - 4.., "AAAA");
    assert_eq!(ask(&forged).status, 401);
    assert_eq!((ask(&phone.access).status, ask(&phone.access).status), (200, 429));
}

#[test]
fn one_address_that_asks_too_often_waits_and_others_do_not() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| {
        c.behind_proxy = true;
        c.limits.address_minute = 60;
    });
    let ask = |from| send(&server.url, &request("GET", "/nothing", &[("x-forwarded-for", from)], b""));
    for n in 0..60 {
        assert_eq!(ask("2001:db8::1").status, 404, "{n}");
    }
    let refused = ask("2001:db8::2");
    assert_eq!((refused.status, refused.code().as_str()), (429, "too-fast"), "the same household");
    assert_eq!(refused.header("retry-after"), Some("1"));
    assert_eq!(ask("2001:db8:1::1").status, 404);
    // What comes before the last address is hearsay.
    assert_eq!(ask("192.0.2.1, 2001:db8::1").status, 429);
    server.wait(1_000);
    assert_eq!((ask("2001:db8::1").status, ask("2001:db8::1").status), (404, 429));
}

#[test]
fn when_too_much_waits_the_next_one_is_told_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.waiting = 4);
    let club = server.club("Cinder Lane");
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    let app = server.shared();
    // All processors are busy.
    let all = u32::try_from(app.work.available_permits()).unwrap();
    let held = app.work.try_acquire_many(all).unwrap();
    let body = phone.up().to_bytes();
    let exchange = || {
        let bearer = format!("Bearer {}", phone.access);
        let headers = [("authorization", bearer.as_str()), ("content-type", "application/cbor")];
        send(&server.url, &request("POST", "/v1/exchange", &headers, &body))
    };
    std::thread::scope(|scope| {
        let waiting: Vec<_> = (0..4).map(|_| scope.spawn(exchange)).collect();
        while app.load.held() < 4 {
            std::thread::sleep(Duration::from_millis(5));
        }
        let begun = Instant::now();
        let refused = exchange();
        assert_eq!((refused.status, refused.code().as_str()), (503, "busy"));
        assert_eq!(refused.header("retry-after"), Some("2"));
        assert!(begun.elapsed() < Duration::from_secs(5), "not after the others");
        assert!(waiting.iter().all(|w| !w.is_finished()));
        drop(held);
        for done in waiting {
            assert_eq!(done.join().unwrap().status, 200);
        }
    });
    assert_eq!((exchange().status, app.load.held()), (200, 0));
}

#[test]
fn a_body_that_drips_is_given_up() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.body_seconds = 1);
    let mut socket = connect(&server.url);
    let head =
        "POST /v1/token HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: 900\r\n\r\n";
    socket.write_all(head.as_bytes()).unwrap();
    let mut dripping = socket.try_clone().unwrap();
    let begun = Instant::now();
    let dripper = std::thread::spawn(move || {
        // Ends when the server has closed, and in any case.
        (0..100)
            .take_while(|_| {
                std::thread::sleep(Duration::from_millis(100));
                dripping.write_all(b"x").is_ok()
            })
            .count()
    });
    let answer = read(&mut socket);
    assert_eq!((answer.status, answer.code().as_str()), (408, "slow-body"));
    assert_eq!(answer.header("connection"), Some("close"));
    assert!(begun.elapsed() < Duration::from_secs(10));
    assert!(dripper.join().unwrap() < 100, "the connection was closed");
}

#[test]
fn a_body_that_nobody_wants_is_not_waited_for_longer() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.body_seconds = 1);
    let mut socket = connect(&server.url);
    socket.write_all(b"POST /nothing HTTP/1.1\r\nhost: x\r\ncontent-length: 900\r\n\r\nx").unwrap();
    let answer = read(&mut socket);
    assert_eq!((answer.status, answer.header("connection")), (404, Some("close")));
}

#[test]
fn a_head_that_drips_is_given_up() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.head_seconds = 1);
    for begin in [&b""[..], b"GET /healthz HTTP/1.1\r\nhost: x\r\n"] {
        let mut socket = connect(&server.url);
        socket.write_all(begin).unwrap();
        let mut said = Vec::new();
        let begun = Instant::now();
        // Closed from the other side, whether it says so or not.
        let _ = socket.read_to_end(&mut said);
        assert!(begun.elapsed() < Duration::from_secs(10), "{begin:?}");
        assert!(!String::from_utf8_lossy(&said).contains("200 OK"));
    }
}

/// A server with a file of so many bytes, far more than the machine keeps on the way.
fn with_a_large_file(dir: &std::path::Path, rate: u32) -> Server {
    let page = dir.join("page");
    std::fs::create_dir(&page).unwrap();
    std::fs::write(page.join("index.html"), "<!doctype html>").unwrap();
    std::fs::write(page.join("large-0011223344556677.wasm"), vec![7; LARGE]).unwrap();
    Server::with(&dir.join("data"), |c| {
        c.page = Some(page);
        c.limits.answer_seconds = 1;
        c.limits.answer_rate = rate;
    })
}

const LARGE: usize = 48 << 20;
const ASK: &[u8] = b"GET /large-0011223344556677.wasm HTTP/1.1\r\nhost: x\r\n\r\n";

#[test]
fn who_takes_an_answer_at_a_trickle_loses_the_line_and_others_do_not() {
    let dir = tempfile::tempdir().unwrap();
    let server = with_a_large_file(dir.path(), 10 << 20);
    let figures = &server.app().figures;
    let begun = Instant::now();
    // One does not read at all, one a little of it again and again.
    let mut silent = connect(&server.url);
    silent.write_all(ASK).unwrap();
    let mut dripping = connect(&server.url);
    dripping.write_all(ASK).unwrap();
    let dripper = std::thread::spawn(move || {
        let (mut all, mut piece) = (0, vec![0; 100 << 10]);
        loop {
            match dripping.read(&mut piece) {
                Ok(n) if n > 0 => all += n,
                _ => return all,
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    });
    while figures.given_up.get() < 2 {
        assert!(begun.elapsed() < Duration::from_secs(20), "{} given up", figures.given_up.get());
        assert_eq!(send(&server.url, &request("GET", "/healthz", &[], b"")).status, 200);
        std::thread::sleep(Duration::from_millis(50));
    }
    // What had left already comes, and no more.
    assert!(dripper.join().unwrap() < LARGE);
    let mut rest = Vec::new();
    let _ = silent.read_to_end(&mut rest);
    assert!(rest.len() < LARGE);
    while figures.connections.get() > 0 {
        assert!(begun.elapsed() < Duration::from_secs(30), "places do not come free");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn who_takes_enough_is_given_the_whole_answer_however_long_it_lasts() {
    let dir = tempfile::tempdir().unwrap();
    let server = with_a_large_file(dir.path(), 1_000);
    let mut socket = connect(&server.url);
    socket.write_all(ASK).unwrap();
    let (mut all, mut piece, begun) = (0, vec![0; 1 << 20], Instant::now());
    while all < LARGE {
        let n = socket.read(&mut piece).unwrap();
        assert!(n > 0, "broken off after {all}");
        all += n;
        std::thread::sleep(Duration::from_millis(60));
    }
    assert!(begun.elapsed() > Duration::from_secs(2), "the test is too fast to show anything");
    assert_eq!(server.app().figures.given_up.get(), 0);
}
