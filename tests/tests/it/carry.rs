//! Carry files between real phones and a real server: what an athlete logged in weeks without a
//! signal reaches the server by way of a coach's phone, once; and nothing that was tampered with does.

use backstraight_core::base::id::InstallId;
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::carry::{self, Parcel};
use backstraight_core::exchange::wire::{Outcome, Refusal};
use backstraight_core::exchange::{frames, signed};
use backstraight_core::model::log::Report;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Complaint;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::identity::InstallKey;
use backstraight_ffi::phone::Clock as _;
use backstraight_server::exchange::carried::{Carrier, take};
use backstraight_server::exchange::index::Indexes;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::people;
use backstraight_tests::rng::Rng;
use backstraight_tests::stand::{DAY, Handset, MINUTE, START, Stand, november};
use minicbor::bytes::ByteVec;
use sha2::{Digest as _, Sha256};

/// A coach and an athlete who exchanged once; the athlete then logs without a signal.
fn begin() -> (Stand, Handset, Handset) {
    let stand = Stand::at(START.plus_ms(-3 * DAY));
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk) = (stand.phone(mira, "phone"), stand.phone(ruth, "desk"));
    phone.exchange(&stand.url());
    desk.exchange(&stand.url());
    (stand, phone, desk)
}

fn train(phone: &mut Handset, days: i64, sets: i64) -> i64 {
    let mut n = 0;
    for day in 0..days {
        phone.clock.set(START.plus_ms((day - days) * DAY));
        let mut session = phone.begin();
        for _ in 0..sets {
            n += 1;
            phone.clock.set(phone.clock.now().plus_ms(MINUTE));
            phone.set(&mut session, n).unwrap();
        }
    }
    n
}

/// Takes parcels at the machine; what became of each.
fn hand_in(stand: &Stand, parcels: &[Parcel]) -> Vec<Outcome> {
    let taken =
        take(&stand.store(), &Indexes::default(), Carrier::Machine(AtTheMachine), parcels, stand.now());
    taken.unwrap().into_iter().map(|h| h.outcome).collect()
}

fn code(outcome: &Outcome) -> &str {
    match outcome {
        Outcome::Refused(refusal) => &refusal.code,
        Outcome::Accepted => "accepted",
        Outcome::Need => "need",
    }
}

#[test]
fn three_weeks_in_a_cellar_reach_the_server_by_way_of_the_coachs_phone_and_nothing_is_doubled() {
    let (stand, mut phone, mut desk) = begin();
    // Three weeks of November; the app is opened anew each week, so three actors wrote.
    let mut sets = 0;
    for week in 0..3 {
        phone = phone.reopened();
        for day in 0..4 {
            phone.clock.set(START.plus_ms((week * 7 + day - 22) * DAY));
            let mut session = phone.begin();
            for _ in 0..4 {
                sets += 1;
                phone.clock.set(phone.clock.now().plus_ms(MINUTE));
                phone.set(&mut session, sets).unwrap();
            }
        }
    }
    let log = november(phone.person());
    let out = phone.phone.carry_out().unwrap().unwrap();
    assert_eq!((out.own[&log], out.others, out.left.len()), (12 * 5, 0, 0));
    assert!(out.bytes.len() < 8_000, "{}", out.bytes.len());
    // Over to the coach's phone, which is in the cellar too.
    let taken = desk.phone.carry_in(&out.bytes).unwrap();
    assert_eq!((taken.taken.as_slice(), taken.refused.len()), (&[(log, 60, true)][..], 0));
    assert_eq!(desk.numbers(log), (1..=sets).collect::<Vec<_>>(), "shown before any server has it");
    let again = desk.phone.carry_in(&out.bytes).unwrap();
    assert_eq!((again.taken.len(), again.known.as_slice()), (0, &[log][..]));
    assert!(desk.phone.unsent().unwrap().is_empty(), "it is not the coach's own");
    desk = desk.reopened();
    assert_eq!(desk.phone.carried().unwrap(), [(log, None)]);
    // Handed on as a file once more, it is the same.
    let further = desk.phone.carry_out().unwrap().unwrap();
    assert_eq!((further.own.len(), further.others), (0, 1));
    // Up the stairs: the coach's phone exchanges.
    assert!(!stand.stored().contains_key(&log));
    let report = desk.exchange(&stand.url());
    assert_eq!((report.carried.arrived, report.carried.refused.len(), report.carried.waiting), (1, 0, 0));
    assert!(desk.phone.carried().unwrap().is_empty());
    let (chunks, heads) = stand.stored()[&log].clone();
    assert_eq!(desk.heads(log), heads);
    // Days later the athlete's own phone has a signal and sends all of it itself.
    assert_eq!(phone.phone.unsent().unwrap(), [(log, 60)]);
    let report = phone.exchange(&stand.url());
    assert!(report.refused.is_empty() && report.not_taken.is_empty());
    assert!(phone.phone.unsent().unwrap().is_empty(), "everything is acknowledged");
    assert_eq!(stand.stored()[&log], (chunks, heads.clone()), "nothing was appended twice");
    assert_eq!(phone.heads(log), heads);
    assert_eq!(phone.numbers(log), (1..=sets).collect::<Vec<_>>());
    assert!(phone.phone.carry_out().unwrap().is_none());
    // The same file at the machine changes nothing either.
    assert_eq!(hand_in(&stand, &carry::read(&out.bytes).unwrap()), [Outcome::Accepted]);
    assert_eq!(stand.stored()[&log].1, heads);
    assert!(stand.trouble().is_empty());
}

#[test]
fn a_file_travels_as_frames_in_any_order() {
    let (_stand, mut phone, mut desk) = begin();
    let sets = train(&mut phone, 1, 5);
    let out = phone.phone.carry_out().unwrap().unwrap();
    let mut shown = frames::split(&out.bytes, 150).unwrap();
    shown.reverse();
    let mut collector = frames::Collector::default();
    let mut whole = None;
    for frame in shown.iter().chain(&shown.clone()[..2]) {
        whole = collector.take(frame).unwrap().or(whole);
    }
    let taken = desk.phone.carry_in(&whole.unwrap()).unwrap();
    assert_eq!((taken.taken.len(), taken.refused.len()), (1, 0));
    assert_eq!(desk.numbers(november(phone.person())).len(), usize::try_from(sets).unwrap());
}

#[test]
fn what_builds_on_changes_that_the_carrier_lacks_is_kept_and_arrives() {
    let (stand, mut phone, mut desk) = begin();
    train(&mut phone, 1, 3);
    // The server has the first day; the coach's phone has not heard of it.
    phone.exchange(&stand.url());
    phone.clock.set(START.plus_ms(MINUTE));
    let mut session = phone.begin();
    phone.set(&mut session, 9).unwrap();
    let log = november(phone.person());
    let out = phone.phone.carry_out().unwrap().unwrap();
    let taken = desk.phone.carry_in(&out.bytes).unwrap();
    assert_eq!(taken.taken, [(log, 2, false)]);
    assert!(desk.numbers(log).is_empty());
    let report = desk.exchange(&stand.url());
    assert_eq!(report.carried.arrived, 1);
    assert_eq!(desk.numbers(log), [1, 2, 3, 9]);
}

#[test]
fn health_is_not_carried_by_others_and_nobody_carries_what_they_may_not_read() {
    let (stand, mut phone, mut desk) = begin();
    let other = stand.person(Role::Athlete, "Tove Lindqvist");
    let mut foreign = stand.phone(other, "foreign");
    foreign.exchange(&stand.url());
    train(&mut phone, 1, 2);
    let care = DocName::Care(phone.person());
    let now = phone.clock.now();
    phone.add(care, "reports", Report::new(now, Complaint::Pain)).unwrap();
    let out = phone.phone.carry_out().unwrap().unwrap();
    assert_eq!(out.kept_back, [care]);
    assert_eq!(out.own.keys().copied().collect::<Vec<_>>(), [november(phone.person())]);
    let taken = foreign.phone.carry_in(&out.bytes).unwrap();
    assert_eq!(taken.refused.iter().map(|(_, e)| e.code()).collect::<Vec<_>>(), ["not-readable"]);
    assert!(foreign.phone.carried().unwrap().is_empty());
    // The coach's file holds the coach's own changes and the athlete's, and the desk takes both.
    assert_eq!(desk.phone.carry_in(&out.bytes).unwrap().taken.len(), 1);
    // A phone without a key says so.
    let mut keyless = phone.phone.identity().clone();
    keyless.key = None;
    backstraight_ffi::identity::store(&keyless, &phone.dir).unwrap();
    let mut phone = phone.reopened();
    assert!(matches!(phone.phone.carry_out(), Err(PhoneError::NoKey)));
}

#[test]
fn forged_parcels_are_refused_with_their_code_on_phone_and_server_and_nothing_is_stored() {
    let (stand, mut phone, mut desk) = begin();
    let other = stand.person(Role::Athlete, "Tove Lindqvist");
    let mut foreign = stand.phone(other, "foreign");
    foreign.exchange(&stand.url());
    desk.exchange(&stand.url());
    train(&mut phone, 2, 3);
    train(&mut foreign, 1, 2);
    let good = carry::read(&phone.phone.carry_out().unwrap().unwrap().bytes).unwrap().remove(0);
    let theirs = carry::read(&foreign.phone.carry_out().unwrap().unwrap().bytes).unwrap().remove(0);
    let plain = |p: &Parcel| {
        let mut room = usize::MAX;
        p.plain(&mut room).unwrap()
    };
    let with = |change: &dyn Fn(&mut Parcel)| {
        let mut parcel = good.clone();
        change(&mut parcel);
        parcel
    };
    let sign = |parcel: &mut Parcel, install: InstallId, key: &InstallKey| {
        let (name, changes) = (parcel.document().unwrap(), signed::changes(&plain(parcel)).unwrap());
        parcel.signatures = signed::sign(&name, &changes, install, &|s| key.sign(s));
    };
    let (mine, other_install) = (phone.phone.identity().install, foreign.phone.identity().install);
    let foreign_key = foreign.phone.identity().key.clone().unwrap();
    let half = || {
        let all = signed::changes(&plain(&good)).unwrap();
        let middle = &all[all.len() / 2];
        let (name, key) = (good.document().unwrap(), phone.phone.identity().key.clone().unwrap());
        signed::sign(&name, std::slice::from_ref(middle), mine, &|s| key.sign(s))
    };
    let table: Vec<(&str, Parcel)> = vec![
        ("unsigned", with(&|p| p.signatures.clear())),
        ("unsigned", with(&|p| p.signatures = half())),
        ("forged-signature", with(&|p| p.signatures[0].bytes = ByteVec::from(vec![7; 64]))),
        ("forged-signature", with(&|p| sign(p, mine, &foreign_key))),
        ("forged-signature", with(&|p| p.name = theirs.name.clone())),
        ("signature-form", with(&|p| p.signatures[0].bytes = ByteVec::from(vec![7; 63]))),
        ("doubled-signature", with(&|p| p.signatures.push(p.signatures[0].clone()))),
        ("signature-elsewhere", with(&|p| p.signatures = theirs.signatures.clone())),
        ("signature-elsewhere", with(&|p| p.signatures[0].change = ByteVec::from(vec![0; 32]))),
        // Signed rightly by somebody who may not write it: the changes of the other athlete's log.
        ("forged-actor", {
            let mut parcel = Parcel { name: good.name.clone(), ..theirs.clone() };
            sign(&mut parcel, other_install, &foreign_key);
            parcel
        }),
        ("thin", with(&|p| p.changes = ByteVec::from(p.changes[..p.changes.len() / 2].to_vec()))),
        ("not-a-change", with(&|p| p.changes = ByteVec::from([&[0], &[1u8; 64][..]].concat()))),
    ];
    let before = stand.stored();
    for (n, (want, parcel)) in table.iter().enumerate() {
        let told = hand_in(&stand, std::slice::from_ref(parcel));
        assert_eq!(code(&told[0]), *want, "{n} {told:?}");
        let taken = desk.phone.carry_in(&carry::write(vec![parcel.clone()])).unwrap();
        let here = if *want == "forged-actor" { "not-theirs" } else { want };
        assert_eq!(taken.refused.iter().map(|(_, e)| e.code()).collect::<Vec<_>>(), [here], "{n}");
    }
    // An install that nobody knows, and a parcel with far too many signatures, which is not even a file.
    let mut unknown = good.clone();
    for signature in &mut unknown.signatures {
        signature.actor = ByteVec::from(vec![9; 16]);
    }
    assert_eq!(code(&hand_in(&stand, &[unknown])[0]), "signature-elsewhere");
    let many = with(&|p| p.signatures = vec![p.signatures[0].clone(); 300]);
    assert!(matches!(
        desk.phone.carry_in(&carry::write(vec![many])),
        Err(PhoneError::Carry { code: "too-many", .. })
    ));
    assert_eq!(stand.stored(), before);
    assert!(desk.phone.carried().unwrap().is_empty());
    assert!(desk.numbers(november(phone.person())).is_empty());
    // And the honest one still goes.
    assert_eq!(hand_in(&stand, &[good]), [Outcome::Accepted]);
}

#[test]
fn damaged_files_are_refused_and_no_mutation_is_ever_believed() {
    let (stand, mut phone, mut desk) = begin();
    let sets = train(&mut phone, 2, 3);
    let log = november(phone.person());
    let file = phone.phone.carry_out().unwrap().unwrap().bytes;
    let mut rng = Rng::new(7);
    for n in (0..file.len()).step_by(3).chain(0..45) {
        assert!(matches!(desk.phone.carry_in(&file[..n]), Err(PhoneError::Carry { .. })), "{n}");
    }
    let parcel = carry::read(&file).unwrap().remove(0);
    for turn in 0..1500 {
        // Bytes of the file with the checksum repaired, as an attacker would.
        let mut bytes = file.clone();
        for _ in 0..rng.range(1, 4) {
            let at = usize::try_from(rng.range(41, i64::try_from(bytes.len()).unwrap() - 1)).unwrap();
            bytes[at] = u8::try_from(rng.range(0, 255)).unwrap();
        }
        let repaired = repair(&bytes);
        match desk.phone.carry_in(&repaired) {
            Err(PhoneError::Carry { .. }) => {}
            Err(other) => panic!("{turn}: {other}"),
            Ok(report) => {
                // Only what no signature covers may differ: the heads, which nobody relies on.
                for (name, ..) in &report.taken {
                    assert_eq!(*name, log, "{turn}");
                }
            }
        }
        if let Ok(parcels) = carry::read(&repaired) {
            for outcome in hand_in(&stand, &parcels) {
                assert!(!code(&outcome).is_empty());
            }
        }
        for found in desk.numbers(log) {
            assert!((1..=sets).contains(&found), "{turn}");
        }
    }
    desk.phone.carry_in(&carry::write(vec![parcel.clone(), parcel])).unwrap();
    assert_eq!(desk.numbers(log), (1..=sets).collect::<Vec<_>>());
    assert!(stand.trouble().is_empty());
}

/// The file with its checksum made anew.
fn repair(bytes: &[u8]) -> Vec<u8> {
    let body = &bytes[41..];
    [&bytes[..9], Sha256::digest(body).as_slice(), body].concat()
}

#[test]
fn what_was_written_before_a_withdrawal_arrives_and_what_was_written_after_does_not() {
    let (stand, mut phone, _) = begin();
    let mira = phone.person();
    let log = november(mira);
    phone.clock.set(START);
    let mut session = phone.begin();
    phone.set(&mut session, 1).unwrap();
    stand.clock.set(START.plus_ms(10 * MINUTE));
    let (now, grant) = (stand.now(), AtTheMachine.to_keep_accounts());
    stand.store().write_blocking(move |db| people::withdraw(db, &grant, mira, now)).unwrap();
    phone.clock.set(START.plus_ms(20 * MINUTE));
    phone.set(&mut session, 2).unwrap();
    let file = phone.phone.carry_out().unwrap().unwrap().bytes;
    let told = hand_in(&stand, &carry::read(&file).unwrap());
    assert_eq!(code(&told[0]), "withdrawn");
    let doc = stand.store().read_blocking(|db| {
        let row = backstraight_server::store::document::find(db, &log)?.unwrap();
        backstraight_server::store::document::whole(
            db,
            row.id,
            backstraight_core::doc::genesis::bytes(log.kind()),
        )
    });
    let doc = backstraight_core::doc::open::Document::open(log, &doc.unwrap()).unwrap();
    assert_eq!(backstraight_tests::stand::sets(&doc).into_values().collect::<Vec<_>>(), [1]);
    // Handed in again, it is told again, and nothing moves.
    let before = stand.stored();
    assert_eq!(code(&hand_in(&stand, &carry::read(&file).unwrap())[0]), "withdrawn");
    assert_eq!(stand.stored(), before);
}

#[test]
fn another_clubs_coach_hands_in_nothing() {
    let (stand, mut phone, _) = begin();
    train(&mut phone, 1, 2);
    let away = backstraight_core::base::id::ClubId::new(stand.now(), [9; 10]);
    stand.add_club(away, "Far Bend");
    let coach = stand.person_of(away, Role::Coach, "Olaf Brunner");
    let mut desk = stand.phone(coach, "away");
    desk.exchange(&stand.url());
    let file = phone.phone.carry_out().unwrap().unwrap().bytes;
    // The phone knows nobody of that club. A broken app might send it all the same.
    let taken = desk.phone.carry_in(&file).unwrap();
    assert_eq!(taken.refused.iter().map(|(_, e)| e.code()).collect::<Vec<_>>(), ["unknown-install"]);
    let parcel = carry::read(&file).unwrap().remove(0);
    let name = parcel.document().unwrap();
    desk.phone.shelf_mut().keep_carried(&name, &parcel, None).unwrap();
    let report = desk.exchange(&stand.url());
    assert_eq!(
        report.carried.refused.iter().map(|(n, r)| (*n, r.code.as_str())).collect::<Vec<_>>(),
        [(name, "not-yours")]
    );
    assert!(!stand.stored().contains_key(&name));
    // It says so once and does not send it again.
    assert_eq!(desk.exchange(&stand.url()).carried, Default::default());
    assert!(matches!(&desk.phone.carried().unwrap()[..], [(_, Some(Refusal { .. }))]));
}

#[test]
fn whoever_took_a_file_along_may_deliver_it_also_without_a_right_to_read() {
    let (stand, mut phone, mut desk) = begin();
    train(&mut phone, 1, 2);
    let file = phone.phone.carry_out().unwrap().unwrap().bytes;
    desk.phone.carry_in(&file).unwrap();
    let (grant, now) = (AtTheMachine.to_keep_accounts(), stand.now());
    let ruth = desk.person();
    stand.store().write_blocking(move |db| people::set_role(db, &grant, ruth, Role::Owner, now)).unwrap();
    let report = desk.exchange(&stand.url());
    assert_eq!(report.carried.arrived, 1);
}
