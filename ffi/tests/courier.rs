//! The courier that is built in, against servers that are slow, talkative, or send it elsewhere.
#![cfg(all(feature = "http", feature = "doors"))]
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::io::{Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use backstraight_ffi::doors::exchange::built_in_courier;
use backstraight_ffi::doors::outside::{CourierError, Parcel, Reply};

/// A server that does the same with each connection once a request came; its address, and how many came.
fn server(answer: impl Fn(TcpStream) + Send + Sync + 'static) -> (String, Arc<AtomicUsize>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}/v1/exchange", listener.local_addr().unwrap());
    let seen = Arc::new(AtomicUsize::new(0));
    let (answer, counted) = (Arc::new(answer), Arc::clone(&seen));
    std::thread::spawn(move || {
        for mut stream in listener.incoming().flatten() {
            counted.fetch_add(1, Ordering::SeqCst);
            let answer = Arc::clone(&answer);
            std::thread::spawn(move || {
                let (mut request, mut piece) = (Vec::new(), [0; 4096]);
                while !request.ends_with(b"asked") {
                    match stream.read(&mut piece) {
                        Ok(n) if n > 0 => request.extend_from_slice(&piece[..n]),
                        _ => return,
                    }
                }
                answer(stream);
            });
        }
    });
    (url, seen)
}

fn carry(url: &str, timeout_ms: u32) -> (Result<Reply, CourierError>, Duration) {
    let began = Instant::now();
    let parcel = Parcel {
        method: "POST".to_owned(),
        url: url.to_owned(),
        headers: Vec::new(),
        body: b"asked".to_vec(),
        timeout_ms,
    };
    (built_in_courier().unwrap().carry(parcel), began.elapsed())
}

#[test]
fn an_answer_that_drips_is_given_up_in_time() {
    let (url, _) = server(|mut stream| {
        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 100000\r\n\r\n");
        while stream.write_all(b"x").is_ok() {
            std::thread::sleep(Duration::from_millis(50));
        }
    });
    let (said, took) = carry(&url, 600);
    assert_eq!(said.unwrap_err(), CourierError::TimedOut);
    assert!(took < Duration::from_secs(5), "{took:?}");
}

#[test]
fn what_broke_off_is_asked_once_more_within_the_same_time() {
    let (url, seen) = server(|stream| {
        std::thread::sleep(Duration::from_millis(1_000));
        drop(stream);
    });
    let (said, took) = carry(&url, 1_500);
    assert_eq!(said.unwrap_err(), CourierError::TimedOut, "{took:?}");
    assert_eq!(seen.load(Ordering::SeqCst), 2);
}

#[test]
fn an_answer_without_end_is_none() {
    let (url, _) = server(|mut stream| {
        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\nconnection: close\r\n\r\n");
        while stream.write_all(&[b'x'; 65_536]).is_ok() {}
    });
    assert_eq!(carry(&url, 60_000).0.unwrap_err(), CourierError::Failed);
}

#[test]
fn a_token_goes_where_it_was_sent() {
    let (other, elsewhere) = server(|mut stream| {
        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n");
    });
    let (url, _) = server(move |mut stream| {
        let head = format!("HTTP/1.1 307 Elsewhere\r\nlocation: {other}\r\ncontent-length: 0\r\n\r\n");
        let _ = stream.write_all(head.as_bytes());
    });
    assert_eq!(carry(&url, 5_000).0.unwrap().status, 307);
    assert_eq!(elsewhere.load(Ordering::SeqCst), 0);
}
