//! Calendar days and months of the athlete's own place. No clock, no time zone look-up.

use core::fmt;
use core::str::FromStr;

use time::{Date, OffsetDateTime, Weekday};

/// A local calendar date, `YYYY-MM-DD`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(Date);

/// A calendar month, `YYYY-MM`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Month {
    year: u16,
    month: u8,
}

/// A text that is no day between 1900 and 2199, or no month between 2000 and 2199.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("not a calendar {what} between {first} and 2199: {text:?}")]
pub struct DayError {
    what: &'static str,
    first: u16,
    text: String,
}

impl DayError {
    const fn new(what: &'static str, first: u16, text: String) -> DayError {
        DayError { what, first, text }
    }
}

/// First year of a day: people were born before there were documents.
const FIRST_YEAR: u16 = 1900;
/// First year of a month, and so of every log.
const FIRST_LOG_YEAR: u16 = 2000;

impl Day {
    /// A day from its numbers.
    ///
    /// # Errors
    /// When the numbers name no day between 1900 and 2199.
    pub fn new(year: i16, month: i8, day: i8) -> Result<Day, DayError> {
        let bad = || DayError::new("day", FIRST_YEAR, format!("{year}-{month}-{day}"));
        if !(1900..=2199).contains(&year) {
            return Err(bad());
        }
        let month = u8::try_from(month).ok().and_then(|m| time::Month::try_from(m).ok()).ok_or_else(bad)?;
        let day = u8::try_from(day).map_err(|_| bad())?;
        Date::from_calendar_date(i32::from(year), month, day).map(Day).map_err(|_| bad())
    }

    /// The day `n` days later (earlier when negative); the same day where the calendar ends.
    #[must_use]
    pub fn plus(self, n: i32) -> Day {
        Day(Date::from_julian_day(self.0.to_julian_day().saturating_add(n)).unwrap_or(self.0))
    }

    /// Days from `other` to `self`.
    #[must_use]
    pub fn since(self, other: Day) -> i32 {
        self.0.to_julian_day().saturating_sub(other.0.to_julian_day())
    }

    /// The Monday on or before this day (ISO 8601 weeks).
    #[must_use]
    pub fn week_start(self) -> Day {
        self.plus(-i32::from(self.weekday_index()))
    }

    /// Monday 0 to Sunday 6.
    #[must_use]
    pub fn weekday_index(self) -> i8 {
        self.0.weekday().number_days_from_monday().cast_signed()
    }

    /// English short name of the weekday.
    #[must_use]
    pub fn weekday_name(self) -> &'static str {
        match self.0.weekday() {
            Weekday::Monday => "Mon",
            Weekday::Tuesday => "Tue",
            Weekday::Wednesday => "Wed",
            Weekday::Thursday => "Thu",
            Weekday::Friday => "Fri",
            Weekday::Saturday => "Sat",
            Weekday::Sunday => "Sun",
        }
    }

    /// The month in which the day lies.
    #[must_use]
    pub fn month(self) -> Month {
        Month { year: u16::try_from(self.0.year()).unwrap_or_default(), month: self.0.month().into() }
    }

    /// The UTC calendar day of an instant shifted by a zone offset in minutes.
    ///
    /// # Errors
    /// When the instant lies outside 2000 to 2199: no clock of ours ran before.
    pub fn of(moment: super::moment::Moment, offset_min: i32) -> Result<Day, DayError> {
        let bad = || DayError::new("day", FIRST_LOG_YEAR, format!("{} ms", moment.0));
        let secs = moment.seconds().saturating_add(i64::from(offset_min) * 60);
        let date = OffsetDateTime::from_unix_timestamp(secs).map_err(|_| bad())?.date();
        if (i32::from(FIRST_LOG_YEAR)..=2199).contains(&date.year()) { Ok(Day(date)) } else { Err(bad()) }
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.0.year(), u8::from(self.0.month()), self.0.day())
    }
}

impl FromStr for Day {
    type Err = DayError;
    fn from_str(text: &str) -> Result<Day, DayError> {
        let bad = || DayError::new("day", FIRST_YEAR, text.chars().take(20).collect());
        let mut parts = text.split('-');
        let (Some(y), Some(m), Some(d), None) = (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(bad());
        };
        if text.len() != 10 || y.len() != 4 || m.len() != 2 {
            return Err(bad());
        }
        let num = |s: &str| s.parse::<i16>().map_err(|_| bad());
        let small = |s: &str| s.parse::<i8>().map_err(|_| bad());
        Day::new(num(y)?, small(m)?, small(d)?).map_err(|_| bad())
    }
}

impl Month {
    /// A month from its numbers.
    ///
    /// # Errors
    /// When the year is not 2000 to 2199 or the month not 1 to 12.
    pub fn new(year: u16, month: u8) -> Result<Month, DayError> {
        if (2000..=2199).contains(&year) && (1..=12).contains(&month) {
            Ok(Month { year, month })
        } else {
            Err(DayError::new("month", FIRST_LOG_YEAR, format!("{year}-{month}")))
        }
    }

    /// The year.
    #[must_use]
    pub fn year(self) -> u16 {
        self.year
    }

    /// 1 to 12.
    #[must_use]
    pub fn number(self) -> u8 {
        self.month
    }

    /// Its first day.
    ///
    /// # Errors
    /// When it lies outside 1900 to 2199.
    pub fn first_day(self) -> Result<Day, DayError> {
        let bad = || DayError::new("day", FIRST_YEAR, self.to_string());
        let (year, month) = (i16::try_from(self.year), i8::try_from(self.month));
        Day::new(year.map_err(|_| bad())?, month.map_err(|_| bad())?, 1)
    }
}

impl fmt::Display for Month {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.year, self.month)
    }
}

impl FromStr for Month {
    type Err = DayError;
    fn from_str(text: &str) -> Result<Month, DayError> {
        let bad = || DayError::new("month", FIRST_LOG_YEAR, text.chars().take(20).collect());
        let (y, m) = text.split_once('-').ok_or_else(bad)?;
        if y.len() != 4 || m.len() != 2 {
            return Err(bad());
        }
        Month::new(y.parse().map_err(|_| bad())?, m.parse().map_err(|_| bad())?).map_err(|_| bad())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::moment::Moment;

    #[test]
    fn days_read_back_and_step_over_a_leap_day() {
        let d: Day = "2028-02-28".parse().unwrap();
        assert_eq!(d.plus(1).to_string(), "2028-02-29");
        assert_eq!(d.plus(2).to_string(), "2028-03-01");
        assert_eq!(d.plus(2).since(d), 2);
        assert_eq!(d.month().to_string(), "2028-02");
    }

    #[test]
    fn a_month_starts_on_its_first() {
        let first = |text: &str| text.parse::<Month>().unwrap().first_day().unwrap();
        assert_eq!([first("2026-12"), first("2028-02")].map(|d| d.to_string()), ["2026-12-01", "2028-02-01"]);
        let end: Month = "2199-12".parse().unwrap();
        assert!(end.first_day().unwrap().plus(31).month().first_day().is_err(), "the calendar ends");
    }

    #[test]
    fn a_week_starts_on_monday() {
        let wednesday: Day = "2026-11-25".parse().unwrap();
        assert_eq!(wednesday.weekday_name(), "Wed");
        assert_eq!(wednesday.week_start().to_string(), "2026-11-23");
        assert_eq!(wednesday.week_start().week_start(), wednesday.week_start());
    }

    #[test]
    fn nonsense_is_no_day() {
        for t in [
            "",
            "2026-13-01",
            "2027-02-29",
            "1899-12-31",
            "2200-01-01",
            "26-01-01",
            "2026-1-01",
            "2026-01-01x",
            "é026-01-01",
        ] {
            assert!(t.parse::<Day>().is_err(), "{t}");
        }
        assert!("1900-01-01".parse::<Day>().is_ok() && "1999-12-31".parse::<Day>().is_ok());
        for t in ["2026-00", "2026-13", "1999-01", "2026", "2026-1"] {
            assert!(t.parse::<Month>().is_err(), "{t}");
        }
    }

    #[test]
    fn the_local_day_follows_the_offset() {
        let m = Moment(1_764_111_600_000); // 2025-11-25T23:00:00Z
        assert_eq!(Day::of(m, 0).unwrap().to_string(), "2025-11-25");
        assert_eq!(Day::of(m, 60).unwrap().to_string(), "2025-11-26");
        assert_eq!(Day::of(m, -300).unwrap().to_string(), "2025-11-25");
    }
}
