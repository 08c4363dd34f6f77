//! What a server refused for good is kept as a file and set aside, on phones and for what they carry; what is
//! written from then on reaches the server, and nothing forks when the old changes turn up after all.

use backstraight_core::base::id::PersonId;
use backstraight_core::device::aside::{Stuck, Which};
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::carry;
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::DocName;
use backstraight_ffi::phone::Clock as _;
use backstraight_server::exchange::carried::{Carrier, take};
use backstraight_server::exchange::index::Indexes;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::secret;
use backstraight_server::store::people;
use backstraight_tests::stand::{DAY, MINUTE, START, Stand, november, sets};

fn role(stand: &Stand, person: PersonId, role: Role) {
    let (grant, now) = (AtTheMachine.to_keep_accounts(), stand.now());
    assert!(stand.store().write_blocking(move |db| people::set_role(db, &grant, person, role, now)).unwrap());
}

fn which(stuck: &[Stuck]) -> Vec<(Which, &str, usize)> {
    stuck.iter().map(|s| (s.which, s.refusal.code.as_str(), s.changes)).collect()
}

fn carried(stand: &Stand, file: &[u8]) -> Vec<Outcome> {
    let parcels = carry::read(file).unwrap();
    let carrier = Carrier::Machine(AtTheMachine);
    let taken = take(&stand.store(), &Indexes::default(), carrier, &parcels, stand.now()).unwrap();
    taken.into_iter().map(|h| h.outcome).collect()
}

#[test]
fn a_document_that_is_refused_is_kept_as_a_file_and_the_phone_goes_on() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let log = november(mira);
    let mut phone = stand.phone(mira, "phone");
    phone.say(log, "with the server");
    phone.exchange(&stand.url());
    let with_server = phone.heads(log);
    role(&stand, mira, Role::Owner);
    phone.say(log, "refused");
    phone.say(log, "on top of it");
    let lost = phone.phone.carry_out().unwrap().unwrap().bytes;
    assert!(phone.phone.stuck().unwrap().is_empty(), "nobody has refused anything yet");
    assert_eq!(phone.phone.keep_refused(Which::Own(log)).unwrap(), None);
    phone.exchange(&stand.url());
    let stuck = phone.phone.stuck().unwrap();
    assert_eq!(which(&stuck), [(Which::Own(log), "not-yours", 2)]);

    // What is written after it was kept is not set aside unseen.
    let kept = phone.phone.keep_refused(Which::Own(log)).unwrap().unwrap();
    phone.say(log, "written meanwhile");
    let before = phone.heads(log);
    assert!(!phone.phone.set_aside(&kept, secret::random()).unwrap());
    assert_eq!((phone.heads(log), phone.phone.unsent().unwrap()), (before.clone(), vec![(log, 3)]));
    let kept = phone.phone.keep_refused(Which::Own(log)).unwrap().unwrap();
    assert_eq!((kept.changes, kept.is_carry_file(), kept.name()), (3, false, log));
    assert_eq!(phone.phone.unsent().unwrap(), [(log, 3)], "keeping changes nothing");
    // The file is the whole document.
    assert_eq!(Document::open(log, &kept.bytes).unwrap().heads(), before);

    assert!(phone.phone.set_aside(&kept, secret::random()).unwrap());
    assert_eq!(phone.heads(log), with_server);
    assert_eq!(phone.words(log), ["with the server"]);
    assert!(phone.phone.unsent().unwrap().is_empty() && phone.phone.stuck().unwrap().is_empty());
    assert!(!phone.phone.set_aside(&kept, secret::random()).unwrap(), "once");
    // Also after the app was closed; the bytes as they were are still in its folder.
    phone = phone.reopened();
    assert_eq!((phone.heads(log), phone.phone.refusals().unwrap().len()), (with_server, 0));
    assert!(phone.phone.shelf().damaged().unwrap() > 0);

    role(&stand, mira, Role::Athlete);
    phone.say(log, "going on");
    let report = phone.exchange(&stand.url());
    assert!(report.refused.is_empty() && report.not_taken.is_empty(), "{report:?}");
    assert_eq!(stand.stored()[&log].1, phone.heads(log));
    // The old changes turn up by way of a file after all: both stand, and nothing forks.
    assert_eq!(carried(&stand, &lost), [Outcome::Accepted]);
    phone.exchange(&stand.url());
    assert_eq!(phone.words(log), ["going on", "on top of it", "refused", "with the server"]);
    assert_eq!(stand.stored()[&log].1, phone.heads(log));
    assert!(stand.trouble().is_empty());
}

/// In one start of the app what went and what comes have two authors.
#[test]
fn numbers_of_changes_that_went_are_not_given_out_again() {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let log = november(mira);
    let mut phone = stand.phone(mira, "phone");
    phone.exchange(&stand.url());
    role(&stand, mira, Role::Owner);
    phone.say(log, "refused");
    let lost = phone.phone.carry_out().unwrap().unwrap().bytes;
    phone.exchange(&stand.url());
    let kept = phone.phone.keep_refused(Which::Own(log)).unwrap().unwrap();
    assert!(phone.phone.set_aside(&kept, secret::random()).unwrap());
    role(&stand, mira, Role::Athlete);
    phone.say(log, "going on");
    phone.exchange(&stand.url());
    assert_eq!(carried(&stand, &lost), [Outcome::Accepted]);
    phone.exchange(&stand.url());
    assert_eq!(phone.words(log), ["going on", "refused"]);
    assert_eq!(stand.stored()[&log].1, phone.heads(log));
    assert!(stand.trouble().is_empty());
}

#[test]
fn a_parcel_that_is_refused_is_kept_as_a_carry_file_and_is_no_longer_shown() {
    let stand = Stand::at(START.plus_ms(-DAY));
    let (mira, ruth) = (stand.person(Role::Athlete, "Mira Aalto"), stand.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    phone.exchange(&stand.url());
    desk.exchange(&stand.url());
    phone.clock.set(START);
    let mut session = phone.begin();
    phone.set(&mut session, 1).unwrap();
    let withdrawn = START.plus_ms(10 * MINUTE);
    stand.clock.set(withdrawn);
    let (now, grant) = (stand.now(), AtTheMachine.to_keep_accounts());
    stand.store().write_blocking(move |db| people::withdraw(db, &grant, mira, now)).unwrap();
    phone.clock.set(withdrawn.plus_ms(10 * MINUTE));
    assert!(phone.clock.now() > withdrawn);
    phone.set(&mut session, 2).unwrap();
    let log = november(mira);
    let file = phone.phone.carry_out().unwrap().unwrap().bytes;
    desk.phone.carry_in(&file).unwrap();
    assert_eq!(desk.numbers(log), [1, 2]);
    // The part from before the withdrawal is stored, the rest is refused.
    let report = desk.exchange(&stand.url());
    assert_eq!(report.carried.refused.len(), 1);
    desk = desk.reopened();
    desk.exchange(&stand.url());
    let stuck = desk.phone.stuck().unwrap();
    let [(Which::Carried(id), "withdrawn", _)] = which(&stuck)[..] else { panic!("{stuck:?}") };
    let kept = desk.phone.keep_refused(Which::Carried(id)).unwrap().unwrap();
    assert!(kept.is_carry_file());
    assert_eq!(carry::read(&kept.bytes).unwrap(), carry::read(&file).unwrap());
    assert_eq!(desk.phone.keep_refused(Which::Carried(id + 1)).unwrap(), None);
    assert!(desk.phone.set_aside(&kept, secret::random()).unwrap());
    for _ in 0..2 {
        assert!(desk.phone.carried().unwrap().is_empty() && desk.phone.stuck().unwrap().is_empty());
        assert_eq!(desk.numbers(log), [1], "what the server has is shown, the rest is not");
        desk = desk.reopened();
        desk.exchange(&stand.url());
    }
    let doc = desk.phone.document(DocName::Log(mira, "2026-11".parse().unwrap())).unwrap();
    assert_eq!(sets(doc).len(), 1);
    assert_eq!(stand.stored()[&log].1, desk.heads(log));
}
