//! A new version of the page: offered, taken by a person, never in the middle of something, and never half.

use std::fs;

use backstraight_browser::{Built, Seat, Stage};

const NEWER: &str = "Backstraight, newer";

/// A phone on which the usual page is kept, and a server that has a newer one.
fn with_newer(change: impl FnOnce(&Built)) -> (Stage, Seat) {
    let mut stage = Stage::new();
    let phone = stage.phone("ines");
    phone.go("/");
    phone.wait_until_kept();
    // The first visit has nothing older to replace.
    assert_eq!(phone.count("button", "Use it now"), 0);
    let newer = Built::usual().copy_to(&stage.folder("newer"));
    newer.make_newer(NEWER);
    change(&newer);
    stage.server.serve_page(newer.folder());
    stage.server.again();
    (stage, phone)
}

fn title_is(word: &str) -> String {
    format!("return document.title === '{word}'")
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_new_version_is_offered_and_taken() {
    let (mut stage, phone) = with_newer(|_| {});
    phone.reload();
    assert!(phone.holds(&title_is("Backstraight")), "the old one until somebody takes the new one");
    phone.wait_to_see("button", "Use it now");
    phone.shot("new-version");
    phone.assert_accessible("the offer of a new version");
    // It is on the device whole before it is offered.
    stage.server.stop();
    phone.tap("button", "Use it now");
    phone.wait_for("the new version", &title_is(NEWER));
    phone.wait_until_ready();
    assert_eq!(phone.count("button", "Use it now"), 0);
    phone.reload();
    assert!(phone.holds(&title_is(NEWER)));
    let left = phone.promise("return (await caches.keys()).length", Vec::new());
    assert_eq!(left, 1, "the old version's files are gone");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn nothing_is_offered_in_the_middle_of_something() {
    let (_stage, phone) = with_newer(|_| {});
    phone.run("document.documentElement.dataset.busy = ''", Vec::new());
    phone.promise("await (await navigator.serviceWorker.ready).update()", Vec::new());
    phone.wait_for(
        "the new version waits",
        "window.r ??= 0; navigator.serviceWorker.ready.then((k) => { window.r = k.waiting ? 1 : 0 }); return window.r === 1",
    );
    phone.promise("await new Promise((r) => setTimeout(r, 100))", Vec::new());
    assert_eq!(phone.count("button", "Use it now"), 0);
    assert!(phone.holds(&title_is("Backstraight")));
    phone.run("delete document.documentElement.dataset.busy", Vec::new());
    phone.wait_to_see("button", "Use it now");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_version_that_is_not_whole_is_never_taken() {
    let (mut stage, phone) = with_newer(|newer| fs::remove_file(newer.file("index-", ".html")).unwrap());
    let asked = phone.promise(
        "try { await (await navigator.serviceWorker.ready).update(); } catch (e) {} \
         await new Promise((r) => setTimeout(r, 500)); \
         return (await navigator.serviceWorker.ready).waiting === null",
        Vec::new(),
    );
    assert_eq!(asked, true);
    stage.server.stop();
    phone.reload();
    assert!(phone.holds(&title_is("Backstraight")), "the old one goes on, also without a server");
    assert_eq!(phone.count("button", "Use it now"), 0);
}
