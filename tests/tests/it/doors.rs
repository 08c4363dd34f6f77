//! The doors for apps against a server: an exchange in slices, each of which stays, whoever stops it.

use std::path::Path;
use std::sync::{Arc, Mutex};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use backstraight_ffi::doors::exchange::{ExchangeLimits, ExchangeReport, built_in_courier};
use backstraight_ffi::doors::install::{Found, Invitation, OpenWith};
use backstraight_ffi::doors::outside::{CourierError, ListenerError, Parcel, Reply, Step};
use backstraight_ffi::doors::{
    Courier, DoorError, Install, KeyStore, Now, StopFlag, interface_mark, outside::Progress,
};
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::installs;
use backstraight_tests::keys::Keys;
use backstraight_tests::stand::{MINUTE, START, Stand, november};

/// More than one round trip takes along of a document.
pub(super) const MANY: u32 = 2_050;
pub(super) const NOW: Now = Now { utc_ms: START.0, ahead_min: 0 };

pub(super) fn open(folder: &Path, keys: &Arc<Keys>) -> Arc<Install> {
    let folder = folder.display().to_string();
    let with = OpenWith { folder, interface: interface_mark(), most_bytes: None };
    Install::open(with, Arc::clone(keys) as Arc<dyn KeyStore>, NOW).unwrap()
}

pub(super) fn enrolled(stand: &Stand, folder: &Path, keys: &Arc<Keys>) -> Arc<Install> {
    let install = open(folder, keys);
    let code = stand.code(stand.person(Role::Athlete, "Tilde Ravnsborg"));
    let invitation = Invitation { server: stand.url(), code };
    install.enrol(invitation, "phone".to_owned(), built_in_courier().unwrap(), NOW).unwrap();
    install
}

pub(super) fn rounds(
    install: &Install,
    most_rounds: u32,
    stop: &Arc<StopFlag>,
    progress: Option<Arc<dyn Progress>>,
) -> Result<ExchangeReport, DoorError> {
    let limits = ExchangeLimits { most_ms: 60_000, most_rounds };
    install.exchange(built_in_courier().unwrap(), limits, Arc::clone(stop), progress, NOW)
}

pub(super) fn say(install: &Install, n: u32) {
    install.say(format!("word {n}"), None, None, format!("w{n}"), NOW).unwrap();
}

/// Asks to stop once something was exchanged, and counts.
struct StopAfterOne(Arc<StopFlag>, Mutex<Vec<Step>>);

impl Progress for StopAfterOne {
    fn step(&self, step: Step) -> Result<(), ListenerError> {
        self.1.lock().unwrap().push(step);
        self.0.stop();
        Ok(())
    }
}

#[test]
fn each_slice_of_an_exchange_stays() {
    let stand = Stand::default();
    let folder = stand.dir.path().join("phone");
    let keys = Arc::default();
    let mut install = enrolled(&stand, &folder, &keys);
    (0..MANY).for_each(|n| say(&install, n));
    let waiting = |install: &Install| install.exchange_state().unwrap().waiting;
    assert_eq!(waiting(&install), MANY);

    // Stopped from within, after the first round trip.
    let stop = StopFlag::new();
    let counts = Arc::new(StopAfterOne(Arc::clone(&stop), Mutex::default()));
    let stopped = rounds(&install, 16, &stop, Some(Arc::clone(&counts) as Arc<dyn Progress>));
    assert_eq!(stopped.unwrap_err(), DoorError::Stopped);
    let steps = counts.1.lock().unwrap().clone();
    assert_eq!((steps.len(), steps[0].rounds), (1, 1));
    let left = waiting(&install);
    assert!(0 < left && left < MANY, "{left}");
    assert_eq!(steps[0].waiting, left);

    // The app is closed; the next window has room for one round trip.
    install.shut();
    install = open(&folder, &keys);
    assert_eq!(waiting(&install), left);
    say(&install, MANY);
    let mut windows = 0;
    while !rounds(&install, 1, &StopFlag::new(), None).unwrap().complete {
        windows += 1;
        assert!(windows < 5, "it comes to an end");
    }
    assert_eq!(waiting(&install), 0);
    assert!(install.exchange_state().unwrap().last_complete_ms.is_some());
    let me = install.who().unwrap().unwrap().person.parse().unwrap();
    assert!(stand.stored().contains_key(&november(me)));
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

#[test]
fn tokens_are_in_the_key_store_before_they_are_used_and_an_answer_that_got_lost_locks_nobody_out() {
    /// Loses the answers to requests for new tokens, so many of them.
    struct Loses(Arc<dyn Courier>, Mutex<u32>);
    impl Courier for Loses {
        fn carry(&self, parcel: Parcel) -> Result<Reply, CourierError> {
            let tokens = parcel.url.ends_with("/v1/token");
            let reply = self.0.carry(parcel)?;
            let mut left = self.1.lock().unwrap();
            if tokens && *left > 0 {
                *left -= 1;
                return Err(CourierError::TimedOut);
            }
            Ok(reply)
        }
    }
    let stand = Stand::default();
    let folder = stand.dir.path().join("phone");
    let keys = Arc::default();
    let install = enrolled(&stand, &folder, &keys);
    say(&install, 0);
    // Past the end of the access token.
    stand.clock.set(stand.now().plus_ms(20 * MINUTE));
    let later = Now { utc_ms: stand.now().0, ..NOW };
    let courier = Arc::new(Loses(built_in_courier().unwrap(), Mutex::new(2)));
    let limits = ExchangeLimits { most_ms: 60_000, most_rounds: 16 };
    let exchange = |install: &Install| {
        install.exchange(Arc::clone(&courier) as Arc<dyn Courier>, limits, StopFlag::new(), None, later)
    };
    for _ in 0..2 {
        assert_eq!(exchange(&install).unwrap_err(), DoorError::Offline);
    }
    install.shut();
    let install = open(&folder, &keys);
    assert!(exchange(&install).unwrap().complete);
    // A phone whose clock is a day off speaks with the server all the same, and is told.
    stand.clock.set(stand.now().plus_ms(20 * MINUTE));
    let off = Now { utc_ms: stand.now().0 + 86_400_000, ..NOW };
    say(&install, 1);
    let report = install.exchange(built_in_courier().unwrap(), limits, StopFlag::new(), None, off).unwrap();
    assert!(report.complete && report.clock_ahead_ms > 80_000_000, "{report:?}");
}

/// A phone is lost with what it had not sent, and its backup is put back on a new one: what was in it goes out,
/// though the old install is not let in any more.
#[test]
fn what_a_lost_phone_had_not_sent_goes_out_from_its_backup() {
    let stand = Stand::default();
    let (folder, copy) = (stand.dir.path().join("phone"), stand.dir.path().join("backup"));
    let (keys, new_keys) = (Arc::default(), Arc::default());
    let install = enrolled(&stand, &folder, &keys);
    let person: PersonId = install.who().unwrap().unwrap().person.parse().unwrap();
    say(&install, 0);
    assert!(rounds(&install, 16, &StopFlag::new(), None).unwrap().complete);
    say(&install, 1);
    install.shut();
    std::fs::create_dir(&copy).unwrap();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), copy.join(entry.file_name())).unwrap();
    }
    let (grant, now) = (AtTheMachine.to_invite(person, stand.club).installs(), stand.now());
    stand.store().write_blocking(move |db| installs::withdraw_all(db, &grant, now)).unwrap();
    let lost = open(&folder, &keys);
    assert!(matches!(rounds(&lost, 16, &StopFlag::new(), None), Err(DoorError::SignedOut { .. })));

    let found = open(&copy, &new_keys);
    assert_eq!(found.opening().found, Found::FromElsewhere);
    let invitation = Invitation { server: stand.url(), code: stand.code(person) };
    found.enrol(invitation, "new phone".to_owned(), built_in_courier().unwrap(), NOW).unwrap();
    say(&found, 2);
    let report = rounds(&found, 16, &StopFlag::new(), None).unwrap();
    assert!(report.complete && report.waiting == 0 && report.refused.is_empty(), "{report:?}");
    let mut desk = stand.phone(stand.person(Role::Coach, "Odd Marenfeld"), "desk");
    desk.exchange(&stand.url());
    assert_eq!(desk.words(november(person)), ["word 0", "word 1", "word 2"]);
}
