//! Signing in by password and passkey, and the first start.

use std::time::{Duration, Instant};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::proof;
use backstraight_server::store::audit;
use serde_json::{Value, json};

use crate::authenticator::Authenticator;
use crate::support::{Device, Key, Server, code_of, get_as, post, with};

const LONG: &str = "hop 34 barley kettle";
const HOST: &str = "club.example";

fn tell(device: &Device, path: &str, body: &Value) -> (u16, Value) {
    post(&format!("{}{path}", device.url), Some(&device.access), body)
}

fn set_password(device: &Device, name: &str, password: &str, current: Option<&str>) -> (u16, Value) {
    tell(device, "/v1/password", &json!({ "name": name, "password": password, "current": current }))
}

fn sign_in(server: &Server, name: &str, password: &str) -> (u16, Value) {
    let device = Key::fresh().device(|key, device| proof::sign_in(name, key, device));
    let body = with(device, json!({ "name": name, "password": password }));
    post(&format!("{}/v1/sign-in", server.url), None, &body)
}

fn challenge(server: &Server) -> String {
    let (_, made) = post(&format!("{}/v1/sign-in/challenge", server.url), None, &json!({}));
    assert_eq!(made["rp_id"], HOST);
    made["challenge"].as_str().unwrap().to_owned()
}

fn by_passkey(server: &Server, answer: Value) -> (u16, Value) {
    let device = Key::fresh().device(|key, device| proof::sign_in("", key, device));
    post(&format!("{}/v1/sign-in", server.url), None, &with(device, json!({ "passkey": answer })))
}

fn to_register(device: &Device) -> String {
    let (status, made) = tell(device, "/v1/passkeys/challenge", &json!({}));
    assert_eq!(status, 200, "{made}");
    made["challenge"].as_str().unwrap().to_owned()
}

fn on(dir: &tempfile::TempDir) -> Server {
    Server::with(dir.path(), |c| c.public_url = Some(format!("https://{HOST}")))
}

#[test]
fn a_coach_signs_in_with_a_password_and_gets_an_install_like_any_other() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let ruth = club.person(Role::Coach, "Ruth Adeyemi");
    let desk = club.device(ruth);
    assert_eq!(set_password(&desk, "Ruth@Club.Example", LONG, None).0, 204);
    let key = Key::fresh();
    let name = " ruth@club.example";
    let body = with(
        key.device(|key, device| proof::sign_in(name, key, device)),
        json!({ "name": name, "password": LONG }),
    );
    let (status, answer) = post(&format!("{}/v1/sign-in", server.url), None, &body);
    assert_eq!(status, 200, "{answer}");
    let mut laptop = Device::of(&server.url, &answer, key, server.now());
    assert_eq!((laptop.person, answer["role"].as_str()), (ruth, Some("coach")));
    assert_ne!(laptop.install, desk.install);
    laptop.exchange();
    let refresh = laptop.key.refresh(&laptop.refresh, server.now());
    assert_eq!(post(&format!("{}/v1/token", server.url), None, &refresh).0, 200);
    // The password is typed in whatever form the keyboard has.
    assert_eq!(set_password(&desk, "ruth@club.example", "lane five at dusk\u{e9}", Some(LONG)).0, 204);
    assert_eq!(sign_in(&server, "ruth@club.example", "lane five at duske\u{301}").0, 200);
    assert_eq!(code_of(&sign_in(&server, "ruth@club.example", LONG)), (401, "sign-in-wrong"));
    // Only the hash is kept, with its parameters.
    let (kept, lines) = server
        .store()
        .read_blocking(|db| {
            let kept = backstraight_server::store::sign_in::find(db, "ruth@club.example")?;
            Ok((kept.unwrap(), audit::newest(db, 50)?))
        })
        .unwrap();
    assert!(kept.hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{}", kept.hash);
    assert!(lines.iter().filter(|l| l.what == "signed in").count() >= 2);
    assert!(!format!("{lines:?}").contains("dusk"));
}

#[test]
fn names_that_nobody_has_are_answered_like_wrong_passwords_and_as_slowly() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let desk = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    assert_eq!(set_password(&desk, "ruth", LONG, None).0, 204);
    let mut took = [Duration::MAX; 2];
    for _ in 0..4 {
        for (i, name) in ["ruth", "nobody"].into_iter().enumerate() {
            let begun = Instant::now();
            let answer = sign_in(&server, name, "another long password");
            took[i] = took[i].min(begun.elapsed());
            assert_eq!(code_of(&answer), (401, "sign-in-wrong"), "{name}");
        }
    }
    let (short, long) = (took[0].min(took[1]), took[0].max(took[1]));
    // The best of several: one hash either way. Without it the ratio would be beyond ten.
    assert!(long < short * 3, "{took:?}");
}

#[test]
fn wrong_passwords_make_wait_and_lock_nobody_out() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let desk = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    assert_eq!(set_password(&desk, "ruth", LONG, None).0, 204);
    for name in ["ruth", "nobody"] {
        for _ in 0..5 {
            assert_eq!(code_of(&sign_in(&server, name, "another long password")), (401, "sign-in-wrong"));
        }
        assert_eq!(
            code_of(&sign_in(&server, name, LONG)),
            (429, "too-many"),
            "{name}: also the right one waits"
        );
    }
    server.wait(1_000);
    assert_eq!(sign_in(&server, "ruth", LONG).0, 200);
    assert_eq!(code_of(&sign_in(&server, "ruth", "another long password")), (401, "sign-in-wrong"));
    assert_eq!(sign_in(&server, "ruth", LONG).0, 200, "the count began anew");
}

#[test]
fn what_is_no_password_and_no_sign_in() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let desk = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let other = club.device(club.person(Role::Care, "Lea Brandt"));
    let phone = club.device(club.person(Role::Athlete, "Mira Aalto"));
    assert_eq!(
        code_of(&set_password(&phone, "mira", LONG, None)),
        (403, "not-allowed"),
        "the phone is the key"
    );
    for (name, password, want) in [
        ("ru", LONG, (422, "field")),
        ("ruth adeyemi", LONG, (422, "field")),
        ("ruth\u{0}", LONG, (422, "field")),
        ("ruth", "seven77", (422, "password-short")),
        ("ruth", "Cinder Lane", (422, "password-common")),
        ("ruth", "Ruth Adeyemi 1", (422, "password-common")),
        ("ruth", "passwordpassword", (422, "password-common")),
        ("ruth", "lane 5 dusk", (409, "passkey-needed")),
    ] {
        assert_eq!(code_of(&set_password(&desk, name, password, None)), want, "{name} {password}");
    }
    assert_eq!(code_of(&set_password(&desk, "ruth", &"lane five ".repeat(13), None)), (422, "password-long"));
    assert_eq!(set_password(&desk, "ruth", LONG, None).0, 204);
    assert_eq!(code_of(&set_password(&other, "RUTH", LONG, None)), (409, "name-taken"));
    assert_eq!(code_of(&set_password(&desk, "ruth", "lane five at dusk", None)), (401, "sign-in-wrong"));
    assert_eq!(
        code_of(&set_password(&desk, "ruth", "lane five at dusk", Some("wrong"))),
        (401, "sign-in-wrong")
    );
    let url = format!("{}/v1/sign-in", server.url);
    let device = |name: &str| Key::fresh().device(|key, device| proof::sign_in(name, key, device));
    for (body, want) in [
        (with(device("ruth"), json!({ "name": "ruth" })), (422, "field")),
        (with(device(""), json!({ "password": LONG })), (422, "field")),
        (device(""), (422, "field")),
        (with(device("other"), json!({ "name": "ruth", "password": LONG })), (422, "field")),
        (
            with(device("ruth"), json!({ "name": "ruth", "password": LONG, "role": "owner" })),
            (400, "malformed"),
        ),
        (with(device("ruth"), json!({ "name": ["ruth"], "password": LONG })), (400, "malformed")),
        (with(device("ruth"), json!({ "name": "ruth", "password": "x".repeat(20_000) })), (413, "too-large")),
        (
            with(device("ruth"), json!({ "name": "ruth", "password": "x".repeat(9_000) })),
            (401, "sign-in-wrong"),
        ),
        (json!({ "name": "ruth", "password": LONG, "device": "x" }), (400, "malformed")),
    ] {
        assert_eq!(code_of(&post(&url, None, &body)), want, "{body}");
    }
    let raw = |bytes: &[u8]| {
        let mut answer = crate::support::agent()
            .post(&url)
            .header("content-type", "application/json")
            .send(bytes)
            .unwrap();
        let text = answer.body_mut().read_to_string().unwrap();
        (answer.status().as_u16(), serde_json::from_str::<Value>(&text).unwrap())
    };
    assert_eq!(code_of(&raw(b"{\"name\":\"\xff\xfe\"}")), (400, "malformed"));
    assert_eq!(code_of(&raw(b"{\"name\":\"a\",\"name\":\"b\"}")), (400, "malformed"));
    assert_eq!(code_of(&raw(b"")), (400, "malformed"));
    // An owner takes it away; then only an invitation helps.
    let owner = club.device(club.person(Role::Owner, "Olga Brandt"));
    let reset = format!("/v1/people/{}/reset-sign-in", desk.person);
    assert_eq!(code_of(&tell(&other, &reset, &json!({}))), (403, "not-allowed"));
    assert_eq!(tell(&owner, &reset, &json!({})).0, 204);
    assert_eq!(code_of(&sign_in(&server, "ruth", LONG)), (401, "sign-in-wrong"));
}

#[test]
fn somebody_who_became_an_athlete_or_was_withdrawn_signs_in_no_more() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let head = club.device(club.person(Role::HeadCoach, "Pavel Novak"));
    let desk = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let mut key = Authenticator::es256(HOST);
    assert_eq!(set_password(&desk, "ruth", LONG, None).0, 204);
    assert_eq!(tell(&desk, "/v1/passkeys", &key.register(&to_register(&desk))).0, 204);
    let path = format!("/v1/people/{}", desk.person);
    let both = |key: &mut Authenticator| {
        (sign_in(&server, "ruth", LONG).0, by_passkey(&server, key.answer(&challenge(&server))).0)
    };
    assert_eq!(both(&mut key), (200, 200));
    for (off, on) in [
        ((path.clone(), json!({ "role": "athlete" })), (path.clone(), json!({ "role": "coach" }))),
        ((format!("{path}/withdraw"), json!({})), (format!("{path}/restore"), json!({}))),
    ] {
        assert_eq!(tell(&head, &off.0, &off.1).0, 204);
        assert_eq!(both(&mut key), (401, 401), "{off:?}");
        assert_eq!(tell(&head, &on.0, &on.1).0, 204);
        assert_eq!(both(&mut key), (200, 200), "{on:?}");
    }
}

#[test]
fn passkeys_of_both_kinds_sign_in_and_each_answer_is_good_once() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let ruth = club.person(Role::Coach, "Ruth Adeyemi");
    let desk = club.device(ruth);
    for mut key in [Authenticator::es256(HOST), Authenticator::eddsa(HOST)] {
        let made = key.register(&to_register(&desk));
        assert_eq!(tell(&desk, "/v1/passkeys", &made).0, 204);
        assert_eq!(
            code_of(&tell(&desk, "/v1/passkeys", &made)),
            (403, "passkey-wrong"),
            "the challenge is spent"
        );
        let again = key.register(&to_register(&desk));
        assert_eq!(code_of(&tell(&desk, "/v1/passkeys", &again)), (403, "passkey-wrong"), "it is known");
        let answer = key.answer(&challenge(&server));
        let (status, in_) = by_passkey(&server, answer.clone());
        assert_eq!((status, in_["person"].as_str()), (200, Some(ruth.to_string().as_str())));
        assert_eq!(code_of(&by_passkey(&server, answer)), (401, "sign-in-wrong"), "replayed");
        let old = key.answer(&challenge(&server));
        server.wait(5 * 60_000);
        assert_eq!(code_of(&by_passkey(&server, old)), (401, "sign-in-wrong"), "late");
    }
    let (_, list) =
        get_as(&format!("{}/v1/passkeys", server.url), Some(&server.token(ruth, desk.install, server.now())));
    assert_eq!(list["passkeys"].as_array().unwrap().len(), 2);
    assert_eq!(list["passkeys"][0]["name"], "the blue one");
}

#[test]
fn forged_and_foreign_passkey_answers_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let (desk, other) = (
        club.device(club.person(Role::Coach, "Ruth Adeyemi")),
        club.device(club.person(Role::HeadCoach, "Pavel Novak")),
    );
    let wrong = |body: &Value| {
        assert_eq!(code_of(&tell(&desk, "/v1/passkeys", body)), (403, "passkey-wrong"), "{body}");
    };
    let mut page = Authenticator::es256(HOST);
    page.origin = "https://club.example.evil".to_owned();
    wrong(&page.register(&to_register(&desk)));
    wrong(&Authenticator::es256("evil.example").register(&to_register(&desk)));
    let mut nobody = Authenticator::es256(HOST);
    nobody.flags = 0x01;
    wrong(&nobody.register(&to_register(&desk)));
    let good = Authenticator::es256(HOST);
    wrong(&good.register(&to_register(&other)));
    wrong(&good.register(&challenge(&server)));
    wrong(&good.register("AAAA"));
    let body = good.register(&to_register(&desk));
    wrong(&with(body.clone(), json!({ "attestation": "AAAA" })));
    wrong(&with(body.clone(), json!({ "client_data": "e30" })));
    assert_eq!(
        code_of(&tell(&desk, "/v1/passkeys", &with(body.clone(), json!({ "attestation": "!" })))),
        (422, "field")
    );
    assert_eq!(tell(&desk, "/v1/passkeys", &body).0, 204);
    // To sign in.
    let mut key = good;
    let no = |answer: Value, what: &str| {
        assert_eq!(code_of(&by_passkey(&server, answer)), (401, "sign-in-wrong"), "{what}");
        server.wait(61_000);
    };
    let mut stranger = Authenticator::es256(HOST);
    no(stranger.answer(&challenge(&server)), "never registered");
    no(with(stranger.answer(&challenge(&server)), json!({ "credential": key.credential() })), "another key");
    no(key.answer("AAAA"), "no challenge");
    let fresh = server.token(desk.person, desk.install, server.now());
    let (_, made) = post(&format!("{}/v1/passkeys/challenge", server.url), Some(&fresh), &json!({}));
    no(key.answer(made["challenge"].as_str().unwrap()), "a challenge to register");
    key.origin = "https://elsewhere.example".to_owned();
    no(key.answer(&challenge(&server)), "another page");
    key.origin = format!("https://{HOST}");
    key.host = "elsewhere.example".to_owned();
    no(key.answer(&challenge(&server)), "another site");
    key.host = HOST.to_owned();
    key.flags = 0x01;
    no(key.answer(&challenge(&server)), "nobody was verified");
    key.flags = 0x05;
    let answer = key.answer(&challenge(&server));
    no(with(answer, json!({ "signature": "MAYCAQECAQE" })), "another signature");
    assert_eq!(by_passkey(&server, key.answer(&challenge(&server))).0, 200);
    // A count that goes back says that there is a copy.
    key.counter = 5;
    assert_eq!(by_passkey(&server, key.answer(&challenge(&server))).0, 200);
    key.counter = 3;
    no(key.answer(&challenge(&server)), "the count went back");
}

#[test]
fn a_short_password_needs_its_passkey() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let club = server.club("Cinder Lane");
    let desk = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let other = club.device(club.person(Role::Care, "Lea Brandt"));
    let (mut key, mut others) = (Authenticator::es256(HOST), Authenticator::es256(HOST));
    assert_eq!(tell(&desk, "/v1/passkeys", &key.register(&to_register(&desk))).0, 204);
    assert_eq!(tell(&other, "/v1/passkeys", &others.register(&to_register(&other))).0, 204);
    let short = "lane 5 dusk";
    assert_eq!(set_password(&desk, "ruth", short, None).0, 204);
    assert_eq!(code_of(&sign_in(&server, "ruth", short)), (403, "second-step"));
    assert_eq!(code_of(&sign_in(&server, "ruth", "lane 6 dusk")), (401, "sign-in-wrong"));
    let beside = |password: &str, answer: Value| {
        let device = Key::fresh().device(|key, device| proof::sign_in("ruth", key, device));
        let body = with(device, json!({ "name": "ruth", "password": password, "passkey": answer }));
        post(&format!("{}/v1/sign-in", server.url), None, &body)
    };
    // Beside a password a touch is enough.
    key.flags = 0x01;
    assert_eq!(beside(short, key.answer(&challenge(&server))).0, 200);
    assert_eq!(code_of(&beside("lane 6 dusk", key.answer(&challenge(&server)))), (401, "sign-in-wrong"));
    assert_eq!(code_of(&beside(short, others.answer(&challenge(&server)))), (401, "sign-in-wrong"));
    // The last passkey stays as long as the password needs it.
    let remove = |device: &Device, key: &Authenticator| {
        tell(device, &format!("/v1/passkeys/{}/remove", key.credential()), &json!({}))
    };
    assert_eq!(code_of(&remove(&desk, &key)), (409, "passkey-needed"));
    assert_eq!(code_of(&remove(&other, &key)), (404, "not-found"), "another's");
    assert_eq!(set_password(&desk, "ruth", LONG, Some(short)).0, 204);
    assert_eq!(remove(&desk, &key).0, 204);
    assert_eq!(code_of(&remove(&desk, &key)), (404, "not-found"));
    assert_eq!(sign_in(&server, "ruth", LONG).0, 200);
}

fn set_up(server: &Server, secret: &str, more: Value) -> (u16, Value) {
    let device = Key::fresh().device(|key, device| proof::set_up(secret, key, device));
    let body = with(device, json!({ "secret": secret, "club": "Harrow Fell", "name": "Olga Brandt" }));
    post(&format!("{}/v1/set-up", server.url), None, &with(body, more))
}

#[test]
fn the_first_start_gives_one_link_to_one_owner() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let link = || server.owner_link();
    let secret = |link: &str| link.split_once('#').unwrap().1.to_owned();
    let first = link().unwrap();
    assert!(first.starts_with("https://club.example/set-up#"), "{first}");
    let second = link().unwrap();
    let (old, new) = (secret(&first), secret(&second));
    assert_ne!(old, new);
    assert_eq!(
        code_of(&set_up(&server, &old, json!({}))),
        (404, "code-wrong"),
        "every start ends the one before"
    );
    for (more, want) in [
        (json!({ "club": "" }), (422, "field")),
        (json!({ "name": "x".repeat(200) }), (422, "field")),
        (json!({ "sign_in": "olga" }), (422, "field")),
        (json!({ "password": LONG }), (422, "field")),
        (json!({ "sign_in": "olga", "password": "lane 5 dusk" }), (422, "password-short")),
        (json!({ "sign_in": "olga", "password": "Harrow Fell 2026" }), (422, "password-common")),
        (json!({ "role": "owner" }), (400, "malformed")),
        (json!({ "club": 7 }), (400, "malformed")),
    ] {
        assert_eq!(code_of(&set_up(&server, &new, more.clone())), want, "{more}");
    }
    let (status, answer) = set_up(&server, &new, json!({ "sign_in": "olga", "password": LONG }));
    assert_eq!((status, answer["role"].as_str()), (200, Some("owner")), "{answer}");
    assert_eq!(code_of(&set_up(&server, &new, json!({}))), (409, "code-used"));
    assert!(link().is_none(), "somebody has set it up");
    let access = answer["access_token"].as_str().unwrap();
    let (_, me) = get_as(&format!("{}/v1/me", server.url), Some(access));
    assert_eq!((&me["club_name"], &me["sign_in"]), (&json!("Harrow Fell"), &json!("olga")));
    assert_eq!(sign_in(&server, "olga", LONG).0, 200);
    let owner: PersonId = answer["person"].as_str().unwrap().parse().unwrap();
    let lines = server.store().read_blocking(|db| audit::newest(db, 50)).unwrap();
    assert!(lines.iter().any(|l| l.what == "club set up with the owner link"), "{owner}");
    assert!(!format!("{lines:?}").contains(&new));
}

#[test]
fn the_owners_link_runs_out_and_guesses_have_to_wait() {
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let secret = server.owner_link().unwrap().split_once('#').unwrap().1.to_owned();
    server.wait(60 * 60_000);
    assert_eq!(code_of(&set_up(&server, &secret, json!({}))), (410, "code-expired"));
    for _ in 0..9 {
        assert_eq!(code_of(&set_up(&server, "AAAAAAAAAAAAAAAAAAAAAA", json!({}))), (404, "code-wrong"));
    }
    assert_eq!(code_of(&set_up(&server, "AAAAAAAAAAAAAAAAAAAAAA", json!({}))), (429, "too-many"));
    // A club made at the machine closes the door too.
    let dir = tempfile::tempdir().unwrap();
    let server = on(&dir);
    let secret = server.owner_link().unwrap().split_once('#').unwrap().1.to_owned();
    server.club("Cinder Lane");
    assert_eq!(code_of(&set_up(&server, &secret, json!({}))), (409, "code-used"));
}
