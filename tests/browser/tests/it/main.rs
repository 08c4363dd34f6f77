//! Stories of phones and desks in a real browser: `cargo xtask browser` runs them, two at a time. They are
//! ignored in `cargo test`, which a machine without a browser runs too.

mod athlete;
mod coach;
mod own;
mod page;
mod parts;
mod screens;
mod seasons;
mod session;
mod trouble;
mod versions;

use backstraight_browser::Seat;

/// Exchanges at the screen of what was not sent.
#[track_caller]
fn exchange(phone: &Seat) {
    phone.run("location.hash = '#/unsent'", Vec::new());
    phone.tap("button", "Exchange now");
    phone.wait_to_read("Exchanged at");
}

/// Waits until nothing of this device is waiting for the server any more.
#[track_caller]
fn wait_until_sent(seat: &Seat) {
    seat.wait_for("all is sent", "return document.querySelector('.ways .count') === null");
}

/// Gives what the dialog has to all that are chosen.
#[track_caller]
fn give(desk: &Seat) {
    desk.tap("button", "Give to those chosen");
    desk.wait_to_read("Given to ");
    wait_until_sent(desk);
}

/// Opens a session of next week.
#[track_caller]
fn open_next_week(phone: &Seat, title: &str) {
    phone.tap("link", "Weeks");
    phone.tap("button", "Later");
    phone.wait_to_see("link", title);
    phone.tap("link", title);
}
