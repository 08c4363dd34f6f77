//! Who is named to whom in the club's best marks.

use std::collections::BTreeSet;

use backstraight_core::exchange::access::Role;

use crate::api::club;

/// The club's list as another athlete reads it: no minor is named without a guardian's yes, nobody against
/// their own no; coaches know everybody.
#[test]
fn best_marks_name_to_others_only_whom_they_may() {
    use backstraight_server::grant::{self, AtTheMachine, Caller};
    use backstraight_server::store::consents::{self, Use};
    use backstraight_server::store::{guardians, people};
    let club = club();
    let (coach, mine) = (club.token(None), club.token(Some(0)));
    let other = club.athletes[1].phone.identity().clone();
    let path = format!("/v1/records?of=club&until={}", club.today);
    let names = |token: &str| {
        let list = club.ok(token, &path);
        let records = list["records"].as_array().unwrap().clone();
        let best = records.iter().flat_map(|r| r["best"].as_array().unwrap().clone());
        best.map(|b| b["name"].as_str().unwrap_or("withheld").to_owned()).collect::<BTreeSet<_>>()
    };
    let own = club.athletes[0].phone.identity().name.clone();
    let both = BTreeSet::from([own.clone(), other.name.clone()]);
    let withheld = BTreeSet::from([own, "withheld".to_owned()]);
    let (store, now) = (club.stand.store(), club.stand.now());
    let born = |day: Option<&str>| {
        let (grant, day, person) =
            (AtTheMachine.to_keep_accounts(), day.map(|d| d.parse().unwrap()), other.person);
        store.write_blocking(move |db| people::set_born(db, &grant, person, day, now)).unwrap();
    };
    assert_eq!(names(&mine), both, "both are of age");
    born(Some("2012-02-03"));
    assert_eq!(names(&mine), withheld);
    assert_eq!(names(&coach), both);
    let told = club.ok(&mine, &path).to_string();
    assert!(!told.contains(&other.name) && !told.contains(&other.person.to_string()));
    // A guardian agrees; then the minor does not.
    let parent = club.stand.person(Role::Guardian, "Tove Quillfeather");
    let athlete = backstraight_core::exchange::access::Asker {
        person: other.person,
        club: club.stand.club,
        role: Role::Athlete,
    };
    let guard = AtTheMachine.to_guard(&athlete);
    store.write_blocking(move |db| guardians::begin(db, &guard, parent, "mother", now)).unwrap();
    let say = |signer, role, agrees: bool| {
        let asker =
            backstraight_core::exchange::access::Asker { person: signer, club: club.stand.club, role };
        let caller = Caller { asker, install: other.install };
        let sign = grant::to_sign(&caller, &athlete, role == Role::Guardian).unwrap();
        store
            .write_blocking(move |db| consents::sign(db, &sign, Use::NameToOthers, agrees, None, now))
            .unwrap();
    };
    say(parent, Role::Guardian, true);
    assert_eq!(names(&mine), both);
    say(other.person, Role::Athlete, false);
    assert_eq!(names(&mine), withheld);
    assert_eq!(names(&coach), both);
    // Without any date of birth somebody is taken for a minor; of age, the own no still counts.
    born(Some("2001-02-03"));
    assert_eq!(names(&mine), withheld);
    say(other.person, Role::Athlete, true);
    assert_eq!(names(&mine), both);
    let field = club.problem(&mine, &format!("/v1/records?of=all&until={}", club.today));
    assert_eq!(field, (422, "field".to_owned(), "of".to_owned()));
}
