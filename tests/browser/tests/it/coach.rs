//! A coach's evening: a week planned at the desk by keys, given to the squad, changed while phones are away, and
//! settled where two edits met.

use backstraight_browser::{Key, Kind, Seat, Stage};
use serde_json::json;

use crate::{exchange, give, open_next_week, wait_until_sent};

/// What is typed in the line of a prescription.
const LINE: &str = "Sets, dose, how hard, rest";

#[track_caller]
fn wait_until_waiting(seat: &Seat) {
    seat.wait_for("something waits", "return document.querySelector('.ways .count') !== null");
}

/// The plan of an athlete on a desk.
#[track_caller]
pub(crate) fn plan_of(desk: &Seat, name: &str) {
    desk.tap("link", "Board");
    desk.tap("link", name);
    desk.tap("link", "Plan");
    desk.wait_for("the desk", "return document.querySelector('.desk-day') !== null");
}

/// Opens the session of that title in the week that is shown.
#[track_caller]
fn open_session(desk: &Seat, title: &str) {
    desk.wait_to_see("button", title);
    desk.tap("button", title);
    desk.wait_for("its editor", "return document.querySelector('.desk-editor .cells input') !== null");
}

/// Types the nth line of the session that is open, and leaves it by Enter.
fn write_line(desk: &Seat, nth: usize, text: &str) {
    let mark = "const all = [...document.querySelectorAll('.desk-item input')]; \
                all.forEach((e, i) => e.toggleAttribute('data-test', false)); all[arguments[0]].dataset.test = 'line';";
    desk.run(mark, vec![json!(nth)]);
    desk.fill_mark("line", text);
    desk.press(Key::Enter);
}

fn line(desk: &Seat, nth: usize) -> String {
    let text = desk
        .run("return document.querySelectorAll('.desk-item input')[arguments[0]].value", vec![json!(nth)]);
    text.as_str().unwrap_or_default().to_owned()
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_week_is_planned_by_keys_given_to_the_squad_and_taken_back() {
    let stage = Stage::of_the_club();
    let desk = stage.come_in(Kind::Desk, "Marta");
    plan_of(&desk, "Hanne Oakrill");
    // Next week, its first free day, and the focus is in the title.
    let before = desk.run("return location.hash", Vec::new());
    desk.press(Key::Right);
    desk.wait_for("another week", &format!("return location.hash !== {before}"));
    // Drawn too: today is not in it.
    desk.wait_for(
        "its sessions",
        "return document.querySelector('.desk-day.now') === null && document.querySelector('.desk-card') !== null",
    );
    desk.run("document.querySelector('.desk-day:not(:has(.desk-card)) .desk-add').focus()", Vec::new());
    desk.press(Key::Enter);
    desk.wait_for("the title", "return document.activeElement.value === 'New session'");
    // The session stands, so that what is typed is an edit of it.
    desk.wait_to_read("Session added");
    desk.press("Grass and hops");
    desk.press(Key::Enter);
    desk.wait_to_see("button", "Grass and hops");
    // An exercise by the beginning of its name, and its line as coaches write it.
    desk.focus("textbox", "Add an exercise");
    desk.press("bou");
    desk.wait_to_see("option", "Bounds");
    desk.press(Key::Down);
    desk.press(Key::Enter);
    desk.wait_for("the exercise", "return document.querySelectorAll('.desk-item').length === 1");
    desk.focus("textbox", LINE);
    desk.press_with(&[Key::Control], "a");
    desk.press("4x10 contacts, rest 2:00");
    desk.press(Key::Enter);
    desk.wait_for(
        "the line in the week",
        "return [...document.querySelectorAll('.desk-card')].some((c) => c.innerText.includes('Grass and hops') \
         && c.innerText.includes('Bounds 4x10 contacts'))",
    );
    // A line that cannot be read is said, and nothing is changed by it.
    desk.press_with(&[Key::Control], "a");
    desk.press("4x10 of something");
    desk.press(Key::Enter);
    desk.wait_for("what is wrong", "return document.querySelector('.desk-item .wrong') !== null");
    desk.press_with(&[Key::Control], "a");
    desk.press("4x12 contacts, rest 2:00");
    desk.press(Key::Enter);
    desk.wait_for("nothing is wrong", "return document.querySelector('.desk-item .wrong') === null");
    // Undo and redo by keys, outside of fields.
    wait_until_sent(&desk);
    desk.focus("button", "Give to others");
    desk.press_with(&[Key::Control], "z");
    desk.wait_to_read("Undone: ");
    desk.wait_for("undone", "return document.querySelector('.desk-item input').value.startsWith('4x10')");
    desk.press_with(&[Key::Control, Key::Shift], "z");
    desk.wait_to_read("Done again: ");
    desk.wait_for("done again", "return document.querySelector('.desk-item input').value.startsWith('4x12')");
    desk.shots("plan-session");
    desk.assert_accessible("a session on the desk");

    desk.tap("button", "Give to others");
    desk.wait_to_read("1 new session");
    desk.shots("plan-give");
    desk.assert_accessible("giving a session to others");
    give(&desk);

    // Another athlete's phone has it, with what it asks.
    let phone = stage.come_in(Kind::Phone, "Noor");
    open_next_week(&phone, "Grass and hops");
    phone.wait_to_read("Bounds");
    phone.wait_to_read("12 contacts");

    // One undo takes it from all of them.
    desk.tap("button", "Undo");
    desk.wait_to_read("Undone: Given to ");
    wait_until_sent(&desk);
    phone.tap("link", "Today");
    exchange(&phone);
    phone.tap("link", "Weeks");
    phone.tap("button", "Later");
    phone.wait_for("it is gone", "return !document.body.innerText.includes('Grass and hops')");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn what_a_phone_did_of_the_old_version_stands_against_the_old_version() {
    let stage = Stage::of_the_club();
    let phone = stage.come_in(Kind::Phone, "Hanne");
    phone.wait_until_kept();
    phone.tap("link", "Begin");
    phone.wait_to_see("button", "Done:");
    phone.offline(true);

    let desk = stage.come_in(Kind::Desk, "Marta");
    plan_of(&desk, "Hanne Oakrill");
    desk.wait_for(
        "today's session",
        "return document.querySelector('.desk-day.now .desk-open strong') !== null",
    );
    let today = "return document.querySelector('.desk-day.now .desk-open strong').innerText";
    let title = desk.run(today, Vec::new()).as_str().unwrap_or_default().to_owned();
    desk.run("document.querySelector('.desk-day.now .desk-open').click()", Vec::new());
    desk.wait_for("its editor", "return document.querySelectorAll('.desk-item input').length > 0");
    let names = desk
        .run("return [...document.querySelectorAll('.desk-item h3')].map((h) => h.innerText)", Vec::new());
    let clean = names.as_array().and_then(|all| all.iter().position(|n| n == "Hang power clean")).unwrap();
    let was = line(&desk, clean);
    write_line(&desk, clean, "6x2 @ 40 kg, rest 4:00");
    desk.wait_for(
        "the change",
        "return [...document.querySelectorAll('.desk-item input')].some((i) => i.value.startsWith('6x2'))",
    );
    wait_until_sent(&desk);
    assert!(was.starts_with("4x3 @ "), "{was}");

    // In the cellar the old version is shown, and done.
    phone.run(
        "const card = [...document.querySelectorAll('article')].find((a) => a.innerText.includes('Hang power clean')); \
         card.querySelector('.button.big').dataset.test = 'clean'",
        Vec::new(),
    );
    assert!(phone.read("clean").contains("x 3"), "{}", phone.read("clean"));
    phone.tap_mark("clean");
    phone.wait_to_read("Set saved on this phone");
    phone.tap("link", "Close the session");
    phone.fill("How hard was all of it?", "5");
    phone.fill("How long, rests included", "20");
    phone.tap("button", "Close");
    phone.wait_to_read("Session closed, saved on this phone");
    phone.offline(false);
    exchange(&phone);
    phone.wait_to_read("Everything is with your coach");
    phone.tap("link", "Today");
    phone.tap("link", "Go on");
    phone.wait_to_read("The coach changed this session after you began");

    desk.tap("link", "Board");
    let cell = format!(
        "return [...document.querySelectorAll('a.board-cell')].some((a) => a.ariaLabel.startsWith('Hanne Oakrill') \
         && a.ariaLabel.includes({}) && a.ariaLabel.includes('an earlier version was done'))",
        json!(title)
    );
    desk.wait_for("the board says so", &cell);
    desk.shots("board-earlier-version");
    desk.tap("link", "Hanne Oakrill");
    desk.tap("link", "Sessions");
    desk.wait_to_read("an earlier version was done");
    desk.wait_to_read("4 x 3 reps");
    desk.wait_to_read("6 x 2 reps, 40 kg");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn two_edits_that_met_are_shown_settled_and_the_choice_is_taken_back() {
    let stage = Stage::of_the_club();
    let (marta, jonas) = (stage.come_in(Kind::Desk, "Marta"), stage.come_in(Kind::Desk, "Jonas"));
    let mut title = String::new();
    for desk in [&marta, &jonas] {
        desk.wait_until_kept();
        plan_of(desk, "Noor Saltmarsh");
        desk.press(Key::Right);
        desk.wait_for("a session", "return document.querySelector('.desk-open strong') !== null");
        let first = desk.run("return document.querySelector('.desk-open strong').innerText", Vec::new());
        title = first.as_str().unwrap_or_default().to_owned();
        open_session(desk, &title);
        desk.offline(true);
    }
    // Different fields both stand, the same field is shown with both.
    write_line(&marta, 0, "3x4, rest 3:00");
    marta.fill("Minutes", "55");
    marta.press(Key::Enter);
    write_line(&jonas, 0, "3x6, rest 3:00");
    jonas.fill("Effort of the whole session", "6");
    jonas.press(Key::Enter);
    for desk in [&marta, &jonas] {
        wait_until_waiting(desk);
        desk.offline(false);
        wait_until_sent(desk);
    }
    for desk in [&marta, &jonas] {
        // The next exchange brings the other's edit.
        desk.run("document.dispatchEvent(new Event('visibilitychange', { bubbles: true }))", Vec::new());
        desk.wait_to_read("Two edits met here");
        let field = |label: &str| {
            desk.run(
                "return [...document.querySelectorAll('.desk-editor label')].find((l) => l.innerText.startsWith(arguments[0])).control.value",
                vec![json!(label)],
            )
        };
        assert_eq!((field("Minutes"), field("Effort")), (json!("55"), json!("6")), "other fields both stand");
    }
    marta.shots("plan-two-edits");
    marta.assert_accessible("two edits that met");
    assert!(marta.reads("Jonas Brindlemark") && marta.reads("Marta Quillfeather"));
    marta.tap("button", "4 reps");
    marta.wait_for("settled", "return !document.body.innerText.includes('Two edits met here')");
    assert!(line(&marta, 0).starts_with("3x4"), "{}", line(&marta, 0));
    wait_until_sent(&marta);
    jonas.run("document.dispatchEvent(new Event('visibilitychange', { bubbles: true }))", Vec::new());
    jonas.wait_for(
        "the other desk hears of it",
        "return document.querySelector('.desk-item input').value.startsWith('3x4') \
         && !document.body.innerText.includes('Two edits met here')",
    );
    assert!(!title.is_empty());
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn without_a_server_a_phone_logs_and_the_desk_opens_the_athletes_plan() {
    let mut stage = Stage::of_the_club();
    let desk = stage.come_in(Kind::Desk, "Marta");
    let phone = stage.come_in(Kind::Phone, "Ines");
    phone.wait_until_kept();
    desk.wait_until_kept();
    phone.wait_to_see("link", "Go on");
    desk.wait_to_see("link", "Ines Tarrowby");
    stage.server.stop();

    phone.tap("link", "Go on");
    phone.tap("button", "Done:");
    phone.wait_to_read("Set saved on this phone");

    desk.tap("link", "Ines Tarrowby");
    desk.tap("link", "Plan");
    desk.wait_for("the desk", "return document.querySelector('.desk') !== null");
    desk.shot("plan-offline");
}
