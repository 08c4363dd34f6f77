//! The part of the program that an athlete's phone does not need: not loaded there, kept where it is used, brought
//! along by a new version, and said when it is not to be had.

use std::fs;

use backstraight_browser::{Built, Kind, PART, Seat, Stage, must};
use serde_json::json;

/// What the board, a screen of the part, says without a server.
const OF_THE_BOARD: &str = "This screen shows what the server knows";

/// How many files of parts the browser keeps, and how many this load of the page asked for.
fn parts(seat: &Seat) -> (u64, u64) {
    let counts = seat.promise(
        "const [starts, ends] = args; \
         const is = (url) => { const path = new URL(url).pathname; \
           return path.startsWith('/' + starts) && path.endsWith(ends); }; \
         const kept = []; \
         for (const name of await caches.keys()) kept.push(...await (await caches.open(name)).keys()); \
         return [kept.filter((r) => is(r.url)).length, \
           performance.getEntriesByType('resource').filter((e) => is(e.name)).length]",
        vec![json!(PART.0), json!(PART.1)],
    );
    let count = |n: usize| must(counts[n].as_u64().ok_or("no number"), "a count");
    (count(0), count(1))
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn an_athletes_phone_is_spared_what_a_coachs_keeps() {
    let mut stage = Stage::of_the_club();
    let athlete = stage.come_in(Kind::Phone, "Hanne");
    athlete.wait_until_kept();
    athlete.wait_to_see("link", "Begin");
    assert_eq!(parts(&athlete), (0, 0), "neither kept nor loaded");

    let coach = stage.come_in(Kind::Phone, "Marta");
    coach.wait_until_kept();
    assert_eq!(parts(&coach), (1, 1));
    stage.server.stop();
    coach.reload();
    coach.wait_to_read(OF_THE_BOARD);
    coach.go("/#/library");
    coach.wait_to_see("heading", "Library");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_new_version_brings_the_part_along() {
    let mut stage = Stage::of_the_club();
    let coach = stage.come_in(Kind::Desk, "Marta");
    coach.wait_until_kept();
    let newer = Built::usual().copy_to(&stage.folder("newer"));
    newer.make_newer("Backstraight, newer");
    stage.server.serve_page(newer.folder());
    stage.server.again();
    coach.reload();
    coach.wait_to_see("button", "Use it now");
    // Whole before it is offered, without a word from the page.
    stage.server.stop();
    coach.tap("button", "Use it now");
    coach.wait_for("the new version", "return document.title === 'Backstraight, newer'");
    coach.wait_until_ready();
    coach.wait_to_read(OF_THE_BOARD);
    assert_eq!(parts(&coach), (1, 1));
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_part_that_is_not_to_be_had_is_said_and_tried_again() {
    let mut stage = Stage::of_the_club();
    let without = Built::usual().copy_to(&stage.folder("without"));
    fs::remove_file(without.file(PART.0, PART.1)).unwrap();
    stage.server.serve_page(without.folder());
    stage.server.again();
    let coach = stage.come_in(Kind::Phone, "Marta");
    coach.wait_to_read("This part of the page could not be loaded");
    coach.shots("part-missing");
    coach.assert_accessible("a part that is missing");
    // What is in the program itself goes on.
    coach.go("/#/unsent");
    coach.wait_to_see("heading", "Not sent yet");
    coach.go("/#/board");
    coach.tap("button", "Try again");
    coach.wait_to_read("This part of the page could not be loaded");
    stage.server.serve_page(Built::usual().folder());
    stage.server.again();
    coach.tap("button", "Try again");
    coach.wait_to_see("link", "Ines Tarrowby");
}
