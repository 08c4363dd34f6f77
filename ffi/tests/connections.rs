//! The HTTP transport on connections that break off: asked once more when that does no harm.
#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::thread::JoinHandle;

use backstraight_core::base::moment::Moment;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::transport::{Http, Renewal, Tokens, Transport, enrol};

/// What is done with one request.
#[derive(Clone, Copy)]
enum Deed {
    /// Answered with this status and body; the connection stays open.
    Answer(&'static str, &'static str),
    /// The connection is closed without an answer.
    BreakOff,
}

/// A server that does these deeds, one a request, and gives back how many requests it had on each
/// of its connections.
fn server(deeds: &'static [Deed]) -> (String, JoinHandle<Vec<usize>>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let served = std::thread::spawn(move || {
        let (mut deeds, mut requests) = (deeds.iter(), Vec::new());
        while deeds.len() > 0 {
            let (stream, _) = listener.accept().unwrap();
            requests.push(0);
            let mut stream = BufReader::new(stream);
            while take_request(&mut stream) {
                let Some(deed) = deeds.next() else { break };
                *requests.last_mut().unwrap() += 1;
                match deed {
                    Deed::BreakOff => break,
                    Deed::Answer(status, body) => {
                        let length = body.len();
                        write!(
                            stream.get_mut(),
                            "HTTP/1.1 {status}\r\ncontent-length: {length}\r\n\r\n{body}"
                        )
                        .unwrap();
                    }
                }
                if deeds.len() == 0 {
                    break;
                }
            }
        }
        requests
    });
    (url, served)
}

/// Reads one request to its end; whether there was one.
fn take_request(stream: &mut BufReader<TcpStream>) -> bool {
    let (mut length, mut line) = (0, String::new());
    while stream.read_line(&mut line).is_ok_and(|n| n > 2) {
        if let Some(n) = line.to_ascii_lowercase().strip_prefix("content-length: ") {
            length = n.trim().parse().unwrap();
        }
        line.clear();
    }
    line == "\r\n" && stream.read_exact(&mut vec![0; length]).is_ok()
}

const TOKENS: Deed = Deed::Answer("200 OK", r#"{"access_token":"a","refresh_token":"r","expires_in":900}"#);
const OLD: Deed = Deed::Answer("401 Unauthorized", "{}");

#[test]
fn a_kept_connection_that_was_closed_meanwhile_is_no_failure() {
    let (url, served) = server(&[OLD, Deed::BreakOff, TOKENS, Deed::BreakOff, Deed::Answer("200 OK", "x")]);
    let mut http = Http::new(&url);
    assert!(matches!(http.exchange("old", b"up"), Err(PhoneError::SignedOut(_))));
    let renewed = Tokens { access: "a".to_owned(), refresh: "r".to_owned(), good_for: 900 };
    assert_eq!(http.renew(&Renewal::of("r", Moment(1), None)).unwrap(), renewed);
    assert_eq!(http.exchange("a", b"up").unwrap(), b"x");
    assert_eq!(served.join().unwrap(), [2, 2, 1]);
}

#[test]
fn a_server_that_always_breaks_off_is_asked_twice_and_then_not_reached() {
    let (url, served) = server(&[Deed::BreakOff, Deed::BreakOff]);
    assert!(matches!(Http::new(&url).exchange("a", b"up"), Err(PhoneError::Offline(_))));
    assert_eq!(served.join().unwrap(), [1, 1]);
}

/// The install's key tells the server that it is the same one again: a second request does no harm.
#[test]
fn an_enrolment_that_broke_off_is_sent_once_more() {
    let (url, served) = server(&[Deed::BreakOff, Deed::BreakOff]);
    assert!(matches!(enrol(&url, "ABCD2345", "phone"), Err(PhoneError::Offline(_))));
    assert_eq!(served.join().unwrap(), [1, 1]);
}
