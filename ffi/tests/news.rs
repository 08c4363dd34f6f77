//! Waiting for news: what ends the waiting, how a broken line is opened again, and that asking to stop
//! is heard at once.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::nudge::{ALIVE, Nudge, begin, event};
use backstraight_core::model::name::DocName;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::news::{Line, Listen, Listener, News, Pace};

/// One connection: refused, or what it says before it breaks; then it is silent or broken.
enum Try {
    Offline,
    SignedOut,
    Says(Vec<String>, bool),
}

#[derive(Default)]
struct Server {
    tries: VecDeque<Try>,
    positions: Vec<Option<String>>,
}

struct Said(VecDeque<String>, bool);

impl Line for Said {
    fn next(&mut self) -> Result<Vec<u8>, PhoneError> {
        match self.0.pop_front() {
            Some(text) => Ok(text.into_bytes()),
            None if self.1 => {
                std::thread::sleep(Duration::from_millis(5));
                Ok(Vec::new())
            }
            None => Err(PhoneError::Offline("broken".to_owned())),
        }
    }
}

impl Listen for Server {
    fn listen(&mut self, access: &str, position: Option<&str>) -> Result<Box<dyn Line>, PhoneError> {
        assert_eq!(access, "token");
        self.positions.push(position.map(str::to_owned));
        match self.tries.pop_front() {
            None | Some(Try::Offline) => Err(PhoneError::Offline("no signal".to_owned())),
            Some(Try::SignedOut) => Err(PhoneError::SignedOut("over".to_owned())),
            Some(Try::Says(text, silent)) => Ok(Box::new(Said(text.into(), silent))),
        }
    }
}

fn quick() -> Pace {
    Pace {
        first: Duration::from_millis(4),
        most: Duration::from_millis(20),
        silence: Duration::from_millis(60),
    }
}

fn log() -> DocName {
    DocName::Care(PersonId(uuid::Uuid::from_u128(1)))
}

#[test]
fn a_broken_line_is_opened_again_from_where_it_was() {
    let news = Nudge::News(vec![log()]);
    let second = event("a.2", &news);
    let (first, rest) = second.split_at(9);
    let mut server = Server {
        tries: VecDeque::from([
            Try::Offline,
            Try::Offline,
            Try::Says(vec![begin(1), ALIVE.to_owned(), event("a.1", &Nudge::Exchange)], false),
            Try::Says(vec![first.to_owned(), rest.to_owned()], true),
            // Silent for longer than a line may be.
            Try::Says(vec![event("a.3", &news), event("a.4", &Nudge::Exchange)], false),
            Try::SignedOut,
        ]),
        ..Server::default()
    };
    let (mut listener, stop) = (Listener::at(quick()), AtomicBool::new(false));
    let mut wait = || listener.wait("token", &mut server, &stop).unwrap();
    assert_eq!(wait(), News::Exchange);
    assert_eq!(wait(), News::Of(vec![log()]));
    assert_eq!(wait(), News::Of(vec![log()]));
    assert_eq!(wait(), News::Exchange);
    assert_eq!(wait(), News::Renew);
    let positions: Vec<_> = server.positions.iter().map(Option::as_deref).collect();
    assert_eq!(positions, [None, None, None, Some("a.1"), Some("a.2"), Some("a.4")]);
}

#[test]
fn asking_to_stop_is_heard_while_offline_and_while_listening() {
    for tries in [VecDeque::new(), VecDeque::from([Try::Says(Vec::new(), true)])] {
        let mut server = Server { tries, ..Server::default() };
        let stop = Arc::new(AtomicBool::new(false));
        let asked = Arc::clone(&stop);
        let begun = Instant::now();
        let asks = std::thread::spawn(move || {
            std::thread::sleep(Duration::from_millis(50));
            asked.store(true, Ordering::Relaxed);
        });
        let pace =
            Pace { first: Duration::from_secs(60), silence: Duration::from_secs(60), ..Pace::default() };
        let ended = Listener::at(pace).wait("token", &mut server, &stop).unwrap();
        asks.join().unwrap();
        assert_eq!(ended, News::Stopped);
        assert!(begun.elapsed() < Duration::from_secs(5));
    }
}

#[test]
fn what_is_no_stream_is_an_error_and_not_tried_for_ever() {
    let mut server =
        Server { tries: VecDeque::from([Try::Says(vec!["x".repeat(9_000)], true)]), ..Server::default() };
    let stop = AtomicBool::new(false);
    let ended = Listener::at(quick()).wait("token", &mut server, &stop);
    assert!(matches!(ended, Err(PhoneError::Answer(_))), "{ended:?}");
}
