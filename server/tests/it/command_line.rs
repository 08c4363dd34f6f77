//! The real binary: its commands, its exit codes, and being killed.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::{Arc, Mutex};

use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::DocName;
use serde_json::Value;

use crate::over;
use crate::support::{Device, Server, about, get, log};

pub(crate) fn command(args: &[&str], data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_backstraight"));
    command.args(args).arg("--data").arg(data).env_clear();
    over::tell(&mut command, data);
    command
}

pub(crate) fn run(args: &[&str], data: &Path) -> Output {
    command(args, data).output().unwrap()
}

pub(crate) fn json(args: &[&str], data: &Path) -> Value {
    let out = run(&[args, &["--json"]].concat(), data);
    assert!(out.status.success(), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

pub(crate) fn text<'a>(value: &'a Value, name: &str) -> &'a str {
    value.get(name).and_then(Value::as_str).unwrap()
}

fn failed(args: &[&str], data: &Path) -> String {
    let out = run(args, data);
    assert!(!out.status.success(), "{args:?}");
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(!said.trim().is_empty() && !said.contains("panicked"), "{args:?}: {said}");
    said
}

/// The binary, serving; its address comes from its log.
pub(crate) struct Served {
    child: Child,
    pub(crate) url: String,
    /// Where its figures are.
    pub(crate) metrics: String,
    /// Everything that it has logged.
    pub(crate) log: Arc<Mutex<String>>,
}

impl Served {
    fn start(data: &Path) -> Served {
        Served::with(data, &[])
    }

    pub(crate) fn with(data: &Path, args: &[&str]) -> Served {
        Served::of(&mut command(&[&["serve", "--listen", "127.0.0.1:0"], args].concat(), data)).unwrap()
    }

    /// What another command serves; none when it ends with 99: it cannot be done here.
    pub(crate) fn of(command: &mut Command) -> Option<Served> {
        let mut child = command.stderr(Stdio::piped()).stdout(Stdio::null()).spawn().unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap());
        let log = Arc::new(Mutex::new(String::new()));
        let mut line = String::new();
        let (url, metrics) = loop {
            line.clear();
            if lines.read_line(&mut line).unwrap() == 0 {
                let ended = child.wait().unwrap();
                assert_eq!(ended.code(), Some(99), "it ended before it served: {}", log.lock().unwrap());
                return None;
            }
            log.lock().unwrap().push_str(&line);
            let said: Value = serde_json::from_str(&line).unwrap_or_default();
            let at = |name| said.get(name).and_then(Value::as_str).map(|a| format!("http://{a}"));
            if let Some(address) = at("address") {
                break (address, at("metrics").unwrap_or_default());
            }
        };
        let all = Arc::clone(&log);
        std::thread::spawn(move || {
            lines.lines().map_while(Result::ok).for_each(|l| {
                let mut all = all.lock().unwrap();
                all.push_str(&l);
                all.push('\n');
            });
        });
        Some(Served { child, url, metrics, log })
    }

    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    fn terminate(mut self) -> i32 {
        let pid = self.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &pid]).status().unwrap().success());
        self.child.wait().unwrap().code().unwrap()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

pub(crate) fn now() -> Moment {
    let since = std::time::SystemTime::UNIX_EPOCH.elapsed().unwrap();
    Moment(i64::try_from(since.as_millis()).unwrap())
}

/// A club at the machine: its folder, an athlete and a code.
fn club(data: &Path) -> (String, String) {
    let club = json(&["club", "add", "Cinder Lane"], data);
    let club = text(&club, "id").to_owned();
    let person = json(&["person", "add", "Mira Aalto", "--club", &club, "--role", "athlete"], data);
    (club, text(&person, "id").to_owned())
}

fn enrol(url: &str, person: &str, data: &Path) -> Device {
    let made = json(&["invite", person], data);
    Device::enrol(url, text(&made, "code"), now())
}

#[test]
fn what_was_acknowledged_survives_being_killed() {
    let dir = tempfile::tempdir().unwrap();
    let (_, person) = club(dir.path());
    let mut served = Served::start(dir.path());
    let mut phone = enrol(&served.url, &person, dir.path());
    let name = log(phone.person);
    for round in 0..5 {
        for n in 0..3 {
            phone.say(name, &format!("{round} {n}"));
        }
        assert_eq!(about(&phone.exchange(), name).unwrap().outcome, Outcome::Accepted);
        served.kill();
        served = Served::start(dir.path());
        phone.url.clone_from(&served.url);
    }
    let mut tablet = enrol(&served.url, &person, dir.path());
    tablet.settle();
    assert_eq!(tablet.words(name).len(), 15);
    assert_eq!(tablet.heads(name), phone.heads(name));
    assert_eq!(tablet.epoch, phone.epoch);
    let report = json(&["check"], dir.path());
    assert_eq!(report["trouble"].as_array().unwrap().len(), 0);
    assert_eq!((report["documents"].as_u64(), report["chunks"].as_u64()), (Some(1), Some(5)));
    assert_eq!(served.terminate(), 0);
    assert!(!dir.path().join("backstraight.db-wal").exists(), "the log was moved into the file");
}

#[test]
fn people_are_kept_at_the_machine_while_the_server_runs() {
    let dir = tempfile::tempdir().unwrap();
    let (club, person) = club(dir.path());
    let served = Served::start(dir.path());
    assert!(failed(&["serve", "--listen", "127.0.0.1:0"], dir.path()).contains("another process"));
    let squad = json(&["squad", "add", "Sprints", "--club", &club], dir.path());
    let listed = json(&["squad", "list", "--club", &club], dir.path());
    assert_eq!(text(&listed[0], "id"), text(&squad, "id"));
    let mut phone = enrol(&served.url, &person, dir.path());
    phone.exchange();
    let out = run(&["person", "list", "--club", &club], dir.path());
    let table = String::from_utf8(out.stdout).unwrap();
    assert!(table.lines().all(|l| l.chars().count() <= 100), "{table}");
    assert!(table.contains("Mira Aalto") && table.contains("athlete"), "{table}");
    assert_eq!(json(&["person", "list", "--club", &club], dir.path())[0]["installs"], 1);
    assert!(run(&["person", "role", &person, "coach"], dir.path()).status.success());
    assert_eq!(json(&["person", "list", "--club", &club], dir.path())[0]["role"], "coach");
    assert!(run(&["person", "withdraw", &person], dir.path()).status.success());
    assert_eq!(crate::support::post_raw(&served.url, &phone.access, &[], &phone.up().to_bytes()).0, 401);
    assert_eq!(get(&format!("{}/healthz", served.url)).0, 200);
    assert_eq!(json(&["club", "list"], dir.path())[0]["name"], "Cinder Lane");
    assert_eq!(served.terminate(), 0);
}

#[test]
fn every_failure_says_why_and_is_no_success() {
    let dir = tempfile::tempdir().unwrap();
    let empty = tempfile::tempdir().unwrap();
    let (club, person) = club(dir.path());
    let nobody = "01900000-0000-7000-8000-00000000ffff";
    assert!(failed(&["check"], empty.path()).contains("no database"));
    assert!(failed(&["invite", &person], empty.path()).contains("no database"));
    assert!(failed(&["invite", nobody], dir.path()).contains("no person"));
    assert!(failed(&["invite", "mira"], dir.path()).contains("no identity"));
    assert!(
        failed(&["person", "add", "X", "--club", nobody, "--role", "coach"], dir.path()).contains("no club")
    );
    assert!(
        failed(&["person", "add", "X", "--club", &club, "--role", "boss"], dir.path()).contains("head coach")
    );
    assert!(failed(&["person", "add", " ", "--club", &club, "--role", "coach"], dir.path()).contains("name"));
    assert!(failed(&["person", "role", nobody, "coach"], dir.path()).contains("no person"));
    assert!(failed(&["squad", "add", "X", "--club", nobody], dir.path()).contains("no club"));
    assert!(failed(&["serve", "--listen", "nowhere"], dir.path()).contains("nowhere"));
    assert!(failed(&["serve", "--invite-minutes", "0"], dir.path()).contains("0"));
    assert!(failed(&["serve", "--log", "loud"], dir.path()).contains("loud"));
    assert!(failed(&["restore", "--from", "/nonexistent"], empty.path()).contains("/nonexistent"));
    assert!(failed(&["restore", "--from", "/nonexistent"], dir.path()).contains("not empty"));
    assert!(failed(&["dance"], dir.path()).contains("dance"));
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    assert!(failed(&["serve", "--listen", &address], dir.path()).contains(&address));
}

#[test]
fn backup_while_serving_restore_and_check() {
    let (dir, new, kept) =
        (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (_, person) = club(dir.path());
    let served = Served::start(dir.path());
    let mut phone = enrol(&served.url, &person, dir.path());
    let name = log(phone.person);
    phone.say(name, "kept");
    phone.exchange();
    let file = kept.path().join("b");
    let to = file.to_str().unwrap();
    assert!(json(&["backup", "--to", to], dir.path())["bytes"].as_u64().unwrap() > 10_000);
    // An older backup is replaced by a whole one; no draft is left behind.
    assert!(run(&["backup", "--to", to], dir.path()).status.success());
    assert_eq!(std::fs::read_dir(kept.path()).unwrap().count(), 1);
    let mode = std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(&file).unwrap().permissions());
    assert_eq!(mode & 0o777, 0o600);
    served.kill();
    assert!(run(&["restore", "--from", to], new.path()).status.success());
    assert_eq!(json(&["check"], new.path())["documents"], 1);
    let served = Served::start(new.path());
    phone.url.clone_from(&served.url);
    let was = phone.epoch.clone();
    phone.settle();
    assert_ne!(phone.epoch, was);
    phone.say(name, "after");
    assert_eq!(about(&phone.exchange(), name).unwrap().outcome, Outcome::Accepted);
    assert_eq!(served.terminate(), 0);
}

#[test]
fn compact_and_check_at_the_machine_and_a_changed_byte_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    let names = [log(mira), DocName::Log(mira, backstraight_core::base::day::Month::new(2026, 10).unwrap())];
    for n in 0..6 {
        for name in names {
            phone.say(name, &format!("set {n}"));
        }
        phone.exchange();
    }
    server.stop();
    let line = json(&["compact"], dir.path());
    assert_eq!((line["compacted"].as_u64(), line["refused"].as_u64()), (Some(2), Some(0)));
    assert_eq!(json(&["compact"], dir.path())["untouched"], 2);
    let report = json(&["check"], dir.path());
    assert_eq!((report["snapshots"].as_u64(), report["chunks"].as_u64()), (Some(2), Some(12)));
    let database = dir.path().join("backstraight.db");
    let spoil = |sql: &str| {
        let db = rusqlite::Connection::open(&database).unwrap();
        db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
        let before = std::fs::read(&database).unwrap();
        assert!(db.execute(sql, []).unwrap() > 0, "{sql}");
        db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
        drop(db);
        let out = run(&["check"], dir.path());
        assert_eq!(out.status.code(), Some(1), "{sql}");
        let text = String::from_utf8_lossy(&out.stdout).into_owned();
        assert!(text.contains("document"), "{sql}: {text}");
        std::fs::write(&database, before).unwrap();
        assert!(run(&["check"], dir.path()).status.success(), "{sql}, put back");
    };
    // One byte in the middle of a chunk, of a snapshot, of an index; a chunk that is gone; other heads.
    let byte = "CAST(substr(hex_, 1, 60) || CASE substr(hex_, 61, 1) WHEN '0' THEN '1' ELSE '0' END \
                || substr(hex_, 62) AS TEXT)";
    for (table, column) in
        [("chunk", "body"), ("chunk", "delta"), ("snapshot", "body"), ("snapshot", "delta")]
    {
        let rows = if table == "chunk" { "n = 3" } else { "1" };
        let changed = byte.replace("hex_", &format!("hex({column})"));
        spoil(&format!("UPDATE {table} SET {column} = unhex({changed}) WHERE doc = 1 AND {rows}"));
    }
    spoil("DELETE FROM chunk WHERE doc = 1 AND n = 4");
    spoil("UPDATE doc SET heads = zeroblob(32) WHERE id = 2");
    // A link of the audit list that was noted, and one that no line has.
    let link = json(&["check"], dir.path())["audit_link"].as_str().unwrap().to_owned();
    assert!(run(&["check", "--noted", &link], dir.path()).status.success());
    let out = run(&["check", "--noted", &"0f".repeat(32)], dir.path());
    assert_eq!(out.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&out.stdout).contains("no line has the link 0f0f"));
    spoil("UPDATE doc SET max_n = 7 WHERE id = 2");
    let unguarded = rusqlite::Connection::open(&database).unwrap();
    unguarded.execute_batch("DROP TRIGGER audit_no_update").unwrap();
    drop(unguarded);
    spoil("UPDATE audit SET what = 'other' WHERE id = 1");
}

#[test]
fn boards_and_lists_at_the_machine_and_rows_made_anew() {
    let dir = tempfile::tempdir().unwrap();
    let (_, person) = club(dir.path());
    let served = Served::start(dir.path());
    let mut phone = enrol(&served.url, &person, dir.path());
    let name = log(phone.person);
    phone.say(name, "slept well");
    phone.exchange();
    // With a server at work and without one, from the folder and from the server.
    let days = ["--today", "2026-11-25"];
    let rebuilt = json(&["rebuild"], dir.path());
    assert_eq!(
        (rebuilt["done"].as_u64().unwrap_or(0) <= 1, rebuilt["left"].as_u64().is_some()),
        (true, true)
    );
    let there = Command::new(env!("CARGO_BIN_EXE_backstraight"))
        .args(["board", "--server", &served.url, "--token", &phone.access, "--json"])
        .args(days)
        .env_clear()
        .output()
        .unwrap();
    assert!(there.status.success(), "{}", String::from_utf8_lossy(&there.stderr));
    let there: Value = serde_json::from_slice(&there.stdout).unwrap();
    assert_eq!(served.terminate(), 0);
    let here = json(&[&["board"], days.as_slice()].concat(), dir.path());
    assert_eq!(here, there);
    assert_eq!(text(&here["athletes"][0], "id"), person);
    let rebuilt = run(&["rebuild"], dir.path());
    assert!(rebuilt.status.success());
    let shown = String::from_utf8_lossy(&rebuilt.stdout).into_owned();
    assert!(shown.contains("done  1") && shown.contains("left  0"), "{shown}");
    assert!(String::from_utf8_lossy(&rebuilt.stderr).contains("1 done, 0 left"));
    assert_eq!(json(&[&["board"], days.as_slice()].concat(), dir.path()), here);
    for list in ["attention", "proposals", "records"] {
        json(&[&[list], days.as_slice()].concat(), dir.path());
        let out = run(&[&[list], days.as_slice()].concat(), dir.path());
        assert!(out.status.success() && !out.stdout.is_empty(), "{list}");
    }
    let week = run(&["athlete", "mira", "--week-report", "--week", "2026-11-25"], dir.path());
    let week = String::from_utf8(week.stdout).unwrap();
    assert!(week.starts_with("Mira Aalto: week of 2026-11-23"), "{week}");
    assert!(week.lines().all(|l| l.chars().count() <= 100), "{week}");
    assert!(failed(&["board", "--state", "sad"], dir.path()).contains("unheard"));
}

#[test]
fn the_first_start_prints_a_link_that_makes_an_owner_and_later_ones_print_none() {
    use backstraight_core::exchange::proof;
    use serde_json::json;
    let dir = tempfile::tempdir().unwrap();
    let start = || {
        let mut child = command(&["serve", "--listen", "127.0.0.1:0"], dir.path())
            .stderr(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut log = BufReader::new(child.stderr.take().unwrap()).lines();
        // Every line of the log is a log line: the link is not in it.
        let said: Value = serde_json::from_str(&log.next().unwrap().unwrap()).unwrap();
        let url = format!("http://{}", text(&said, "address"));
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || log.for_each(drop));
        (Served { child, url, metrics: String::new(), log: Arc::default() }, out)
    };
    let (served, out) = start();
    let link = out.lines().map(Result::unwrap).find(|l| l.contains("/set-up#")).unwrap();
    let (address, secret) = link.trim().split_once("/set-up#").unwrap();
    assert_eq!(address, served.url);
    let device = crate::support::Key::fresh().device(|key, device| proof::set_up(secret, key, device));
    let body = crate::support::with(
        device,
        json!({ "secret": secret, "club": "Harrow Fell", "name": "Olga Brandt", "sign_in": "olga",
                "password": "hop 34 barley kettle" }),
    );
    let (status, answer) = crate::support::post(&format!("{}/v1/set-up", served.url), None, &body);
    assert_eq!(status, 200, "{answer}");
    assert_eq!(served.terminate(), 0);
    let (served, mut out) = start();
    assert_eq!(served.terminate(), 0);
    let mut rest = String::new();
    std::io::Read::read_to_string(&mut out, &mut rest).unwrap();
    assert_eq!(rest, "", "somebody has set it up");
}

#[test]
fn accounts_are_kept_at_the_machine() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path();
    let (club, mira) = club(data);
    let add = |name: &str, role: &str| {
        text(&json(&["person", "add", name, "--club", &club, "--role", role], data), "id").to_owned()
    };
    let (parent, owner) = (add("Tove Aalto", "guardian"), add("Olga Brandt", "owner"));
    // Guardians.
    let list = json(&["guardian", "add", &mira, &parent, "--reason", "mother"], data);
    assert_eq!((text(&list[0], "name"), text(&list[0], "reason")), ("Tove Aalto", "mother"));
    assert!(failed(&["guardian", "add", &mira, &owner, "--reason", "x"], data).contains("role is guardian"));
    let list = json(&["guardian", "end", &mira, &parent, "--reason", "moved away"], data);
    assert_eq!(text(&list[0], "end_reason"), "moved away");
    assert!(
        failed(&["guardian", "end", &mira, &parent, "--reason", "x"], data).contains("no such guardianship")
    );
    assert_eq!(json(&["guardian", "list", &mira], data).as_array().unwrap().len(), 1);
    assert_eq!(text(&json(&["person", "born", &mira, "2001-02-03"], data), "born"), "2001-02-03");
    assert!(failed(&["guardian", "add", &mira, &parent, "--reason", "x"], data).contains("of age"));
    assert!(json(&["person", "born", &mira, "unknown"], data).get("born").is_none());
    assert!(failed(&["person", "born", &mira, "yesterday"], data).contains("date of birth"));
    // Accounts.
    assert_eq!(text(&json(&["person", "rename", &mira, "Mira Berg"], data), "name"), "Mira Berg");
    assert_eq!(text(&json(&["person", "role", &parent, "coach"], data), "role"), "coach");
    assert!(failed(&["person", "role", &owner, "coach"], data).contains("no owner"));
    assert!(failed(&["person", "withdraw", &owner], data).contains("no owner"));
    assert!(json(&["person", "withdraw", &parent], data)["withdrawn"].as_bool().unwrap());
    let count = |more: &[&str]| {
        json(&[&["person", "list", "--club", &club], more].concat(), data).as_array().unwrap().len()
    };
    assert_eq!((count(&[]), count(&["--all"])), (2, 3));
    assert!(!json(&["person", "restore", &parent], data)["withdrawn"].as_bool().unwrap());
    assert_eq!(text(&json(&["person", "reset-sign-in", &parent], data), "id"), parent);
    assert_eq!(json(&["club", "change", &club, "--majority", "16"], data)["majority"], 16);
    assert!(failed(&["club", "change", &club, "--majority", "12"], data).contains("majority"));
    let squad = json(&["squad", "add", "Sprints", "--club", &club], data);
    let squad = json(&["squad", "rename", text(&squad, "id"), "Jumps", "--club", &club], data);
    assert_eq!(text(&squad, "name"), "Jumps");
    // Installs and keys, while a server runs.
    let served = Served::start(data);
    let phone = enrol(&served.url, &mira, data);
    let me =
        |device: &Device| crate::support::get_as(&format!("{}/v1/me", served.url), Some(&device.access)).0;
    assert_eq!(me(&phone), 200);
    let keys = json(&["keys", "rotate"], data);
    assert_eq!((text(&keys[0], "state"), text(&keys[1], "state")), ("signs", "still good"));
    assert_eq!(json(&["keys", "list"], data), keys);
    let signs = || get(&format!("{}/.well-known/jwks.json", served.url)).1["keys"][0]["kid"].clone();
    for _ in 0..100 {
        if signs() == keys[0]["kid"] {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    assert_eq!(signs(), keys[0]["kid"], "a running server takes the new key");
    assert_eq!(me(&phone), 200, "a token of the old key is good for its life");
    let list = json(&["install", "withdraw", &mira, &phone.install.to_string()], data);
    assert_eq!(text(&list[0], "state"), "withdrawn");
    assert_eq!(me(&phone), 401);
    assert!(
        failed(&["install", "withdraw", &owner, &phone.install.to_string()], data).contains("no install")
    );
    let second = enrol(&served.url, &mira, data);
    json(&["invite", &mira, "--lost"], data);
    assert_eq!(me(&second), 401);
    // Pictures.
    let out = run(&["invite", &mira, "--qr", "--url", "https://club.example"], data);
    let said = String::from_utf8(out.stdout).unwrap();
    assert!(said.contains("https://club.example/join#") && said.contains('\u{2588}'), "{said}");
    let svg = dir.path().join("picture.svg");
    json(&["invite", &mira, "--svg", svg.to_str().unwrap()], data);
    assert!(std::fs::read_to_string(&svg).unwrap().contains("<svg"));
    assert!(failed(&["invite", &mira, "--url", "club.example"], data).contains("address"));
    // The audit list, page by page.
    let lines = json(&["audit", "--club", &club, "--limit", "3"], data);
    let lines = lines.as_array().unwrap().clone();
    assert_eq!(
        (lines.len(), text(&lines[0], "what"), text(&lines[0], "subject")),
        (3, "invited", mira.as_str())
    );
    let before = lines[2]["id"].to_string();
    let older = json(&["audit", "--club", &club, "--limit", "1", "--before", &before], data);
    assert!(older[0]["id"].as_u64() < lines[2]["id"].as_u64());
    // Leaving.
    assert!(failed(&["person", "leave", &mira], data).contains("--without-copy"));
    assert!(failed(&["person", "leave", &owner[..8], "--without-copy"], data).contains("identity"));
    let copy = dir.path().join("copy");
    json(&["export", "person", &mira, "--to", copy.to_str().unwrap()], data);
    let leave = ["person", "leave", &mira, "--copy", copy.to_str().unwrap()];
    std::fs::rename(copy.join("person.json"), copy.join("person.jsn")).unwrap();
    assert!(failed(&leave, data).contains("person.json: missing"));
    std::fs::rename(copy.join("person.jsn"), copy.join("person.json")).unwrap();
    assert!(
        failed(&["person", "leave", &parent, "--copy", copy.to_str().unwrap()], data)
            .contains("somebody else's")
    );
    assert!(json(&leave, data)["withdrawn"].as_bool().unwrap());
}
