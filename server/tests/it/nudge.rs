//! Nudges: who is told what and when, and when a stream ends.

use std::io::Read;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use backstraight_cluster::Cluster;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::nudge::{Heard, Nudge, Reader};
use backstraight_core::model::name::DocName;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::people;
use backstraight_server::store::postgres::Database;
use serde_json::json;

use crate::command_line::Served;
use crate::support::{Device, Server, agent, log, notes, post};

/// An open stream, read by a thread of its own.
struct Open {
    heard: Receiver<Heard>,
    begun: Instant,
}

fn listen(url: &str, access: &str, position: Option<&str>) -> Result<Open, u16> {
    let mut ask = agent().get(format!("{url}/v1/nudge")).header("authorization", format!("Bearer {access}"));
    if let Some(position) = position {
        ask = ask.header("last-event-id", position);
    }
    let answer = ask.call().unwrap();
    if answer.status() != 200 {
        return Err(answer.status().as_u16());
    }
    assert_eq!(answer.headers()["content-type"], "text/event-stream");
    assert_eq!(answer.headers()["cache-control"], "no-store");
    let mut body = answer.into_body().into_reader();
    let (send, heard) = channel();
    std::thread::spawn(move || {
        let (mut reader, mut bytes) = (Reader::default(), [0; 1000]);
        while let Ok(n) = body.read(&mut bytes) {
            for one in reader.take(&bytes[..n]).unwrap() {
                if send.send(one).is_err() {
                    return;
                }
            }
            if n == 0 {
                return;
            }
        }
    });
    Ok(Open { heard, begun: Instant::now() })
}

impl Open {
    /// The next event, with its position.
    fn event(&self) -> (Nudge, String) {
        loop {
            match self.heard.recv_timeout(Duration::from_secs(10)).expect("an event") {
                Heard::Event(nudge, position) => return (nudge, position.unwrap()),
                Heard::Retry(ms) => assert!((3_000..10_000).contains(&ms), "{ms}"),
                Heard::Alive => {}
            }
        }
    }

    /// Whether no event comes for a while.
    fn quiet(&self, ms: u64) -> bool {
        let until = Instant::now() + Duration::from_millis(ms);
        loop {
            match self.heard.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(Heard::Event(..)) => return false,
                Ok(_) => {}
                Err(RecvTimeoutError::Timeout) => return true,
                Err(RecvTimeoutError::Disconnected) => panic!("the stream has ended"),
            }
        }
    }

    /// Waits for its end.
    fn ends(&self) -> Duration {
        loop {
            match self.heard.recv_timeout(Duration::from_secs(10)) {
                Ok(Heard::Event(nudge, _)) => panic!("{nudge:?}"),
                Ok(_) => {}
                Err(RecvTimeoutError::Disconnected) => return self.begun.elapsed(),
                Err(RecvTimeoutError::Timeout) => panic!("the stream goes on"),
            }
        }
    }
}

#[test]
fn news_go_to_those_who_may_read_them_and_to_nobody_else() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (club, away) = (server.club("Cinder Lane"), server.club("Far Bend"));
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    let mut desk = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let other = club.device(club.person(Role::Athlete, "Tove Lindqvist"));
    let stranger = away.device(away.person(Role::Coach, "Olaf Brunner"));
    let open = |access: &str| {
        let open = listen(&server.url, access, None).unwrap();
        // Without a position nobody knows what the device has.
        assert_eq!(open.event().0, Nudge::Exchange);
        open
    };
    let (at_phone, at_desk, at_other, at_stranger) =
        (open(&phone.access), open(&desk.access), open(&other.access), open(&stranger.access));
    let care = DocName::Care(mira);
    phone.say(log(mira), "done");
    phone.report(care);
    phone.exchange();
    // The coach may not read the care document, and its writer knows already.
    assert_eq!(at_desk.event().0, Nudge::News(vec![log(mira)]));
    assert!(at_phone.quiet(300));
    desk.say(notes(mira), "well done");
    desk.exchange();
    assert_eq!(at_phone.event().0, Nudge::News(vec![notes(mira)]));
    // The right is looked up when the event is sent.
    let consent = json!({ "care_open_to_coaches": true });
    let (status, _) = post(&format!("{}/v1/consent", server.url), Some(&phone.access), &consent);
    assert_eq!(status, 204);
    assert_eq!(at_desk.event().0, Nudge::News(vec![care]));
    assert!(at_other.quiet(300) && at_stranger.quiet(10) && at_desk.quiet(10));
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn what_is_exchanged_at_one_process_is_heard_at_the_other_over_postgres() {
    let (here, there) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let database = Cluster::shared().database();
    let over = Database::at(database.parse().unwrap());
    let server = Server::with(here.path(), |config| config.database = over);
    // The other one is the binary, whose clock is the machine's.
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap();
    server.wait(i64::try_from(since.as_millis()).unwrap() - server.now().0);
    let keys = there.path().join("keys");
    std::fs::create_dir(&keys).unwrap();
    for file in std::fs::read_dir(here.path().join("keys")).unwrap() {
        let file = file.unwrap();
        std::fs::copy(file.path(), keys.join(file.file_name())).unwrap();
    }
    let other = Served::with(there.path(), &["--database", &database]);
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let mut phone = club.device(mira);
    let mut desk = Device::enrol(&other.url, &server.code(ruth, club.id, 15), server.now());
    let open = |url: &str, access: &str| {
        let open = listen(url, access, None).unwrap();
        assert_eq!(open.event().0, Nudge::Exchange);
        open
    };
    let (at_phone, at_desk) = (open(&server.url, &phone.access), open(&other.url, &desk.access));
    let own = open(&other.url, &phone.access);
    phone.say(log(mira), "done");
    phone.exchange();
    assert_eq!(at_desk.event().0, Nudge::News(vec![log(mira)]));
    desk.say(notes(mira), "well done");
    desk.exchange();
    assert_eq!(at_phone.event().0, Nudge::News(vec![notes(mira)]));
    // Whose install wrote it is known to the other process too.
    assert_eq!(own.event().0, Nudge::News(vec![notes(mira)]));
    // Withdrawn here, out there: long before the line would say that it is alive.
    let (grant, now) = (AtTheMachine.to_keep_accounts(), server.now());
    server.store().write_blocking(move |db| people::withdraw(db, &grant, ruth, now)).unwrap();
    at_desk.ends();
    assert!(own.quiet(300));
}

#[test]
fn a_broken_line_goes_on_from_its_position_and_much_is_told_together() {
    let dir = tempfile::tempdir().unwrap();
    // Streams that a test has dropped end only with the next thing that is said.
    let server = Server::with(dir.path(), |config| config.limits.streams_each = 50);
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    let desk = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let first = listen(&server.url, &desk.access, None).unwrap();
    let (_, position) = first.event();
    drop(first);
    // Nothing was missed: nothing is said.
    assert!(listen(&server.url, &desk.access, Some(&position)).unwrap().quiet(300));
    phone.say(log(mira), "one");
    phone.exchange();
    let again = listen(&server.url, &desk.access, Some(&position)).unwrap();
    let (nudge, later) = again.event();
    assert_eq!(nudge, Nudge::News(vec![log(mira)]));
    // Many exchanges within a second are one event.
    for n in 0..5 {
        phone.say(log(mira), &format!("more {n}"));
        phone.exchange();
    }
    let (nudge, latest) = again.event();
    assert_eq!(nudge, Nudge::News(vec![log(mira)]));
    assert!(again.quiet(1_300) || again.quiet(1_300));
    assert_ne!(position, later);
    assert_ne!(later, latest);
    // A position that nobody knows, such as that of a server before it was started anew.
    for wrong in ["", "what", "000000000000.1", &format!("{latest}0")] {
        // The server sees that a line was hung up when it next writes into it.
        let open = loop {
            match listen(&server.url, &desk.access, Some(wrong)) {
                Err(429) => std::thread::sleep(Duration::from_millis(50)),
                open => break open.unwrap(),
            }
        };
        assert_eq!(open.event().0, Nudge::Exchange, "{wrong}");
    }
}

#[test]
fn streams_end_with_the_right_to_be_there_with_the_token_and_with_the_server() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |config| config.nudge_seconds = 1);
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, desk) = (club.device(mira), club.device(ruth));
    let open = |access: &str| {
        let open = listen(&server.url, access, None).unwrap();
        assert_eq!(open.event().0, Nudge::Exchange);
        open
    };
    // A line without news says that it is alive.
    let quiet = open(&desk.access);
    assert_eq!(quiet.heard.recv_timeout(Duration::from_secs(5)), Ok(Heard::Alive));
    // A token that was good for a little more.
    let old =
        server.token(ruth, desk.install, backstraight_core::base::moment::Moment(server.now().0 - 898_000));
    let short = open(&old);
    assert!(short.ends() < Duration::from_secs(45));
    assert_eq!(listen(&server.url, "no token", None).err(), Some(401));
    // Withdrawn: the next event is not theirs any more.
    let withdrawn = open(&desk.access);
    let (grant, now) = (AtTheMachine.to_keep_accounts(), server.now());
    server.store().write_blocking(move |db| people::withdraw(db, &grant, ruth, now)).unwrap();
    phone.say(log(mira), "not for Ruth any more");
    phone.exchange();
    withdrawn.ends();
    quiet.ends();
    assert_eq!(listen(&server.url, &desk.access, None).err(), Some(401));
    let last = open(&phone.access);
    let begun = Instant::now();
    server.stop();
    assert!(begun.elapsed() < Duration::from_secs(5), "an open stream holds up the server");
    last.ends();
}

#[test]
fn streams_are_limited_by_install_and_in_all_and_places_come_free() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |config| {
        config.limits.streams = 3;
        config.limits.streams_each = 2;
        config.nudge_seconds = 1;
    });
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (one, two) = (club.device(mira), club.device(mira));
    let open = |access: &str| listen(&server.url, access, None);
    let (first, second) = (open(&one.access).unwrap(), open(&one.access).unwrap());
    assert_eq!(open(&one.access).err(), Some(429));
    let third = open(&two.access).unwrap();
    assert_eq!(open(&two.access).err(), Some(503));
    assert_eq!(server.streams(), 3);
    drop((first, second, third));
    let begun = Instant::now();
    while server.streams() > 0 {
        assert!(begun.elapsed() < Duration::from_secs(20), "places do not come free");
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(open(&one.access).is_ok());
}
