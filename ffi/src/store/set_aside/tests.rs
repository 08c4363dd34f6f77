//! A damaged store is mended, and a kill may come after each step of it.

use std::fs;
use std::path::Path;

use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::{Clock, Device};
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Refusal;
use backstraight_core::model::log::SessionDone;
use uuid::Uuid;

use super::*;

/// Noon of 2026-11-25 in UTC.
const NOON: Moment = Moment(1_795_608_000_000);
const SESSIONS: usize = 12;
const PAGE: usize = 4096;

struct Noon;

impl Clock for Noon {
    fn now(&self) -> Moment {
        NOON
    }
    fn zone_minutes(&self) -> i32 {
        0
    }
}

fn device(store: Store, chance: u8) -> Device<Store> {
    let identity = Identity {
        install: InstallId([4; 8]),
        person: PersonId(Uuid::from_u128(1)),
        club: ClubId(Uuid::from_u128(2)),
        role: Role::Athlete,
        name: "Invented Athlete".into(),
        server: "http://127.0.0.1:1".into(),
        access: "a".into(),
        refresh: "r".into(),
        access_until: None,
        key: None,
    };
    Device::new(store, identity, Box::new(Noon), [chance; 12])
}

fn log(device: &Device<Store>) -> DocName {
    DocName::Log(device.identity().person, device.today().unwrap().month())
}

fn begin(device: &mut Device<Store>) {
    let (key, name) = (device.key(), log(device));
    let record = SessionDone::new(device.today().unwrap(), NOON);
    let add = Command::Add(vec![New { place: Place::of("sessions", &key), record: record.into() }]);
    device.run(name, &add).unwrap();
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
}

/// Where the pages of a table or an index begin.
fn root(file: &Path, name: &str) -> usize {
    let db = Connection::open(file).unwrap();
    let sql = "SELECT rootpage FROM sqlite_schema WHERE name = ?1";
    usize::try_from(db.query_row(sql, [name], |r| r.get::<_, i64>(0)).unwrap()).unwrap()
}

/// A folder as a kill leaves it: most in the main file, the last session and its deed in the log of writes. The
/// page of an index is overwritten in the main file, so all else can be read.
fn damaged(home: &Path) -> PathBuf {
    let (life, left) = (home.join("life"), home.join("left"));
    fs::create_dir(&life).unwrap();
    let mut phone = device(Store::open(&life).unwrap(), 1);
    (1..SESSIONS).for_each(|_| begin(&mut phone));
    let shelf = phone.shelf_mut();
    shelf.set_facts(&[("mark", b"of this folder")]).unwrap();
    drop(phone);
    let page = root(&life.join(FILE), "carried_doc") - 1;
    let mut phone = device(Store::open(&life).unwrap(), 2);
    let name = log(&phone);
    let refusal = Refusal { code: "too-early".to_owned(), change: None, text: "not yet".to_owned() };
    phone.shelf_mut().note_refusal(&name, &refusal).unwrap();
    phone.shelf_mut().next_is("deed", "its answer");
    begin(&mut phone);
    copy(&life, &left);
    let mut bytes = fs::read(left.join(FILE)).unwrap();
    bytes[page * PAGE..(page + 1) * PAGE].fill(0xff);
    fs::write(left.join(FILE), bytes).unwrap();
    assert!(fs::metadata(left.join(format!("{FILE}-wal"))).unwrap().len() > 0);
    left
}

fn all_is_there(folder: &Path, when: &str) {
    let store = Store::open(folder).unwrap();
    assert_eq!(store.set_aside, [folder.join(format!("{FILE}.damaged-1"))], "{when}");
    assert_eq!(store.done_once("deed").unwrap().as_deref(), Some("its answer"), "{when}");
    assert_eq!(store.fact("mark").unwrap().as_deref(), Some(&b"of this folder"[..]), "{when}");
    assert_eq!(store.refusals().unwrap().len(), 1, "{when}");
    let mut phone = device(store, 3);
    assert_eq!(phone.unsent().unwrap(), [(log(&phone), SESSIONS)], "{when}");
    begin(&mut phone);
    // Nothing of the way there is left behind.
    let names = fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
    let odd: Vec<String> = names.filter(|n| n.contains("mend") || n.ends_with(".new")).collect();
    assert!(odd.is_empty(), "{when}: {odd:?}");
}

#[test]
fn a_kill_after_any_step_of_mending_loses_nothing() {
    let home = tempfile::tempdir().unwrap();
    let left = damaged(home.path());
    let was = [FILE.to_owned(), format!("{FILE}-wal")].map(|name| fs::read(left.join(name)).unwrap());
    let mut steps = 0;
    drop(Store::open_by_steps(&left, &mut || {
        copy(&left, &home.path().join(format!("killed-{steps}")));
        steps += 1;
    }));
    assert!(steps > 10, "{steps}");
    all_is_there(&left, "not killed");
    for step in 0..steps {
        let folder = home.path().join(format!("killed-{step}"));
        all_is_there(&folder, &format!("killed after step {step}"));
        // What was set aside is what was found, to the last byte.
        let aside = ["", "-wal"].map(|end| fs::read(folder.join(format!("{FILE}.damaged-1{end}"))).unwrap());
        assert!(aside == was, "killed after step {step}");
        // Killed once more while it is mended again: nothing hangs on how often it is begun.
        all_is_there_again(&folder);
    }
}

fn all_is_there_again(folder: &Path) {
    let store = Store::open(folder).unwrap();
    assert_eq!(store.set_aside.len(), 1);
    assert_eq!(device(store, 4).unsent().unwrap()[0].1, SESSIONS + 1);
}

#[test]
fn who_was_told_of_a_complete_exchange_is_not_told_of_the_files_again() {
    let home = tempfile::tempdir().unwrap();
    let left = damaged(home.path());
    drop(Store::open(&left).unwrap());
    // Each opening tells, until then.
    let mut store = Store::open(&left).unwrap();
    assert_eq!(store.set_aside.len(), 1);
    store.forget_set_aside().unwrap();
    drop(store);
    assert!(Store::open(&left).unwrap().set_aside.is_empty());
    assert!(left.join(format!("{FILE}.damaged-1")).exists(), "never deleted");
}

#[test]
fn rows_on_both_sides_of_a_page_that_cannot_be_read_are_taken_over() {
    let home = tempfile::tempdir().unwrap();
    let mut store = Store::open(home.path()).unwrap();
    for n in 0..500 {
        let tx = store.db.transaction().unwrap();
        super::super::facts::note_once(&tx, &format!("deed {n}"), &"x".repeat(60)).unwrap();
        tx.commit().unwrap();
    }
    drop(store);
    let file = home.path().join(FILE);
    // A leaf in the middle of the table.
    let db = Connection::open(&file).unwrap();
    let sql = "SELECT pageno FROM dbstat WHERE name = 'once' AND pagetype = 'leaf' ORDER BY path";
    let leaves: Vec<i64> =
        db.prepare(sql).unwrap().query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
    drop(db);
    assert!(leaves.len() > 4, "{leaves:?}");
    let page = usize::try_from(leaves[leaves.len() / 2]).unwrap() - 1;
    let mut bytes = fs::read(&file).unwrap();
    bytes[page * PAGE..(page + 1) * PAGE].fill(0xff);
    fs::write(&file, bytes).unwrap();
    let store = Store::open(home.path()).unwrap();
    assert_eq!(store.set_aside.len(), 1);
    let there = |n: &usize| store.done_once(&format!("deed {n}")).unwrap().is_some();
    assert!(there(&0) && there(&499));
    let lost = (0..500).filter(|n| !there(n)).count();
    assert!(0 < lost && lost < 60, "{lost}");
}
