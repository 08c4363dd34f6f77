//! A clock that a story or a test sets.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use backstraight_core::base::moment::Moment;
use backstraight_ffi::phone::Clock;

/// A clock that shows what it was set to. Clones are the same clock.
#[derive(Debug, Clone, Default)]
pub struct SetClock(Arc<AtomicI64>);

impl SetClock {
    /// A clock that shows `now`.
    #[must_use]
    pub fn at(now: Moment) -> SetClock {
        SetClock(Arc::new(AtomicI64::new(now.0)))
    }

    /// Sets it.
    pub fn set(&self, now: Moment) {
        self.0.store(now.0, Ordering::Relaxed);
    }
}

impl Clock for SetClock {
    fn now(&self) -> Moment {
        Moment(self.0.load(Ordering::Relaxed))
    }

    fn zone_minutes(&self) -> i32 {
        0
    }
}
