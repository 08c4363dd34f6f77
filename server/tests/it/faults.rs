//! Disks that are full or fail, and many who write at once.

use std::sync::atomic::Ordering;

use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_server::app::{self, Clock};
use backstraight_server::config::Config;
use backstraight_server::store::{StoreError, StoreOptions, document};
use serde_json::Value;

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
