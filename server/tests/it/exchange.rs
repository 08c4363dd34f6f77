//! The exchange as devices use it.

use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::SeasonNo;
use backstraight_server::job::compact::{self, Compacted};
use backstraight_server::store::document;

use crate::support::{Club, Server, about, changes, log, notes, refusal};

#[test]
fn two_people_write_and_each_sees_what_the_other_may_show() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (club.device(mira), club.device(ruth));
    phone.say(log(mira), "felt fast");
    phone.say(log(mira), "left hip stiff");
    desk.say(notes(mira), "shins more vertical");
    let down = phone.exchange();
    assert_eq!(about(&down, log(mira)).unwrap().outcome, Outcome::Accepted);
    assert_eq!(changes(&down, log(mira)), 0, "its own changes are not sent back");
    assert_eq!(about(&down, log(mira)).unwrap().cursor, 1);
    // The desk never listed the log: it is granted, from the start.
    let down = desk.exchange();
    assert_eq!(changes(&down, log(mira)), 2);
    assert_eq!(desk.words(log(mira)), ["felt fast", "left hip stiff"]);
    let down = phone.exchange();
    assert_eq!(changes(&down, notes(mira)), 1);
    assert_eq!(phone.words(notes(mira)), ["shins more vertical"]);
    assert_eq!(phone.heads(log(mira)), desk.heads(log(mira)));
    assert_eq!(phone.heads(notes(mira)), desk.heads(notes(mira)));
    assert!(!down.more && down.withdrawn.is_empty());
}

#[test]
fn the_same_request_again_changes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    phone.exchange();
    phone.say(log(mira), "one");
    phone.say(log(mira), "two");
    let up = phone.up();
    let first = phone.send(&up);
    for _ in 0..3 {
        let again = phone.send(&up);
        assert_eq!(again.docs, first.docs);
        assert_eq!(changes(&again, log(mira)), 0, "known changes are not sent back either");
    }
    // Part of it was known: only the rest is stored.
    phone.say(log(mira), "three");
    phone.exchange();
    let rows = server.store().read_blocking(|db| {
        let doc = document::find(db, &log(mira))?.unwrap();
        document::stored(db, doc.id)
    });
    assert_eq!(rows.unwrap().chunks.iter().map(|c| c.n).collect::<Vec<_>>(), [1, 2]);
    let mut other = club.device(mira);
    other.exchange();
    assert_eq!(other.words(log(mira)), ["one", "three", "two"]);
}

#[test]
fn two_installs_of_one_person_write_the_same_month_without_a_signal() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (mut a, mut b) = (club.device(mira), club.device(mira));
    a.say(log(mira), "from the phone");
    b.say(log(mira), "from the tablet");
    a.exchange();
    let down = b.exchange();
    assert_eq!(changes(&down, log(mira)), 1);
    let down = a.exchange();
    assert_eq!(changes(&down, log(mira)), 1);
    assert_eq!(a.heads(log(mira)), b.heads(log(mira)));
    assert_eq!(a.words(log(mira)), ["from the phone", "from the tablet"]);
    assert_eq!(about(&a.exchange(), log(mira)).unwrap().heads.len(), 2);
}

#[test]
fn an_edit_of_what_stands_there_is_checked_against_the_document() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let plan = DocName::Plan(mira, SeasonNo::new(2027).unwrap());
    let (mut desk, mut second) = (club.device(ruth), club.device(ruth));
    desk.season(plan, "2026-10-05", "2027-03-01");
    desk.settle();
    second.settle();
    desk.season(plan, "2026-10-12", "2027-03-01");
    second.season(plan, "2026-10-19", "2027-03-08");
    assert_eq!(about(&desk.exchange(), plan).unwrap().outcome, Outcome::Accepted);
    assert_eq!(about(&second.exchange(), plan).unwrap().outcome, Outcome::Accepted);
    desk.exchange();
    assert_eq!(desk.heads(plan), second.heads(plan));
    // Both edits survived: the field shows that two met.
    let about = backstraight_core::doc::place::Place::main("about");
    let entry = desk.copies[&plan].doc.record::<backstraight_core::model::plan::PlanAbout>(&about);
    assert_eq!(entry.unwrap().unwrap().met.len(), 1);
}

#[test]
fn cursors_only_move_over_what_was_sent() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (club.device(mira), club.device(ruth));
    for n in 1..=4 {
        phone.say(log(mira), &format!("set {n}"));
        phone.exchange();
    }
    desk.exchange();
    assert_eq!(desk.copies[&log(mira)].cursor, 4);
    // The answer is lost: the device asks again with the old cursor and gets the same.
    phone.say(log(mira), "set 5");
    phone.exchange();
    let mut up = desk.up();
    up.docs.iter_mut().for_each(|d| d.heads.clear());
    let (one, two) = (desk.send(&up), desk.send(&up));
    assert_eq!((changes(&one, log(mira)), one.docs.clone()), (1, two.docs));
    desk.take(&one);
    // Nothing new, nothing sent, no heads: nothing is said.
    let mut up = desk.up();
    up.docs.iter_mut().for_each(|d| d.heads.clear());
    assert!(desk.send(&up).docs.is_empty());
    // A cursor from nowhere is not believed.
    up.docs.iter_mut().for_each(|d| d.cursor = 99);
    assert_eq!(changes(&desk.send(&up), log(mira)), 5);
}

#[test]
fn a_new_device_after_compaction_gets_everything() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut old) = (club.device(mira), club.device(ruth));
    let mut write = |from: u32, to: u32| {
        for n in from..to {
            phone.say(log(mira), &format!("set {n:03}"));
            phone.exchange();
        }
        phone.heads(log(mira))
    };
    write(0, 10);
    old.exchange();
    let store = server.store();
    let id = store.read_blocking(|db| document::find(db, &log(mira))).unwrap().unwrap().id;
    assert!(matches!(compact::one(&store, None, id, server.now()), Ok(Compacted::Done(_))));
    assert_eq!(compact::one(&store, None, id, server.now()).unwrap(), Compacted::Nothing);
    let kept = || store.read_blocking(|db| document::stored(db, id)).unwrap();
    assert_eq!(kept().chunks.len(), 10, "chunks stay until the next snapshot is verified");
    write(10, 20);
    assert!(matches!(compact::one(&store, None, id, server.now()), Ok(Compacted::Done(_))));
    assert_eq!(kept().chunks.iter().map(|c| c.n).collect::<Vec<_>>(), (11..=20).collect::<Vec<_>>());
    write(20, 30);
    assert!(matches!(compact::one(&store, None, id, server.now()), Ok(Compacted::Done(_))));
    let heads = write(30, 33);
    assert_eq!(kept().chunks.len(), 13);
    // One that has nothing, one whose cursor lies before the oldest chunk, one that is just behind it.
    let mut new = club.device(ruth);
    let down = new.exchange();
    assert_eq!(changes(&down, log(mira)), 33);
    let down = old.exchange();
    assert_eq!(old.copies[&log(mira)].cursor, 33);
    assert!(changes(&down, log(mira)) >= 23);
    assert_eq!((new.heads(log(mira)), old.heads(log(mira))), (heads.clone(), heads));
    assert_eq!(new.words(log(mira)).len(), 33);
    // And uploads go on on top of the snapshot, on a server that has forgotten its cache.
    drop(store);
    server.stop();
    let server = Server::on(dir.path());
    phone.url.clone_from(&server.url);
    phone.say(log(mira), "after");
    assert_eq!(about(&phone.exchange(), log(mira)).unwrap().outcome, Outcome::Accepted);
}

#[test]
fn what_was_acknowledged_is_there_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let id = club.id;
    let mut phone = club.device(mira);
    phone.say(log(mira), "kept");
    phone.exchange();
    let epoch = phone.epoch.clone();
    server.stop();
    let server = Server::on(dir.path());
    let club = Club { server: &server, id };
    let mut tablet = club.device(mira);
    tablet.exchange();
    assert_eq!(tablet.words(log(mira)), ["kept"]);
    assert_eq!(tablet.epoch, epoch, "a restart is no restore");
}

#[test]
fn one_bad_document_does_not_hold_up_the_others() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    let october = DocName::Log(mira, backstraight_core::base::day::Month::new(2026, 10).unwrap());
    phone.say(log(mira), "good");
    phone.say(october, "bad");
    let mut up = phone.up();
    let bad = up.docs.iter_mut().find(|d| d.name.as_slice() == october.to_bytes()).unwrap();
    let plain = phone.copies[&october].doc.changes_since(&Document::create(october).unwrap().heads());
    let mut broken = plain;
    let last = broken.len() - 3;
    broken[last] ^= 0xff;
    bad.changes = Some(backstraight_core::doc::thin::pack(&broken).into());
    let down = phone.send(&up);
    assert_eq!(refusal(&down, october), "checksum");
    assert_eq!(about(&down, log(mira)).unwrap().outcome, Outcome::Accepted);
    assert!(server.store().read_blocking(|db| document::find(db, &october)).unwrap().is_none());
    // The device kept its bytes: sent whole, they are taken.
    phone.take(&down);
    assert_eq!(about(&phone.exchange(), october).unwrap().outcome, Outcome::Accepted);
}
