//! Figures, readiness, and that neither they nor logs nor errors say anything about anybody.

use std::collections::BTreeMap;
use std::sync::atomic::Ordering;

use backstraight_core::exchange::access::Role;
use backstraight_server::config::Config;
use serde_json::json;

use crate::command_line::{self, Served};
use crate::support::{Device, Key, Server, agent, get, log, notes, post, post_raw};

fn text_of(url: &str) -> (u16, String) {
    let mut answer = agent().get(url).call().unwrap();
    (answer.status().as_u16(), answer.body_mut().read_to_string().unwrap())
}

/// Figures by name and labels.
fn figures(server: &Server) -> BTreeMap<String, f64> {
    let url = format!("http://{}/metrics", server.metrics());
    let (status, text) = text_of(&url);
    assert_eq!(status, 200);
    assert!(text.ends_with("# EOF\n"), "{text}");
    let lines = text.lines().filter(|l| !l.starts_with('#'));
    lines.map(|l| l.rsplit_once(' ').unwrap()).map(|(n, v)| (n.to_owned(), v.parse().unwrap())).collect()
}

fn watched(dir: &std::path::Path) -> Server {
    Server::with(dir, |config| config.metrics_listen = Some("127.0.0.1:0".parse().unwrap()))
}

#[test]
fn figures_count_what_happened_and_stand_on_an_address_of_their_own() {
    let dir = tempfile::tempdir().unwrap();
    let server = watched(dir.path());
    let club = server.club("Cinder Lane");
    let (mira, ruth) = (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Coach, "Ruth Adeyemi"));
    let (mut phone, mut desk) = (club.device(mira), club.device(ruth));
    for n in 0..3 {
        phone.say(log(mira), &format!("{n}"));
    }
    phone.exchange();
    desk.say(notes(mira), "one");
    desk.exchange();
    // An athlete who writes what coaches write.
    phone.say(notes(mira), "not mine to write");
    phone.exchange();
    post(&format!("{}/v1/enrol", server.url), None, &Key::fresh().enrolment("AAAAAAAA"));
    let all = figures(&server);
    let is = |name: &str| all.get(name).copied().unwrap_or_else(|| panic!("{name} in {all:#?}"));
    let about = |name: &str, want: f64| assert!((is(name) - want).abs() < 1e-9, "{name}: {}", is(name));
    about("backstraight_changes_acknowledged_total", 4.0);
    about("backstraight_exchange_outcomes_total{code=\"accepted\"}", 2.0);
    about("backstraight_exchange_outcomes_total{code=\"not-yours\"}", 1.0);
    about("backstraight_sign_ins_total{kind=\"code\",outcome=\"good\"}", 2.0);
    about("backstraight_sign_ins_total{kind=\"code\",outcome=\"wrong\"}", 1.0);
    about("backstraight_requests_total{method=\"POST\",route=\"/v1/exchange\",status=\"200\"}", 3.0);
    about("backstraight_request_duration_seconds_count{route=\"/v1/exchange\"}", 3.0);
    about("backstraight_documents", 2.0);
    about("backstraight_backup_age_seconds", -1.0);
    about("backstraight_storage_stopped", 0.0);
    for positive in [
        "backstraight_commit_duration_seconds_count",
        "backstraight_commit_requests_sum",
        "backstraight_database_bytes",
        "backstraight_disk_free_bytes",
        "backstraight_memory_bytes",
        "backstraight_chunks_bytes",
    ] {
        assert!(is(positive) > 0.0, "{positive}");
    }
    // The public address knows nothing of them; the other one of nothing else.
    assert_eq!(text_of(&format!("{}/metrics", server.url)).0, 404);
    assert_eq!(text_of(&format!("http://{}/v1/board", server.metrics())).0, 404);
    // Whoever invents routes and methods invents no labels.
    for n in 0..20 {
        text_of(&format!("{}/invented/{n}", server.url));
    }
    let none =
        figures(&server).keys().filter(|k| k.contains("route=\"none\"") && k.contains("_total")).count();
    assert_eq!(none, 1);
    assert!(!figures(&server).keys().any(|k| k.contains("invented")));
}

#[test]
fn readiness_says_what_stands_in_the_way() {
    let dir = tempfile::tempdir().unwrap();
    let server = watched(dir.path());
    let url = format!("{}/readyz", server.url);
    let (status, ready) = get(&url);
    assert_eq!((status, ready["status"].as_str()), (200, Some("ok")), "{ready}");
    assert_eq!(ready["checks"]["backup"]["state"], "off");
    assert_eq!(ready["checks"]["write"]["state"], "ok");
    // A full disk: a try to write stands for some seconds, so another server tells it at once.
    drop(server);
    let alone = |config: &mut Config| config.without_projector = true;
    let mut told = (0, serde_json::Value::Null);
    let mut server = Server::with(dir.path(), alone);
    for _ in 0..20 {
        server.faults.next_commit.store(rusqlite::ffi::SQLITE_FULL, Ordering::SeqCst);
        told = get(&format!("{}/readyz", server.url));
        if told.0 == 503 {
            break;
        }
        // Something that a server does at its start met the fault before the question did.
        drop(server);
        server = Server::with(dir.path(), alone);
    }
    let (status, ready) = told;
    assert_eq!((status, ready["status"].as_str()), (503, Some("not-ready")), "{ready}");
    assert_eq!(ready["checks"]["write"]["detail"], "the disk is full");
    assert_eq!(ready["checks"]["storage"]["state"], "ok", "it comes back by itself");
    drop(server);
    let server = Server::with(dir.path(), |config| {
        alone(config);
        config.low_disk_mb = u32::MAX;
    });
    let (status, ready) = get(&format!("{}/readyz", server.url));
    assert_eq!((status, ready["status"].as_str()), (200, Some("warnings")), "{ready}");
    assert_eq!(ready["checks"]["disk"]["state"], "warning");
    server.faults.next_commit.store(rusqlite::ffi::SQLITE_IOERR_FSYNC, Ordering::SeqCst);
    let failed = server.store().write_blocking(|_| Ok(()));
    assert!(failed.is_err());
    let (status, ready) = get(&format!("{}/readyz", server.url));
    assert_eq!((status, &ready["checks"]["storage"]["state"]), (503, &json!("failed")), "{ready}");
}

/// Words that a person would not want to find anywhere but in their own documents.
const SECRETS: [&str; 10] = [
    "Zephyrine-Quondamfield",
    "canary-club",
    "canary-device",
    "canary-comment",
    "canary-note",
    "canary-query",
    "canary-token",
    "canary-body",
    "canary-header",
    "canary-code",
];

#[test]
fn neither_logs_nor_figures_nor_errors_say_anything_about_anybody() {
    let dir = tempfile::tempdir().unwrap();
    let kept = tempfile::tempdir().unwrap();
    let data = dir.path();
    let made = command_line::json(&["club", "add", SECRETS[1]], data);
    let club = command_line::text(&made, "id").to_owned();
    let person = |role: &str| {
        let made = command_line::json(&["person", "add", SECRETS[0], "--club", &club, "--role", role], data);
        command_line::text(&made, "id").to_owned()
    };
    let (athlete, coach, owner) = (person("athlete"), person("coach"), person("owner"));
    let to = kept.path().to_str().unwrap();
    let served = Served::with(
        data,
        &["--log", "debug", "--metrics-listen", "127.0.0.1:0", "--backup-to", to, "--scrub-days", "1"],
    );
    let mut secrets: Vec<String> = SECRETS.map(str::to_owned).to_vec();
    let mut errors = String::new();
    let mut enrol = |who: &str| {
        let made = command_line::json(&["invite", who], data);
        let code = command_line::text(&made, "code").to_owned();
        let device = Device::enrol_as(&served.url, &code, SECRETS[2], command_line::now());
        secrets.extend([code, device.access.clone(), device.refresh.clone()]);
        device
    };
    let (mut phone, mut desk, owners) = (enrol(&athlete), enrol(&coach), enrol(&owner));
    phone.say(log(phone.person), SECRETS[3]);
    phone.report_words(SECRETS[3]);
    phone.settle();
    desk.say(notes(phone.person), SECRETS[4]);
    desk.settle();
    phone.settle();
    // A comment that is not the athlete's to write, and bodies that are none.
    phone.say(notes(phone.person), SECRETS[4]);
    phone.exchange();
    let garbage = format!("{{ \"{}\": 1", SECRETS[7]);
    for body in [garbage.as_bytes(), &[0xa1, 0x00, 0x61, b'x'], b""] {
        let (status, answer) = post_raw(&served.url, &phone.access, &[], body);
        assert!(status >= 400);
        errors.push_str(&String::from_utf8_lossy(&answer));
    }
    let mut ask = |method: &str, path: &str, token: &str, body: &str| {
        let url = format!("{}{path}", served.url);
        let mut answer = if method == "get" {
            let request =
                agent().get(url).header("user-agent", SECRETS[8]).header("x-request-id", SECRETS[8]);
            request.header("authorization", &format!("Bearer {token}")).call().unwrap()
        } else {
            let request = agent().post(url).header("content-type", "application/json");
            request.header("authorization", &format!("Bearer {token}")).send(body).unwrap()
        };
        let status = answer.status().as_u16();
        let text = answer.body_mut().with_config().limit(8 << 20).read_to_vec().unwrap();
        if status >= 400 {
            errors.push_str(&String::from_utf8_lossy(&text));
        }
        status
    };
    let query = SECRETS[5];
    ask("get", &format!("/v1/board?from={query}&to={query}"), &desk.access, "");
    ask("get", &format!("/v1/athletes/{query}"), &desk.access, "");
    ask("get", &format!("/{query}"), &desk.access, "");
    ask("get", "/v1/board?from=2026-11-01&to=2026-11-30", SECRETS[6], "");
    ask("get", "/v1/board?from=2026-11-01&to=2026-11-30", &desk.access, "");
    ask("post", "/v1/enrol", "", &Key::fresh().enrolment(SECRETS[9]).to_string());
    ask("post", "/v1/enrol", "", &json!({ "code": SECRETS[9], "device": SECRETS[2] }).to_string());
    ask("post", "/v1/enrol", "", &garbage);
    ask("post", "/v1/token", "", &json!({ "refresh_token": SECRETS[6] }).to_string());
    ask("post", "/v1/token", "", &json!({ "refresh_token": phone.refresh }).to_string());
    ask("post", "/v1/consent", &phone.access, &json!({ "care_open_to_coaches": true }).to_string());
    ask("post", "/v1/consent", &phone.access, &json!({ SECRETS[7]: true }).to_string());
    assert_eq!(ask("get", &format!("/v1/people/{}/export", phone.person), &phone.access, ""), 200);
    assert_eq!(ask("get", &format!("/v1/people/{}/export", desk.person), &phone.access, ""), 404);
    let path = format!("/v1/people/{}/erasure", phone.person);
    assert_eq!(ask("post", &path, &owners.access, &json!({ "confirm": SECRETS[7] }).to_string()), 422);
    let going = agent()
        .get(format!("{}{path}", served.url))
        .header("authorization", &format!("Bearer {}", owners.access));
    let going: serde_json::Value =
        serde_json::from_str(&going.call().unwrap().body_mut().read_to_string().unwrap()).unwrap();
    assert_eq!(
        ask("post", &path, &owners.access, &json!({ "confirm": going["pseudonym"] }).to_string()),
        200
    );
    assert!(ask("get", "/v1/openapi.json", "", "") == 200 && ask("get", "/readyz", "", "") == 200);
    std::thread::sleep(std::time::Duration::from_millis(300));
    let (status, figures) = text_of(&format!("{}/metrics", served.metrics));
    assert_eq!(status, 200);
    let said = served.log.lock().unwrap().clone();
    assert!(said.contains("/v1/people/{id}/erasure") && said.contains("backup made"), "{said}");
    assert!(errors.contains("malformed") && errors.contains("code-wrong"), "{errors}");
    for (what, text) in [("log", &said), ("figures", &figures), ("errors", &errors)] {
        for secret in &secrets {
            assert!(!text.contains(secret), "{secret} stands in the {what}: {text}");
        }
    }
}
