//! A folder that is opened and shut ten thousand times takes no more memory and no more files than after the first
//! thousand. Alone in its process, so that what is measured is the doors.
#![cfg(target_os = "linux")]
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::Path;
use std::sync::Arc;

use backstraight_ffi::doors::install::{Invitation, OpenWith};
use backstraight_ffi::doors::outside::{CourierError, Parcel, Reply};
use backstraight_ffi::doors::{Courier, Install, KeyStore, Now, interface_mark};
use backstraight_tests::keys::Keys;

const CYCLES: usize = 10_000;
const SETTLED: usize = 1_000;
const MOST_KB: u64 = 1_024;
const NOW: Now = Now { utc_ms: 1_795_608_000_000, ahead_min: 0 };

/// Enrols as a server does.
struct Enrols;

impl Courier for Enrols {
    fn carry(&self, _: Parcel) -> Result<Reply, CourierError> {
        let body = r#"{"install": "0404040404040404", "person": "01a21d1b-6510-7a9b-bbc6-bdc0ef526187",
            "club": "01a21d1b-6409-7560-b73b-11275841bcd9", "role": "athlete", "name": "Tilde Ravnsborg",
            "access_token": "a", "refresh_token": "r"}"#;
        Ok(Reply { status: 201, headers: Vec::new(), body: body.into() })
    }
}

fn resident_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

fn files() -> usize {
    std::fs::read_dir("/proc/self/fd").unwrap().count()
}

#[test]
fn ten_thousand_openings_leave_nothing_behind() {
    // In memory where there is a folder in memory: a disk takes its time.
    let memory = Path::new("/dev/shm");
    let dir = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() }.unwrap();
    let keys = Arc::new(Keys::default());
    let open = || {
        let folder = dir.path().join("phone").display().to_string();
        let with = OpenWith { folder, interface: interface_mark(), most_bytes: None };
        Install::open(with, Arc::clone(&keys) as Arc<dyn KeyStore>, NOW).unwrap()
    };
    let install = open();
    let invitation = Invitation { server: "http://nowhere.example".to_owned(), code: "AAAAAAAA".to_owned() };
    install.enrol(invitation, "test".to_owned(), Arc::new(Enrols), NOW).unwrap();
    install.say("a word".to_owned(), None, None, "once".to_owned(), NOW).unwrap();
    install.shut();
    let mut before = (0, 0);
    for n in 0..CYCLES {
        let install = open();
        assert_eq!(install.today(NOW).unwrap().waiting, 1);
        install.shut();
        if n == SETTLED {
            before = (resident_kb(), files());
        }
    }
    let grown = resident_kb().saturating_sub(before.0);
    assert!(grown < MOST_KB, "{grown} kB more");
    assert_eq!(files(), before.1);
}
