//! The browser's clock and place.

use backstraight_core::base::moment::Moment;
use backstraight_core::device::Clock;

/// The clock of the browser.
#[derive(Debug, Clone, Copy)]
pub struct BrowserClock;

/// Now.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "milliseconds of the calendar are far below 2^53")]
pub fn now() -> Moment {
    Moment(js_sys::Date::now() as i64)
}

/// Minutes that local time is ahead of UTC.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "an offset is less than a day")]
pub fn zone_minutes() -> i32 {
    -(js_sys::Date::new_0().get_timezone_offset() as i32)
}

impl Clock for BrowserClock {
    fn now(&self) -> Moment {
        now()
    }

    fn zone_minutes(&self) -> i32 {
        zone_minutes()
    }
}

/// Waits so many milliseconds; a hidden page may wait longer.
pub async fn pause(ms: i32) {
    let wait = js_sys::Promise::new(&mut |resolve, _| {
        if let Some(window) = web_sys::window() {
            let _ = window.set_timeout_with_callback_and_timeout_and_arguments_0(&resolve, ms);
        }
    });
    let _ = wasm_bindgen_futures::JsFuture::from(wait).await;
}
