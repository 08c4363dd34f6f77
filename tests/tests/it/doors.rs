//! The doors for apps against a server: an exchange in slices, each of which stays, whoever stops it.

use std::path::Path;
use std::sync::{Arc, Mutex};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_ffi::doors::check_in::CheckInAnswers;
use backstraight_ffi::doors::exchange::{ExchangeLimits, ExchangeReport, built_in_courier};
use backstraight_ffi::doors::install::{Found, Invitation, OpenWith};
use backstraight_ffi::doors::log::LogSet;
use backstraight_ffi::doors::outside::{CourierError, ListenerError, Parcel, Reply, Step};
use backstraight_ffi::doors::plan::{NewExercise, NewItem, NewSession};
use backstraight_ffi::doors::sheet::SetNumbers;
use backstraight_ffi::doors::today::SessionState;
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
    joined(stand, stand.person(Role::Athlete, "Tilde Ravnsborg"), folder, keys)
}

fn joined(stand: &Stand, person: PersonId, folder: &Path, keys: &Arc<Keys>) -> Arc<Install> {
    let install = open(folder, keys);
    let invitation = Invitation { server: stand.url(), code: stand.code(person) };
    install.enrol(invitation, "device".to_owned(), built_in_courier().unwrap(), NOW).unwrap();
    install
}

/// Some time later, past the end of an access token.
fn past_the_token(stand: &Stand) -> Now {
    stand.clock.set(stand.now().plus_ms(20 * MINUTE));
    Now { utc_ms: stand.now().0, ..NOW }
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
    let later = past_the_token(&stand);
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
    let later = past_the_token(&stand);
    let off = Now { utc_ms: later.utc_ms + 86_400_000, ..NOW };
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

fn in_full(install: &Install, now: Now) -> Result<ExchangeReport, DoorError> {
    let limits = ExchangeLimits { most_ms: 60_000, most_rounds: 16 };
    install.exchange(built_in_courier().unwrap(), limits, StopFlag::new(), None, now)
}

fn squat(desk: &Install) -> String {
    let squat = NewExercise {
        name: "Back squat".to_owned(),
        pattern: "squat".to_owned(),
        intent: "strength".to_owned(),
        caution: None,
        once: "squat".to_owned(),
    };
    desk.add_exercise(squat, NOW).unwrap().id
}

/// Two days later, as a device tells it.
const LATER: Now = Now { utc_ms: START.0 + 2 * 86_400_000, ..NOW };

#[test]
fn no_half_of_a_deed_is_ever_written() {
    let stand = Stand::default();
    let folder = |name: &str| stand.dir.path().join(name);
    let desk = joined(&stand, stand.person(Role::Coach, "Ruth Amsel"), &folder("desk"), &Arc::default());
    let squat = squat(&desk);
    assert!(in_full(&desk, NOW).unwrap().complete);
    let phone =
        joined(&stand, stand.person(Role::Athlete, "Tilde Ravnsborg"), &folder("phone"), &Arc::default());
    assert!(in_full(&phone, NOW).unwrap().complete);
    let log = |reps: Option<u32>, once: &str| {
        let (numbers, exercise) = (SetNumbers { reps, ..SetNumbers::default() }, Some(squat.clone()));
        phone.log_set(LogSet { session: None, item: None, exercise, numbers, once: once.to_owned() }, NOW)
    };
    let day = Day::of(START, 0).unwrap().to_string();
    let sessions = || phone.sessions(day.clone(), day.clone(), None, NOW).unwrap().len();
    for n in 0..3 {
        // A set that says nothing. The session that would have to be begun for it is not begun.
        let refused = log(None, &format!("wrong {n}"));
        assert!(matches!(refused, Err(DoorError::BadValue { .. })), "{refused:?}");
    }
    assert_eq!((sessions(), phone.exchange_state().unwrap().waiting), (0, 0));
    let done = log(Some(5), "right").unwrap();
    assert_eq!((done.already_there, sessions()), (false, 1));
    let again = log(Some(5), "right").unwrap();
    assert_eq!((again.already_there, again.id), (true, done.id));
    assert_eq!(sessions(), 1);
    assert!(in_full(&phone, NOW).unwrap().complete);
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

#[test]
fn a_session_that_may_be_on_another_device_is_not_missed_on_a_coachs_phone_either() {
    let stand = Stand::default();
    let folder = |name: &str| stand.dir.path().join(name);
    let tilde = stand.person(Role::Athlete, "Tilde Ravnsborg");
    let desk = joined(&stand, stand.person(Role::Coach, "Ruth Amsel"), &folder("desk"), &Arc::default());
    let exercise = squat(&desk);
    let phone = joined(&stand, tilde, &folder("phone"), &Arc::default());
    let tablet = joined(&stand, tilde, &folder("tablet"), &Arc::default());
    assert!(in_full(&desk, NOW).unwrap().complete);
    let day = Day::of(START, 0).unwrap().to_string();
    let item = NewItem {
        exercise,
        sets: 3,
        reps: Some(5),
        contacts: None,
        load_g: None,
        rest_s: None,
        swaps: Vec::new(),
    };
    let asked = NewSession {
        athlete: tilde.to_string(),
        day: day.clone(),
        title: "Strength".to_owned(),
        minutes: None,
        items: vec![item],
        once: "asked".to_owned(),
    };
    desk.add_session(asked, NOW).unwrap();
    let state = || {
        stand.clock.set(Moment(LATER.utc_ms));
        assert!(in_full(&desk, LATER).unwrap().complete);
        let board = desk.board(day.clone(), day.clone(), LATER).unwrap();
        let row = board.iter().find(|r| r.athlete == tilde.to_string()).unwrap();
        row.sessions[0].state
    };
    assert_eq!(state(), SessionState::Unheard);
    assert!(in_full(&phone, LATER).unwrap().complete);
    assert_eq!(state(), SessionState::Unheard, "it may stand on the tablet");
    assert!(in_full(&tablet, LATER).unwrap().complete);
    assert_eq!(state(), SessionState::Missed);
}

#[test]
fn an_exchange_does_not_go_on_in_a_folder_that_was_opened_anew() {
    /// Pauses and resumes while new tokens are under way.
    struct Meddles(Arc<Install>, Now, Mutex<u32>);
    impl Courier for Meddles {
        fn carry(&self, parcel: Parcel) -> Result<Reply, CourierError> {
            let tokens = parcel.url.ends_with("/v1/token");
            let reply = built_in_courier().unwrap().carry(parcel);
            if tokens {
                *self.2.lock().unwrap() += 1;
                self.0.pause();
                self.0.resume(self.1).unwrap();
            }
            reply
        }
    }
    let stand = Stand::default();
    let folder = stand.dir.path().join("phone");
    let keys = Arc::default();
    let install = enrolled(&stand, &folder, &keys);
    say(&install, 0);
    let later = past_the_token(&stand);
    let meddles = Arc::new(Meddles(Arc::clone(&install), later, Mutex::new(0)));
    let limits = ExchangeLimits { most_ms: 60_000, most_rounds: 16 };
    let courier = Arc::clone(&meddles) as Arc<dyn Courier>;
    let met = install.exchange(courier, limits, StopFlag::new(), None, later);
    assert_eq!((met.unwrap_err(), *meddles.2.lock().unwrap()), (DoorError::Paused, 1));
    drop(meddles);
    // Whoever is let in is let in: now, and after a restart.
    assert!(in_full(&install, later).unwrap().complete);
    install.shut();
    let install = open(&folder, &keys);
    say(&install, 1);
    let later = past_the_token(&stand);
    assert!(in_full(&install, later).unwrap().complete);
}

#[test]
fn a_phone_that_was_signed_out_says_so_until_it_is_enrolled_again_and_sends_all_then() {
    let stand = Stand::default();
    let tilde = stand.person(Role::Athlete, "Tilde Ravnsborg");
    let (folder, keys) = (stand.dir.path().join("phone"), Arc::default());
    let phone = joined(&stand, tilde, &folder, &keys);
    say(&phone, 0);
    assert!(in_full(&phone, NOW).unwrap().complete);
    let again = Invitation { server: stand.url(), code: stand.code(tilde) };
    let enrol = |phone: &Install| {
        phone
            .enrol(again.clone(), "device".to_owned(), built_in_courier().unwrap(), NOW)
            .map(|who| who.enrolled)
    };
    assert_eq!(enrol(&phone), Err(DoorError::WrongState { code: "enrolled".to_owned() }));
    let (grant, now) = (AtTheMachine.to_invite(tilde, stand.club).installs(), stand.now());
    stand.store().write_blocking(move |db| installs::withdraw_all(db, &grant, now)).unwrap();
    say(&phone, 1);
    let Err(DoorError::SignedOut { code }) = in_full(&phone, NOW) else { panic!("it is let in") };
    phone.shut();
    let phone = open(&folder, &keys);
    assert_eq!(phone.exchange_state().unwrap().signed_out, Some(code));
    say(&phone, 2);
    assert_eq!(enrol(&phone), Ok(true));
    assert_eq!(phone.exchange_state().unwrap().signed_out, None);
    assert!(in_full(&phone, NOW).unwrap().complete);
    let mut desk = stand.phone(stand.person(Role::Coach, "Odd Marenfeld"), "desk");
    desk.exchange(&stand.url());
    assert_eq!(desk.words(november(tilde)), ["word 0", "word 1", "word 2"]);
}

#[test]
fn a_coach_reads_what_an_athlete_answered() {
    let stand = Stand::default();
    let folder = |name: &str| stand.dir.path().join(name);
    let tilde = stand.person(Role::Athlete, "Tilde Ravnsborg");
    let phone = joined(&stand, tilde, &folder("phone"), &Arc::default());
    let answers = |sleep| CheckInAnswers { sleep: Some(sleep), ..CheckInAnswers::default() };
    phone.check_in(answers(3), "a".to_owned(), NOW).unwrap();
    phone.check_in(answers(5), "b".to_owned(), LATER).unwrap();
    phone.check_in(answers(4), "c".to_owned(), LATER).unwrap();
    stand.clock.set(Moment(LATER.utc_ms));
    assert!(in_full(&phone, LATER).unwrap().complete);
    let desk = joined(&stand, stand.person(Role::Coach, "Ruth Amsel"), &folder("desk"), &Arc::default());
    assert!(in_full(&desk, LATER).unwrap().complete);
    let day = |now: Now| Day::of(Moment(now.utc_ms), 0).unwrap().to_string();
    let read = |of: Option<String>, from: Now| {
        let lines = desk.check_ins(day(from), day(LATER), of).unwrap();
        lines.into_iter().map(|l| (l.day, l.answers.sleep.unwrap())).collect::<Vec<_>>()
    };
    assert_eq!(read(Some(tilde.to_string()), NOW), [(day(NOW), 3), (day(LATER), 4)]);
    assert_eq!(read(Some(tilde.to_string()), LATER), [(day(LATER), 4)]);
    assert_eq!(read(None, NOW), []);
}
