//! What an athlete may train, as care staff said it. Silence is not "full": where nothing was said
//! there is nothing to show. Names no reason and no diagnosis; knows no right of a reader.

use crate::base::day::Day;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::doc::read::Entry;
use crate::model::care::Availability;
use crate::model::number::{Available, Text};

/// One thing that care staff said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// The record.
    pub key: Key,
    /// When it was said.
    pub at: Moment,
    /// First day.
    pub from: Day,
    /// Last day; without it, until somebody says otherwise.
    pub until: Option<Day>,
    /// How much.
    pub level: Available,
    /// What to avoid.
    pub avoid: Option<Text<200>>,
    /// What to do in its place.
    pub instead: Option<Text<200>>,
}

impl Said {
    /// From a record.
    #[must_use]
    pub fn of(entry: &Entry<Availability>) -> Said {
        let r = &entry.record;
        Said {
            key: entry.key(),
            at: r.at,
            from: r.from,
            until: r.until,
            level: r.level,
            avoid: r.avoid.clone(),
            instead: r.instead.clone(),
        }
    }

    /// Whether it holds on a day.
    #[must_use]
    pub fn holds(&self, day: Day) -> bool {
        self.from <= day && self.until.is_none_or(|until| day <= until)
    }

    /// In words for athlete and coach.
    #[must_use]
    pub fn words(&self) -> String {
        let until = self.until.map_or_else(String::new, |d| format!(" until {d}"));
        let avoid = self.avoid.as_ref().map_or_else(String::new, |a| format!(": avoid {a}"));
        let instead = self.instead.as_ref().map_or_else(String::new, |i| format!("; instead: {i}"));
        let what = match self.level {
            Available::Full => "full training",
            Available::Modified => "modified training",
            Available::No => "no training",
        };
        format!("{what} from {}{until}{avoid}{instead}", self.from)
    }
}

/// All that was said, as it stands; withdrawn records left out.
#[must_use]
pub fn said(entries: &[Entry<Availability>]) -> Vec<Said> {
    entries.iter().filter(|e| e.live()).map(Said::of).collect()
}

/// What holds on a day: of all that covers it, what was said last. `None`: nothing was said.
#[must_use]
pub fn on(said: &[Said], day: Day) -> Option<&Said> {
    said.iter().filter(|s| s.holds(day)).max_by_key(|s| (s.at, s.key.clone()))
}

/// What changes how a session of that day should look: everything but full training.
#[must_use]
pub fn limits(said: &[Said], day: Day) -> Option<&Said> {
    on(said, day).filter(|s| s.level != Available::Full)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(n: i8) -> Day {
        Day::new(2026, 11, n).unwrap()
    }

    fn one(n: i64, from: i8, until: Option<i8>, level: Available) -> Said {
        Said {
            key: format!("abcdef-{n}").parse().unwrap(),
            at: Moment(n * 1000),
            from: day(from),
            until: until.map(day),
            level,
            avoid: (level == Available::Modified).then(|| Text::new("jumps").unwrap()),
            instead: None,
        }
    }

    #[test]
    fn what_was_said_last_counts_and_what_ended_gives_way_again() {
        let all = [
            one(1, 1, None, Available::Modified),
            one(2, 10, Some(14), Available::No),
            one(3, 20, None, Available::Full),
        ];
        let level = |n| on(&all, day(n)).map(|s| s.level);
        assert_eq!(level(1), Some(Available::Modified));
        assert_eq!(
            [9, 10, 14, 15].map(level),
            [Some(Available::Modified), Some(Available::No), Some(Available::No), Some(Available::Modified)]
        );
        assert_eq!(level(20), Some(Available::Full));
        assert!(limits(&all, day(20)).is_none());
        assert!(limits(&all, day(19)).is_some());
    }

    #[test]
    fn nothing_said_is_not_full() {
        assert_eq!(on(&[one(1, 10, Some(12), Available::No)], day(9)), None);
        assert_eq!(on(&[one(1, 10, Some(12), Available::No)], day(13)), None);
        assert_eq!(on(&[], day(1)), None);
    }

    #[test]
    fn words_name_what_to_avoid_and_how_long() {
        assert_eq!(
            one(1, 3, Some(9), Available::Modified).words(),
            "modified training from 2026-11-03 until 2026-11-09: avoid jumps"
        );
        assert_eq!(one(1, 3, None, Available::No).words(), "no training from 2026-11-03");
    }
}
