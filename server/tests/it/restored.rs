//! A server that was restored from a backup: devices fill in what it lost.

use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_server::folder::Folder;
use backstraight_server::store::backup::{self, Take};
use backstraight_server::store::document;

use crate::over;
use crate::support::{Club, START, Server, about, changes, log, notes};

const NOW: Moment = Moment(START);
const REPLACE: Take = Take { replace: true, anyway: false };
const ANYWAY: Take = Take { replace: false, anyway: true };

#[test]
fn what_a_restored_server_lost_comes_back_in_two_round_trips() {
    let (old, new, kept) =
        (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let server = Server::on(old.path());
    let club = server.club("Cinder Lane");
    let id = club.id;
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (club.device(mira), club.device(ruth));
    let october = backstraight_core::model::name::DocName::Log(
        mira,
        backstraight_core::base::day::Month::new(2026, 10).unwrap(),
    );
    phone.say(log(mira), "before the backup");
    phone.say(october, "not changed after");
    desk.say(notes(mira), "seen before");
    phone.settle();
    desk.settle();
    let file = kept.path().join("club.backup");
    server.backup(&file).unwrap();
    // All of this is acknowledged, and then lost.
    phone.say(log(mira), "after the backup");
    phone.settle();
    desk.say(notes(mira), "seen after");
    desk.settle();
    phone.settle();
    let refresh = {
        let url = format!("{}/v1/token", server.url);
        let answer = crate::support::post(&url, None, &phone.key.refresh(&phone.refresh, server.now()));
        answer.1["refresh_token"].as_str().unwrap().to_owned()
    };
    let (was, heads) = (phone.epoch.clone(), (phone.heads(log(mira)), phone.heads(notes(mira))));
    server.stop();
    over::restore(&file, new.path(), Take::default(), NOW).unwrap();
    let server = Server::on(new.path());
    for device in [&mut phone, &mut desk] {
        device.url.clone_from(&server.url);
    }
    // The phone says what it has; nothing is unsent as far as it knows.
    assert!(phone.up().docs.iter().all(|d| d.changes.is_none()));
    let down = phone.exchange();
    assert_ne!(phone.epoch, was);
    assert_eq!(about(&down, log(mira)).unwrap().outcome, Outcome::Need);
    assert_eq!(about(&down, october).unwrap().outcome, Outcome::Accepted);
    assert_eq!(changes(&down, october), 0, "heads say that it has everything");
    // Notes are the coach's to refill; the athlete's copy may not.
    let down = phone.exchange();
    assert_eq!(about(&down, log(mira)).unwrap().outcome, Outcome::Accepted);
    assert!(desk.settle() <= 2);
    desk.settle();
    phone.settle();
    for device in [&phone, &desk] {
        assert_eq!((device.heads(log(mira)), device.heads(notes(mira))), heads);
    }
    let stored = server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().unwrap();
    assert_eq!(stored.heads, heads.0);
    // A token given out after the backup still works: nobody has to enrol again.
    let url = format!("{}/v1/token", server.url);
    let answer = crate::support::post(&url, None, &phone.key.refresh(&refresh, server.now()));
    assert_eq!(answer.0, 200, "{}", answer.1);
    let club = Club { server: &server, id };
    let mut tablet = club.device(mira);
    tablet.settle();
    assert_eq!(tablet.words(log(mira)), ["after the backup", "before the backup"]);
}

#[test]
fn an_upload_on_top_of_what_was_lost_is_asked_for_again_and_nothing_is_half_taken() {
    let (old, new, kept) =
        (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let server = Server::on(old.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    phone.exchange();
    let file = kept.path().join("club.backup");
    server.backup(&file).unwrap();
    phone.say(log(mira), "lost");
    phone.settle();
    phone.say(log(mira), "on top of it");
    server.stop();
    over::restore(&file, new.path(), Take::default(), NOW).unwrap();
    let server = Server::on(new.path());
    phone.url.clone_from(&server.url);
    let down = phone.send(&phone.up());
    assert_eq!(about(&down, log(mira)).unwrap().outcome, Outcome::Need);
    assert!(server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().is_none());
    phone.take(&down);
    assert_eq!(about(&phone.exchange(), log(mira)).unwrap().outcome, Outcome::Accepted);
    let stored = server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().unwrap();
    assert_eq!(stored.heads, phone.heads(log(mira)));
}

#[test]
fn a_restore_needs_an_empty_folder_and_an_intact_backup() {
    let (old, new, kept) =
        (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let server = Server::on(old.path());
    server.club("Cinder Lane");
    let (here, there) = (Folder::open(old.path()).unwrap(), Folder::open(new.path()).unwrap());
    let file = kept.path().join("club.backup");
    backup::backup(&here, &file, NOW).unwrap();
    assert!(backup::restore(&file, &here, Take::default(), NOW).is_err(), "not empty");
    assert!(backup::restore(&file, &here, REPLACE, NOW).is_err(), "it is being served");
    server.stop();
    let mut bytes = std::fs::read(&file).unwrap();
    std::fs::write(kept.path().join("short"), &bytes[..bytes.len() / 2]).unwrap();
    bytes[..100].fill(0);
    std::fs::write(kept.path().join("other"), &bytes).unwrap();
    for wrong in ["short", "other", "missing"] {
        assert!(backup::restore(&kept.path().join(wrong), &there, ANYWAY, NOW).is_err(), "{wrong}");
        assert!(std::fs::read_dir(new.path()).unwrap().all(|f| f.unwrap().file_name() == "serve.lock"));
    }
    backup::restore(&file, &here, REPLACE, NOW).unwrap();
    let aside = std::fs::read_dir(old.path()).unwrap().filter_map(Result::ok);
    assert!(aside.map(|f| f.file_name().to_string_lossy().into_owned()).any(|n| n.contains(".before-")));
    let restored = rusqlite::Connection::open(here.database()).unwrap();
    let tables: i64 = restored
        .query_row("SELECT count(*) FROM sqlite_schema WHERE name = 'kept_key'", [], |r| r.get(0))
        .unwrap();
    assert_eq!(tables, 0, "keys do not stay in the database");
}
