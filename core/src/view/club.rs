//! What the club has set for its review, and what counts where it set nothing (`docs/meanings.md`).
//! Common practice, no source: words and numbers of this project.

use crate::base::day::Day;
use crate::model::plan::Settings;

/// Thresholds of the review.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// Share of a session from which it counts as done.
    pub done_from: f64,
    /// Share of a maximum from which a set is called heavy.
    pub heavy_from: f64,
    /// Days after which a maximum is old.
    pub max_age_days: i32,
    /// Contacts of a session above which a junior's is pointed out.
    pub junior_contacts: f64,
    /// Days of silence after which an athlete is pointed out.
    pub silent_days: i32,
    /// Points of effort away from the one asked.
    pub effort_gap: f64,
    /// A week over the mean of the three before it.
    pub load_jump: f64,
    /// Days over which what happened counts as news.
    pub news_days: i32,
    /// Days before the last planned session at which the end of a plan is pointed out.
    pub end_days: i32,
    /// Month in which a season begins, 1 to 12.
    pub season_month: u8,
}

impl Default for Thresholds {
    fn default() -> Self {
        Thresholds {
            done_from: 0.9,
            heavy_from: 0.85,
            max_age_days: super::resolve::MAX_AGE_DAYS,
            junior_contacts: 80.0,
            silent_days: 4,
            effort_gap: 2.0,
            load_jump: 1.5,
            news_days: 7,
            end_days: 14,
            season_month: 10,
        }
    }
}

impl Thresholds {
    /// The club's, the usual ones where it set none.
    #[must_use]
    pub fn of(settings: Option<&Settings>) -> Thresholds {
        let usual = Thresholds::default();
        let Some(s) = settings else { return usual };
        let share = |v: Option<f64>, usual: f64| v.map_or(usual, |v| v / 1000.0);
        let days = |v: Option<crate::model::number::Small>, usual: i32| {
            v.and_then(|d| i32::try_from(d.get()).ok()).unwrap_or(usual)
        };
        Thresholds {
            done_from: share(s.done_from.map(|v| v.as_f64()), usual.done_from).min(1.0),
            heavy_from: share(s.heavy_from.map(|v| v.as_f64()), usual.heavy_from),
            max_age_days: days(s.max_age_days, usual.max_age_days),
            junior_contacts: s.junior_contacts.map_or(usual.junior_contacts, |c| c.as_f64()),
            silent_days: days(s.silent_days, usual.silent_days).max(1),
            effort_gap: share(s.effort_gap.map(|v| v.as_f64()), usual.effort_gap).max(0.1),
            load_jump: share(s.load_jump.map(|v| v.as_f64()), usual.load_jump),
            news_days: days(s.news_days, usual.news_days).max(1),
            end_days: days(s.end_days, usual.end_days),
            season_month: s
                .season_month
                .and_then(|m| u8::try_from(m.get()).ok())
                .filter(|m| (1..=12).contains(m))
                .unwrap_or(usual.season_month),
        }
    }

    /// The season in which a day lies, by the year in which that season ends. A season that begins
    /// in January is its calendar year.
    #[must_use]
    pub fn season(&self, day: Day) -> u16 {
        let month = day.month();
        let later = self.season_month > 1 && month.number() >= self.season_month;
        month.year() + u16::from(later)
    }
}

/// Whole years from a date of birth to a day. Somebody born on 29 February is a year older on
/// 1 March of other years.
#[must_use]
pub fn age(born: Day, on: Day) -> u16 {
    let (b, o) = (born.to_string(), on.to_string());
    // Month and day compare as texts.
    let before = o.get(5..) < b.get(5..);
    on.month().year().saturating_sub(born.month().year()).saturating_sub(u16::from(before))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(t: &str) -> Day {
        t.parse().unwrap()
    }

    #[test]
    fn seasons_and_ages() {
        let t = Thresholds::default();
        assert_eq!(t.season(day("2026-09-30")), 2026);
        assert_eq!(t.season(day("2026-10-01")), 2027);
        assert_eq!(Thresholds { season_month: 1, ..t }.season(day("2026-12-31")), 2026);
        assert_eq!(age(day("2008-02-29"), day("2026-02-28")), 17);
        assert_eq!(age(day("2008-02-29"), day("2026-03-01")), 18);
        assert_eq!(age(day("2008-11-25"), day("2026-11-25")), 18);
    }
}
