//! What goes wrong around an athlete: two tabs, an update, storage that is refused or full, a clock that is wrong, a
//! server that was lost. Nothing that was called saved is lost, and each is said in words that tell what to do.

use std::fs;

use backstraight_browser::{Built, Kind, Seat, Stage};

use super::session::{here, sets, wait_for_sets};

/// A phone of the club's Hanne, with the page and her documents on it; today's session is not begun.
fn phone_of(stage: &Stage) -> Seat {
    let phone = stage.come_in(Kind::Phone, "Hanne");
    phone.wait_until_kept();
    phone.wait_to_see("link", "Begin");
    phone
}

/// Opens today's session and logs a set as asked. Sets that are there then.
fn log_one(phone: &Seat) -> u64 {
    phone.tap("link", "Begin");
    phone.wait_to_see("button", "Done:");
    let before = sets(phone);
    phone.tap("button", "Done:");
    wait_for_sets(phone, before + 1);
    before + 1
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn of_two_tabs_one_writes_and_the_other_says_so() {
    let stage = Stage::of_the_club();
    let phone = phone_of(&stage);
    let logged = log_one(&phone);
    phone.wait_to_read("Set saved on this phone");

    phone.new_tab();
    phone.go("/");
    phone.wait_to_read("This page is open in another tab");
    phone.shots("other-tab");
    phone.assert_accessible("the tab that does not write");
    phone.tap("button", "Use it here");
    phone.tap("link", "Go on");
    wait_for_sets(&phone, logged);
    phone.tap("button", "Done:");
    wait_for_sets(&phone, logged + 1);
    phone.wait_to_read("Set saved on this phone");

    // The first tab stopped, and shows what the second wrote once it is used again.
    phone.tab(0);
    phone.wait_to_read("This page is open in another tab");
    assert_eq!(phone.count("button", "Done:"), 0);
    phone.tap("button", "Use it here");
    wait_for_sets(&phone, logged + 1);
    phone.tab(1);
    phone.wait_to_read("This page is open in another tab");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_new_version_of_the_page_waits_until_the_session_is_closed() {
    let mut stage = Stage::of_the_club();
    let phone = phone_of(&stage);
    let newer = Built::usual().copy_to(&stage.folder("newer"));
    newer.make_newer("Backstraight, newer");
    phone.tap("link", "Begin");
    phone.wait_to_see("button", "Done:");
    stage.server.serve_page(newer.folder());
    stage.server.again();
    phone.promise("await (await navigator.serviceWorker.ready).update()", Vec::new());
    phone.wait_for(
        "the new version waits",
        "window.r ??= 0; navigator.serviceWorker.ready.then((k) => { window.r = k.waiting ? 1 : 0 }); return window.r === 1",
    );
    let before = sets(&phone);
    phone.tap("button", "Done:");
    wait_for_sets(&phone, before + 1);
    assert_eq!(phone.count("button", "Use it now"), 0, "not in a session");
    phone.tap("link", "Close the session");
    phone.fill("How hard was all of it?", "6");
    assert_eq!(phone.count("button", "Use it now"), 0, "not while it is closed");
    phone.tap("button", "Close");
    phone.wait_to_read("Session closed, saved on this phone");
    phone.tap("button", "Use it now");
    phone.wait_for("the new version", "return window.r === undefined");
    phone.wait_until_ready();
    phone.tap("link", "Go on");
    wait_for_sets(&phone, before + 1);
    assert!(phone.reads("closed"));
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn storage_that_is_not_promised_or_full_is_said_with_what_to_do() {
    let mut stage = Stage::of_the_club();
    let mut phone = phone_of(&stage);
    phone.before_each_load(
        "navigator.storage.persisted = () => Promise.resolve(false); \
         navigator.storage.persist = () => Promise.resolve(false);",
    );
    phone.storage_that_fills();
    phone.reload();
    phone.go("/#/unsent");
    phone.wait_to_read("This browser may throw away what is saved here");
    phone.tap("button", "Ask for protection");
    phone.wait_to_read("The browser did not promise it");
    phone.assert_accessible("storage without a promise");

    stage.server.stop();
    phone.go("/#/today");
    phone.run("window.full = true", Vec::new());
    log_one(&phone);
    phone.wait_to_read("could not store");
    assert!(!phone.reads("Set saved on this phone"), "nothing is called saved that is not");
    assert!(phone.reads("Not saved"), "{}", phone.state());
    phone.shots("storage-full");
    phone.assert_accessible("a set that is not saved");
    let session = here(&phone);
    phone.run("location.hash = '#/unsent'", Vec::new());
    phone.wait_to_read("This browser's storage is full");
    phone.run("window.full = false", Vec::new());
    phone.tap("button", "Try again");
    phone.wait_for(
        "it is stored",
        "return !document.body.innerText.includes(\"This browser's storage is full\")",
    );
    phone.close();
    // What was stored at the second try outlives the browser.
    phone.reopen();
    phone.go(&format!("/{session}"));
    phone.wait_to_read("Saved on this phone");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_clock_that_is_wrong_is_said_and_stops_nothing() {
    let stage = Stage::of_the_club();
    let phone = phone_of(&stage);
    phone.clock_ahead(3 * 86_400_000 + 60_000);
    phone.reload();
    phone.wait_to_read("The clock of this device is 3 days ahead of the server's");
    phone.shots("clock-apart");
    phone.assert_accessible("a clock that is wrong");
    // Somebody writes all the same, and it arrives.
    phone.go("/#/talk");
    phone.fill("Your words", "My phone says Monday");
    phone.tap("button", "Write it");
    phone.wait_to_read("My phone says Monday");
    phone.wait_to_read("With your coach");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_server_that_was_restored_from_an_older_backup_is_refilled_by_phones() {
    let mut stage = Stage::of_the_club();
    let backup = stage.folder("before.backup");
    let phone = phone_of(&stage);
    let _ = stage.server.command(&["backup", "--to", &backup.display().to_string()]);
    let logged = log_one(&phone);
    phone.tap("button", "Differently");
    phone.fill("Repetitions", "13");
    phone.tap("button", "Save the set");
    wait_for_sets(&phone, logged + 1);
    phone.wait_for(
        "all sets are with the coach",
        "return !document.querySelector('main').innerText.includes('Saved on this phone')",
    );

    // The machine is lost, and what the server had since the backup with it.
    stage.server.stop();
    fs::remove_dir_all(stage.server.data()).unwrap();
    let _ = stage.server.command(&["restore", "--from", &backup.display().to_string()]);
    stage.server.again();

    phone.go("/#/unsent");
    phone.tap("button", "Exchange now");
    phone.wait_to_read("Exchanged at");
    phone.wait_to_read("Everything is with your coach");
    let desk = stage.come_in(Kind::Desk, "Marta");
    desk.tap("link", "Hanne Oakrill");
    desk.tap("link", "Sessions");
    desk.wait_to_read("13");
    desk.wait_for(
        "the set that only the phone had",
        "return /x 13\\b|13 reps|× 13\\b/.test(document.querySelector('main').innerText)",
    );
}
