//! Disks that are full or fail, and many who write at once.

use std::path::Path;
use std::process::Command;
use std::sync::atomic::Ordering;

use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_server::app::{self, Clock};
use backstraight_server::config::Config;
use backstraight_server::store::{StoreError, StoreOptions, document};
use serde_json::Value;

use crate::command_line::{self, Served};
use crate::support::{Device, Server, about, code_of, get, log, post_raw};

fn code(device: &Device) -> (u16, String) {
    let (status, bytes) = post_raw(&device.url, &device.access, &[], &device.up().to_bytes());
    let body = serde_json::from_slice::<Value>(&bytes).unwrap_or(Value::Null);
    (status, body.get("code").and_then(Value::as_str).unwrap_or("").to_owned())
}

#[test]
fn a_full_disk_takes_nothing_and_recovers_when_there_is_room() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    phone.say(log(mira), "kept");
    phone.exchange();
    server.faults.max_pages.store(1, Ordering::SeqCst); // SQLite takes it as: no page more than now.
    let words = "long words ".repeat(180);
    for n in 0..40 {
        phone.say(log(mira), &format!("{n} {words}"));
    }
    for _ in 0..3 {
        assert_eq!(code(&phone), (507, "storage-full".to_owned()));
    }
    let doc = server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().unwrap();
    assert_eq!(doc.max_n, 1);
    assert_eq!(get(&format!("{}/healthz", server.url)).0, 200, "reading goes on");
    server.faults.max_pages.store(1_000_000, Ordering::SeqCst);
    assert_eq!(about(&phone.exchange(), log(mira)).unwrap().outcome, Outcome::Accepted);
    let doc = server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().unwrap();
    assert_eq!((doc.max_n, doc.heads), (2, phone.heads(log(mira))));
}

#[test]
fn a_failed_flush_stops_everything_until_the_machine_was_restarted() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    phone.say(log(mira), "kept");
    phone.exchange();
    phone.say(log(mira), "not acknowledged");
    server.faults.next_commit.store(rusqlite::ffi::SQLITE_IOERR_FSYNC, Ordering::SeqCst);
    for _ in 0..3 {
        assert_eq!(code(&phone), (503, "storage-stopped".to_owned()));
    }
    assert_eq!(code_of(&get(&format!("{}/healthz", server.url))), (503, "storage-stopped"));
    server.stop();
    // The cache may hold what the disk does not: the folder is not opened again.
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    let again = || {
        let started = app::start(Config::on(dir.path().to_owned()), StoreOptions::default(), Clock::system());
        runtime.block_on(started)
    };
    assert!(matches!(again(), Err(StoreError::Stopped)));
    // After a restart of the machine it is; what was acknowledged is there, the rest is not.
    std::fs::write(dir.path().join("stopped"), "another start of the machine").unwrap();
    let server = Server::on(dir.path());
    phone.url.clone_from(&server.url);
    let doc = server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().unwrap();
    assert_eq!(doc.max_n, 1);
    assert_eq!(about(&phone.exchange(), log(mira)).unwrap().outcome, Outcome::Accepted);
}

#[test]
fn a_folder_that_cannot_be_written_takes_nothing_and_comes_back_by_itself() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |config| config.without_projector = true);
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    phone.exchange();
    phone.say(log(mira), "kept here");
    server.faults.next_commit.store(rusqlite::ffi::SQLITE_READONLY, Ordering::SeqCst);
    assert_eq!(code(&phone), (503, "storage-read-only".to_owned()));
    assert!(server.store().read_blocking(|db| document::find(db, &log(mira))).unwrap().is_none());
    assert_eq!(about(&phone.exchange(), log(mira)).unwrap().outcome, Outcome::Accepted);
}

#[test]
fn a_disk_that_is_really_full_takes_nothing_and_goes_on_once_there_is_room() {
    let dir = tempfile::tempdir().unwrap();
    let (data, small) = (dir.path().join("data"), dir.path().join("small"));
    std::fs::create_dir(&small).unwrap();
    let club = command_line::json(&["club", "add", "Cinder Lane"], &data);
    let club = command_line::text(&club, "id").to_owned();
    let person =
        command_line::json(&["person", "add", "Mira Aalto", "--club", &club, "--role", "athlete"], &data);
    let invite = command_line::json(&["invite", command_line::text(&person, "id")], &data);
    // A small file system of its own, seen by the server alone.
    let script =
        "mount -t tmpfs -o size=3m,mode=700 tmpfs \"$SMALL\" || exit 99; cp -r \"$DATA\"/. \"$SMALL\";
                  exec \"$PROGRAM\" serve --listen 127.0.0.1:0 --data \"$SMALL\"";
    let mut command = Command::new("unshare");
    command.args(["--map-root-user", "--mount", "sh", "-c", script]);
    command.env("SMALL", &small).env("DATA", &data).env("PROGRAM", env!("CARGO_BIN_EXE_backstraight"));
    let Some(served) = Served::of(&mut command) else {
        // No namespaces for this user: the test with the database's own limit of pages stands for it.
        return;
    };
    let mut phone = Device::enrol(&served.url, command_line::text(&invite, "code"), command_line::now());
    let name = log(phone.person);
    phone.say(name, "taken");
    phone.settle();
    let inside =
        Path::new("/proc").join(served.id().to_string()).join("root").join(small.strip_prefix("/").unwrap());
    let filler = inside.join("filler");
    assert!(std::fs::write(&filler, vec![0; 8 << 20]).is_err(), "the disk is small");
    let words = "long words ".repeat(180);
    for n in 0..40 {
        phone.say(name, &format!("{n} {words}"));
    }
    let mut full = 0;
    for _ in 0..3 {
        let said = code(&phone);
        assert!(said == (507, "storage-full".to_owned()), "{said:?}: {}", served.log.lock().unwrap());
        full += 1;
    }
    let ready = get(&format!("{}/readyz", served.url));
    assert_eq!((ready.0, ready.1["checks"]["write"]["detail"].as_str()), (503, Some("the disk is full")));
    std::fs::remove_file(&filler).unwrap();
    assert_eq!(about(&phone.exchange(), name).unwrap().outcome, Outcome::Accepted);
    assert_eq!((full, phone.words(name).len()), (3, 41));
}

#[test]
fn a_mistake_in_one_request_is_no_fault_of_the_others() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let store = server.store();
    let broken = store.write_blocking(|_| -> Result<(), StoreError> { panic!("a mistake") });
    assert!(matches!(broken, Err(StoreError::Damaged(_))));
    let refused = store.write_blocking(|db| {
        db.execute("INSERT INTO audit (at, what, subject) VALUES (1, 'half', 'done')", [])?;
        db.execute("INSERT INTO nothing VALUES (1)", [])?;
        Ok(())
    });
    assert!(matches!(refused, Err(StoreError::Sql(_))));
    let lines = store.read_blocking(|db| backstraight_server::store::audit::newest(db, 9)).unwrap();
    assert!(lines.is_empty(), "{lines:?}");
    server.club("Cinder Lane");
}

#[test]
fn many_devices_write_at_once_and_nothing_is_lost() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    // All on one document, the worst case: every upload finds that the document has moved on.
    let devices: Vec<Device> = (0..8).map(|_| club.device(mira)).collect();
    let done: Vec<Device> = std::thread::scope(|scope| {
        let writers: Vec<_> = devices
            .into_iter()
            .enumerate()
            .map(|(n, mut device)| {
                scope.spawn(move || {
                    for i in 0..10 {
                        device.say(log(mira), &format!("{n} {i}"));
                        device.settle();
                    }
                    device
                })
            })
            .collect();
        writers.into_iter().map(|w| w.join().unwrap()).collect()
    });
    let mut last = club.device(mira);
    last.settle();
    assert_eq!(last.words(log(mira)).len(), 80);
    for mut device in done {
        device.settle();
        assert_eq!(device.heads(log(mira)), last.heads(log(mira)));
    }
    let report = server.store().read_blocking(backstraight_server::job::check::whole).unwrap();
    assert!(report.trouble.is_empty(), "{:?}", report.trouble);
    assert_eq!(report.chunks, 80);
}
