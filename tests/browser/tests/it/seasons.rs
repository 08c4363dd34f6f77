//! A new season beside the one that is going on, and a day of the whole squad that reaches the phones.

use backstraight_browser::{Key, Kind, Seat, Stage};

use crate::coach::plan_of;
use crate::{exchange, give, open_next_week, wait_until_sent};

/// Opens the way of the squad's day into the plans.
#[track_caller]
fn put_into_plans(desk: &Seat) {
    desk.run(
        "const line = [...document.querySelectorAll('li.row')].find((l) => l.innerText.includes('Hops in the hall') \
         && l.innerText.includes('in the plans of')); line.querySelector('button').dataset.test = 'give'",
        Vec::new(),
    );
    desk.tap_mark("give");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_new_season_is_begun_early_and_todays_session_stays_on_phone_and_board() {
    let stage = Stage::of_the_club();
    let phone = stage.come_in(Kind::Phone, "Hanne");
    phone.wait_to_see("link", "Begin");
    let desk = stage.come_in(Kind::Desk, "Marta");
    plan_of(&desk, "Hanne Oakrill");
    desk.tap("button", "Season");
    desk.wait_to_read("Begin a new season");
    // Days that lie in the season that is going on are refused, with words.
    desk.run(
        "const box = [...document.querySelectorAll('details')].find((d) => d.innerText.includes('Begin a new season')); \
         box.open = true; const [title, from, to] = box.querySelectorAll('input'); \
         title.dataset.test = 'title'; from.dataset.test = 'from'; to.dataset.test = 'to'; \
         window.first = from.value; from.value = '2026-12-01'; from.dispatchEvent(new Event('change', { bubbles: true }))",
        Vec::new(),
    );
    desk.fill_mark("title", "Indoors and on");
    desk.tap("button", "Begin it");
    desk.wait_to_read("Choose days after it, or end it earlier first");
    desk.run(
        "const from = document.querySelector('[data-test=from]'); from.value = window.first; \
         from.dispatchEvent(new Event('change', { bubbles: true }))",
        Vec::new(),
    );
    desk.shots("season-begin");
    desk.assert_accessible("beginning a season");
    desk.tap("button", "Begin it");
    desk.wait_to_read("Season begun");
    desk.wait_to_read("Indoors and on: ");
    // The last days of the one that goes on and the first of the new one are in one week.
    desk.wait_for(
        "its first week",
        "return document.querySelector('.desk-day.now') === null && document.querySelector('.desk-card') !== null",
    );
    desk.run("[...document.querySelectorAll('.desk-add')].at(-1).focus()", Vec::new());
    desk.press(Key::Enter);
    desk.wait_to_read("Session added");
    desk.wait_for("the title", "return document.activeElement.value === 'New session'");
    desk.press("Grass again");
    desk.press(Key::Enter);
    desk.wait_to_see("button", "Grass again");
    assert!(desk.count("button", "Strength, speed of the bar") > 0, "the other season's stay in the week");
    desk.shots("season-next");
    wait_until_sent(&desk);

    exchange(&phone);
    phone.tap("link", "Today");
    phone.wait_to_see("link", "Begin");
    let cells = "return [...document.querySelectorAll('a.board-cell')].some((a) => a.ariaLabel.startsWith('Hanne Oakrill') \
                 && !a.ariaLabel.includes('nothing'))";
    desk.tap("link", "Board");
    desk.wait_for("this season on the board", cells);
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_test_day_of_the_squad_reaches_the_phones_and_follows_a_change() {
    let stage = Stage::of_the_club();
    let desk = stage.come_in(Kind::Desk, "Marta");
    plan_of(&desk, "Hanne Oakrill");
    desk.tap("button", "Season");
    desk.fill("A new day", "Hops in the hall");
    desk.press(Key::Enter);
    desk.wait_to_read("Hops in the hall");
    put_into_plans(&desk);
    desk.wait_to_read("1 new session");
    desk.shots("season-day-give");
    desk.assert_accessible("a squad's day into the plans");
    give(&desk);

    let phone = stage.come_in(Kind::Phone, "Noor");
    open_next_week(&phone, "Hops in the hall");
    phone.shots("session-of-a-test-day");
    phone.assert_accessible("a test day on the phone");

    // When it starts is said later, and put there again.
    desk.run(
        "[...document.querySelectorAll('.desk-record > button')].find((b) => b.innerText.includes('Hops in the hall')).click()",
        Vec::new(),
    );
    desk.fill("Starts at", "18:30");
    desk.press(Key::Enter);
    put_into_plans(&desk);
    desk.wait_to_read("1 field follows");
    give(&desk);
    exchange(&phone);
    open_next_week(&phone, "Hops in the hall");
    phone.wait_to_read("starts at 18:30");
}
