//! A damaged document and silence: while the server cannot read what an athlete's phone sent, no day of theirs counts as
//! heard, on the board and on the devices of coaches.

use std::time::{Duration, Instant};

use backstraight_core::base::day::Day;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{SeasonNo, Text};
use backstraight_core::model::plan::Session;
use backstraight_ffi::phone::Clock as _;
use backstraight_server::app::Clock;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::job::repair::{self, Repaired};
use backstraight_server::project;
use backstraight_server::report::board::{self, Ask, Board};
use backstraight_server::store::{Db, document, job};
use backstraight_tests::stand::{START, Stand};

use crate::carried_heard::heard;

fn board(stand: &Stand) -> Board {
    let today = Day::of(stand.now(), 0).unwrap();
    let (grant, ask) = (AtTheMachine.to_review(stand.club), Ask::everybody(today.plus(-7), today, today));
    stand.store().read_blocking(move |db| board::read(db, &grant, &ask)).unwrap().unwrap()
}

/// How the session of yesterday reads, which nobody did.
fn state(stand: &Stand) -> String {
    let cells = board(stand).athletes.swap_remove(0).sessions;
    cells.into_iter().find(|cell| cell.date == "2026-11-24").unwrap().state
}

/// Waits for what the server does by itself.
fn until(mut holds: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !holds() {
        assert!(begun.elapsed() < Duration::from_secs(30), "it never came");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn while_what_arrived_cannot_be_read_no_day_counts_as_heard() {
    let stand = Stand::at(START);
    let (mira, ruth) = (stand.person(Role::Athlete, "Mira Aalto"), stand.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    let yesterday = Session::new("2026-11-24".parse().unwrap(), Text::new("Hops").unwrap());
    desk.add(DocName::Plan(mira, SeasonNo::new(2027).unwrap()), "sessions", yesterday).unwrap();
    desk.exchange(&stand.url());
    let mut session = phone.begin();
    phone.set(&mut session, 1).unwrap();
    phone.exchange(&stand.url());
    let today = Some("2026-11-25".to_owned());
    until(|| board(&stand).pending == 0);
    assert_eq!(heard(&mut desk, &phone, &stand), today);
    assert_eq!(
        (&board(&stand).athletes[0].heard_through, &board(&stand).athletes[0].silence),
        (&today, &None)
    );

    let name = phone.log();
    let spoil = move |db: &Db| {
        let doc = document::find(db, &name)?.unwrap().id;
        let zero = "UPDATE chunk SET body = ?2 WHERE n = 1 AND doc = ?1";
        db.execute(zero, (doc, &[0_u8][..])).map(|_| doc).map_err(Into::into)
    };
    let doc = stand.store().write_blocking(spoil).unwrap();
    phone.set(&mut session, 2).unwrap();
    phone.exchange(&stand.url());
    // Rows are made anew, as after a new version.
    let clock = stand.clock.clone();
    let clock = Clock::new(move || clock.now());
    let now = stand.now();
    stand.store().write_blocking(move |db| job::mark_all(db, None, now)).unwrap();
    project::catch_up(&stand.store(), &clock, 1, &|_| {}).unwrap();
    until(|| board(&stand).athletes[0].silence.is_some());
    assert_eq!(state(&stand), "unheard");
    let line = board(&stand).athletes.swap_remove(0);
    assert!(line.silence.unwrap().contains("cannot read") && line.heard_through == today);
    until(|| heard(&mut desk, &phone, &stand).is_none());

    assert!(matches!(repair::one(&stand.store(), doc, stand.now()).unwrap(), Repaired::Kept { .. }));
    phone.exchange(&stand.url());
    until(|| board(&stand).pending == 0);
    until(|| heard(&mut desk, &phone, &stand) == today);
    assert_eq!((state(&stand), board(&stand).athletes[0].silence.clone()), ("missed".to_owned(), None));
    assert_eq!(phone.numbers(name), [1, 2]);
    assert!(stand.trouble().is_empty());
}
