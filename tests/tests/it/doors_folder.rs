//! The doors for apps on a folder that was damaged, with files where there can be none, and in an exchange that is
//! given little time.

use std::fs::{self, OpenOptions};
use std::io::{Seek as _, SeekFrom, Write as _};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use backstraight_ffi::doors::exchange::{ExchangeLimits, built_in_courier};
use backstraight_ffi::doors::install::{Found, Invitation};
use backstraight_ffi::doors::outside::{CourierError, Parcel, Reply};
use backstraight_ffi::doors::{Courier, DoorError, Install, StopFlag};
use backstraight_ffi::store::FILE;
use backstraight_tests::stand::{Stand, november};

use super::doors::{MANY, NOW, enrolled, open, rounds, say};

/// Overwrites the pages of an index: all else can be read.
fn damage(folder: &Path) {
    let file = folder.join(FILE);
    let db = rusqlite::Connection::open(&file).unwrap();
    let sql = "SELECT rootpage FROM sqlite_schema WHERE name = 'carried_doc'";
    let page: u64 = db.query_row(sql, [], |r| r.get::<_, i64>(0)).unwrap().try_into().unwrap();
    drop(db);
    let mut out = OpenOptions::new().write(true).open(file).unwrap();
    out.seek(SeekFrom::Start((page - 1) * 4096)).unwrap();
    out.write_all(&[0xff; 4096]).unwrap();
}

fn waiting(install: &Install) -> u32 {
    install.exchange_state().unwrap().waiting
}

#[test]
fn a_damaged_folder_is_the_same_install_with_the_same_deeds_done() {
    let stand = Stand::default();
    let folder = stand.dir.path().join("phone");
    let keys = Arc::default();
    let install = enrolled(&stand, &folder, &keys);
    let me: PersonId = install.who().unwrap().unwrap().person.parse().unwrap();
    say(&install, 0);
    assert!(rounds(&install, 16, &StopFlag::new(), None).unwrap().complete);
    say(&install, 1);
    install.shut();
    damage(&folder);
    for _ in 0..2 {
        let install = open(&folder, &keys);
        let opening = install.opening();
        assert_eq!((opening.found, opening.set_aside.len()), (Found::AsLeft, 1), "told until an exchange");
        say(&install, 1);
        assert_eq!(install.words(None, NOW).unwrap().len(), 2, "what was done is not done again");
        assert_eq!(install.people().unwrap().len(), 1);
        install.shut();
    }
    let install = open(&folder, &keys);
    assert!(rounds(&install, 16, &StopFlag::new(), None).unwrap().complete);
    assert_eq!(waiting(&install), 0);
    install.shut();
    let install = open(&folder, &keys);
    assert!(install.opening().set_aside.is_empty());
    assert!(folder.join(format!("{FILE}.damaged-1")).exists(), "never deleted");
    let mut desk = stand.phone(stand.person(Role::Coach, "Odd Marenfeld"), "desk");
    desk.exchange(&stand.url());
    assert_eq!(desk.words(november(me)), ["word 0", "word 1"]);
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

#[test]
fn a_damaged_folder_from_elsewhere_is_still_one_persons() {
    let stand = Stand::default();
    let folder = stand.dir.path().join("phone");
    let install = enrolled(&stand, &folder, &Arc::default());
    say(&install, 0);
    install.shut();
    damage(&folder);
    let install = open(&folder, &Arc::default());
    assert_eq!(install.opening().found, Found::FromElsewhere);
    assert_eq!(install.words(None, NOW).unwrap().len(), 1);
    let code = stand.code(stand.person(Role::Athlete, "Wren Hollowell"));
    let invitation = Invitation { server: stand.url(), code };
    let refused = install.enrol(invitation, "phone".to_owned(), built_in_courier().unwrap(), NOW);
    assert_eq!(refused.unwrap_err(), DoorError::WrongState { code: "another-person".to_owned() });
}

#[test]
fn a_file_where_none_can_be_is_a_wrong_value() {
    let stand = Stand::default();
    let install = enrolled(&stand, &stand.dir.path().join("phone"), &Arc::default());
    say(&install, 0);
    let at = |name: &str| stand.dir.path().join(name).display().to_string();
    fs::write(at("long"), vec![0; 20 << 20]).unwrap();
    fs::write(at("odd"), b"nothing of ours").unwrap();
    let field = |error: DoorError| match error {
        DoorError::BadValue { problems } => (problems[0].field.clone(), problems[0].code.clone()),
        other => panic!("{other:?}"),
    };
    let wrong = |error: DoorError| assert_eq!(field(error), ("file".to_owned(), "path".to_owned()));
    wrong(install.write_copy(at("no/copy.json"), StopFlag::new(), NOW).unwrap_err());
    wrong(install.write_copy(at("phone"), StopFlag::new(), NOW).unwrap_err());
    wrong(install.write_carry_file(at("long/carry")).unwrap_err());
    wrong(install.take_carry_file(at("no")).unwrap_err());
    wrong(install.take_carry_file(at("phone")).unwrap_err());
    for name in ["long", "odd"] {
        assert_eq!(field(install.take_carry_file(at(name)).unwrap_err()).0, "file", "{name}");
    }
    let names = fs::read_dir(stand.dir.path()).unwrap().map(|e| e.unwrap().file_name());
    assert!(!names.into_iter().any(|n| n.to_string_lossy().ends_with(".new")), "no draft is left");
    install.write_carry_file(at("carry")).unwrap();
    install.take_carry_file(at("carry")).unwrap();
}

/// A courier over a slow line, and what it was told of the time.
struct Slow {
    way: Arc<dyn Courier>,
    takes: Duration,
    asked: Mutex<Vec<(Instant, u32)>>,
}

impl Courier for Slow {
    fn carry(&self, parcel: Parcel) -> Result<Reply, CourierError> {
        self.asked.lock().unwrap().push((Instant::now(), parcel.timeout_ms));
        std::thread::sleep(self.takes);
        self.way.carry(parcel)
    }
}

#[test]
fn an_exchange_keeps_to_its_time() {
    let stand = Stand::default();
    let install = enrolled(&stand, &stand.dir.path().join("phone"), &Arc::default());
    (0..MANY).for_each(|n| say(&install, n));
    let slow = Arc::new(Slow {
        way: built_in_courier().unwrap(),
        takes: Duration::from_millis(1_500),
        asked: Mutex::default(),
    });
    let exchange = |most_ms| {
        let limits = ExchangeLimits { most_ms, most_rounds: 16 };
        let began = Instant::now();
        let way = Arc::clone(&slow) as Arc<dyn Courier>;
        let report = install.exchange(way, limits, StopFlag::new(), None, NOW).unwrap();
        // When each was asked, and how long it was given.
        let asked = std::mem::take(&mut *slow.asked.lock().unwrap());
        let asked: Vec<_> =
            asked.into_iter().map(|(at, ms)| (at.duration_since(began).as_millis(), ms)).collect();
        (report, asked)
    };
    let (none, asked) = exchange(0);
    assert!(
        !none.complete && none.rounds == 0 && none.waiting == MANY && asked.is_empty(),
        "{none:?} {asked:?}"
    );
    // All that waits takes two round trips, and the first is not over in time.
    let (one, asked) = exchange(1_400);
    assert!(!one.complete && one.rounds == 1 && one.waiting > 0 && asked.len() == 1, "{one:?} {asked:?}");
    assert!(asked[0].1 <= 1_400, "{asked:?}");
    // Room for two: the second is given what is left.
    (MANY..2 * MANY).for_each(|n| say(&install, n));
    let (two, asked) = exchange(20_000);
    assert!(two.complete && two.rounds == 2 && asked.len() == 2, "{two:?} {asked:?}");
    for (passed, given) in asked {
        assert!(u128::from(given) <= 20_000 - passed + 500, "{given} {passed}");
    }
}
