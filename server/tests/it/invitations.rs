//! Codes: who makes them, and what becomes of right, wrong, late and used ones.

use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::proof;
use backstraight_server::store::audit;
use serde_json::{Value, json};

use crate::support::{Device, Key, Server, code_of, get, get_as, post, with};

fn enrol(server: &Server, body: &Value) -> (u16, Value) {
    post(&format!("{}/v1/enrol", server.url), None, body)
}

fn with_code(server: &Server, code: &str) -> (u16, Value) {
    enrol(server, &Key::fresh().enrolment(code))
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
    assert_eq!(what, ["enrolled", "invited", "date of birth changed"]);
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
    let key = Key::fresh();
    let body = key.enrolment(&code);
    let first = enrol(&server, &body);
    assert_eq!(first.0, 200, "{}", first.1);
    let again = enrol(&server, &body);
    for name in ["install", "refresh_token"] {
        assert_eq!(first.1.get(name), again.1.get(name), "{name}");
    }
    assert_eq!(code_of(&with_code(&server, &code)), (409, "code-used"), "by another key");
    // Once the session has moved on, the answer was not lost.
    let token = first.1.get("refresh_token").unwrap().as_str().unwrap();
    let refresh = key.refresh(token, server.now());
    assert_eq!(post(&format!("{}/v1/token", server.url), None, &refresh).0, 200);
    assert_eq!(code_of(&enrol(&server, &body)), (409, "code-used"));
}

#[test]
fn what_is_no_enrolment() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let code = server.code(club.person(Role::Athlete, "Mira Aalto"), club.id, 15);
    let key = Key::fresh();
    let good = key.enrolment(&code);
    let called = |device: &str| {
        with(key.called(device, |key, device| proof::enrol(&code, key, device)), json!({ "code": code }))
    };
    let other = Key::fresh().enrolment(&code);
    let signature = other.get("signature").unwrap().clone();
    let without = |field: &str| {
        let mut body = good.clone();
        body.as_object_mut().unwrap().remove(field);
        body
    };
    for (body, want) in [
        (called(""), (422, "field")),
        (called("a\nb"), (422, "field")),
        (called(&"x".repeat(121)), (422, "field")),
        (with(good.clone(), json!({ "public_key": "00" })), (422, "field")),
        (with(good.clone(), json!({ "public_key": "0".repeat(64) })), (422, "field")),
        (with(good.clone(), json!({ "signature": "0".repeat(128) })), (422, "field")),
        (with(good.clone(), json!({ "signature": "0".repeat(127) })), (422, "field")),
        // Signed by another key, for another code, for another device: nothing that was shown to work.
        (with(good.clone(), json!({ "signature": signature })), (422, "field")),
        (with(good.clone(), json!({ "code": "ABCDEFGH" })), (422, "field")),
        (with(good.clone(), json!({ "device": "another" })), (422, "field")),
        (without("device"), (400, "malformed")),
        (without("public_key"), (400, "malformed")),
        (without("signature"), (400, "malformed")),
        (with(good.clone(), json!({ "role": "owner" })), (400, "malformed")),
        (with(good.clone(), json!({ "device": 7 })), (400, "malformed")),
        (with(good.clone(), json!({ "code": null })), (400, "malformed")),
        (json!([]), (400, "malformed")),
        (json!({ "code": "x".repeat(20_000), "device": "x" }), (413, "too-large")),
    ] {
        assert_eq!(code_of(&enrol(&server, &body)), want, "{body}");
    }
    assert_eq!(enrol(&server, &called(&"x".repeat(120))).0, 200);
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

#[test]
fn the_picture_of_an_invitation_is_good_once_and_ends_the_code() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.public_url = Some("https://club.example".to_owned()));
    let club = server.club("Cinder Lane");
    let coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let invite = || {
        let body = json!({ "person": mira.to_string() });
        let (status, made) = post(&format!("{}/v1/invites", server.url), Some(&coach.access), &body);
        assert_eq!(status, 200, "{made}");
        let text = |name: &str| made.get(name).unwrap().as_str().unwrap().to_owned();
        (text("code"), proof::Invitation::read(&text("link")).unwrap())
    };
    let (code, picture) = invite();
    assert_eq!(picture.server, "https://club.example");
    assert_eq!(with_code(&server, &picture.secret).0, 200);
    assert_eq!(code_of(&with_code(&server, &picture.secret)), (409, "code-used"));
    assert_eq!(code_of(&with_code(&server, &code)), (409, "code-used"));
    let (code, picture) = invite();
    assert_eq!(with_code(&server, &code).0, 200);
    assert_eq!(code_of(&with_code(&server, &picture.secret)), (409, "code-used"));
    let (_, picture) = invite();
    server.wait(15 * 60_000);
    assert_eq!(code_of(&with_code(&server, &picture.secret)), (410, "code-expired"));
    let mut guess = picture.secret;
    guess.replace_range(..1, if guess.starts_with('A') { "B" } else { "A" });
    assert_eq!(code_of(&with_code(&server, &guess)), (404, "code-wrong"));
    if server.store().shared() {
        // The files of a database server are not ours to look into.
        return;
    }
    // Nothing in clear is kept.
    let kept = std::fs::read(dir.path().join("backstraight.db")).unwrap();
    for secret in [guess.get(1..).unwrap(), code.as_str()] {
        assert!(!kept.windows(secret.len()).any(|w| w == secret.as_bytes()), "{secret}");
    }
}

#[test]
fn a_lost_phone_is_shut_out_when_a_new_one_is_invited() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let lost = club.device(mira);
    let me = format!("{}/v1/me", server.url);
    assert_eq!(get_as(&me, Some(&lost.access)).0, 200);
    let body = json!({ "person": mira.to_string(), "lost": true });
    let (status, made) = post(&format!("{}/v1/invites", server.url), Some(&coach.access), &body);
    assert_eq!(status, 200, "{made}");
    assert_eq!(get_as(&me, Some(&lost.access)).0, 401);
    let code = made.get("code").unwrap().as_str().unwrap();
    let new = Device::enrol(&server.url, code, server.now());
    assert_eq!(get_as(&me, Some(&new.access)).0, 200);
    assert_ne!(new.install, lost.install);
}
