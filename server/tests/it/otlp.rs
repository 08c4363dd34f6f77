//! Spans reach a collector, and hold what the log holds: a route, and nothing about anybody.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crate::command_line::{Served, json};
use crate::support::get;

#[test]
fn spans_reach_a_collector_and_name_nobody() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let collector = format!("http://{}", listener.local_addr().unwrap());
    let got = Arc::new(Mutex::new(Vec::new()));
    let all = Arc::clone(&got);
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            stream.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
            let mut buffer = [0; 65_536];
            while let Ok(n) = stream.read(&mut buffer) {
                if n == 0 {
                    break;
                }
                all.lock().unwrap().extend_from_slice(&buffer[..n]);
            }
            drop(stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\nconnection: close\r\n\r\n"));
        }
    });
    let dir = tempfile::tempdir().unwrap();
    json(&["club", "add", "canary-club"], dir.path());
    let served = Served::with(dir.path(), &["--otlp", &collector]);
    assert_eq!(get(&format!("{}/v1/board?from=canary-query", served.url)).0, 401);
    assert_eq!(get(&format!("{}/healthz", served.url)).0, 200);
    for _ in 0..150 {
        if got.lock().unwrap().windows(8).any(|w| w == b"/healthz") {
            break;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    let bytes = got.lock().unwrap().clone();
    let holds = |text: &str| bytes.windows(text.len()).any(|w| w == text.as_bytes());
    assert!(bytes.starts_with(b"POST /v1/traces HTTP/1.1"), "{}", String::from_utf8_lossy(&bytes));
    assert!(holds("/v1/board") && holds("/healthz") && holds("backstraight"));
    assert!(!holds("canary"));
}
