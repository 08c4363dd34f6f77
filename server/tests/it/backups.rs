//! Backups: what is in them, what a changed byte does, which are kept, and a disk without room.

use std::path::Path;
use std::process::Command;

use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_server::config::Every;
use backstraight_server::folder::Folder;
use backstraight_server::job::backups::listed;
use backstraight_server::store::backup::{self, Take, copy_tables};
use backstraight_server::store::{open_reader, open_writer};

use crate::command_line::{json, text};
use crate::over;
use crate::support::{START, Server, get, log};

const NOW: Moment = Moment(START);

/// A folder with a club, people and documents, and a backup of it.
fn folder_with_backup(dir: &Path, file: &Path) -> backup::Made {
    let server = Server::on(dir);
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    for n in 0..20 {
        phone.say(log(mira), &format!("set {n} of the evening"));
    }
    phone.settle();
    server.backup(file).unwrap()
}

#[test]
fn a_backup_says_what_is_in_it_and_a_changed_byte_is_found_wherever_it_is() {
    let (dir, kept) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let file = kept.path().join("club.backup");
    let made = folder_with_backup(dir.path(), &file);
    assert_eq!(made.manifest.rows("doc"), 1);
    assert_eq!(made.manifest.rows("person"), 1);
    assert_eq!(made.manifest.made_at, "2026-11-25T10:00:00Z");
    let summed = Command::new("sha256sum").arg(&file).output().unwrap();
    assert!(String::from_utf8(summed.stdout).unwrap().starts_with(&made.sha256));
    let (manifest, trouble) = backup::verify(&file).unwrap();
    assert_eq!((manifest.as_ref(), trouble), (Some(&made.manifest), vec![]));

    // One bit of what an athlete wrote, which no check of the database's own pages sees.
    let mut bytes = std::fs::read(&file).unwrap();
    let at = bytes.windows(8).position(|w| w == b"set 7 of").unwrap();
    bytes[at + 4] ^= 1;
    let bad = kept.path().join("bad.backup");
    std::fs::write(&bad, &bytes).unwrap();
    let (_, trouble) = backup::verify(&bad).unwrap();
    assert!(trouble.iter().any(|t| t.contains("table chunk holds other values")), "{trouble:?}");
    assert!(trouble.iter().any(|t| t.starts_with("document ")), "and which document it is: {trouble:?}");
    let new = tempfile::tempdir().unwrap();
    assert!(over::restore(&bad, new.path(), Take::default(), NOW).is_err());
    let done = over::restore(&bad, new.path(), Take { anyway: true, replace: false }, NOW).unwrap();
    assert_eq!(done.trouble, trouble);
}

#[test]
fn the_way_table_by_table_gives_the_same_backup() {
    let (dir, kept) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    folder_with_backup(dir.path(), &kept.path().join("club.backup"));
    // Nobody writes any more: the rows of the board came after the first one.
    let made =
        backup::backup(&Folder::open(dir.path()).unwrap(), &kept.path().join("still.backup"), NOW).unwrap();
    // As it is done from another kind of database, and into one.
    let other = Folder::open(&kept.path().join("other")).unwrap();
    let mut to = open_writer(&other.database()).unwrap();
    let mut from = open_reader(&Folder::open(dir.path()).unwrap().database()).unwrap();
    let copied = copy_tables(&*from.transaction().unwrap(), &mut to).unwrap();
    to.close().unwrap();
    let again = backup::backup(&other, &kept.path().join("again.backup"), NOW).unwrap();
    assert_eq!(again.manifest, made.manifest);
    assert_eq!(copied, made.manifest.tables.values().map(|t| t.rows).sum::<u64>());
    assert!(copied > 10);
}

#[test]
fn backups_are_made_by_the_clock_and_old_ones_go() {
    let (dir, kept) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let server = Server::with(dir.path(), |config| {
        config.backup_to = Some(kept.path().to_owned());
        config.backup_every = Every(60);
        config.backup_keep_newest = 2;
        config.backup_keep_days = 1;
        config.backup_keep_weeks = 0;
    });
    server.club("Cinder Lane");
    let newest = || listed(kept.path()).unwrap().first().map(|(at, _)| *at);
    let until = |want: Moment| {
        for _ in 0..600 {
            if newest() == Some(want) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        panic!("no backup of {want}: {:?}", listed(kept.path()));
    };
    std::fs::write(kept.path().join("ours.backup"), "not named by the server").unwrap();
    until(server.now());
    for _ in 0..4 {
        server.wait(20 * 3_600_000);
        until(server.now());
    }
    // Of five, the newest two and what is younger than a day; what it did not name is not touched.
    std::thread::sleep(std::time::Duration::from_millis(200));
    assert_eq!(listed(kept.path()).unwrap().len(), 2);
    assert!(kept.path().join("ours.backup").exists());
    let (_, file) = listed(kept.path()).unwrap().remove(0);
    assert_eq!(backup::verify(&file).unwrap().1, Vec::<String>::new());
}

#[test]
fn a_backup_that_fails_is_told_and_service_goes_on() {
    let (dir, kept) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let gone = kept.path().join("not mounted");
    let server = Server::with(dir.path(), |config| config.backup_to = Some(gone.clone()));
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    for _ in 0..200 {
        if server.app().backups.failed() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert!(server.app().backups.failed() && server.app().backups.last_good().is_none());
    assert!(!gone.exists(), "a disk that is not mounted is not filled beside it");
    let (status, ready) = get(&format!("{}/readyz", server.url));
    assert_eq!((status, ready["status"].as_str()), (200, Some("warnings")), "{ready}");
    assert_eq!(ready["checks"]["backup"]["state"], "warning", "{ready}");
    phone.say(log(mira), "still taken");
    phone.settle();
    // Once it is there, the next try makes one.
    std::fs::create_dir(&gone).unwrap();
    server.wait(5 * 60_000);
    for _ in 0..400 {
        if !server.app().backups.failed() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert_eq!(listed(&gone).unwrap().len(), 1);
    assert_eq!(get(&format!("{}/readyz", server.url)).1["checks"]["backup"]["state"], "ok");
}

/// Whether root runs these tests: whose file a new one is says it.
fn is_root(dir: &Path) -> bool {
    std::os::unix::fs::MetadataExt::uid(&std::fs::metadata(dir).unwrap()) == 0
}

/// Runs a shell script about a data folder with a small file system of its own at `$SMALL`, in a
/// namespace that ends with it; whether such a thing may be made here, and what the script printed.
fn on_a_small_disk(data: &Path, dir: &Path, script: &str) -> (bool, String) {
    let small = dir.join("small");
    std::fs::create_dir_all(&small).unwrap();
    let whole = format!("mount -t tmpfs -o size=2m,mode=700 tmpfs \"$SMALL\" || exit 99\n{script}");
    let mut command = Command::new("unshare");
    command
        // Root itself would lose the right to speak to a database server of another user.
        .args(if is_root(dir) { &["--mount"][..] } else { &["--map-root-user", "--mount"] })
        .args(["sh", "-c", &whole])
        .env("SMALL", &small)
        .env("PROGRAM", env!("CARGO_BIN_EXE_backstraight"));
    over::tell(&mut command, data);
    let out = command.output().unwrap();
    let text = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    (out.status.code() != Some(99), text)
}

#[test]
fn a_backup_disk_without_room_leaves_no_half_file_and_the_older_one_whole() {
    let (dir, kept) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let made = folder_with_backup(dir.path(), &kept.path().join("club.backup"));
    let script = format!(
        "D='{}'; B='{}'\n\
         cp \"$B\" \"$SMALL/club.backup\" && head -c 2000000 /dev/zero > \"$SMALL/filler\" 2>/dev/null\n\
         \"$PROGRAM\" backup --data \"$D\" --to \"$SMALL/club.backup\"; echo \"code $?\"\n\
         ls \"$SMALL\"; sha256sum \"$SMALL/club.backup\"\n\
         rm \"$SMALL/filler\"; \"$PROGRAM\" backup --data \"$D\" --to \"$SMALL/club.backup\"; echo \"code $?\"",
        dir.path().display(),
        kept.path().join("club.backup").display()
    );
    let (ran, said) = on_a_small_disk(dir.path(), kept.path(), &script);
    if !ran {
        // No namespaces for this user: the same with a device that is always full.
        let full = Server::on(dir.path()).backup(Path::new("/dev/full/x"));
        assert!(full.is_err());
        return;
    }
    assert!(said.contains("no room for the backup") && said.contains("code 1"), "{said}");
    assert!(said.contains("club.backup\nfiller\n"), "nothing half written is left: {said}");
    assert!(said.contains(&made.sha256), "the older one is as it was: {said}");
    assert!(said.contains("code 0"), "and with room it works: {said}");
}

#[test]
fn a_full_copy_without_room_leaves_nothing_behind() {
    let (dir, kept) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    folder_with_backup(dir.path(), &kept.path().join("club.backup"));
    let clubs = json(&["club", "list"], dir.path());
    let people = json(&["person", "list", "--club", text(&clubs[0], "id")], dir.path());
    let id = text(&people[0], "id");
    let script = format!(
        "head -c 2068000 /dev/zero > \"$SMALL/filler\" 2>/dev/null\n\
         \"$PROGRAM\" export person {id} --data '{0}' --to \"$SMALL/copy\"; echo \"code $?\"; ls \"$SMALL\"\n\
         rm \"$SMALL/filler\"; \"$PROGRAM\" export person {id} --data '{0}' --to \"$SMALL/copy\"; echo \"code $?\"",
        dir.path().display()
    );
    let (ran, said) = on_a_small_disk(dir.path(), kept.path(), &script);
    if !ran {
        // No namespaces for this user: at least a folder that is there is never written into.
        assert!(backstraight_server::export::Directory::create(kept.path()).is_err());
        return;
    }
    assert!(said.contains("the export could not be written"), "{said}");
    assert!(said.contains("code 1\nfiller\n"), "nothing half written is left: {said}");
    assert!(said.contains("code 0"), "and with room it works: {said}");
}
