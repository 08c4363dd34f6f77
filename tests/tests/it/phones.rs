//! Real phones against a real server: a new month on two phones, phones that may no longer come in,
//! clocks that are wrong, weeks without a signal.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::gate::limits;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::problem::Code;
use backstraight_core::exchange::access::{Asker, Role};
use backstraight_core::exchange::device::MAX_SEND_CHANGES;
use backstraight_core::exchange::proof::Invitation;
use backstraight_core::model::log::{Report, SetDone, Work};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Complaint, Count, Form, Intent, Load, Pattern, Reps, SeasonNo, Text};
use backstraight_core::model::packed::Dose;
use backstraight_core::model::plan::{Exercise, Group, Prescription, Session};
use backstraight_core::view::done::Done;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::identity::InstallKey;
use backstraight_ffi::phone::Phone;
use backstraight_ffi::transport::{Http, Renewal, Tokens, Transport as _, enrol, enrol_by_picture};
use backstraight_server::grant::{AtTheMachine, Caller, to_sign};
use backstraight_server::store::consents::{self, Use};
use backstraight_server::store::{account, people};
use backstraight_tests::clock::SetClock;
use backstraight_tests::club::ledger::Ledger;
use backstraight_tests::club::logs::{Athlete, Day1};
use backstraight_tests::rng::Rng;
use backstraight_tests::stand::{DAY, Handset, MINUTE, START, Stand, november};

fn plan_a_session(desk: &mut Handset, athlete: PersonId, season: SeasonNo, day: Day) -> Key {
    let [session, group, item] = [(); 3].map(|()| desk.phone.key());
    let title = Text::new("starts and squats").unwrap();
    let five = Reps::new(5).unwrap();
    let asked = Prescription {
        dose: Some(Dose::Reps(five, five)),
        ..Prescription::new(
            group.clone(),
            Text::new("i").unwrap(),
            "abcdef-1".parse().unwrap(),
            Count::new(2).unwrap(),
        )
    };
    let news = vec![
        New { place: Place::of("sessions", &session), record: Session::new(day, title).into() },
        New {
            place: Place::of("groups", &group),
            record: Group::new(session.clone(), Text::new("i").unwrap(), Form::Single).into(),
        },
        New { place: Place::of("items", &item), record: asked.into() },
    ];
    desk.phone.run(DocName::Plan(athlete, season), &Command::Add(news)).unwrap();
    session
}

#[test]
fn two_phones_begin_the_same_session_on_the_first_day_of_a_month_and_both_are_seen() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (phone, tablet, mut desk) =
        (stand.phone(mira, "phone"), stand.phone(mira, "tablet"), stand.phone(ruth, "desk"));
    let (season, first) = (SeasonNo::new(2027).unwrap(), Day::new(2026, 12, 1).unwrap());
    let planned = plan_a_session(&mut desk, mira, season, first);
    desk.exchange(&stand.url());
    // 30 November, in the evening: the last signal of both.
    stand.clock.set(START.plus_ms(5 * DAY + 8 * 3_600_000));
    let mut both: Vec<Athlete> = [phone, tablet]
        .into_iter()
        .map(|mut one| {
            one.clock.set(stand.now());
            one.exchange(&stand.url());
            Athlete { index: 0, phone: one.phone, clock: one.clock, season }
        })
        .collect();
    let mut ledger = Ledger::default();
    for (athlete, minutes, kg) in both.iter_mut().zip([0, 3]).zip([60, 80]).map(|((a, m), k)| (a, m, k)) {
        let opens = START.plus_ms(6 * DAY + minutes * MINUTE);
        let (done, items) = athlete.begin(&planned, Day1 { day: first, opens }).unwrap();
        let item = items.first().unwrap().clone();
        let work = athlete.phone.key();
        let mut of = WorkOf::New(work.clone(), Box::new(Work::new(item.ex.clone())));
        for n in 0..2 {
            let set = SetDone {
                load: Load::new(100 * kg).ok(),
                reps: Reps::new(5).ok(),
                ..SetDone::new(opens.plus_ms((n + 1) * MINUTE))
            };
            athlete
                .log_set(&mut ledger, first, &done, &planned, of, Some(&item.item), &item.ex, set)
                .unwrap();
            of = WorkOf::Open(work.clone());
        }
    }
    let log = DocName::Log(mira, first.month());
    assert!(both.iter_mut().all(|a| a.phone.unsent().unwrap() == [(log, 3)]));
    stand.clock.set(START.plus_ms(6 * DAY + 3_600_000));
    for _ in 0..2 {
        for athlete in &mut both {
            let report = athlete.phone.exchange(&mut Http::new(&stand.url())).unwrap();
            assert!(report.rounds <= 2 && report.refused.is_empty() && report.not_taken.is_empty());
        }
    }
    desk.clock.set(stand.now());
    desk.exchange(&stand.url());
    let stored = stand.stored()[&log].1.clone();
    for phone in both.iter_mut().map(|a| &mut a.phone).chain([&mut desk.phone]) {
        let doc = phone.document(log).unwrap();
        assert_eq!(doc.heads(), stored);
        let done = Done::of([doc]);
        assert!(done.unreadable.is_empty() && done.met.is_empty());
        let of_plan: Vec<_> =
            done.sessions.iter().filter(|s| s.session.record.session == Some(planned.clone())).collect();
        assert_eq!(of_plan.len(), 2, "both beginnings are there");
        let mut loads: Vec<Vec<i64>> = of_plan
            .iter()
            .map(|s| {
                s.works
                    .iter()
                    .flat_map(|w| &w.sets)
                    .filter_map(|s| s.set.record.load)
                    .map(|l| l.get())
                    .collect()
            })
            .collect();
        loads.sort_unstable();
        assert_eq!(loads, [[6_000, 6_000], [8_000, 8_000]]);
        let keys: Vec<Key> = of_plan
            .iter()
            .flat_map(|s| s.works.iter().flat_map(|w| &w.sets))
            .map(|s| s.set.place.keys.last().unwrap().clone())
            .collect();
        assert!(ledger.saved.iter().all(|saved| keys.contains(&saved.set)));
    }
}

#[test]
fn a_withdrawn_phone_goes_on_recording_and_keeps_all_of_it() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let mut phone = stand.phone(mira, "phone");
    let mut session = phone.begin();
    phone.set(&mut session, 1).unwrap();
    phone.exchange(&stand.url());
    let before = stand.stored();
    let (grant, now) = (AtTheMachine.to_keep_accounts(), stand.now());
    assert!(stand.store().write_blocking(move |db| people::withdraw(db, &grant, mira, now)).unwrap());
    phone.set(&mut session, 2).unwrap();
    for _ in 0..2 {
        let said = phone.phone.exchange(&mut Http::new(&stand.url()));
        assert!(matches!(said, Err(PhoneError::SignedOut(_))), "{said:?}");
    }
    phone.set(&mut session, 3).unwrap();
    let mut phone = phone.reopened();
    assert_eq!(phone.numbers(november(mira)), [1, 2, 3]);
    assert_eq!(phone.phone.unsent().unwrap(), [(november(mira), 2)]);
    assert_eq!(stand.stored(), before);
}

#[test]
fn after_a_session_has_ended_a_new_invitation_on_the_same_phone_brings_everything_up() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let mut phone = stand.phone(mira, "phone");
    let copied = phone.phone.identity().clone();
    let mut session = phone.begin();
    for n in 1..=3 {
        stand.clock.set(stand.now().plus_ms(16 * MINUTE));
        phone.set(&mut session, n).unwrap();
        phone.exchange(&stand.url());
    }
    // Somebody else comes with a token of long ago, and nothing else: nothing happens.
    let come = |key: Option<&InstallKey>| {
        let ask = Renewal::of(&copied.refresh, stand.now(), key);
        assert!(matches!(Http::new(&stand.url()).renew(&ask), Err(PhoneError::SignedOut(_))));
    };
    come(None);
    come(Some(&backstraight_ffi::identity::fresh_key().unwrap()));
    phone.exchange(&stand.url());
    // With the key too it is a copy of the phone: nobody's session is good any more.
    come(copied.key.as_ref());
    phone.set(&mut session, 4).unwrap();
    let said = phone.phone.exchange(&mut Http::new(&stand.url()));
    assert!(matches!(said, Err(PhoneError::SignedOut(_))), "{said:?}");
    phone.set(&mut session, 5).unwrap();
    let Handset { phone: old, clock, dir } = phone;
    let was = old.identity().install;
    drop(old);
    let identity = enrol(&stand.url(), &stand.code(mira), "the same phone").unwrap();
    assert_ne!(identity.install, was);
    let mut phone =
        Handset { phone: Phone::enrolled(&dir, identity, Box::new(clock.clone())).unwrap(), clock, dir };
    phone.set(&mut session, 6).unwrap();
    let report = phone.exchange(&stand.url());
    assert!(report.refused.is_empty() && report.rounds <= 2, "{report:?}");
    let mut fresh = stand.phone(mira, "fresh");
    fresh.exchange(&stand.url());
    assert_eq!(fresh.numbers(november(mira)), [1, 2, 3, 4, 5, 6]);
}

#[test]
fn a_phone_whose_clock_is_wrong_stays_signed_in() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let mut phone = stand.phone(mira, "phone");
    for apart in [-3 * 365 * DAY, 2 * DAY, 0] {
        stand.clock.set(stand.now().plus_ms(16 * MINUTE));
        phone.clock.set(stand.now().plus_ms(apart));
        let was = phone.phone.identity().refresh.clone();
        phone.exchange(&stand.url());
        assert_ne!(phone.phone.identity().refresh, was, "{apart}");
    }
}

#[test]
fn a_picture_enrols_a_phone_and_its_key_survives_a_restart() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let key = backstraight_server::folder::Folder::open(stand.data()).unwrap().keys().unwrap().secret;
    let (grant, now) = (AtTheMachine.to_invite(mira, stand.club), stand.now());
    let made = stand.store().write_blocking(move |db| account::invite(db, &grant, &key, DAY, now)).unwrap();
    let picture = Invitation { server: stand.url(), secret: made.secret }.text();
    assert!(matches!(enrol_by_picture("https://elsewhere.example", "phone"), Err(PhoneError::Answer(_))));
    let identity = enrol_by_picture(&picture, "phone").unwrap();
    assert!(!format!("{identity:?}").contains("key: Some([") && identity.key.is_some());
    let dir = stand.dir.path().join("pictured");
    let clock = SetClock::at(stand.now());
    let phone = Phone::enrolled(&dir, identity.clone(), Box::new(clock.clone())).unwrap();
    let mut phone = Handset { phone, clock, dir }.reopened();
    assert_eq!(phone.phone.identity(), &identity);
    stand.clock.set(stand.now().plus_ms(16 * MINUTE));
    phone.exchange(&stand.url());
}

#[test]
fn coaches_get_a_care_document_with_consent_and_lose_it_without() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let lea = stand.person(Role::Care, "Lea Brandt");
    let (mut phone, mut desk, mut clinic) =
        (stand.phone(mira, "phone"), stand.phone(ruth, "desk"), stand.phone(lea, "clinic"));
    let care = DocName::Care(mira);
    let caller = Caller {
        asker: Asker { person: mira, club: stand.club, role: Role::Athlete },
        install: phone.phone.identity().install,
    };
    let consent = |open: bool| {
        let (grant, now) = (to_sign(&caller, &caller.asker, false).unwrap(), stand.now());
        stand
            .store()
            .write_blocking(move |db| consents::sign(db, &grant, Use::CareToCoaches, open, None, now))
            .unwrap();
    };
    let reports =
        |one: &mut Handset| one.phone.document(care).unwrap().records::<Report>("reports").entries.len();
    let may_read = |one: &Handset| one.phone.documents().unwrap().contains(&care);
    phone.add(care, "reports", Report::new(stand.now(), Complaint::Pain)).unwrap();
    phone.exchange(&stand.url());
    desk.exchange(&stand.url());
    clinic.exchange(&stand.url());
    assert!(may_read(&clinic) && reports(&mut clinic) == 1);
    assert!(!may_read(&desk) && desk.on_disk(care) == (None, None));
    consent(true);
    assert_eq!(desk.exchange(&stand.url()).changed.into_iter().collect::<Vec<_>>(), [care]);
    assert!(may_read(&desk) && reports(&mut desk) == 1);

    consent(false);
    phone.add(care, "reports", Report::new(stand.now(), Complaint::Illness)).unwrap();
    phone.exchange(&stand.url());
    assert_eq!(desk.exchange(&stand.url()).withdrawn, [care]);
    assert!(!may_read(&desk));
    // Said once; nothing of it arrives any more, and the others are not touched.
    assert_eq!(desk.exchange(&stand.url()).withdrawn, []);
    let mut desk = desk.reopened();
    assert!(!may_read(&desk) && reports(&mut desk) == 1);
    clinic.exchange(&stand.url());
    assert!(may_read(&clinic) && reports(&mut clinic) == 2);

    consent(true);
    desk.exchange(&stand.url());
    assert!(may_read(&desk) && reports(&mut desk) == 2);
    assert_eq!(desk.heads(care), phone.heads(care));
}

/// Through which day a desk has been told that somebody was heard.
fn heard_day(desk: &mut Handset, stand: &Stand, person: PersonId) -> Option<String> {
    desk.clock.set(stand.now());
    desk.exchange(&stand.url());
    let people = desk.phone.people().unwrap();
    people.into_iter().find(|k| k.person.as_slice() == person.0.as_bytes()).unwrap().heard_day
}

#[test]
fn a_clock_that_is_decades_off_is_said_and_nothing_is_lost_or_taken_for_a_day() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    let mut session = phone.begin();
    let (log, mut n) = (phone.log(), 0);
    phone.exchange(&stand.url());
    assert_eq!(heard_day(&mut desk, &stand, mira).as_deref(), Some("2026-11-25"));
    // 1 January 1970, as after a dead battery, and 2090.
    for (wrong, in_calendar) in [(Moment(60_000), false), (Moment(3_786_912_000_000), true)] {
        // Logged while the clock was right, and not sent before it went wrong.
        n += 1;
        phone.set(&mut session, n).unwrap();
        stand.clock.set(stand.now().plus_ms(11 * MINUTE));
        phone.clock.set(wrong);
        let before = phone.on_disk(log);
        let comment = backstraight_core::model::log::Comment::new(wrong, mira, Text::new("when?").unwrap());
        match phone.add(log, "comments", comment) {
            Err(PhoneError::Invalid(problems)) => {
                assert_eq!(problems.iter().map(|p| p.code).collect::<Vec<_>>(), [Code::WrongClock]);
            }
            other => panic!("{other:?}"),
        }
        assert_eq!(phone.on_disk(log), before);
        match phone.phone.today() {
            Ok(_) => assert!(in_calendar),
            Err(error) => assert!(!in_calendar && matches!(error, PhoneError::Clock(_)), "{error}"),
        }
        // What was saved goes up all the same; the day that the phone claims is not believed.
        let report = phone.exchange(&stand.url());
        assert_eq!(report.clock_ahead, wrong.0 - stand.now().0);
        assert!(phone.phone.unsent().unwrap().is_empty());
        assert_eq!(heard_day(&mut desk, &stand, mira).as_deref(), Some("2026-11-25"));
        assert_eq!(desk.sets(log).len(), usize::try_from(n).unwrap());
        phone = phone.reopened();
        // The clock is right again: all goes on.
        phone.clock.set(stand.now());
        n += 1;
        phone.set(&mut session, n).unwrap();
        phone.exchange(&stand.url());
        assert_eq!(heard_day(&mut desk, &stand, mira).as_deref(), Some("2026-11-25"));
        assert_eq!(desk.heads(log), phone.heads(log));
    }
    stand.clock.set(stand.now().plus_ms(DAY));
    phone.clock.set(stand.now());
    phone.exchange(&stand.url());
    assert_eq!(heard_day(&mut desk, &stand, mira).as_deref(), Some("2026-11-26"));
}

#[test]
fn more_changes_than_fit_one_request_go_up_in_slices_and_settle() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let mut phone = stand.phone(mira, "phone");
    phone.exchange(&stand.url());
    let mut session = phone.begin();
    let count = MAX_SEND_CHANGES + 101;
    for n in 1..=i64::try_from(count).unwrap() {
        phone.set(&mut session, n).unwrap();
    }
    let log = phone.log();
    assert_eq!(phone.phone.unsent().unwrap(), [(log, count + 1)]);
    // The signal goes after the first slice: it stays with the server.
    struct Once(Http, u32);
    impl backstraight_ffi::transport::Transport for Once {
        fn exchange(&mut self, access: &str, body: &[u8]) -> Result<Vec<u8>, PhoneError> {
            if self.1 == 0 {
                return Err(PhoneError::Offline("no signal".to_owned()));
            }
            self.1 -= 1;
            self.0.exchange(access, body)
        }
        fn renew(&mut self, ask: &Renewal) -> Result<Tokens, PhoneError> {
            self.0.renew(ask)
        }
    }
    let cut = phone.phone.exchange(&mut Once(Http::new(&stand.url()), 1));
    assert!(matches!(cut, Err(PhoneError::Offline(_))), "{cut:?}");
    assert_eq!(phone.phone.unsent().unwrap(), [(log, count + 1 - MAX_SEND_CHANGES)]);
    let mut phone = phone.reopened();
    let report = phone.exchange(&stand.url());
    assert!(report.rounds == 1 && report.refused.is_empty(), "{report:?}");
    assert!(phone.phone.unsent().unwrap().is_empty());
    let mut fresh = stand.phone(mira, "fresh");
    let report = fresh.exchange(&stand.url());
    assert_eq!((report.rounds, report.received), (2, count + 1));
    assert_eq!(fresh.heads(log), phone.heads(log));
    assert_eq!(fresh.sets(log).len(), count);
    assert_eq!(stand.trouble(), Vec::<String>::new());
}

/// The access token is old at every exchange, as it is for people who train once a day; the refusal
/// comes while a long body is still on its way.
#[test]
fn an_old_token_in_front_of_a_long_body_is_renewed_and_the_body_arrives() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let mut phone = stand.phone(mira, "phone");
    let mut rng = Rng::new(3);
    for round in 0..12 {
        for _ in 0..40 {
            // Words that do not pack: two kilobytes each, most of them.
            let words: String = (0..120).map(|_| format!("{:016x}", rng.next())).collect();
            phone.say(november(mira), &words);
        }
        stand.clock.set(stand.now().plus_ms(16 * MINUTE));
        let mut http = Http::new(&stand.url());
        let report = phone.phone.exchange(&mut http).unwrap();
        assert!(http.round_trips == 2 && report.rounds == 1, "round {round}: refused once, then taken");
        assert!(http.sent > 2 * 30_000, "{}", http.sent);
        assert!(phone.phone.unsent().unwrap().is_empty());
    }
}

/// Many short exchanges, each by a fresh connection and with an old token: none is cut off.
#[test]
fn hundreds_of_short_exchanges_in_a_row_all_come_through() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let mut phone = stand.phone(mira, "phone");
    let rounds: usize = std::env::var("BACKSTRAIGHT_ROUNDS").map_or(400, |n| n.parse().unwrap());
    for n in 0..rounds {
        stand.clock.set(stand.now().plus_ms(16 * MINUTE));
        if n % 20 == 0 {
            phone.say(november(mira), &format!("{n}"));
        }
        let report = phone.phone.exchange(&mut Http::new(&stand.url()));
        assert!(report.is_ok(), "exchange {n}: {report:?}");
    }
}

/// A library grows for years: more operations than the gate takes at once, in few changes.
#[test]
fn more_operations_than_the_gate_takes_at_once_go_up_and_come_down() {
    let stand = Stand::default();
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let mut desk = stand.phone(ruth, "desk");
    let library = DocName::Library(stand.club);
    let (changes, each) = (34, 500);
    for n in 0..changes {
        let mut news = Vec::with_capacity(each);
        for m in 0..each {
            let place = Place::of("exercises", &desk.phone.key());
            let name = Text::new(format!("exercise {n} {m}")).unwrap();
            news.push(New { place, record: Exercise::new(name, Pattern::Squat, Intent::Strength).into() });
        }
        desk.phone.run(library, &Command::Add(news)).unwrap();
    }
    assert!(4 * changes * each > limits::UPLOAD_OPS, "a record and its three fields");
    let report = desk.exchange(&stand.url());
    assert_eq!(report.refused, []);
    assert!(desk.phone.unsent().unwrap().is_empty());
    // A new desk gets all of it in one answer.
    let mut fresh = stand.phone(ruth, "fresh");
    let report = fresh.exchange(&stand.url());
    assert_eq!((&report.not_taken[..], report.received), (&[][..], changes));
    assert_eq!(fresh.heads(library), desk.heads(library));
    assert_eq!(stand.trouble(), Vec::<String>::new());
}
