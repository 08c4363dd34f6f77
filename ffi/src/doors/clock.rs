//! The phone's clock as the app tells it with each call, so that jumps are the app's and tests' to make.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use backstraight_core::base::moment::Moment;
use backstraight_core::device::Clock;

/// The time and place of the phone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Record)]
pub struct Now {
    /// Ms since 1970 in UTC.
    pub utc_ms: i64,
    /// Minutes that local time is ahead of UTC at that time.
    pub ahead_min: i32,
}

/// What was told last, and when: a long exchange goes on from there.
#[derive(Debug, Clone)]
pub(super) struct ToldClock(Arc<Mutex<(Now, Instant)>>);

impl ToldClock {
    pub(super) fn at(now: Now) -> ToldClock {
        ToldClock(Arc::new(Mutex::new((now, Instant::now()))))
    }

    pub(super) fn tell(&self, now: Now) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = (now, Instant::now());
    }
}

impl Clock for ToldClock {
    fn now(&self) -> Moment {
        let (told, at) = *self.0.lock().unwrap_or_else(PoisonError::into_inner);
        Moment(told.utc_ms).plus_ms(i64::try_from(at.elapsed().as_millis()).unwrap_or(0))
    }

    fn zone_minutes(&self) -> i32 {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).0.ahead_min
    }
}
