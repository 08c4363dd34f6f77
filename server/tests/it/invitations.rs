//! Codes: who makes them, and what becomes of right, wrong, late and used ones.

use backstraight_core::exchange::access::Role;
use backstraight_server::store::audit;
use serde_json::{Value, json};

use crate::support::{Server, code_of, get, post};

fn enrol(server: &Server, body: &Value) -> (u16, Value) {
    post(&format!("{}/v1/enrol", server.url), None, body)
}

fn with_code(server: &Server, code: &str) -> (u16, Value) {
    enrol(server, &json!({ "code": code, "device": "phone" }))
}

#[test]
fn a_coach_invites_an_athlete_and_the_code_works_once() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let athlete = club.person(Role::Athlete, "Mira Aalto");
    let (status, made) = post(
        &format!("{}/v1/invites", server.url),
        Some(&coach.access),
        &json!({ "person": athlete.to_string() }),
    );
    assert_eq!(status, 200, "{made}");
    assert_eq!(made.get("expires_at").unwrap().as_i64(), Some(server.now().0 + 15 * 60_000));
    let code = made.get("code").unwrap().as_str().unwrap();
    let typed = format!("{} {}", code[..4].to_lowercase(), &code[4..]);
    let (status, new) = with_code(&server, &typed);
    assert_eq!(status, 200, "{new}");
    for (name, want) in [("person", athlete.to_string()), ("club", club.id.to_string())] {
        assert_eq!(new.get(name).unwrap().as_str(), Some(want.as_str()));
    }
    assert_eq!(new.get("role").unwrap(), "athlete");
    assert_eq!(new.get("name").unwrap(), "Mira Aalto");
    assert_eq!(new.get("install").unwrap().as_str().unwrap().len(), 16);
    assert_eq!(code_of(&with_code(&server, code)), (409, "code-used"));
    let lines = server.store().read_blocking(|db| audit::newest(db, 3)).unwrap();
    let what: Vec<&str> = lines.iter().map(|l| l.what.as_str()).collect();
    assert_eq!(what, ["enrolled", "invited", "person added as athlete"]);
    assert!(!lines[1].at_the_machine && lines[2].at_the_machine);
}

#[test]
fn a_late_code_and_a_wrong_one() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let code = server.code(club.person(Role::Athlete, "Mira Aalto"), club.id, 15);
    server.wait(15 * 60_000);
    assert_eq!(code_of(&with_code(&server, &code)), (410, "code-expired"));
    assert_eq!(code_of(&with_code(&server, "ABCDEFGH")), (404, "code-wrong"));
    assert_eq!(code_of(&with_code(&server, "no code")), (404, "code-wrong"));
}

#[test]
fn a_code_dies_after_five_wrong_guesses_at_its_end() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.wrong_codes = 1_000);
    let club = server.club("Cinder Lane");
    let code = server.code(club.person(Role::Athlete, "Mira Aalto"), club.id, 15);
    let last = if code.ends_with('A') { 'B' } else { 'A' };
    let guess = format!("{}{last}", &code[..7]);
    for _ in 0..5 {
        assert_eq!(code_of(&with_code(&server, &guess)), (404, "code-wrong"));
    }
    assert_eq!(code_of(&with_code(&server, &code)), (404, "code-wrong"));
    let code = server.code(club.person(Role::Athlete, "Jonas Okafor"), club.id, 15);
    let last = if code.ends_with('A') { 'B' } else { 'A' };
    for _ in 0..4 {
        assert_eq!(code_of(&with_code(&server, &format!("{}{last}", &code[..7]))), (404, "code-wrong"));
    }
    assert_eq!(with_code(&server, &code).0, 200);
}

#[test]
fn an_address_that_guesses_has_to_wait() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let code = server.code(club.person(Role::Athlete, "Mira Aalto"), club.id, 60);
    for _ in 0..10 {
        assert_eq!(code_of(&with_code(&server, "ABCDEFGH")), (404, "code-wrong"));
    }
    assert_eq!(code_of(&with_code(&server, &code)), (429, "too-many"));
    server.wait(15 * 60_000);
    assert_eq!(with_code(&server, &code).0, 200);
}

#[test]
fn an_install_with_a_key_may_ask_again_when_the_answer_was_lost() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let code = server.code(club.person(Role::Athlete, "Mira Aalto"), club.id, 15);
    // A point of the curve: the public key of RFC 8032, test 1.
    let key = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a";
    let other = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c";
    let body = json!({ "code": code, "device": "phone", "public_key": key });
    let first = enrol(&server, &body);
    assert_eq!(first.0, 200, "{}", first.1);
    let again = enrol(&server, &body);
    for name in ["install", "refresh_token"] {
        assert_eq!(first.1.get(name), again.1.get(name), "{name}");
    }
    let thief = json!({ "code": code, "device": "phone", "public_key": other });
    assert_eq!(code_of(&enrol(&server, &thief)), (409, "code-used"));
    assert_eq!(code_of(&with_code(&server, &code)), (409, "code-used"));
    // Once the session has moved on, the answer was not lost.
    let token = first.1.get("refresh_token").unwrap();
    assert_eq!(post(&format!("{}/v1/token", server.url), None, &json!({ "refresh_token": token })).0, 200);
    assert_eq!(code_of(&enrol(&server, &body)), (409, "code-used"));
}

#[test]
fn what_is_no_enrolment() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let code = server.code(club.person(Role::Athlete, "Mira Aalto"), club.id, 15);
    for (body, want) in [
        (json!({ "code": code, "device": "" }), (422, "field")),
        (json!({ "code": code, "device": "a\nb" }), (422, "field")),
        (json!({ "code": code, "device": "x".repeat(121) }), (422, "field")),
        (json!({ "code": code, "device": "x", "public_key": "00" }), (422, "field")),
        (json!({ "code": code, "device": "x", "public_key": "0".repeat(64) }), (422, "field")),
        (json!({ "code": code }), (400, "malformed")),
        (json!({ "code": code, "device": "x", "role": "owner" }), (400, "malformed")),
        (json!([]), (400, "malformed")),
        (json!({ "code": "x".repeat(20_000), "device": "x" }), (413, "too-large")),
    ] {
        assert_eq!(code_of(&enrol(&server, &body)), want, "{body}");
    }
    assert_eq!(enrol(&server, &json!({ "code": code, "device": "x".repeat(120) })).0, 200);
    assert_eq!(code_of(&get(&format!("{}/v1/enrol", server.url))), (405, "method-not-allowed"));
    assert_eq!(code_of(&get(&format!("{}/nothing", server.url))), (404, "not-found"));
}

#[test]
fn nobody_invites_into_another_club_or_above() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (home, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let coach = home.device(home.person(Role::Coach, "Ruth Adeyemi"));
    let mira = home.person(Role::Athlete, "Mira Aalto");
    let athlete = home.device(mira);
    let head = home.person(Role::HeadCoach, "Pavel Novak");
    let stranger = away.person(Role::Athlete, "Ines Duarte");
    let ask = |access: Option<&str>, person: &str| {
        let answer = post(&format!("{}/v1/invites", server.url), access, &json!({ "person": person }));
        (answer.0, answer.1.get("code").and_then(Value::as_str).unwrap_or("").to_owned())
    };
    let refused = |status: u16, code: &str| (status, code.to_owned());
    assert_eq!(ask(Some(&coach.access), &stranger.to_string()), refused(404, "not-found"));
    let nobody = "01900000-0000-7000-8000-00000000ffff";
    assert_eq!(ask(Some(&coach.access), nobody), refused(404, "not-found"));
    assert_eq!(ask(Some(&coach.access), &head.to_string()), refused(403, "not-allowed"));
    assert_eq!(ask(Some(&athlete.access), &mira.to_string()), refused(403, "not-allowed"));
    assert_eq!(ask(None, &mira.to_string()), refused(401, "unauthenticated"));
    assert_eq!(ask(Some(&coach.access), "mira"), refused(422, "field"));
    assert_eq!(ask(Some(&coach.access), &mira.to_string()).0, 200);
}
