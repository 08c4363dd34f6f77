//! Days in words, short enough for an axis and a cell. Knows no time zone: days are those of the athlete's place.

use backstraight_core::base::day::Day;

use crate::words::{Word, say_with, word};

const MONTHS: [Word; 12] = [
    word("date.month.jan"),
    word("date.month.feb"),
    word("date.month.mar"),
    word("date.month.apr"),
    word("date.month.may"),
    word("date.month.jun"),
    word("date.month.jul"),
    word("date.month.aug"),
    word("date.month.sep"),
    word("date.month.oct"),
    word("date.month.nov"),
    word("date.month.dec"),
];
const WEEKDAYS: [Word; 7] = [
    word("date.day.mon"),
    word("date.day.tue"),
    word("date.day.wed"),
    word("date.day.thu"),
    word("date.day.fri"),
    word("date.day.sat"),
    word("date.day.sun"),
];

/// "Nov".
#[must_use]
pub fn month(day: Day) -> &'static str {
    let i = usize::from(day.month().number()).saturating_sub(1);
    MONTHS.get(i).map_or("", |w| w.text())
}

/// "Mon".
#[must_use]
pub fn weekday(day: Day) -> &'static str {
    usize::try_from(day.weekday_index()).ok().and_then(|i| WEEKDAYS.get(i)).map_or("", |w| w.text())
}

/// The number of the day in its month.
#[must_use]
pub fn of_month(day: Day) -> String {
    let text = day.to_string();
    text.rsplit('-').next().unwrap_or("").trim_start_matches('0').to_owned()
}

/// "23 Nov".
#[must_use]
pub fn short(day: Day) -> String {
    say_with("date.short", &[("day", &of_month(day)), ("month", month(day))])
}

/// "Mon 23 Nov".
#[must_use]
pub fn named(day: Day) -> String {
    say_with("date.named", &[("weekday", weekday(day)), ("day", &of_month(day)), ("month", month(day))])
}

/// "Mon 23 Nov 2026".
#[must_use]
pub fn full(day: Day) -> String {
    let year = day.month().year().to_string();
    say_with(
        "date.full",
        &[("weekday", weekday(day)), ("day", &of_month(day)), ("month", month(day)), ("year", &year)],
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_said() {
        let monday: Day = "2026-11-02".parse().unwrap();
        assert_eq!(short(monday), "2 Nov");
        assert_eq!(named(monday), "Mon 2 Nov");
        assert_eq!(full(monday.plus(30)), "Wed 2 Dec 2026");
    }
}
