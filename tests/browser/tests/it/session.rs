//! What stories about a session ask of the phone that shows it.

use backstraight_browser::Seat;

/// Sets that are shown.
pub(crate) fn sets(phone: &Seat) -> u64 {
    phone.run("return document.querySelectorAll('.sets li').length", Vec::new()).as_u64().unwrap_or_default()
}

/// Waits until so many are shown.
#[track_caller]
pub(crate) fn wait_for_sets(phone: &Seat, n: u64) {
    phone.wait_for("sets", &format!("return document.querySelectorAll('.sets li').length === {n}"));
}

/// The part of an address that names the session.
pub(crate) fn here(phone: &Seat) -> String {
    phone.run("return location.hash", Vec::new()).as_str().unwrap_or_default().to_owned()
}
