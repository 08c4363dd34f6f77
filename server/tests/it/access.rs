//! Who may read and write what, seen through the exchange, and who is told of whom.

use backstraight_core::base::id::{PersonId, SquadId};
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::{Known, Outcome};
use backstraight_core::model::name::DocName;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::people;
use serde_json::json;
use uuid::Uuid;

use crate::support::{Server, about, changes, log, notes, post, refusal};

#[test]
fn a_document_of_another_party_another_club_or_of_nobody_is_refused_in_the_same_words() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (home, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let mira = home.person(Role::Athlete, "Mira Aalto");
    let jonas = home.person(Role::Athlete, "Jonas Okafor");
    let ines = away.person(Role::Athlete, "Ines Duarte");
    let nobody = PersonId(Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_ffff));
    let mut stranger = away.device(ines);
    stranger.say(log(ines), "hers");
    stranger.exchange();
    let mut phone = home.device(mira);
    let names = [log(jonas), log(ines), log(nobody), notes(mira), DocName::Squad(SquadId(nobody.0))];
    for name in names {
        if matches!(name, DocName::Squad(_)) {
            phone.copy(name);
        } else {
            phone.say(name, "not mine");
        }
    }
    phone.say(log(mira), "mine");
    let mut up = phone.up();
    for doc in &mut up.docs {
        // Even bytes that are no changes are not looked at.
        if doc.changes.is_none() {
            doc.changes = Some(vec![1, 2, 3].into());
        }
    }
    let down = phone.send(&up);
    for name in names {
        assert_eq!(refusal(&down, name), "not-yours", "{name}");
    }
    let said =
        |name| format!("{:?}", about(&down, name).map(|d| (&d.outcome, &d.heads, &d.changes, d.cursor)));
    assert_eq!(said(log(ines)), said(log(nobody)));
    assert_eq!(said(log(ines)), said(log(jonas)));
    let gone: Vec<&[u8]> = down.withdrawn.iter().map(|n| n.as_slice()).collect();
    for name in [log(ines), log(nobody), log(jonas)] {
        assert!(gone.contains(&name.to_bytes().as_slice()), "{name}");
    }
    assert!(!gone.contains(&notes(mira).to_bytes().as_slice()), "own notes may be read");
    assert_eq!(about(&down, log(mira)).unwrap().outcome, Outcome::Accepted);
    assert!(about(&stranger.exchange(), log(mira)).is_none());
}

#[test]
fn changes_by_somebody_of_another_party_are_refused_by_whoever_brings_them() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, jonas) =
        (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Athlete, "Jonas Okafor"));
    let (mut phone, mut other) = (club.device(mira), club.device(jonas));
    other.say(log(mira), "forged");
    let forged = other.copies[&log(mira)].doc.changes_since(&[]);
    phone.copy(log(mira)).doc.admit(&forged, &|_| true).unwrap();
    let down = phone.send(&phone.up());
    assert_eq!(refusal(&down, log(mira)), "forged-actor");
    assert!(about(&down, log(mira)).unwrap().changes.is_none());
}

#[test]
fn care_is_for_care_staff_and_for_coaches_only_with_consent() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let coach = club.person(Role::HeadCoach, "Pavel Novak");
    let care = club.person(Role::Care, "Lea Brandt");
    let care_doc = DocName::Care(mira);
    let (mut phone, mut desk, mut clinic) = (club.device(mira), club.device(coach), club.device(care));
    phone.report(care_doc);
    phone.say(log(mira), "log");
    phone.exchange();
    assert_eq!(changes(&clinic.exchange(), care_doc), 1);
    assert!(about(&clinic.exchange(), log(mira)).is_none(), "care staff read no log");
    assert!(about(&desk.exchange(), care_doc).is_none());
    let consent = |access: &str, open: bool| {
        post(&format!("{}/v1/consent", server.url), Some(access), &json!({ "care_open_to_coaches": open })).0
    };
    assert_eq!(consent(&desk.access, true), 403);
    assert_eq!(consent(&phone.access, true), 204);
    assert_eq!(consent(&phone.access, true), 204);
    assert_eq!(changes(&desk.exchange(), care_doc), 1);
    assert_eq!(consent(&phone.access, false), 204);
    let down = desk.exchange();
    assert!(about(&down, care_doc).is_none());
    assert_eq!(down.withdrawn.iter().map(|n| n.to_vec()).collect::<Vec<_>>(), [care_doc.to_bytes().to_vec()]);
    let lines = server.store().read_blocking(|db| backstraight_server::store::audit::newest(db, 2)).unwrap();
    assert_eq!(lines[0].what, "care closed to coaches");
    assert_eq!(lines[1].what, "care opened to coaches");
}

#[test]
fn what_care_staff_note_is_for_the_athlete_and_coaches_see_what_may_be_trained() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (club, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (notes, said) = (DocName::CareNotes(mira), DocName::Availability(mira));
    let mut clinic = club.device(club.person(Role::Care, "Lea Brandt"));
    clinic.assess(notes);
    clinic.forbid(said);
    let down = clinic.exchange();
    for name in [notes, said] {
        assert_eq!(about(&down, name).unwrap().outcome, Outcome::Accepted, "{name}");
    }
    // Who gets the notes, who what may be trained. Consent to read reports of pain opens neither.
    let mut phone = club.device(mira);
    let consent = json!({ "care_open_to_coaches": true });
    assert_eq!(post(&format!("{}/v1/consent", server.url), Some(&phone.access), &consent).0, 204);
    let person = |role, name| club.device(club.person(role, name));
    let table = [
        (person(Role::Coach, "Ruth Adeyemi"), false, true),
        (person(Role::HeadCoach, "Pavel Novak"), false, true),
        (person(Role::Care, "Jan Wolff"), true, true),
        (person(Role::Athlete, "Jonas Okafor"), false, false),
        (person(Role::Owner, "Ida Holm"), false, false),
        (away.device(away.person(Role::Care, "Nils Berg")), false, false),
        (away.device(away.person(Role::HeadCoach, "Hugo Maas")), false, false),
    ];
    for (n, (mut device, reads_notes, reads_said)) in table.into_iter().enumerate() {
        let down = device.exchange();
        assert_eq!(changes(&down, notes), usize::from(reads_notes), "{n}");
        assert_eq!(changes(&down, said), usize::from(reads_said), "{n}");
        // And who may write: care staff of the club and nobody else.
        device.forbid(said);
        device.assess(notes);
        let down = device.exchange();
        for name in [said, notes] {
            let fine = about(&down, name).unwrap().outcome == Outcome::Accepted;
            assert_eq!(fine, n == 2, "{n} {name}");
            assert!(fine || refusal(&down, name) == "not-yours", "{n} {name}");
        }
    }
    let down = phone.exchange();
    assert_eq!((changes(&down, notes), changes(&down, said)), (2, 2));
    phone.forbid(said);
    assert_eq!(refusal(&phone.exchange(), said), "not-yours");
}

fn names(list: &[Known]) -> Vec<&str> {
    let mut names: Vec<&str> = list.iter().map(|k| k.name.as_str()).collect();
    names.sort_unstable();
    names
}

#[test]
fn athletes_are_told_of_coaches_and_coaches_of_everybody_and_when_they_were_heard() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let away = server.club("Harbour Runners");
    away.person(Role::Coach, "Hugo Maas");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let jonas = club.person(Role::Athlete, "Jonas Okafor");
    let ruth = club.person(Role::Coach, "Ruth Adeyemi");
    let (mut phone, mut desk) = (club.device(mira), club.device(ruth));
    let told = phone.exchange().people.unwrap();
    assert_eq!(names(&told.list), ["Mira Aalto", "Ruth Adeyemi"]);
    assert!(told.list.iter().all(|k| k.heard_at.is_none() && k.heard_day.is_none()));
    let told = desk.exchange().people.unwrap();
    assert_eq!(names(&told.list), ["Jonas Okafor", "Mira Aalto", "Ruth Adeyemi"]);
    let of = |list: &[Known], person: PersonId| {
        list.iter().find(|k| k.person.as_slice() == person.0.as_bytes()).unwrap().clone()
    };
    let known = of(&told.list, mira);
    assert_eq!(known.heard_day.as_deref(), Some("2026-11-25"));
    assert_eq!(known.heard_at, Some(server.now().0));
    assert_eq!(known.installs.iter().map(|i| i.to_vec()).collect::<Vec<_>>(), [phone.install.0.to_vec()]);
    assert_eq!(of(&told.list, jonas).heard_at, None, "silence stays silence");
    // Nothing new: no list. An athlete is heard anew: only coaches get one.
    assert!(desk.exchange().people.is_none() && phone.exchange().people.is_none());
    server.wait(20 * 60_000);
    phone.access = server.token(mira, phone.install, server.now());
    desk.access = server.token(ruth, desk.install, server.now());
    phone.local_day = "2026-11-26".to_owned();
    assert!(phone.exchange().people.is_none());
    let told = desk.exchange().people.unwrap();
    assert_eq!(of(&told.list, mira).heard_day.as_deref(), Some("2026-11-26"));
    // A clock that is days off says nothing about days, but the phone was heard.
    for wrong in ["2026-11-29", "2026-11-20", "tomorrow", ""] {
        server.wait(11 * 60_000);
        phone.access = server.token(mira, phone.install, server.now());
        desk.access = server.token(ruth, desk.install, server.now());
        phone.local_day = wrong.to_owned();
        phone.exchange();
        let known = of(&desk.exchange().people.unwrap().list, mira);
        assert_eq!(
            (known.heard_day.as_deref(), known.heard_at),
            (Some("2026-11-26"), Some(server.now().0)),
            "{wrong}"
        );
    }
    // A role that changed is a new list, for the one and for the others.
    let (grant, now) = (AtTheMachine.to_keep_accounts(), server.now());
    server.store().write_blocking(move |db| people::set_role(db, &grant, ruth, Role::Athlete, now)).unwrap();
    assert_eq!(names(&desk.exchange().people.unwrap().list), ["Ruth Adeyemi"]);
    assert_eq!(names(&phone.exchange().people.unwrap().list), ["Mira Aalto"]);
}

#[test]
fn the_documents_of_a_club_and_squad_are_for_their_coaches() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let squad = DocName::Squad(club.squad("Sprints"));
    let library = DocName::Library(club.id);
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (club.device(mira), club.device(ruth));
    desk.cue(library);
    desk.remark(squad);
    let down = desk.exchange();
    assert_eq!(about(&down, squad).unwrap().outcome, Outcome::Accepted);
    let down = phone.exchange();
    assert_eq!(changes(&down, library), 1);
    assert!(about(&down, squad).is_none());
    phone.cue(library);
    assert_eq!(refusal(&phone.exchange(), library), "not-yours");
}
