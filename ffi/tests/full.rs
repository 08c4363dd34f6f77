//! A disk without room: what is there can be read all the same, and nothing is lost by the try.
#![cfg(target_os = "linux")]
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod small_disk;

use std::fs;
use std::path::{Path, PathBuf};

use backstraight_core::device::shelf::Shelf as _;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::store::{FILE, Store};

use small_disk::SmallDisk;

fn filled(folder: &Path) -> Store {
    let mut store = Store::open(folder).unwrap();
    store.set_facts(&[("word", &[1; 20_000])]).unwrap();
    store
}

fn length(file: PathBuf) -> u64 {
    fs::metadata(file).map_or(0, |m| m.len())
}

#[test]
fn opening_and_reading_write_nothing() {
    let dir = tempfile::tempdir().unwrap();
    drop(filled(dir.path()));
    let before = fs::read(dir.path().join(FILE)).unwrap();
    let store = Store::open(dir.path()).unwrap();
    assert!(store.fact("word").unwrap().is_some() && store.docs().unwrap().is_empty());
    assert_eq!(length(dir.path().join(format!("{FILE}-wal"))), 0);
    drop(store);
    assert!(fs::read(dir.path().join(FILE)).unwrap() == before);
}

#[test]
fn on_a_full_disk_a_store_opens_and_is_read() {
    let Some(disk) = SmallDisk::new() else {
        eprintln!("not tried: no small disk can be made here");
        return;
    };
    let (home, killed) = (disk.path().join("home"), disk.path().join("killed"));
    fs::create_dir(&home).unwrap();
    fs::create_dir(&killed).unwrap();
    let store = filled(&home);
    // As a kill leaves it: the last words in the log of writes, and no index of it.
    for name in [FILE.to_owned(), format!("{FILE}-wal")] {
        fs::copy(home.join(&name), killed.join(&name)).unwrap();
    }
    drop(store);
    let ballast = disk.fill();
    for folder in [&home, &killed] {
        let mut store = Store::open(folder).unwrap();
        assert_eq!(store.fact("word").unwrap().unwrap().len(), 20_000);
        assert_eq!(store.unsound().unwrap(), None);
        let full = store.set_facts(&[("more", &[2; 20_000])]);
        assert!(matches!(full, Err(PhoneError::Storage { full: true, .. })), "{full:?}");
        assert_eq!(store.fact("word").unwrap().unwrap().len(), 20_000);
    }
    // Somebody frees storage: the same object goes on.
    let mut store = Store::open(&home).unwrap();
    fs::remove_file(ballast).unwrap();
    store.set_facts(&[("more", &[2; 20_000])]).unwrap();
    drop(store);
    assert!(Store::open(&home).unwrap().fact("more").unwrap().is_some());
}

#[test]
fn a_damaged_store_waits_for_room_to_be_mended() {
    let Some(disk) = SmallDisk::new() else {
        eprintln!("not tried: no small disk can be made here");
        return;
    };
    drop(filled(disk.path()));
    let file = disk.path().join(FILE);
    let mut bytes = fs::read(&file).unwrap();
    // The page that the words go on.
    let page = bytes.len() - 4096;
    let facts = {
        let db = rusqlite::Connection::open(&file).unwrap();
        db.query_row("SELECT rootpage FROM sqlite_schema WHERE name = 'carried_doc'", [], |r| {
            r.get::<_, i64>(0)
        })
    };
    let index = (usize::try_from(facts.unwrap()).unwrap() - 1) * 4096;
    assert!(index < page);
    bytes[index..index + 4096].fill(0xff);
    fs::write(&file, &bytes).unwrap();
    let ballast = disk.fill();
    let full = Store::open(disk.path()).unwrap_err();
    assert!(matches!(full, PhoneError::Storage { full: true, .. }), "{full}");
    assert!(fs::read(&file).unwrap() == bytes, "it is where it was");
    assert!(!disk.path().join(format!("{FILE}.damaged-1")).exists());
    fs::remove_file(ballast).unwrap();
    let store = Store::open(disk.path()).unwrap();
    assert_eq!(store.set_aside.len(), 1);
    assert_eq!(store.fact("word").unwrap().unwrap().len(), 20_000);
}
