//! An instant, always handed in: core never asks a clock.

use core::fmt;

/// Milliseconds since 1970-01-01T00:00:00Z.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Moment(pub i64);

impl Moment {
    /// The earliest instant that a record may carry: 2020-01-01. An earlier clock was never set.
    pub const EARLIEST: Moment = Moment(1_577_836_800_000);
    /// The latest instant that a record may carry: 2080-01-01.
    pub const LATEST: Moment = Moment(3_471_292_800_000);

    /// Whether a device clock that says this can be believed at all.
    #[must_use]
    pub fn plausible(self) -> bool {
        Self::EARLIEST <= self && self <= Self::LATEST
    }

    /// Whole seconds since the epoch, as the change header of a document wants them.
    #[must_use]
    pub fn seconds(self) -> i64 {
        self.0.div_euclid(1000)
    }

    /// The moment `ms` milliseconds later (earlier when negative), saturating.
    #[must_use]
    pub fn plus_ms(self, ms: i64) -> Moment {
        Moment(self.0.saturating_add(ms))
    }
}

impl fmt::Display for Moment {
    /// RFC 3339 in UTC, to the second; the bare number when outside the calendar.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match time::OffsetDateTime::from_unix_timestamp(self.seconds()) {
            Ok(t) if t.year() >= 0 => {
                let (year, month, day) = t.to_calendar_date();
                let (hour, minute, second) = t.to_hms();
                write!(f, "{year:04}-{:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z", u8::from(month))
            }
            _ => write!(f, "{} ms", self.0),
        }
    }
}
