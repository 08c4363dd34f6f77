//! Says when this device's clock is far from the server's. Nothing stops for it: what is logged is dated by this
//! clock, so only a person can put it right.

use leptos::prelude::*;

use crate::hub::use_hub;
use crate::words::{say, say_n, say_with};

/// Clocks that differ by less than this say nothing: ten minutes move no session to another day but one at midnight.
const APART_MS: u64 = 10 * 60_000;

/// What is said of a clock that is so many milliseconds ahead; nothing while that does no harm.
#[must_use]
pub fn words(ahead: i64) -> Option<String> {
    let apart = ahead.unsigned_abs();
    if apart < APART_MS {
        return None;
    }
    let minutes = apart / 60_000;
    let time = match minutes {
        0..120 => say_n("clock.minutes", minutes, &[]),
        120..2_880 => say_n("clock.hours", minutes / 60, &[]),
        _ => say_n("clock.days", minutes / 1_440, &[]),
    };
    let key = [("time", time.as_str())];
    Some(if ahead > 0 { say_with("clock.ahead", &key) } else { say_with("clock.behind", &key) })
}

/// It above a screen, as the last exchange found it.
#[component]
pub fn ClockApart() -> impl IntoView {
    let hub = use_hub();
    let said = Memo::new(move |_| hub.report.with(|r| r.as_ref().and_then(|r| words(r.clock_ahead))));
    view! {
        <div role="status">
            {move || said.get().map(|text| view! {
                <div class="box error clock-apart">
                    <p><strong>{text}</strong></p>
                    <p>{say("clock.todo")}</p>
                </div>
            })}
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_told_in_the_unit_in_which_it_is_wrong() {
        const HOUR: i64 = 3_600_000;
        assert_eq!(words(9 * 60_000), None);
        assert_eq!(words(-9 * 60_000), None);
        let ahead = words(11 * 60_000).unwrap();
        assert!(ahead.contains("11 minutes") && ahead.contains("ahead"), "{ahead}");
        let behind = words(-26 * HOUR).unwrap();
        assert!(behind.contains("26 hours") && behind.contains("behind"), "{behind}");
        assert!(words(49 * HOUR).unwrap().contains("2 days"));
        assert!(words(i64::MIN).is_some());
    }
}
