//! What two threads, a key store that calls back, and halves of deeds could do to a folder.

use std::sync::OnceLock;
use std::sync::mpsc::{Receiver, Sender, channel};

use super::*;

/// A key store that does something when it is asked.
#[derive(Default)]
struct Meddling {
    keys: Keys,
    install: OnceLock<Arc<Install>>,
    meddle: Mutex<Option<fn(&Install)>>,
}

impl KeyStore for Meddling {
    fn keep(&self, name: String, secret: Vec<u8>) -> Result<(), KeyStoreError> {
        self.keys.keep(name, secret)
    }
    fn look_up(&self, name: String) -> Result<Option<Vec<u8>>, KeyStoreError> {
        let meddle = self.meddle.lock().unwrap().take();
        if let (Some(meddle), Some(install)) = (meddle, self.install.get()) {
            meddle(install);
        }
        self.keys.look_up(name)
    }
    fn forget(&self, name: String) -> Result<(), KeyStoreError> {
        self.keys.forget(name)
    }
}

#[test]
fn who_pauses_or_shuts_a_folder_while_it_is_resumed_is_obeyed() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::new(Meddling::default()));
    let folder = dir.path().display().to_string();
    let with = OpenWith { folder, interface: interface_mark(), most_bytes: None };
    let install = Install::open(with, Arc::clone(&keys) as Arc<dyn KeyStore>, NOON).unwrap();
    enrol(&install, Canned::of("athlete")).unwrap();
    assert!(keys.install.set(Arc::clone(&install)).is_ok());
    install.pause();
    *keys.meddle.lock().unwrap() = Some(|install| install.pause());
    assert_eq!(install.resume(NOON).unwrap_err(), DoorError::Paused);
    assert_eq!(install.today(NOON).unwrap_err(), DoorError::Paused);
    // Nothing is held: it can be resumed, and by another object too.
    install.resume(NOON).unwrap();
    assert!(!say(&install, "a").unwrap());
    install.pause();
    *keys.meddle.lock().unwrap() = Some(|install| install.shut());
    assert_eq!(install.resume(NOON).unwrap_err(), DoorError::Paused);
    assert_eq!(install.resume(NOON).unwrap_err(), DoorError::Paused, "shut for good");
    let folder = dir.path().display().to_string();
    let with = OpenWith { folder, interface: interface_mark(), most_bytes: None };
    let again = Install::open(with, Arc::clone(&keys) as Arc<dyn KeyStore>, NOON).unwrap();
    assert_eq!(said(&again), 1);
}

/// Holds an enrolment up.
struct Held(Arc<Canned>, Mutex<Receiver<()>>, Sender<()>);

impl Courier for Held {
    fn carry(&self, parcel: Parcel) -> Result<Reply, CourierError> {
        self.2.send(()).unwrap();
        self.1.lock().unwrap().recv().unwrap();
        self.0.carry(parcel)
    }
}

#[test]
fn a_double_tap_enrols_once() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = open(dir.path(), &keys).unwrap();
    let ((go, wait), (under_way, began)) = (channel(), channel());
    let held = Arc::new(Held(Canned::of("athlete"), Mutex::new(wait), under_way));
    std::thread::scope(|s| {
        let first = s.spawn(|| install.enrol(invitation(), "phone".to_owned(), held, NOON));
        began.recv().unwrap();
        let second = enrol(&install, Canned::of("athlete"));
        assert!(matches!(second, Err(DoorError::Busy { .. })), "{second:?}");
        let erased = install.erase(true);
        assert!(matches!(erased, Err(DoorError::Busy { .. })), "{erased:?}");
        go.send(()).unwrap();
        first.join().unwrap().unwrap();
    });
    install.shut();
    assert_eq!(open(dir.path(), &keys).unwrap().opening().found, Found::AsLeft);
}

#[test]
fn the_page_of_a_hotel_signs_nobody_out() {
    struct Hotel(u16, &'static str);
    impl Courier for Hotel {
        fn carry(&self, _: Parcel) -> Result<Reply, CourierError> {
            Ok(Reply { status: self.0, headers: Vec::new(), body: self.1.as_bytes().to_vec() })
        }
    }
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    let limits = ExchangeLimits { most_ms: 25_000, most_rounds: 16 };
    for status in [401, 403, 511] {
        let hotel = Arc::new(Hotel(status, "<html>Please accept our terms</html>"));
        match install.exchange(hotel, limits, StopFlag::new(), None, NOON).unwrap_err() {
            DoorError::ServerSaid { status: said, code, .. } => {
                assert_eq!((said, code), (status, String::new()));
            }
            other => panic!("{other:?}"),
        }
    }
    let server = Arc::new(Hotel(403, r#"{"code": "not-allowed", "title": "not allowed"}"#));
    let said = install.exchange(server, limits, StopFlag::new(), None, NOON).unwrap_err();
    assert_eq!(said, DoorError::SignedOut { code: "not-allowed".to_owned() });
}

#[test]
fn a_name_of_a_deed_is_of_one_deed() {
    let (dir, keys) = (tempfile::tempdir().unwrap(), Arc::default());
    let install = enrolled(dir.path(), &keys, "athlete");
    assert!(!say(&install, "a").unwrap());
    let answers = CheckInAnswers { sleep: Some(6), ..CheckInAnswers::default() };
    let other = install.check_in(answers, "a".to_owned(), NOON).unwrap_err();
    assert!(matches!(&other, DoorError::BadValue { problems } if problems[0].code == "used"), "{other:?}");
    assert!(say(&install, "a").unwrap());
}

#[test]
fn a_folder_on_a_full_disk_opens_is_read_and_goes_on_once_there_is_room() {
    let Some(disk) = small_disk::SmallDisk::new() else {
        eprintln!("not tried: no small disk can be made here");
        return;
    };
    let (folder, keys) = (disk.path().join("home"), Arc::default());
    let install = enrolled(&folder, &keys, "athlete");
    say(&install, "a").unwrap();
    install.shut();
    let ballast = disk.fill();
    for _ in 0..3 {
        let install = open(&folder, &keys).unwrap();
        assert_eq!((install.opening().found, said(&install)), (Found::AsLeft, 1));
        assert_eq!(say(&install, "b"), Err(DoorError::StoreFull));
        install.shut();
    }
    std::fs::remove_file(ballast).unwrap();
    let install = open(&folder, &keys).unwrap();
    assert_eq!(install.opening().found, Found::AsLeft, "openings that could not be noted were not counted");
    assert!(!say(&install, "b").unwrap());
    assert_eq!(said(&install), 2);
}
