//! People over HTTP: accounts, guardians, consents, installs, the audit list.

use backstraight_core::base::id::{PersonId, SquadId};
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::SeasonNo;
use backstraight_core::model::plan::Member;
use serde_json::{Value, json};

use crate::support::{Club, Device, Server, about, changes, code_of, get_as, log, notes, post};

const DAY: i64 = 86_400_000;

fn ask(device: &Device, path: &str) -> (u16, Value) {
    get_as(&format!("{}{path}", device.url), Some(&device.access))
}

fn tell(device: &Device, path: &str, body: &Value) -> (u16, Value) {
    post(&format!("{}{path}", device.url), Some(&device.access), body)
}

fn person(id: PersonId, end: &str) -> String {
    format!("/v1/people/{id}{end}")
}

/// A later access token of the same install.
fn later(server: &Server, device: &mut Device) {
    device.access = server.token(device.person, device.install, server.now());
}

fn consents_of(device: &Device, athlete: PersonId) -> Vec<(String, bool)> {
    let (status, list) = ask(device, &person(athlete, "/consents"));
    assert_eq!(status, 200, "{list}");
    let uses = list["uses"].as_array().unwrap();
    uses.iter().map(|u| (u["what"].as_str().unwrap().to_owned(), u["agreed"].as_bool().unwrap())).collect()
}

fn care(agreed: bool) -> (String, bool) {
    ("care reports to coaches".to_owned(), agreed)
}

fn named(agreed: bool) -> (String, bool) {
    ("name to others".to_owned(), agreed)
}

struct Family {
    mira: PersonId,
    phone: Device,
    parent: Device,
    head: Device,
}

/// A minor of fifteen with a guardian.
fn family(club: &Club<'_>) -> Family {
    let mira = club.person(Role::Athlete, "Mira Aalto");
    club.born(mira, Some("2011-05-01"));
    let parent = club.device(club.person(Role::Guardian, "Tove Aalto"));
    let head = club.device(club.person(Role::HeadCoach, "Pavel Novak"));
    let body = json!({ "guardian": parent.person.to_string(), "reason": "mother" });
    assert_eq!(tell(&head, &person(mira, "/guardians"), &body).0, 204);
    Family { mira, phone: club.device(mira), parent, head }
}

#[test]
fn a_guardian_reads_what_the_minor_trains_and_the_minor_sees_who_watches() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let Family { mira, mut phone, mut parent, mut head } = family(&club);
    let jonas = club.person(Role::Athlete, "Jonas Okafor");
    let mut other = club.device(jonas);
    let plan = DocName::Plan(mira, SeasonNo::new(2027).unwrap());
    phone.say(log(mira), "mine");
    phone.report(DocName::Care(mira));
    other.say(log(jonas), "his");
    head.season(plan, "2026-10-01", "2027-08-31");
    head.say(notes(mira), "tall at the line");
    for device in [&mut phone, &mut other, &mut head] {
        device.exchange();
    }
    let down = parent.exchange();
    for name in [log(mira), plan, notes(mira)] {
        assert_eq!(changes(&down, name), 1, "{name}");
    }
    for name in [DocName::Care(mira), log(jonas)] {
        assert!(about(&down, name).is_none(), "{name}");
    }
    // Nothing is hers to write.
    parent.say(log(mira), "for her");
    assert_eq!(crate::support::refusal(&parent.exchange(), log(mira)), "not-yours");
    // Each is told of the other, and the athlete of the reason.
    let told = |down: &backstraight_core::exchange::wire::Down| {
        let people = down.people.as_ref().unwrap();
        let mut names: Vec<String> = people.list.iter().map(|k| k.name.clone()).collect();
        names.sort_unstable();
        names
    };
    phone.people = 0;
    assert_eq!(told(&phone.exchange()), ["Mira Aalto", "Pavel Novak", "Tove Aalto"]);
    parent.people = 0;
    assert_eq!(told(&parent.exchange()), ["Mira Aalto", "Pavel Novak", "Tove Aalto"]);
    let (_, list) = ask(&phone, &person(mira, "/guardians"));
    assert_eq!(
        (&list["guardians"][0]["name"], &list["guardians"][0]["reason"]),
        (&json!("Tove Aalto"), &json!("mother"))
    );
    assert_eq!(list["ends"], "on the birthday of 18 years; born on 2011-05-01");
    assert_eq!(ask(&parent, "/v1/me").1["wards"][0]["name"], "Mira Aalto");
    let week = format!("/v1/athletes/{mira}/weeks");
    assert_eq!(ask(&parent, &week).0, 200);
    assert_eq!(code_of(&ask(&parent, &format!("/v1/athletes/{jonas}/weeks"))), (404, "not-found"));
    assert_eq!(code_of(&ask(&other, &person(mira, "/guardians"))), (404, "not-found"));
    // It ends at once.
    let end = person(mira, &format!("/guardians/{}/end", parent.person));
    assert_eq!(code_of(&tell(&phone, &end, &json!({ "reason": "x" }))), (403, "not-allowed"));
    assert_eq!(tell(&head, &end, &json!({ "reason": "a court said so" })).0, 204);
    assert_eq!(code_of(&tell(&head, &end, &json!({ "reason": "again" }))), (404, "not-found"));
    let down = parent.exchange();
    let gone: Vec<Vec<u8>> = down.withdrawn.iter().map(|n| n.to_vec()).collect();
    for name in [log(mira), plan, notes(mira)] {
        assert!(gone.contains(&name.to_bytes().to_vec()), "{name}");
    }
    assert_eq!(code_of(&ask(&parent, &week)), (404, "not-found"));
    let (_, list) = ask(&phone, &person(mira, "/guardians"));
    assert_eq!(list["guardians"][0]["end_reason"], "a court said so");
}

#[test]
fn a_guardianship_ends_by_itself_on_the_birthday_and_without_one_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let Family { mira, mut phone, mut parent, mut head } = family(&club);
    // Eighteen on the day after tomorrow; the stand's day is 2026-11-25.
    club.born(mira, Some("2008-11-27"));
    let week = format!("/v1/athletes/{mira}/weeks");
    server.wait(DAY);
    later(&server, &mut parent);
    assert_eq!(ask(&parent, &week).0, 200);
    server.wait(DAY);
    for device in [&mut parent, &mut phone, &mut head] {
        later(&server, device);
    }
    assert_eq!(code_of(&ask(&parent, &week)), (404, "not-found"));
    assert_eq!(ask(&parent, "/v1/me").1["wards"], json!([]));
    let now = server.now();
    let written =
        server.store().write_blocking(move |db| backstraight_server::store::guardians::end_of_age(db, now));
    assert_eq!(written.unwrap(), 1);
    assert_eq!(ask(&phone, &person(mira, "/guardians")).1["guardians"][0]["end_reason"], "came of age");
    let body = json!({ "guardian": parent.person.to_string(), "reason": "again" });
    assert_eq!(code_of(&tell(&head, &person(mira, "/guardians"), &body)), (409, "of-age"));
    // The club decides at which age; without a date of birth nobody knows.
    assert_eq!(tell(&head, "/v1/club", &json!({ "majority": 19 })).0, 204);
    assert_eq!(tell(&head, &person(mira, "/guardians"), &body).0, 204);
    assert_eq!(ask(&parent, &week).0, 200);
    assert_eq!(tell(&head, &person(mira, ""), &json!({ "born": null })).0, 204);
    let ends = ask(&phone, &person(mira, "/guardians")).1["ends"].as_str().unwrap().to_owned();
    assert!(ends.starts_with("not by itself: no date of birth is entered"), "{ends}");
    assert_eq!(ask(&parent, &week).0, 200);
}

#[test]
fn a_minors_consent_is_the_guardians_and_the_minors_no_always_counts() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let Family { mira, mut phone, mut parent, mut head } = family(&club);
    let care_doc = DocName::Care(mira);
    phone.report(care_doc);
    phone.exchange();
    let path = person(mira, "/consents");
    let say = |device: &Device, agrees: bool| {
        tell(device, &path, &json!({ "what": "care reports to coaches", "agrees": agrees }))
    };
    assert_eq!(code_of(&say(&phone, true)), (403, "guardian-needed"));
    let own = json!({ "care_open_to_coaches": true });
    assert_eq!(code_of(&tell(&phone, "/v1/consent", &own)), (403, "guardian-needed"));
    assert_eq!(code_of(&say(&head, true)), (403, "not-allowed"));
    assert!(about(&head.exchange(), care_doc).is_none());
    assert_eq!(say(&parent, true).0, 204);
    assert_eq!(consents_of(&phone, mira), [care(true), named(false)]);
    assert_eq!(changes(&head.exchange(), care_doc), 1);
    assert_eq!(say(&phone, false).0, 204);
    assert_eq!(consents_of(&parent, mira), [care(false), named(false)]);
    assert_eq!(head.exchange().withdrawn.len(), 1);
    // The no is taken back by the guardian's word alone only once the minor has no word against it: it stands.
    assert_eq!(say(&parent, true).0, 204);
    assert_eq!(consents_of(&parent, mira), [care(false), named(false)]);
    // Who signed what, and whether it counts.
    let words = ask(&phone, &path).1["words"].clone();
    let said: Vec<(&str, bool, bool)> = words
        .as_array()
        .unwrap()
        .iter()
        .map(|w| {
            (w["name"].as_str().unwrap(), w["agrees"].as_bool().unwrap(), w["counts"].as_bool().unwrap())
        })
        .collect();
    assert_eq!(said, [("Tove Aalto", true, true), ("Mira Aalto", false, true)]);
    // A guardian's word ends with the guardianship; of age, the athlete's own counts.
    assert_eq!(tell(&parent, &path, &json!({ "what": "name to others", "agrees": true })).0, 204);
    assert_eq!(consents_of(&phone, mira), [care(false), named(true)]);
    club.born(mira, Some("2008-11-25"));
    assert_eq!(consents_of(&phone, mira), [care(false), named(true)], "an adult is named unless she says no");
    assert_eq!(code_of(&say(&parent, true)), (403, "not-allowed"));
    assert_eq!(say(&phone, true).0, 204);
    assert_eq!(consents_of(&phone, mira), [care(true), named(true)]);
    assert_eq!(tell(&phone, &path, &json!({ "what": "name to others", "agrees": false })).0, 204);
    assert_eq!(consents_of(&phone, mira), [care(true), named(false)]);
    let (_, lines) = (
        parent.exchange(),
        server.store().read_blocking(|db| backstraight_server::store::audit::newest(db, 3)).unwrap(),
    );
    assert_eq!(lines[0].what, "name withheld from others");
}

#[test]
fn a_consent_counts_until_its_last_day() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (mut phone, mut desk) = (club.device(mira), club.device(club.person(Role::Coach, "Ruth Adeyemi")));
    let care_doc = DocName::Care(mira);
    phone.report(care_doc);
    phone.exchange();
    let path = person(mira, "/consents");
    let body = |until: Value| json!({ "what": "care reports to coaches", "agrees": true, "until": until });
    for wrong in ["2026-11-24", "tomorrow", "2026-13-01"] {
        assert_eq!(code_of(&tell(&phone, &path, &body(json!(wrong)))), (422, "field"), "{wrong}");
    }
    let no = json!({ "what": "care reports to coaches", "agrees": false, "until": "2026-11-26" });
    assert_eq!(code_of(&tell(&phone, &path, &no)), (422, "field"), "a no has no end");
    assert_eq!(
        code_of(&tell(&phone, &path, &json!({ "what": "everything", "agrees": true }))),
        (422, "field")
    );
    assert_eq!(tell(&phone, &path, &body(json!("2026-11-26"))).0, 204);
    assert_eq!(changes(&desk.exchange(), care_doc), 1);
    server.wait(DAY);
    later(&server, &mut desk);
    assert!(desk.exchange().withdrawn.is_empty());
    server.wait(DAY);
    later(&server, &mut desk);
    assert_eq!(desk.exchange().withdrawn.len(), 1);
}

#[test]
fn without_a_date_of_birth_an_athlete_counts_as_a_minor() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    club.born(mira, None);
    let phone = club.device(mira);
    let own = json!({ "care_open_to_coaches": true });
    assert_eq!(code_of(&tell(&phone, "/v1/consent", &own)), (403, "guardian-needed"));
    assert_eq!(tell(&phone, "/v1/consent", &json!({ "care_open_to_coaches": false })).0, 204);
    let signs = ask(&phone, &person(mira, "/consents")).1["signs"].as_str().unwrap().to_owned();
    assert!(signs.contains("no date of birth is entered"), "{signs}");
    assert_eq!(consents_of(&phone, mira), [care(false), named(false)]);
}

#[test]
fn accounts_are_kept_by_those_who_may_and_changes_count_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (club, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let owner = club.device(club.person(Role::Owner, "Olga Brandt"));
    let head = club.device(club.person(Role::HeadCoach, "Pavel Novak"));
    let coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let stranger = away.person(Role::Athlete, "Ines Duarte");
    let (status, made) = tell(
        &head,
        "/v1/people",
        &json!({ "name": " Mira Aalto ", "role": "athlete", "born": "2011-05-01" }),
    );
    assert_eq!(status, 201, "{made}");
    assert_eq!(
        (&made["name"], &made["born"], &made["installs"]),
        (&json!("Mira Aalto"), &json!("2011-05-01"), &json!(0))
    );
    let mira: PersonId = made["person"].as_str().unwrap().parse().unwrap();
    let phone = club.device(mira);
    for (device, body, want) in [
        (&head, json!({ "name": "A", "role": "owner" }), (403, "not-allowed")),
        (&head, json!({ "name": "A", "role": "head coach" }), (403, "not-allowed")),
        (&coach, json!({ "name": "A", "role": "athlete" }), (403, "not-allowed")),
        (&phone, json!({ "name": "A", "role": "athlete" }), (403, "not-allowed")),
        (&owner, json!({ "name": "A", "role": "king" }), (422, "field")),
        (&owner, json!({ "name": "", "role": "coach" }), (422, "field")),
        (&owner, json!({ "name": "a\u{7}", "role": "coach" }), (422, "field")),
        (&owner, json!({ "name": "x".repeat(121), "role": "coach" }), (422, "field")),
        (&owner, json!({ "name": "A", "role": "athlete", "born": "2027-01-01" }), (422, "field")),
        (&owner, json!({ "name": "A", "role": "athlete", "born": "1850-01-01" }), (422, "field")),
        (&owner, json!({ "name": "A", "role": "athlete", "born": 2011 }), (400, "malformed")),
        (&owner, json!({ "name": "A" }), (400, "malformed")),
        (&owner, json!({ "name": "A", "role": "coach", "club": away.id.to_string() }), (400, "malformed")),
    ] {
        assert_eq!(code_of(&tell(device, "/v1/people", &body)), want, "{body}");
    }
    // Others' clubs do not exist.
    for end in ["", "/withdraw", "/restore", "/leave", "/reset-sign-in"] {
        let body = if end == "/leave" { json!({ "copy": "declined" }) } else { json!({}) };
        assert_eq!(code_of(&tell(&owner, &person(stranger, end), &body)), (404, "not-found"), "{end}");
    }
    assert_eq!(code_of(&ask(&owner, &person(stranger, ""))), (404, "not-found"));
    assert_eq!(tell(&head, &person(mira, ""), &json!({ "name": "Mira Aalto-Berg" })).0, 204);
    assert_eq!(ask(&phone, "/v1/me").1["name"], "Mira Aalto-Berg");
    assert_eq!(code_of(&tell(&head, &person(mira, ""), &json!({ "role": "owner" }))), (403, "not-allowed"));
    // Withdrawn at once, restored at once.
    assert_eq!(tell(&head, &person(mira, "/withdraw"), &json!({})).0, 204);
    assert_eq!(ask(&phone, "/v1/me").0, 401);
    let list = |all: &str| ask(&coach, &format!("/v1/people{all}")).1["people"].as_array().unwrap().len();
    assert_eq!((list(""), list("?all=true")), (3, 4));
    assert_eq!(tell(&head, &person(mira, "/restore"), &json!({})).0, 204);
    assert_eq!(ask(&phone, "/v1/me").0, 200);
    // Pages hold everybody once.
    let (mut seen, mut after) = (Vec::new(), String::new());
    loop {
        let (_, page) = ask(&owner, &format!("/v1/people?limit=1{after}"));
        seen.extend(
            page["people"].as_array().unwrap().iter().map(|p| p["name"].as_str().unwrap().to_owned()),
        );
        let Some(next) = page.get("next").and_then(Value::as_str) else { break };
        after = format!("&after={next}");
    }
    seen.sort_unstable();
    assert_eq!(seen, ["Mira Aalto-Berg", "Olga Brandt", "Pavel Novak", "Ruth Adeyemi"]);
    // A club keeps an owner.
    let only = person(owner.person, "");
    assert_eq!(code_of(&tell(&owner, &only, &json!({ "role": "coach" }))), (409, "last-owner"));
    assert_eq!(code_of(&tell(&owner, &format!("{only}/withdraw"), &json!({}))), (409, "last-owner"));
    assert_eq!(tell(&owner, "/v1/people", &json!({ "name": "Second", "role": "owner" })).0, 201);
    assert_eq!(tell(&owner, &only, &json!({ "role": "coach" })).0, 204);
    assert_eq!(ask(&owner, "/v1/audit").0, 403, "the role counts from the next request on");
}

#[test]
fn leaving_ends_everything_and_asks_for_the_copy_first() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let Family { mira, phone, parent, head } = family(&club);
    let path = person(mira, "/leave");
    assert_eq!(code_of(&tell(&phone, &path, &json!({}))), (400, "malformed"));
    assert_eq!(code_of(&tell(&phone, &path, &json!({ "copy": "later" }))), (422, "field"));
    assert_eq!(code_of(&tell(&parent, &path, &json!({ "copy": "declined" }))), (403, "not-allowed"));
    // A word is no copy.
    assert_eq!(code_of(&tell(&phone, &path, &json!({ "copy": "taken" }))), (422, "copy-needed"));
    assert_eq!(ask(&phone, "/v1/me").0, 200);
    assert_eq!(tell(&phone, &path, &json!({ "copy": "declined" })).0, 204);
    assert_eq!(ask(&phone, "/v1/me").0, 401);
    assert_eq!(ask(&parent, &format!("/v1/athletes/{mira}/weeks")).0, 404);
    let (_, list) = ask(&head, &person(mira, "/guardians"));
    assert_eq!(list["guardians"][0]["end_reason"], "left the club");
    let (_, account) = ask(&head, &person(mira, ""));
    assert_eq!((account["installs"].as_u64(), account["left_at"].as_i64()), (Some(0), Some(server.now().0)));
}

#[test]
fn installs_are_listed_and_withdrawn_by_those_who_may() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let (phone, old) = (club.device(mira), club.device(mira));
    let (coach, head) = (
        club.device(club.person(Role::Coach, "Ruth Adeyemi")),
        club.device(club.person(Role::HeadCoach, "Pavel Novak")),
    );
    let path = person(mira, "/installs");
    let (_, list) = ask(&phone, &path);
    let installs = list["installs"].as_array().unwrap();
    assert_eq!(installs.len(), 2);
    assert_eq!(installs.iter().filter(|i| i["this"] == true).count(), 1);
    assert_eq!(code_of(&ask(&coach, &path)), (403, "not-allowed"));
    assert_eq!(ask(&head, &path).0, 200);
    let withdraw = |id: &str| format!("{path}/{id}/withdraw");
    assert_eq!(code_of(&tell(&coach, &withdraw(&old.install.to_string()), &json!({}))), (403, "not-allowed"));
    for id in [coach.install.to_string(), "x".to_owned(), "0".repeat(16)] {
        assert_eq!(code_of(&tell(&head, &withdraw(&id), &json!({}))), (404, "not-found"), "{id}");
    }
    assert_eq!(ask(&old, "/v1/me").0, 200);
    assert_eq!(tell(&phone, &withdraw(&old.install.to_string()), &json!({})).0, 204);
    assert_eq!(ask(&old, "/v1/me").0, 401);
    assert_eq!(ask(&coach, "/v1/me").0, 200);
    assert_eq!(tell(&head, &withdraw(&phone.install.to_string()), &json!({})).0, 204);
    assert_eq!(ask(&phone, "/v1/me").0, 401);
}

#[test]
fn the_owner_reads_what_changed_access_page_by_page_and_nobody_elses() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (club, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let owner = club.device(club.person(Role::Owner, "Olga Brandt"));
    away.device(away.person(Role::Owner, "Hugo Maas"));
    let (_, made) = tell(&owner, "/v1/people", &json!({ "name": "Mira Aalto", "role": "athlete" }));
    let (mut lines, mut before) = (Vec::new(), String::new());
    loop {
        let (status, page) = ask(&owner, &format!("/v1/audit?limit=2{before}"));
        assert_eq!(status, 200, "{page}");
        lines.extend(page["lines"].as_array().unwrap().clone());
        let Some(next) = page.get("next").and_then(Value::as_u64) else { break };
        before = format!("&before={next}");
    }
    let newest = &lines[0];
    assert_eq!((&newest["what"], &newest["subject"]), (&json!("person added as athlete"), &made["person"]));
    assert_eq!(newest["name"], "Olga Brandt");
    let numbers: Vec<u64> = lines.iter().map(|l| l["id"].as_u64().unwrap()).collect();
    assert!(numbers.is_sorted_by(|a, b| a > b), "{numbers:?}");
    let whats: Vec<&str> = lines.iter().map(|l| l["what"].as_str().unwrap()).collect();
    for what in ["club added", "person added as owner", "invited", "enrolled"] {
        assert_eq!(whats.iter().filter(|w| **w == what).count(), 1, "{what}: {whats:?}");
    }
    assert!(!format!("{lines:?}").contains(&away.id.to_string()));
    for (query, want) in
        [("limit=0", 422), ("limit=501", 422), ("before=x", 422), ("before=-1", 422), ("x=1", 422)]
    {
        assert_eq!(ask(&owner, &format!("/v1/audit?{query}")).0, want, "{query}");
    }
}

#[test]
fn squads_and_settings_of_the_own_club() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (club, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let foreign = away.squad("Throws");
    let coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let head = club.device(club.person(Role::HeadCoach, "Pavel Novak"));
    let (status, made) = tell(&coach, "/v1/squads", &json!({ "name": "Sprints" }));
    assert_eq!(status, 201, "{made}");
    let squad = made["squad"].as_str().unwrap();
    assert_eq!(
        tell(&coach, &format!("/v1/squads/{squad}"), &json!({ "name": "Sprints and hurdles" })).0,
        204
    );
    for id in [foreign.to_string(), "x".to_owned()] {
        assert_eq!(
            code_of(&tell(&coach, &format!("/v1/squads/{id}"), &json!({ "name": "Ours" }))),
            (404, "not-found")
        );
    }
    let (_, list) = ask(&coach, "/v1/squads");
    assert_eq!(list["squads"], json!([{ "squad": squad, "name": "Sprints and hurdles" }]));
    assert_eq!(code_of(&tell(&coach, "/v1/club", &json!({ "majority": 16 }))), (403, "not-allowed"));
    for (majority, want) in
        [(json!(12), 422), (json!(26), 422), (json!(1e9), 400), (json!("18"), 400), (json!(-1), 400)]
    {
        assert_eq!(tell(&head, "/v1/club", &json!({ "majority": majority })).0, want, "{majority}");
    }
    assert_eq!(tell(&head, "/v1/club", &json!({ "majority": 16, "name": "Cinder Lane TC" })).0, 204);
    assert_eq!(
        ask(&coach, "/v1/club").1,
        json!({ "club": club.id.to_string(), "name": "Cinder Lane TC", "majority": 16 })
    );
}

#[test]
fn an_athlete_moves_between_squads_with_what_is_known_of_them() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (club, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let (sprints, jumps, foreign) = (club.squad("Sprints"), club.squad("Jumps"), away.squad("Throws"));
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let stranger = away.person(Role::Athlete, "Ines Duarte");
    let mut coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let other = club.device(club.person(Role::HeadCoach, "Pavel Novak"));
    let path = |squad: SquadId| format!("/v1/squads/{squad}/members");
    let join = |device: &Device, squad: SquadId, body: Value| tell(device, &path(squad), &body);
    let who = mira.to_string();
    assert_eq!(join(&coach, sprints, json!({ "athlete": who })).0, 204);
    assert_eq!(join(&coach, sprints, json!({ "athlete": who })).0, 204, "again changes nothing");
    let members = |device: &mut Device, squad: SquadId| {
        device.settle();
        let doc = &device.copies.get(&DocName::Squad(squad)).unwrap().doc;
        let all = doc.records::<Member>("members");
        assert!(all.unreadable.is_empty());
        let names: Vec<String> = all.live().map(|e| e.record.name.to_string()).collect();
        (names, all.entries.len())
    };
    assert_eq!(members(&mut coach, sprints), (vec!["Mira Aalto".to_owned()], 1));
    // What a coach wrote on a device and what the route writes are one document.
    assert_eq!(join(&other, jumps, json!({ "athlete": who, "from": sprints.to_string() })).0, 204);
    assert_eq!(members(&mut coach, sprints), (vec![], 1), "withdrawn, not deleted");
    assert_eq!(members(&mut coach, jumps), (vec!["Mira Aalto".to_owned()], 1));
    assert_eq!(join(&other, sprints, json!({ "athlete": who, "from": jumps.to_string() })).0, 204);
    assert_eq!(members(&mut coach, sprints), (vec!["Mira Aalto".to_owned()], 1), "brought back, not doubled");
    for (squad, body, want) in [
        (sprints, json!({ "athlete": who, "from": jumps.to_string() }), (422, "field")),
        (sprints, json!({ "athlete": who, "from": sprints.to_string() }), (422, "field")),
        (sprints, json!({ "athlete": who, "from": foreign.to_string() }), (422, "field")),
        (sprints, json!({ "athlete": stranger.to_string() }), (422, "field")),
        (sprints, json!({ "athlete": "mira" }), (422, "field")),
        (foreign, json!({ "athlete": who }), (404, "not-found")),
        (sprints, json!({}), (400, "malformed")),
    ] {
        assert_eq!(code_of(&join(&coach, squad, body.clone())), want, "{body}");
    }
    assert_eq!(
        server.store().read_blocking(backstraight_server::job::check::whole).unwrap().trouble,
        Vec::<String>::new()
    );
}

/// Of two headers a proxy in front may have looked at the other one.
#[test]
fn doubled_headers_and_odd_bodies_are_refused() {
    use std::io::{Read as _, Write as _};
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let head = club.device(club.person(Role::HeadCoach, "Pavel Novak"));
    let good = format!("authorization: Bearer {}\r\n", head.access);
    let json = "content-type: application/json\r\n";
    let ask = |head: &str, body: &[u8]| {
        let mut socket = std::net::TcpStream::connect(server.url.trim_start_matches("http://")).unwrap();
        let head = format!(
            "POST /v1/people HTTP/1.1\r\nhost: x\r\nconnection: close\r\ncontent-length: {}\r\n{head}\r\n",
            body.len()
        );
        socket.write_all(head.as_bytes()).unwrap();
        socket.write_all(body).unwrap();
        let mut said = Vec::new();
        socket.read_to_end(&mut said).unwrap();
        let said = String::from_utf8(said).unwrap();
        let status: u16 = said.split(' ').nth(1).unwrap().parse().unwrap();
        let body = said.split_once("\r\n\r\n").map_or("", |(_, b)| b);
        let code = serde_json::from_str::<Value>(body).ok();
        (status, code.and_then(|v| v["code"].as_str().map(str::to_owned)).unwrap_or_default())
    };
    let body = br#"{"name":"Mira Aalto","role":"athlete"}"#;
    let other = "authorization: Bearer x\r\n";
    for (head, body, want) in [
        (format!("{good}{good}{json}"), &body[..], (401, "unauthenticated")),
        (format!("{good}{other}{json}"), body, (401, "unauthenticated")),
        (format!("{other}{good}{json}"), body, (401, "unauthenticated")),
        (format!("{good}{json}{json}"), body, (415, "media-type")),
        (format!("{good}content-type: text/plain\r\n"), body, (415, "media-type")),
        (good.clone(), body, (415, "media-type")),
        (format!("{good}{json}"), b"{\"name\":\"\xff\",\"role\":\"athlete\"}", (400, "malformed")),
        (format!("{good}{json}"), br#"{"name":"A","name":"B","role":"athlete"}"#, (400, "malformed")),
        (format!("{good}{json}"), br#"{"name":"A","role":"athlete"} {}"#, (400, "malformed")),
        (format!("{good}{json}"), b"", (400, "malformed")),
    ] {
        let (status, code) = ask(&head, body);
        assert_eq!((status, code.as_str()), want, "{head} {}", String::from_utf8_lossy(body));
    }
    let people = || ask_count(&server, &head);
    assert_eq!(people(), 1, "nothing was stored");
    assert_eq!(ask(&format!("{good}{json}"), body).0, 201);
    assert_eq!(people(), 2);
}

fn ask_count(server: &Server, head: &Device) -> usize {
    let (_, list) = get_as(&format!("{}/v1/people", server.url), Some(&head.access));
    list["people"].as_array().unwrap().len()
}
