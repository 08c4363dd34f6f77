//! The doors without a server and without another language: what opens, what is said when it does not, and
//! that a deed is done once.
#![cfg(feature = "doors")]
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod races;
#[path = "../small_disk/mod.rs"]
mod small_disk;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex};

use backstraight_ffi::doors::check_in::CheckInAnswers;
use backstraight_ffi::doors::exchange::ExchangeLimits;
use backstraight_ffi::doors::install::{Found, Invitation, OpenWith};
use backstraight_ffi::doors::log::LogSet;
use backstraight_ffi::doors::outside::{
    Area, CourierError, KeyStoreError, ListenerError, News, Parcel, Progress, Reply, Step,
};
use backstraight_ffi::doors::plan::{NewExercise, NewItem, NewSession};
use backstraight_ffi::doors::sheet::SetNumbers;
use backstraight_ffi::doors::{
    Courier, DoorError, Install, KeyStore, Now, StopFlag, Watcher, interface_mark,
};
use backstraight_ffi::store::FILE;

/// Noon of 2026-11-25 in UTC.
const NOON: Now = Now { utc_ms: 1_795_608_000_000, ahead_min: 0 };
const ATHLETE: &str = "01a21d1b-6510-7a9b-bbc6-bdc0ef526187";

/// A key store, and everything that was ever put into it.
#[derive(Default)]
struct Keys(Mutex<BTreeMap<String, Vec<u8>>>, Mutex<Vec<Vec<u8>>>);

impl KeyStore for Keys {
    fn keep(&self, name: String, secret: Vec<u8>) -> Result<(), KeyStoreError> {
        self.1.lock().unwrap().push(secret.clone());
        self.0.lock().unwrap().insert(name, secret);
        Ok(())
    }
    fn look_up(&self, name: String) -> Result<Option<Vec<u8>>, KeyStoreError> {
        Ok(self.0.lock().unwrap().get(&name).cloned())
    }
    fn forget(&self, name: String) -> Result<(), KeyStoreError> {
        self.0.lock().unwrap().remove(&name);
        Ok(())
    }
}

/// Enrols as a server does, as whoever it is told, and loses its first so many answers.
struct Canned {
    role: &'static str,
    person: &'static str,
    lost: Mutex<u32>,
    keys: Mutex<Vec<String>>,
}

impl Canned {
    fn of(role: &'static str) -> Arc<Canned> {
        Arc::new(Canned { role, person: ATHLETE, lost: Mutex::new(0), keys: Mutex::default() })
    }
}

impl Courier for Canned {
    fn carry(&self, parcel: Parcel) -> Result<Reply, CourierError> {
        if !parcel.url.ends_with("/v1/enrol") {
            return Err(CourierError::Offline);
        }
        let asked: serde_json::Value = serde_json::from_slice(&parcel.body).unwrap();
        self.keys.lock().unwrap().push(asked["public_key"].as_str().unwrap().to_owned());
        let mut lost = self.lost.lock().unwrap();
        if *lost > 0 {
            *lost -= 1;
            return Err(CourierError::TimedOut);
        }
        let body = format!(
            r#"{{"install": "0404040404040404", "person": "{}", "club": "01a21d1b-6409-7560-b73b-11275841bcd9",
                "role": "{}", "name": "Tilde Ravnsborg", "access_token": "access-4711", "refresh_token": "refresh-4711"}}"#,
            self.person, self.role
        );
        Ok(Reply { status: 201, headers: Vec::new(), body: body.into_bytes() })
    }
}

fn open(folder: &Path, keys: &Arc<Keys>) -> Result<Arc<Install>, DoorError> {
    let folder = folder.display().to_string();
    let with = OpenWith { folder, interface: interface_mark(), most_bytes: None };
    Install::open(with, Arc::clone(keys) as Arc<dyn KeyStore>, NOON)
}

fn invitation() -> Invitation {
    Invitation { server: "http://nowhere.example".to_owned(), code: "AAAAAAAA".to_owned() }
}

fn enrol(install: &Install, courier: Arc<Canned>) -> Result<(), DoorError> {
    install.enrol(invitation(), "test".to_owned(), courier, NOON).map(|_| ())
}

fn enrolled(folder: &Path, keys: &Arc<Keys>, role: &'static str) -> Arc<Install> {
    let install = open(folder, keys).unwrap();
    enrol(&install, Canned::of(role)).unwrap();
    install
}

fn say(install: &Install, once: &str) -> Result<bool, DoorError> {
    let said = install.say("in the cellar".to_owned(), None, None, once.to_owned(), NOON);
    said.map(|receipt| receipt.already_there)
}

fn said(install: &Install) -> usize {
    install.words(None, NOON).unwrap().len()
}

#[test]
fn an_answer_that_got_lost_is_asked_for_again_with_the_same_key() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::<Keys>::default());
    let courier = Canned::of("athlete");
    *courier.lost.lock().unwrap() = 2;
    let install = open(dir.path(), &keys).unwrap();
    assert_eq!(install.opening().found, Found::Blank);
    assert_eq!(enrol(&install, Arc::clone(&courier)), Err(DoorError::Offline));
    // Killed in between.
    install.shut();
    let install = open(dir.path(), &keys).unwrap();
    assert_eq!(enrol(&install, Arc::clone(&courier)), Err(DoorError::Offline));
    enrol(&install, Arc::clone(&courier)).unwrap();
    let asked = courier.keys.lock().unwrap();
    assert_eq!(asked.len(), 3);
    assert!(asked.iter().all(|key| *key == asked[0]), "one install, however often it was asked");
    assert!(install.who().unwrap().unwrap().enrolled);
    // The key of that enrolment is not used for another one.
    assert_eq!(keys.0.lock().unwrap().keys().collect::<Vec<_>>(), ["install"]);
}

#[test]
fn the_folder_holds_no_secret() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::<Keys>::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    say(&install, "a").unwrap();
    install.shut();
    let ever = keys.1.lock().unwrap();
    // What was kept first is what is being asked for, its key last.
    let seed = ever[0].last_chunk::<32>().unwrap().as_slice();
    let secrets: [&[u8]; 3] = [seed, b"access-4711", b"refresh-4711"];
    let has = |bytes: &[u8], secret: &[u8]| bytes.windows(secret.len()).any(|w| w == secret);
    assert!(secrets.iter().all(|secret| has(&keys.0.lock().unwrap()["install"], secret)));
    let mut files = 0;
    for entry in std::fs::read_dir(dir.path()).unwrap() {
        let bytes = std::fs::read(entry.unwrap().path()).unwrap();
        assert!(!secrets.iter().any(|secret| has(&bytes, secret)));
        files += 1;
    }
    assert!(files >= 2);
}

#[test]
fn a_folder_without_its_key_store_can_be_read_and_is_enrolled_again_for_the_same_person_only() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    say(&install, "a").unwrap();
    let waiting = install.exchange_state().unwrap().waiting;
    install.shut();

    let other = Arc::default();
    let install = open(dir.path(), &other).unwrap();
    assert_eq!(install.opening().found, Found::FromElsewhere);
    assert_eq!(said(&install), 1);
    assert_eq!(say(&install, "b"), Err(DoorError::EnrolAgain));
    let stranger = Arc::new(Canned {
        role: "athlete",
        person: "01a21d1b-6510-7a9b-bbc6-bdc0ef526188",
        lost: Mutex::default(),
        keys: Mutex::default(),
    });
    let refused = enrol(&install, Arc::clone(&stranger));
    assert_eq!(refused, Err(DoorError::WrongState { code: "another-person".to_owned() }));
    assert_eq!(said(&install), 1);
    let own = Canned::of("athlete");
    enrol(&install, Arc::clone(&own)).unwrap();
    assert_ne!(*stranger.keys.lock().unwrap(), *own.keys.lock().unwrap(), "a key is of one install only");
    assert_eq!(install.exchange_state().unwrap().waiting, waiting, "what was not sent waits still");
    assert!(say(&install, "a").unwrap(), "a deed stays done");
    assert!(!say(&install, "b").unwrap());
    install.shut();
    let again = open(dir.path(), &other).unwrap();
    assert_eq!(again.opening().found, Found::AsLeft);
    assert!(matches!(open(dir.path(), &other), Err(DoorError::AlreadyOpen)));
    again.shut();
    // To the first phone's key store it is a folder from elsewhere now.
    assert_eq!(open(dir.path(), &keys).unwrap().opening().found, Found::FromElsewhere);
}

#[test]
fn a_key_store_of_another_folder_does_not_make_a_folder_its_own() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (keys_one, keys_two) = (Arc::default(), Arc::default());
    enrolled(one.path(), &keys_one, "athlete").shut();
    enrolled(two.path(), &keys_two, "athlete").shut();
    let install = open(one.path(), &keys_two).unwrap();
    assert_eq!(install.opening().found, Found::FromElsewhere);
    assert!(!install.who().unwrap().unwrap().enrolled);
}

#[test]
fn an_older_state_of_the_folder_and_an_emptied_one_are_known() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let copy = tempfile::tempdir().unwrap();
    let install = enrolled(dir.path(), &keys, "athlete");
    say(&install, "a").unwrap();
    install.shut();
    for entry in std::fs::read_dir(dir.path()).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), copy.path().join(entry.file_name())).unwrap();
    }
    for _ in 0..3 {
        open(dir.path(), &keys).unwrap().shut();
    }
    // A backup of the same phone is put back.
    let install = open(copy.path(), &keys).unwrap();
    assert_eq!(install.opening().found, Found::OlderState);
    assert_eq!(said(&install), 1);
    say(&install, "b").unwrap();
    install.shut();
    let again = open(copy.path(), &keys).unwrap();
    assert_eq!(again.opening().found, Found::AsLeft);
    again.shut();
    // The app was removed and put back; the key store was not.
    let empty = tempfile::tempdir().unwrap();
    let install = open(empty.path(), &keys).unwrap();
    assert_eq!(install.opening().found, Found::Emptied);
    assert!(install.who().unwrap().unwrap().enrolled);
    assert_eq!(said(&install), 0);
    say(&install, "c").unwrap();
}

#[test]
fn a_deed_is_done_once_also_over_a_restart_and_a_refused_one_may_be_tried_again() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let mut install = enrolled(dir.path(), &keys, "athlete");
    for n in 0..5 {
        assert_eq!(say(&install, "same").unwrap(), n > 0);
        install.shut();
        install = open(dir.path(), &keys).unwrap();
    }
    assert_eq!(said(&install), 1);
    // The same answers again are none; nobody is told of them.
    let answers = || CheckInAnswers { sleep: Some(6), ..CheckInAnswers::default() };
    let first = install.check_in(answers(), "c1".to_owned(), NOON).unwrap();
    let second = install.check_in(answers(), "c2".to_owned(), NOON).unwrap();
    assert!(!first.already_there && second.already_there && second.id == first.id);
    assert_eq!(second.revision, first.revision);
    let long = install.say("x".repeat(3_000), None, None, "long".to_owned(), NOON);
    assert!(matches!(long, Err(DoorError::BadValue { .. })));
    assert!(!say(&install, "long").unwrap(), "what was refused was not done");
    for name in ["", &"x".repeat(65)] {
        assert!(matches!(say(&install, name), Err(DoorError::BadValue { .. })));
    }
}

#[test]
fn a_panic_leaves_the_doors_open() {
    struct Panics;
    impl Watcher for Panics {
        fn changed(&self, _: News) -> Result<(), ListenerError> {
            panic!("on purpose")
        }
    }
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    let watch = install.watch(Arc::new(Panics));
    let here = std::panic::AssertUnwindSafe(&install);
    assert!(std::panic::catch_unwind(|| say(&here, "a")).is_err());
    watch.end();
    assert!(say(&install, "a").unwrap(), "it was on disk before anybody was told");
    assert!(!say(&install, "b").unwrap());
}

#[test]
fn what_a_newer_app_wrote_is_left_alone_and_what_an_older_one_wrote_is_upgraded() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    enrolled(dir.path(), &keys, "athlete").shut();
    let file = dir.path().join(FILE);
    let set = |sql: &str| rusqlite::Connection::open(&file).unwrap().execute_batch(sql).unwrap();
    set("PRAGMA user_version = 99");
    assert!(matches!(open(dir.path(), &keys), Err(DoorError::TooOld { .. })));
    // As the version before the doors left it.
    set("PRAGMA user_version = 2; DROP TABLE once");
    let install = open(dir.path(), &keys).unwrap();
    assert!(!say(&install, "a").unwrap());
    assert!(say(&install, "a").unwrap());
}

#[test]
fn a_store_that_the_system_keeps_shut_is_not_taken_for_damaged() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    say(&install, "a").unwrap();
    install.shut();
    // A folder in the file's place cannot be opened either.
    let (file, away) = (dir.path().join(FILE), dir.path().join("away"));
    std::fs::rename(&file, &away).unwrap();
    std::fs::create_dir(&file).unwrap();
    assert!(matches!(open(dir.path(), &keys), Err(DoorError::PhoneLocked { .. })));
    std::fs::remove_dir(&file).unwrap();
    std::fs::rename(&away, &file).unwrap();
    let install = open(dir.path(), &keys).unwrap();
    assert!(install.opening().set_aside.is_empty());
    assert_eq!(said(&install), 1);
}

#[test]
fn pausing_lets_go_of_every_file_also_while_others_call() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    let held = || {
        let all = std::fs::read_dir("/proc/self/fd").unwrap().flatten();
        let home = dir.path().canonicalize().unwrap();
        all.filter_map(|e| std::fs::read_link(e.path()).ok()).filter(|p| p.starts_with(&home)).count()
    };
    assert!(held() > 0);
    std::thread::scope(|s| {
        for n in 0..8 {
            let install = &install;
            s.spawn(move || {
                for k in 0..10 {
                    match say(install, &format!("{n}-{k}")) {
                        Ok(_) | Err(DoorError::Paused) => {}
                        Err(e) => panic!("{e}"),
                    }
                }
            });
        }
        install.pause();
    });
    assert_eq!(held(), 0);
    assert_eq!(install.today(NOON).unwrap_err(), DoorError::Paused);
    let before = install.resume(NOON).unwrap();
    assert_eq!(before.found, Found::AsLeft);
    assert!(!say(&install, "after").unwrap());
    install.shut();
    assert_eq!(install.resume(NOON).unwrap_err(), DoorError::Paused);
}

#[test]
fn one_exchange_at_a_time_and_writing_goes_on_meanwhile() {
    struct Slow(Mutex<std::sync::mpsc::Receiver<()>>, std::sync::mpsc::Sender<()>);
    impl Courier for Slow {
        fn carry(&self, _: Parcel) -> Result<Reply, CourierError> {
            self.1.send(()).unwrap();
            self.0.lock().unwrap().recv().unwrap();
            Err(CourierError::Offline)
        }
    }
    struct Silent;
    impl Progress for Silent {
        fn step(&self, _: Step) -> Result<(), ListenerError> {
            Err(ListenerError::Failed)
        }
    }
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    let limits = ExchangeLimits { most_ms: 25_000, most_rounds: 16 };
    let (go, wait) = std::sync::mpsc::channel();
    let (under_way, began) = std::sync::mpsc::channel();
    let slow = Arc::new(Slow(Mutex::new(wait), under_way));
    std::thread::scope(|s| {
        let first = s.spawn(|| install.exchange(slow, limits, StopFlag::new(), Some(Arc::new(Silent)), NOON));
        began.recv().unwrap();
        let second = install.exchange(Canned::of("athlete"), limits, StopFlag::new(), None, NOON);
        assert!(matches!(second, Err(DoorError::Busy { .. })));
        assert!(!say(&install, "meanwhile").unwrap());
        go.send(()).unwrap();
        assert_eq!(first.join().unwrap().unwrap_err(), DoorError::Offline);
    });
    let none = ExchangeLimits { most_ms: 25_000, most_rounds: 0 };
    let report = install.exchange(Canned::of("athlete"), none, StopFlag::new(), None, NOON).unwrap();
    assert!(!report.complete && report.rounds == 0, "a limit is no error");
}

#[test]
fn clocks_may_jump_and_one_outside_the_calendar_is_told() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    let day = 86_400_000;
    for (n, by) in [0, 3, -2, 400, -1, 0].into_iter().enumerate() {
        let now = Now { utc_ms: NOON.utc_ms + by * day, ahead_min: 60 };
        let said = install.say("x".to_owned(), None, None, format!("{n}"), now);
        assert!(!said.unwrap().already_there);
    }
    for wrong in [0, i64::MIN, i64::MAX] {
        let now = Now { utc_ms: wrong, ahead_min: 0 };
        assert!(matches!(install.today(now), Err(DoorError::WrongClock { .. })), "{wrong}");
    }
    // Past midnight in the athlete's own place.
    let late = Now { utc_ms: NOON.utc_ms, ahead_min: 13 * 60 };
    assert_eq!(install.today(late).unwrap().day, "2026-11-26");
}

#[test]
fn a_coach_plans_and_erasing_leaves_nothing() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "coach");
    let heard = Arc::new(Heard::default());
    let _watch = install.watch(Arc::clone(&heard) as Arc<dyn Watcher>);
    let squat = NewExercise {
        name: "Back squat".to_owned(),
        pattern: "squat".to_owned(),
        intent: "strength".to_owned(),
        caution: None,
        once: "x".to_owned(),
    };
    let squat = install.add_exercise(squat, NOON).unwrap().id;
    let athlete = "01a21d1b-6510-7a9b-bbc6-bdc0ef526189";
    let item = |exercise: &str, sets| NewItem {
        exercise: exercise.to_owned(),
        sets,
        reps: Some(5),
        contacts: None,
        load_g: Some(80_000),
        rest_s: None,
        swaps: Vec::new(),
    };
    let session = |items| NewSession {
        athlete: athlete.to_owned(),
        day: "2026-11-26".to_owned(),
        title: "Strength".to_owned(),
        minutes: None,
        items,
        once: "s".to_owned(),
    };
    let none = install.add_session(session(vec![item(&squat, 0)]), NOON);
    assert!(matches!(none, Err(DoorError::BadValue { .. })));
    let made = install.add_session(session(vec![item(&squat, 3)]), NOON).unwrap().id;
    let (from, to) = ("2026-11-25".to_owned(), "2026-12-25".to_owned());
    let planned = || install.planned(from.clone(), to.clone(), Some(athlete.to_owned())).unwrap();
    assert_eq!((planned().len(), planned()[0].items[0].load_g), (1, Some(80_000)));
    let moved = "2026-12-01".to_owned();
    install.move_session(athlete.to_owned(), made.clone(), moved, "m".to_owned(), NOON).unwrap();
    assert_eq!(planned()[0].day, "2026-12-01");
    install.withdraw_session(athlete.to_owned(), made, "w".to_owned(), NOON).unwrap();
    assert!(planned().is_empty());
    let log = LogSet {
        session: None,
        item: None,
        exercise: Some(squat),
        numbers: SetNumbers::default(),
        once: "l".to_owned(),
    };
    assert!(matches!(install.log_set(log, NOON), Err(DoorError::NotAllowed { .. })));
    let areas: Vec<Area> = heard.0.lock().unwrap().iter().flat_map(|n| n.areas.clone()).collect();
    assert_eq!(areas, [Area::Library, Area::Plan, Area::Plan, Area::Plan]);

    assert_eq!(install.erase(false), Err(DoorError::WrongState { code: "unsent".to_owned() }));
    install.erase(true).unwrap();
    assert!(keys.0.lock().unwrap().is_empty());
    assert!(!dir.path().exists());
}

#[derive(Default)]
struct Heard(Mutex<Vec<News>>);

impl Watcher for Heard {
    fn changed(&self, news: News) -> Result<(), ListenerError> {
        self.0.lock().unwrap().push(news);
        Ok(())
    }
}
