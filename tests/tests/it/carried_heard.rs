//! What a carried log says about silence: heard as far as it proves, and not a day further.

use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::carry;
use backstraight_core::exchange::wire::Outcome;
use backstraight_ffi::phone::Clock as _;
use backstraight_server::exchange::carried::{Carrier, take};
use backstraight_server::exchange::index::Indexes;
use backstraight_server::grant::AtTheMachine;
use backstraight_tests::stand::{DAY, Handset, MINUTE, START, Stand};

const HOUR: i64 = 60 * MINUTE;

fn hand_in(stand: &Stand, file: &[u8]) {
    let parcels = carry::read(file).unwrap();
    let carrier = Carrier::Machine(AtTheMachine);
    let taken = take(&stand.store(), &Indexes::default(), carrier, &parcels, stand.now()).unwrap();
    assert!(taken.iter().all(|h| h.outcome == Outcome::Accepted), "{taken:?}");
}

/// Through which day a phone was heard, as a coach is told.
pub(crate) fn heard(desk: &mut Handset, phone: &Handset, stand: &Stand) -> Option<String> {
    desk.exchange(&stand.url());
    let person = phone.person().0.into_bytes();
    let people = desk.phone.people().unwrap();
    people.into_iter().find(|k| k.person.as_slice() == person).unwrap().heard_day
}

fn log_at(phone: &mut Handset, at: Moment) -> Vec<u8> {
    phone.clock.set(at);
    assert_eq!(phone.clock.now(), at);
    let mut session = phone.begin();
    phone.set(&mut session, 1).unwrap();
    phone.phone.carry_out().unwrap().unwrap().bytes
}

/// An athlete who exchanged at a time, and a coach, some days later.
fn begin(exchanged: Moment) -> (Stand, Handset, Handset) {
    let stand = Stand::at(exchanged);
    let (mira, ruth) = (stand.person(Role::Athlete, "Mira Aalto"), stand.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    phone.exchange(&stand.url());
    stand.clock.set(START.plus_ms(HOUR * 8));
    (stand, phone, desk)
}

#[test]
fn a_carried_log_counts_up_to_its_newest_change_and_once() {
    // Ten in the morning of the twentieth; now it is the evening of the twenty-fifth.
    let (stand, mut phone, mut desk) = begin(START.plus_ms(-5 * DAY));
    let day = |desk: &mut Handset, phone: &Handset| heard(desk, phone, &stand).unwrap();
    assert_eq!(day(&mut desk, &phone), "2026-11-20");
    let early = log_at(&mut phone, START.plus_ms(-DAY));
    let late = log_at(&mut phone, START.plus_ms(-DAY + 3 * HOUR));
    hand_in(&stand, &early);
    assert_eq!(day(&mut desk, &phone), "2026-11-23", "in the morning it was still the day before somewhere");
    hand_in(&stand, &late);
    assert_eq!(day(&mut desk, &phone), "2026-11-24");
    hand_in(&stand, &early);
    hand_in(&stand, &late);
    assert_eq!(day(&mut desk, &phone), "2026-11-24", "nothing goes back and nothing counts twice");
    // By way of a coach's phone it is the same.
    let today = log_at(&mut phone, START.plus_ms(3 * HOUR));
    desk.phone.carry_in(&today).unwrap();
    desk.exchange(&stand.url());
    assert_eq!(day(&mut desk, &phone), "2026-11-25");
    assert!(stand.trouble().is_empty());
}

#[test]
fn what_a_carried_log_does_not_prove_stays_unheard() {
    // Heard in October: what came between may stand in October's log, which is not in the file.
    let (stand, mut phone, mut desk) = begin(START.plus_ms(-40 * DAY));
    let before = heard(&mut desk, &phone, &stand);
    assert_eq!(before.as_deref(), Some("2026-10-16"));
    let file = log_at(&mut phone, START);
    hand_in(&stand, &file);
    assert_eq!(heard(&mut desk, &phone, &stand), before);
    // A clock that is ahead of the server's.
    let (stand, mut phone, mut desk) = begin(START.plus_ms(-5 * DAY));
    let file = log_at(&mut phone, START.plus_ms(2 * DAY));
    hand_in(&stand, &file);
    assert_eq!(heard(&mut desk, &phone, &stand).as_deref(), Some("2026-11-20"));
    // A phone that was never heard itself.
    let stand = Stand::at(START);
    let (mira, ruth) = (stand.person(Role::Athlete, "Mira Aalto"), stand.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    let file = log_at(&mut phone, START.plus_ms(-HOUR));
    hand_in(&stand, &file);
    assert_eq!(heard(&mut desk, &phone, &stand), None, "silence stays silence");
}
