//! Stores that go back in time: a server restored from an older backup, a phone from an older copy of
//! its file. Phones refill the one, the server the other.

use std::path::Path;

use backstraight_core::base::day::Month;
use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{SeasonNo, Text};
use backstraight_core::model::plan::Session;
use backstraight_ffi::transport::Http;
use backstraight_tests::stand::{Handset, MINUTE, Stand, november};

/// Most round trips of a phone, whatever happened to the server.
const MOST_ROUNDS: u32 = 2;

fn notes(athlete: PersonId) -> DocName {
    DocName::Notes(athlete, Month::new(2026, 11).unwrap())
}

fn plan(athlete: PersonId) -> DocName {
    DocName::Plan(athlete, SeasonNo::new(2027).unwrap())
}

fn october(athlete: PersonId) -> DocName {
    DocName::Log(athlete, Month::new(2026, 10).unwrap())
}

/// Plans a session for the next day.
fn plan_session(desk: &mut Handset, athlete: PersonId, title: &str) {
    let session = Session::new("2026-11-26".parse().unwrap(), Text::new(title).unwrap());
    desk.add(plan(athlete), "sessions", session).unwrap();
}

/// An exchange within its round trips, with nothing refused on either side.
#[track_caller]
fn exchange(phone: &mut Handset, stand: &Stand) -> bool {
    let report = phone.exchange(&stand.url());
    assert!(report.rounds <= MOST_ROUNDS, "{} round trips", report.rounds);
    assert_eq!((&report.refused[..], &report.not_taken[..]), (&[][..], &[][..]));
    report.new_epoch
}

fn copy_store(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let name = entry.unwrap().file_name();
        if name.to_string_lossy().starts_with("training.sqlite") {
            std::fs::copy(from.join(&name), to.join(&name)).unwrap();
        }
    }
}

fn remove_store(folder: &Path) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.file_name().unwrap().to_string_lossy().starts_with("training.sqlite") {
            std::fs::remove_file(path).unwrap();
        }
    }
}

#[test]
fn phones_refill_a_restored_server_and_nothing_is_lost() {
    let mut stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let jonas = stand.person(Role::Athlete, "Jonas Okafor");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut tablet) = (stand.phone(mira, "phone"), stand.phone(mira, "tablet"));
    let (mut away, mut desk) = (stand.phone(jonas, "away"), stand.phone(ruth, "desk"));
    let mut session = phone.begin();
    for n in 1..=5 {
        phone.set(&mut session, n).unwrap();
    }
    phone.say(october(mira), "not touched after the backup");
    plan_session(&mut desk, mira, "before the backup");
    desk.say(notes(mira), "before the backup");
    away.say(november(jonas), "before the backup");
    for _ in 0..2 {
        for one in [&mut phone, &mut tablet, &mut away, &mut desk] {
            exchange(one, &stand);
        }
    }
    let file = stand.dir.path().join("club.backup");
    stand.backup(&file);

    // All of this is acknowledged and then lost; some of it is in documents that the backup lacks.
    for n in 6..=9 {
        phone.set(&mut session, n).unwrap();
    }
    tablet.say(november(mira), "from the tablet");
    desk.say(notes(mira), "after the backup");
    desk.say(notes(jonas), "a new document");
    plan_session(&mut desk, mira, "after the backup");
    plan_session(&mut desk, jonas, "a new document");
    for _ in 0..2 {
        for one in [&mut phone, &mut tablet, &mut away, &mut desk] {
            exchange(one, &stand);
        }
    }
    // One is offline from here until after the restore, with sets on top of what will be lost.
    away.say(november(jonas), "acknowledged");
    exchange(&mut away, &stand);
    away.say(november(jonas), "in a cellar, before the restore");
    let names = [november(mira), october(mira), plan(mira), notes(mira), plan(jonas), notes(jonas)];
    let before: Vec<_> = names.iter().map(|name| desk.heads(*name)).collect();
    stand.restore(&file);
    assert!(!stand.stored().contains_key(&notes(jonas)), "the backup is the older one");
    phone.set(&mut session, 10).unwrap();
    away.say(november(jonas), "in a cellar, after the restore");

    // The athletes come first: what coaches wrote is not theirs to refill, and they do not try.
    for one in [&mut phone, &mut tablet, &mut away, &mut desk] {
        assert!(exchange(one, &stand), "it is told of the new epoch");
        assert!(one.phone.unsent().unwrap().is_empty(), "what is its own is there");
    }
    for one in [&mut phone, &mut tablet, &mut away, &mut desk] {
        assert!(!exchange(one, &stand), "and only once");
    }
    let stored = stand.stored();
    for (name, heads) in names.iter().zip(&before).skip(1) {
        assert_eq!(&stored[name].1, heads, "{name}");
    }
    // A new desk and a new phone see everything, whoever wrote it and when.
    let (mut new_desk, mut new_phone) = (stand.phone(ruth, "new desk"), stand.phone(mira, "new phone"));
    for one in [&mut new_desk, &mut new_phone] {
        assert!(!exchange(one, &stand));
    }
    for one in [&mut new_desk, &mut new_phone, &mut phone, &mut tablet] {
        assert_eq!(one.numbers(november(mira)), (1..=10).collect::<Vec<_>>());
        assert_eq!(one.words(november(mira)), ["from the tablet"]);
        assert_eq!(one.words(notes(mira)), ["after the backup", "before the backup"]);
        assert_eq!(one.phone.document(plan(mira)).unwrap().records::<Session>("sessions").entries.len(), 2);
    }
    assert_eq!(
        new_desk.words(november(jonas)),
        [
            "acknowledged",
            "before the backup",
            "in a cellar, after the restore",
            "in a cellar, before the restore"
        ]
    );
    for one in [&mut phone, &mut tablet, &mut away, &mut desk, &mut new_desk, &mut new_phone] {
        assert!(one.phone.unsent().unwrap().is_empty() && one.phone.refusals().unwrap().is_empty());
        for name in one.phone.documents().unwrap() {
            assert_eq!(one.heads(name), stored.get(&name).unwrap().1, "{name}");
        }
    }
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

#[test]
fn a_restored_server_sends_nothing_that_is_there_already() {
    let mut stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    for n in 0..300 {
        phone.say(october(mira), &format!("{n} {:x}", n * 0x9e37_79b9_u64));
        desk.say(notes(mira), &format!("{n} {:x}", n * 0x85eb_ca6b_u64));
    }
    for _ in 0..2 {
        exchange(&mut phone, &stand);
        exchange(&mut desk, &stand);
    }
    let mut first = Http::new(&stand.url());
    stand.phone(ruth, "a measure").phone.exchange(&mut first).unwrap();
    assert!(first.received > 5_000, "{}: all of it", first.received);
    let file = stand.dir.path().join("club.backup");
    stand.backup(&file);
    desk.say(notes(mira), "lost");
    phone.say(october(mira), "lost");
    for _ in 0..2 {
        exchange(&mut phone, &stand);
        exchange(&mut desk, &stand);
    }
    stand.restore(&file);
    for one in [&mut phone, &mut desk] {
        let mut http = Http::new(&stand.url());
        let report = one.phone.exchange(&mut http).unwrap();
        assert!(report.new_epoch && report.rounds == 2, "{report:?}");
        assert!(http.received < 1_500 && http.sent < 1_500, "{} {}", http.received, http.sent);
    }
    for one in [&mut phone, &mut desk] {
        exchange(one, &stand);
        for name in [october(mira), notes(mira)] {
            assert_eq!(one.words(name).len(), 301);
            assert_eq!(one.heads(name), stand.stored()[&name].1);
        }
    }
}

#[test]
fn a_phone_on_an_older_copy_of_its_file_gets_everything_back_and_writes_on() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    let log = november(mira);
    let mut session = phone.begin();
    for n in 1..=4 {
        phone.set(&mut session, n).unwrap();
    }
    exchange(&mut phone, &stand);
    // One change is in the copy and on its way; one only after the copy.
    phone.set(&mut session, 5).unwrap();
    let folder = phone.dir.clone();
    drop(phone);
    let kept = stand.dir.path().join("kept");
    copy_store(&folder, &kept);
    let mut phone = Handset::open(&folder, stand.now());
    phone.set(&mut session, 6).unwrap();
    desk.say(notes(mira), "seen");
    exchange(&mut desk, &stand);
    exchange(&mut phone, &stand);
    let stored = stand.stored();
    drop(phone);
    remove_store(&folder);
    copy_store(&kept, &folder);

    // Before there is a signal it goes on from what it has; another start, so another actor.
    let mut phone = Handset::open(&folder, stand.now());
    assert_eq!(phone.numbers(log), [1, 2, 3, 4, 5]);
    phone.set(&mut session, 7).unwrap();
    exchange(&mut phone, &stand);
    assert_eq!(phone.numbers(log), [1, 2, 3, 4, 5, 6, 7]);
    assert_eq!(phone.words(notes(mira)), ["seen"]);
    exchange(&mut desk, &stand);
    assert_eq!(desk.heads(log), phone.heads(log));
    assert_eq!(stand.stored()[&notes(mira)], stored[&notes(mira)]);
    assert_eq!(stand.trouble(), Vec::<String>::new());

    // The store gone altogether: the identity is apart from it, the documents come back.
    drop(phone);
    remove_store(&folder);
    let mut phone = Handset::open(&folder, stand.now());
    exchange(&mut phone, &stand);
    assert_eq!(phone.heads(log), desk.heads(log));
}

#[test]
fn a_phone_and_its_server_both_restored_agree_again() {
    let mut stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let (mut phone, mut tablet) = (stand.phone(mira, "phone"), stand.phone(mira, "tablet"));
    let log = november(mira);
    phone.say(log, "in both copies");
    exchange(&mut phone, &stand);
    let file = stand.dir.path().join("club.backup");
    stand.backup(&file);
    phone.say(log, "in the phone's copy");
    exchange(&mut phone, &stand);
    let folder = phone.dir.clone();
    drop(phone);
    let kept = stand.dir.path().join("kept");
    copy_store(&folder, &kept);
    let mut phone = Handset::open(&folder, stand.now());
    phone.say(log, "on the tablet only");
    exchange(&mut phone, &stand);
    exchange(&mut tablet, &stand);
    // The token was renewed after the copy; it is not in the store, so the session goes on.
    stand.clock.set(stand.now().plus_ms(16 * MINUTE));
    exchange(&mut phone, &stand);
    drop(phone);
    remove_store(&folder);
    copy_store(&kept, &folder);
    stand.restore(&file);
    let mut phone = Handset::open(&folder, stand.now());
    for _ in 0..2 {
        for one in [&mut phone, &mut tablet] {
            exchange(one, &stand);
        }
    }
    let all = ["in both copies", "in the phone's copy", "on the tablet only"];
    assert_eq!(
        (phone.words(log), tablet.words(log)),
        (all.map(str::to_owned).to_vec(), all.map(str::to_owned).to_vec())
    );
    assert_eq!(stand.stored()[&log].1, phone.heads(log));
}
