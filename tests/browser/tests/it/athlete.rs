//! An athlete in a cellar: everything is logged without a server, outlives the browser, and reaches the coach.

use backstraight_browser::{Kind, Stage};

use super::session::{here, sets, wait_for_sets};

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_session_without_a_server_outlives_the_browser_and_reaches_the_coach() {
    let mut stage = Stage::of_the_club();
    let mut phone = stage.come_in(Kind::Phone, "Hanne");
    phone.wait_until_kept();
    phone.wait_to_see("link", "Begin");
    stage.server.stop();

    phone.tap("link", "Begin");
    phone.wait_to_see("button", "Done:");
    let (session, before) = (here(&phone), sets(&phone));
    // One tap logs what was asked.
    phone.tap("button", "Done:");
    wait_for_sets(&phone, before + 1);
    phone.wait_to_read("Saved on this phone");
    // Whoever works with keys goes on where they were, though all of it was drawn anew.
    phone.wait_for("the focus", "return document.activeElement.innerText.startsWith('Done:')");
    // The rest runs in sight, wherever one is in the session, and is stopped when it is not wanted.
    phone.run(
        "const a = [...document.querySelectorAll('article')].find((a) => a.innerText.includes('Hang power clean')); \
         a.querySelector('.button.big').dataset.test = 'with-rest'",
        Vec::new(),
    );
    phone.tap_mark("with-rest");
    wait_for_sets(&phone, before + 2);
    phone.wait_for(
        "the rest in sight",
        "const r = document.querySelector('.rest')?.getBoundingClientRect(); return !!r && r.top > 0 && r.bottom < innerHeight",
    );
    phone.tap("button", "Stop rest");
    phone.wait_for("no rest", "return document.querySelector('.rest') === null");
    // A slip is corrected, and the first entry stays readable as such.
    phone.tap("button", "Correct 1");
    phone.fill("Repetitions", "3");
    phone.tap("button", "Save the correction");
    phone.wait_to_read("corrected");
    // Another exercise in the place of one that cannot be done here.
    phone.tap("button", "Swap");
    phone.fill("Exercise", "High-knee");
    phone.tap("option", "High-knee");
    phone.fill("Repetitions", "8");
    phone.tap("button", "Save the set");
    phone.wait_to_read("in place of");
    // What was taken back is not there, and what took it back can be undone.
    let logged = sets(&phone);
    phone.tap("button", "Done:");
    wait_for_sets(&phone, logged + 1);
    assert_eq!(phone.count("button", "Undo"), 1, "of several nobody could tell which deed they mean");
    phone.tap("button", "Undo");
    wait_for_sets(&phone, logged);
    phone.tap("button", "Something hurts");
    phone.wait_to_read("This page gives no diagnosis");
    phone.fill("Where", "outside of the left knee");
    phone.fill("How strong", "3");
    phone.tap("button", "Save");
    phone.wait_for("the sheet closes", "return document.querySelector('dialog[open]') === null");
    phone.tap("link", "Close the session");
    phone.fill("How hard was all of it?", "7");
    phone.fill("How long, rests included", "65");
    phone.tap("button", "Close");
    phone.wait_to_read("Session closed, saved on this phone");

    phone.close();
    phone.reopen();
    phone.go(&format!("/{session}"));
    wait_for_sets(&phone, logged);
    assert!(phone.reads("closed") && phone.reads("corrected") && phone.reads("in place of"));
    assert!(phone.reads("Saved on this phone"));
    // Nothing is next in a session that is over; more can still be said and logged.
    assert_eq!(
        phone.run("return document.querySelectorAll('.next, main .button.main').length", Vec::new()),
        0
    );
    phone.wait_to_see("link", "Change how it was at the end");
    phone.go("/#/unsent");
    phone.wait_to_read("Reports of pain and illness");

    stage.server.again();
    phone.tap("button", "Exchange now");
    phone.wait_to_read("Everything is with your coach");
    phone.go(&format!("/{session}"));
    phone.wait_to_read("With your coach");
    assert!(!phone.reads("Saved on this phone"));

    let desk = stage.come_in(Kind::Desk, "Marta");
    desk.wait_to_see("link", "Hanne Oakrill");
    desk.tap("link", "Hanne Oakrill");
    desk.tap("link", "Sessions");
    desk.wait_to_read("High-knee");
    desk.wait_to_read("65 min");
    // Of health, coaches read what an athlete opened to them.
    assert!(!desk.reads("outside of the left knee"));
}
